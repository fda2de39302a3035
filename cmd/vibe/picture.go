package main

import (
	"fmt"
	"math"
	"strings"

	"vibe/assess"
)

// The picture of shake against speed: ● what was measured, ○ what is expected from it, ·
// the edges of the words, ↑ the speed of the advice.
//
// The height ends a little above what was measured, for a prediction far up would press
// everything seen flat on the floor; what lies higher sits as ▲ on the top row. For the same
// reason the speeds end a third above the fastest one measured.
const (
	leftMargin = 7
	edgeWords  = 20 // columns for the words of the edges
	rpmWord    = 8  // columns for the last speed and its unit
)

// picture draws the points in at most width columns and rows + 3 lines, with so many of the
// columns left for the words of the edges; 0 leaves the words out. Nothing measured gives nil.
func picture(points []assess.MapPoint, aim assess.RPM, width, rows, words int) []string {
	low, high, top := frame(points)
	if high == 0 {
		return nil
	}
	columns := width - leftMargin - max(words, rpmWord)
	row := func(shake float64) int { return rows - 1 - int(math.Round(shake/top*float64(rows-1))) }
	column := func(n assess.RPM) int {
		return int(math.Round(float64((n - low) / (high - low) * assess.RPM(columns-1))))
	}
	grid := make([][]rune, rows)
	for r := range grid {
		grid[r] = []rune(strings.Repeat(" ", columns))
	}
	edges := map[int]string{}
	for i, feel := range []assess.Feel{assess.Lively, assess.Rough, assess.Violent} {
		if r := row(assess.DefaultEdges[i]); r >= 0 {
			grid[r] = []rune(strings.Repeat("·", columns))
			if words > 0 {
				edges[r] = fmt.Sprintf("%s from %.1f", feel, assess.DefaultEdges[i])
			}
		}
	}
	for _, seen := range []bool{false, true} { // what was measured lies on top
		for _, p := range points {
			if c := column(p.Speed); p.Seen == seen && c >= 0 && c < columns {
				grid[max(row(p.Shake), 0)][c] = mark(p, top)
			}
		}
	}
	lines := []string{fmt.Sprintf("%*s", leftMargin-1, "mm/s")}
	for r, cells := range grid {
		scale := ""
		if r%3 == 2 {
			scale = fmt.Sprintf("%.1f", top*float64(rows-1-r)/float64(rows-1))
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%*s │%s %s", leftMargin-2, scale, string(cells), edges[r]), " "))
	}
	lines = append(lines, strings.Repeat(" ", leftMargin-1)+"└"+strings.Repeat("─", columns))
	axis := []rune(strings.Repeat(" ", columns+4) + "rpm")
	put(axis, column(low), fmt.Sprintf("%.0f", float64(low)))
	put(axis, columns-1, fmt.Sprintf("%.0f", float64(high)))
	if c := column(aim); aim > 0 && c > 5 && c < columns-8 {
		put(axis, c, fmt.Sprintf("↑%.0f", float64(aim)))
	}
	return append(lines, strings.Repeat(" ", leftMargin)+string(axis))
}

func put(line []rune, at int, text string) { copy(line[at:], []rune(text)) }

func mark(p assess.MapPoint, top float64) rune {
	switch {
	case p.Shake > top:
		return '▲'
	case p.Seen:
		return '●'
	}
	return '○'
}

// frame returns the speeds and the shake that the picture spans; high is 0 if nothing was
// measured.
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
	hundred := func(n assess.RPM, round func(float64) float64) assess.RPM {
		return assess.RPM(100 * round(float64(n)/100))
	}
	return hundred(low*0.8, math.Floor), hundred(high*1.33, math.Ceil), max(1.1*top, 2.2)
}
