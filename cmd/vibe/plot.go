package main

import (
	"fmt"
	"html"
	"math"
	"strings"

	"vibe/assess"
)

// plot is a drawing in SVG: values over a horizontal axis, in its own units, with edges
// across. Colours repeat what words say; it reads in black on white too.
type plot struct {
	title, across, up string // what the axes show, with units
	left, right, top  float64
	marks             strings.Builder
}

// The drawing's size in its own units, and where the axes lie.
const (
	plotWidth, plotHeight = 900, 260
	plotLeft, plotRight   = 60, 780
	plotTop, plotBottom   = 30, 220
)

func (d *plot) x(v float64) float64 {
	return plotLeft + (v-d.left)/max(d.right-d.left, 1e-9)*(plotRight-plotLeft)
}

func (d *plot) y(v float64) float64 {
	return plotBottom - min(max(v/max(d.top, 1e-9), 0), 1)*(plotBottom-plotTop)
}

func (d *plot) put(format string, args ...any) { fmt.Fprintf(&d.marks, format+"\n", args...) }

func (d *plot) text(x, y float64, anchor, words string) {
	d.put(`<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, y, anchor, html.EscapeString(words))
}

// band draws the range from low to high over a stretch of the horizontal axis.
func (d *plot) band(from, to, low, high float64) {
	x, y := d.x(from), d.y(high)
	d.put(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="#24527a"/>`, x, y, max(d.x(to)-x, 0.8), max(d.y(low)-y, 1.6))
}

// point draws a value with its edges.
func (d *plot) point(at, v, low, high float64) {
	d.put(`<path d="M%.1f %.1fV%.1f" stroke="#24527a"/><circle cx="%.1f" cy="%.1f" r="4" fill="#24527a"/>`, d.x(at), d.y(low), d.y(high), d.x(at), d.y(v))
}

// upright draws a line across all values, with a word at its top.
func (d *plot) upright(at float64, word string) {
	d.put(`<path d="M%.1f %dV%d" stroke="#a33" stroke-dasharray="4 3"/>`, d.x(at), plotTop, plotBottom)
	d.text(d.x(at)+3, plotTop+10, "start", word)
}

// feelEdges draws where the words begin.
func (d *plot) feelEdges() {
	for i, feel := range []assess.Feel{assess.Lively, assess.Rough, assess.Violent} {
		if e := assess.DefaultEdges[i]; e < d.top {
			d.put(`<path d="M%d %.1fH%d" stroke="#777" stroke-dasharray="2 4"/>`, plotLeft, d.y(e), plotRight)
			d.text(plotRight+6, d.y(e)+4, "start", fmt.Sprintf("%s from %.1f", feel, e))
		}
	}
}

// axes draws the frame with round numbers.
func (d *plot) axes(label func(float64) string) {
	d.put(`<path d="M%d %dV%dH%d" fill="none" stroke="black"/>`, plotLeft, plotTop, plotBottom, plotRight)
	for v := 0.0; v <= d.top; v += round(d.top / 4) {
		d.text(plotLeft-6, d.y(v)+4, "end", fmt.Sprintf("%.4g", v))
	}
	step := round((d.right - d.left) / 6)
	for v := math.Ceil(d.left/step) * step; v <= d.right; v += step {
		d.put(`<path d="M%.1f %dv5" stroke="black"/>`, d.x(v), plotBottom)
		d.text(d.x(v), plotBottom+18, "middle", label(v))
	}
	d.put(`<g font-weight="bold">`)
	d.text(plotLeft, 18, "start", d.title+", "+d.up)
	d.put(`</g>`)
	d.text(plotRight, plotBottom+36, "end", d.across)
}

// round is the round number (1, 2, 5 times a power of ten) next to v.
func round(v float64) float64 {
	if !(v > 0) {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{1, 2, 5} {
		if v <= 1.4*k*p {
			return k * p
		}
	}
	return 10 * p
}

// svg is the drawing by itself.
func (d *plot) svg() string { return svgAt(0, d) }

// svgAt is a drawing of plots below each other.
func svgAt(gap float64, plots ...*plot) string {
	var b strings.Builder
	height := float64(len(plots))*(plotHeight+gap) - gap
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %.0f" font-family="sans-serif" font-size="13" role="img">`+"\n", plotWidth, height)
	fmt.Fprintf(&b, `<rect width="%d" height="%.0f" fill="white"/>`+"\n", plotWidth, height)
	for i, d := range plots {
		fmt.Fprintf(&b, `<g transform="translate(0 %.0f)"><title>%s</title>`+"\n%s</g>\n", float64(i)*(plotHeight+gap), html.EscapeString(d.title), d.marks.String())
	}
	b.WriteString("</svg>\n")
	return b.String()
}
