package main

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/color"
	"image/png"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Both pens draw the same: what is drawn at a place has its colour there, and nowhere else.
func TestPens(t *testing.T) {
	t.Parallel()
	d := &plot{title: "Shake <&>", up: "mm/s", across: "time", right: 100, top: 10}
	d.band(20, 40, 4, 6)
	d.point(60, 5, 4, 6)
	d.upright(80, 0, "too much")
	d.timeAxes()
	notes := footnotes("one", "two")

	var out bytes.Buffer
	require.NoError(t, writePNG(&out, d, notes))
	img, err := png.Decode(&out)
	require.NoError(t, err)
	_, height := below([]*plot{d, notes})
	assert.Equal(t, pngScale*plotWidth, img.Bounds().Dx())
	assert.Equal(t, pngScale*height, img.Bounds().Dy())
	at := func(time, v float64) color.Color {
		return img.At(int(pngScale*d.x(time)), int(pngScale*d.y(v)))
	}
	rgb := func(c colour) color.Color { return color.RGBA{c[0], c[1], c[2], 255} }
	white := rgb(colour{255, 255, 255})
	assert.Equal(t, rgb(ink), at(30, 5), "the band")
	assert.Equal(t, rgb(ink), at(60, 5), "the point")
	assert.Equal(t, rgb(ink), at(60, 5.8), "its edges")
	assert.Equal(t, rgb(black), at(0, 5), "the axis")
	assert.Equal(t, rgb(marked), img.At(int(pngScale*d.x(80)), pngScale*(plotTop+1)), "the mark")
	for _, empty := range [][2]float64{{10, 5}, {30, 7}, {30, 3}, {50, 5}, {60, 7}, {70, 5}, {90, 5}} {
		assert.Equal(t, white, at(empty[0], empty[1]), "%v", empty)
	}

	text := svg(d, notes)
	decoder := xml.NewDecoder(strings.NewReader(text))
	for {
		if _, err = decoder.Token(); err != nil {
			break
		}
	}
	require.True(t, errors.Is(err, io.EOF), "%v", err)
	assert.Equal(t, 1, strings.Count(text, "<circle"))
	assert.Equal(t, 1, strings.Count(text, "stroke-dasharray"))
	assert.Contains(t, text, ">too much</text>")
	assert.Contains(t, text, "<title>Shake &lt;&amp;&gt;</title>")
}

// Times along an axis are round and few, from a second to a long day.
func TestTimeAxes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		span  float64
		shows []string
	}{
		{1, []string{">0.2 s<", ">1 s<"}}, {90, []string{">20 s<", ">80 s<"}}, {600, []string{">0 min<", ">10 min<"}},
		{3600, []string{">10 min<", ">60 min<"}}, {8 * 3600, []string{">1:30 h<", ">7:30 h<"}}, {30 * 3600, []string{">5:00 h<", ">30:00 h<"}},
	} {
		d := &plot{right: c.span, top: 1}
		d.timeAxes()
		text := svg(d)
		for _, s := range c.shows {
			assert.Contains(t, text, s, "%g s", c.span)
		}
		assert.LessOrEqual(t, strings.Count(text, `text-anchor="middle"`), 11, "%g s", c.span)
	}
}
