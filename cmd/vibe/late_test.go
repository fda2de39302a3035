package main

import (
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// late is a source whose first sample comes by s after it was opened, as a phone's does.
type late struct {
	sensor.Source
	by float64
}

func (l late) Next() (sensor.Block, error) {
	b, err := l.Source.Next()
	for i := range b.T {
		b.T[i] += l.by
	}
	return b, err
}

// What is waited until the first sample comes is no part of a session: not of its length, its
// rate, its drawings.
func TestLate(t *testing.T) {
	t.Parallel()
	shop := shopFile(filepath.Join(t.TempDir(), "shop.sqlite"))
	var recorded []recording
	for _, by := range []float64{0, 100} {
		in := input{src: late{demoLathe(), by}, name: "lathe", job: demoJob()}
		var err error
		in.session, err = shop.keep(in.setup())
		require.NoError(t, err)
		r, err := in.follow(t.Context())
		require.NoError(t, err)
		_, err = in.session.close()
		require.NoError(t, err)
		recorded = append(recorded, r.doc.Recording)
	}
	assert.InDelta(t, recorded[0].Seconds, recorded[1].Seconds, 1e-5)
	assert.InDelta(t, *recorded[0].RateHz, *recorded[1].RateHz, 1e-3)

	view, err := shop.view()
	require.NoError(t, err)
	defer view.Close()
	at0, err := view.Session(1)
	require.NoError(t, err)
	at100, err := view.Session(2)
	require.NoError(t, err)
	assert.Equal(t, spark(at0.Summary, 16), spark(at100.Summary, 16))
	soon, err := columns(at0)
	require.NoError(t, err)
	lately, err := columns(at100)
	require.NoError(t, err)
	busy := 0
	for i, c := range soon {
		assert.InDelta(t, c.High, lately[i].High, 0.01)
		if c.N > 0 {
			busy++
		}
	}
	assert.Greater(t, busy, 10)

	code, out, msg := vibe(t, nil, "log", "show", "2", "--shop", string(shop))
	require.Zero(t, code, msg)
	_, table, _ := strings.Cut(out, "feel\n")
	row := strings.Fields(table) // from, s, to, s, ...
	from, err := strconv.ParseFloat(row[0], 64)
	require.NoError(t, err)
	to, err := strconv.ParseFloat(row[2], 64)
	require.NoError(t, err)
	assert.Greater(t, from, 99.0)
	assert.Greater(t, to, from)
}
