package assess_test

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
)

func TestCard(t *testing.T) {
	t.Parallel()
	l := workshop()
	l.Name = "Back & <forth>"
	c, err := assess.MakeCard(l)
	require.NoError(t, err)
	for i, row := range c.Speeds {
		rule := assess.RPM(22500 / (float64(c.Diameters[i]) / 10))
		for j, n := range row {
			assert.LessOrEqual(t, n, rule, "%v %v", c.Diameters[i], c.Tasks[j])
			if i > 0 {
				assert.LessOrEqual(t, n, c.Speeds[i-1][j], "larger is never faster")
			}
		}
		assert.LessOrEqual(t, row[3], row[2], "sanding is slower than finishing")
	}
	dec := xml.NewDecoder(strings.NewReader(c.SVG()))
	texts := ""
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err, "the drawing is well formed")
		if s, ok := tok.(xml.CharData); ok {
			texts += string(s)
		}
	}
	for _, words := range append(append(assess.Cautions(), c.Notes()...), "Back & <forth>", "300 mm") {
		assert.Contains(t, texts, words)
	}
	for line := range strings.Lines(c.Text()) {
		assert.LessOrEqual(t, len(line), 80)
	}
}

func TestCardOfAFastLathe(t *testing.T) {
	t.Parallel()
	c, err := assess.MakeCard(assess.Lathe{Low: 850, High: 3000})
	require.NoError(t, err)
	assert.Regexp(t, `(?m)^500 mm +no`, c.Text(), "a large blank is not for this lathe")
	assert.Contains(t, c.Notes(), "no: this lathe has no speed slow enough.")
	_, err = assess.MakeCard(assess.Lathe{Low: -1})
	assert.Error(t, err)
}
