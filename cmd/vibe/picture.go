package main

import (
	"fmt"
	"math"
	"strings"

	"vibe/assess"
)

// picture draws shake against speed in at most width columns: ● what was measured,
// ○ what is expected there, · the edges of the words. Nothing to draw gives nil.
//
// The height ends a little above what was measured, for a prediction far up would press
// everything seen flat on the floor; what lies higher sits as ▲ on the top row. For the same
// reason the speeds end half above the fastest one measured.
func picture(points []assess.MapPoint, width int) []string {
	const rows, margin = 12, 7
	low, high, top := frame(points)
	if high == 0 {
		return nil
	}
	columns := min(width, 100) - margin - 22
	grid := make([][]rune, rows)
	for r := range grid {
		grid[r] = []rune(strings.Repeat(" ", columns))
	}
	row := func(shake float64) int { return rows - 1 - int(math.Round(shake/top*(rows-1))) }
	labels := map[int]string{}
	for i, feel := range []assess.Feel{assess.Lively, assess.Rough, assess.Violent} {
		edge := assess.DefaultEdges[i]
		if r := row(edge); r >= 0 {
			grid[r] = []rune(strings.Repeat("·", columns))
			labels[r] = fmt.Sprintf(" %s from %.1f", feel, edge)
		}
	}
	plot := func(p assess.MapPoint, mark rune) {
		column := int(math.Round(float64(p.Speed-low) / float64(high-low) * float64(columns-1)))
		if column < 0 || column >= columns {
			return
		}
		r := row(p.Shake)
		if r < 0 {
			r, mark = 0, '▲'
		}
		grid[r][column] = mark
	}
	for _, p := range points {
		if !p.Seen {
			plot(p, '○')
		}
	}
	for _, p := range points {
		if p.Seen {
			plot(p, '●')
		}
	}
	lines := []string{fmt.Sprintf("%*s", margin-1, "mm/s")}
	for r, cells := range grid {
		scale := ""
		if (rows-1-r)%3 == 2 || r == rows-1 {
			scale = fmt.Sprintf("%.1f", top*float64(rows-1-r)/(rows-1))
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%*s │%s%s", margin-2, scale, string(cells), labels[r]), " "))
	}
	lines = append(lines,
		strings.Repeat(" ", margin-1)+"└"+strings.Repeat("─", columns),
		fmt.Sprintf("%*s%-*.0f%*.0f rpm", margin, "", columns/2, float64(low), columns-columns/2, float64(high)))
	return lines
}

// frame returns the speeds and the shake that the picture spans; high is 0 if there is
// nothing measured to draw.
func frame(points []assess.MapPoint) (low, high assess.RPM, top float64) {
	low = assess.RPM(math.Inf(1))
	for _, p := range points {
		if p.Seen {
			low, high, top = min(low, p.Speed), max(high, p.Speed), max(top, p.Shake)
		}
	}
	if high == 0 {
		return 0, 0, 0
	}
	low, high = low*0.8, high*1.5
	low, high = assess.RPM(math.Floor(float64(low)/100)*100), assess.RPM(math.Ceil(float64(high)/100)*100)
	return low, high, max(1.25*top, 2.2)
}
