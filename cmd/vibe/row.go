package main

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"charm.land/lipgloss/v2"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

// row is one line of the screen that grows from the left.
type row struct {
	text  strings.Builder
	width int // columns
}

// add puts s, of letters one column wide, behind the others.
func (r *row) add(look lipgloss.Style, s string) {
	if s != "" {
		r.text.WriteString(look.Render(s))
		r.width += utf8.RuneCountInString(s)
	}
}

// to fills up to the column.
func (r *row) to(column int) {
	if gap := column - r.width; gap > 0 {
		r.text.WriteString(strings.Repeat(" ", gap))
		r.width = column
	}
}

// trace draws shake over the last two minutes, newest at the right, rows high. The scale
// ends at the largest shake, at least at the edge of rough.
func trace(past []live.Moment, width, rows int) []string {
	top := assess.DefaultEdges[1]
	for _, p := range past {
		top = max(top, p.Shake)
	}
	columns := make([]float64, width)
	for _, p := range past {
		ago := past[len(past)-1].T - p.T
		if c := width - 1 - int(ago/live.Span*float64(width)); c >= 0 {
			columns[c] = max(columns[c], p.Shake)
		}
	}
	lines := make([]string, rows)
	for r := range lines {
		scale := "   "
		if r == 0 {
			scale = fmt.Sprintf("%3.0f", math.Ceil(top))
		}
		var b strings.Builder
		for _, v := range columns {
			b.WriteRune(eighth(v/math.Ceil(top)*float64(8*rows) - float64(8*(rows-1-r))))
		}
		lines[r] = scale + "│" + b.String()
	}
	return lines
}

// eighth is a cell filled n eighths from below.
func eighth(n float64) rune {
	return []rune(" ▁▂▃▄▅▆▇█")[min(max(int(math.Ceil(n)), 0), 8)]
}
