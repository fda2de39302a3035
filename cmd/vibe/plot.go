package main

import (
	"cmp"
	"fmt"
	"math"

	"vibe/assess"
)

// plot is a drawing: values over a horizontal axis, in its own units, with edges across.
// Colours repeat what words say; it reads in black on white too. What was drawn on it is
// kept, for any pen.
type plot struct {
	title, across, up string // what the axes show, with units
	left, right, top  float64
	height            int // 0: plotHeight
	drawn             []func(pen)
}

// pen draws in the units of a plot, y downward.
type pen interface {
	// line is level or upright. One that is dashed has dashes and gaps of those lengths.
	line(c colour, x0, y0, x1, y1 float64, dash ...float64)
	box(c colour, x, y, width, height float64)
	dot(c colour, x, y, radius float64)
	// text stands on y. Its begin, middle or end is at x.
	text(x, y float64, at anchor, bold bool, words string)
}

// colour is red, green and blue.
type colour [3]uint8

var (
	ink    = colour{0x24, 0x52, 0x7a}
	marked = colour{0xaa, 0x33, 0x33}
	faint  = colour{0x77, 0x77, 0x77}
	black  = colour{}
)

// anchor is which part of a text stands at its place, in the words of SVG.
type anchor string

const (
	start  anchor = "start"
	middle anchor = "middle"
	end    anchor = "end"
)

// The drawing's size in its own units, and where the axes lie.
const (
	plotWidth, plotHeight = 900, 260
	plotLeft, plotRight   = 60, 780
	plotTop, plotBottom   = 30, 220
	plotFont              = 13
	betweenPlots          = 10
)

func (d *plot) x(v float64) float64 {
	return plotLeft + (v-d.left)/max(d.right-d.left, 1e-9)*(plotRight-plotLeft)
}

func (d *plot) y(v float64) float64 {
	return plotBottom - min(max(v/max(d.top, 1e-9), 0), 1)*(plotBottom-plotTop)
}

func (d *plot) put(draw func(pen)) { d.drawn = append(d.drawn, draw) }

func (d *plot) text(x, y float64, at anchor, words string) {
	d.put(func(p pen) { p.text(x, y, at, false, words) })
}

// band draws the range from low to high over a stretch of the horizontal axis.
func (d *plot) band(from, to, low, high float64) {
	x, y := d.x(from), d.y(high)
	width, height := max(d.x(to)-x, 0.8), max(d.y(low)-y, 1.6)
	d.put(func(p pen) { p.box(ink, x, y, width, height) })
}

// point draws a value with its edges.
func (d *plot) point(at, v, low, high float64) {
	x, y, top, bottom := d.x(at), d.y(v), d.y(high), d.y(low)
	d.put(func(p pen) {
		p.line(ink, x, top, x, bottom)
		p.dot(ink, x, y, 4)
	})
}

// upright draws a line across all values, with a word beside it; row says how far down, so
// that words next to each other can be read.
func (d *plot) upright(at float64, row int, word string) {
	x, y := d.x(at), float64(plotTop+10+14*row)
	side, away := start, 3.0
	if x > plotRight-100 {
		side, away = end, -3
	}
	d.put(func(p pen) {
		p.line(marked, x, plotTop, x, plotBottom, 4, 3)
		p.text(x+away, y, side, false, word)
	})
}

// avoid draws a stretch of speeds to be passed over.
func (d *plot) avoid(from, to float64) {
	if from, to = max(from, d.left), min(to, d.right); from >= to {
		return
	}
	x, width := d.x(from), d.x(to)-d.x(from)
	d.put(func(p pen) { p.box(marked, x, plotBottom-6, width, 6) })
	d.text(x, plotBottom-10, start, "avoid")
}

// feelEdges draws where the words begin.
func (d *plot) feelEdges() {
	for i, feel := range []assess.Feel{assess.Lively, assess.Rough, assess.Violent} {
		if e := assess.DefaultEdges[i]; e < d.top {
			y := d.y(e)
			d.put(func(p pen) { p.line(faint, plotLeft, y, plotRight, y, 2, 4) })
			d.text(plotRight+6, y+4, start, fmt.Sprintf("%s from %.1f", feel, e))
		}
	}
}

// axes draws the frame with round numbers, the horizontal ones step apart.
func (d *plot) axes(step float64, label func(float64) string) {
	d.put(func(p pen) {
		p.line(black, plotLeft, plotTop, plotLeft, plotBottom)
		p.line(black, plotLeft, plotBottom, plotRight, plotBottom)
		p.text(plotLeft, 18, start, true, d.title+", "+d.up)
	})
	for v := 0.0; v <= d.top; v += round(d.top / 4) {
		d.text(plotLeft-6, d.y(v)+4, end, fmt.Sprintf("%.4g", v))
	}
	for v := math.Ceil(d.left/step) * step; v <= d.right; v += step {
		x := d.x(v)
		d.put(func(p pen) { p.line(black, x, plotBottom, x, plotBottom+5) })
		d.text(x, plotBottom+18, middle, label(v))
	}
	d.text(plotRight, plotBottom+36, end, d.across)
}

// speedAxes are axes over rpm.
func (d *plot) speedAxes() {
	d.axes(round((d.right-d.left)/6), func(v float64) string { return fmt.Sprintf("%.0f", v) })
}

// timeAxes are axes over time: in s up to two minutes, else in minutes, from two hours on in
// hours and minutes.
func (d *plot) timeAxes() {
	switch span := d.right - d.left; {
	case span < 120:
		d.axes(round(span/6), func(v float64) string { return fmt.Sprintf("%.4g s", v) })
	case span < 7200:
		d.axes(60*max(1, round(span/60/6)), func(v float64) string { return fmt.Sprintf("%.0f min", v/60) })
	default:
		d.axes(1800*math.Ceil(span/1800/6), func(v float64) string { return fmt.Sprintf("%.0f:%02.0f h", math.Floor(v/3600), math.Mod(v, 3600)/60) })
	}
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

// footnotes are sentences to stand below plots.
func footnotes(sentences ...string) *plot {
	d := &plot{title: "Notes", height: 18*len(sentences) + 4}
	for i, s := range sentences {
		d.text(plotLeft, float64(14+18*i), start, s)
	}
	return d
}

// below puts plots below each other: how far down each one begins, and the height of all.
func below(plots []*plot) (downs []int, height int) {
	for _, d := range plots {
		downs = append(downs, height)
		height += cmp.Or(d.height, plotHeight) + betweenPlots
	}
	return downs, height - betweenPlots
}
