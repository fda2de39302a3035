package main

import "strings"

// glyphs are letters three dots wide, five high, one row after the other, for what must be
// read from two metres. W and M need five dots.
var glyphs = map[rune]string{
	'0': "###" + "#.#" + "#.#" + "#.#" + "###",
	'1': ".#." + "##." + ".#." + ".#." + "###",
	'2': "###" + "..#" + "###" + "#.." + "###",
	'3': "###" + "..#" + ".##" + "..#" + "###",
	'4': "#.#" + "#.#" + "###" + "..#" + "..#",
	'5': "###" + "#.." + "###" + "..#" + "###",
	'6': "###" + "#.." + "###" + "#.#" + "###",
	'7': "###" + "..#" + "..#" + ".#." + ".#.",
	'8': "###" + "#.#" + "###" + "#.#" + "###",
	'9': "###" + "#.#" + "###" + "..#" + "###",
	'.': "." + "." + "." + "." + "#",
	'–': "..." + "..." + "###" + "..." + "...",
	'?': "###" + "..#" + ".##" + "..." + ".#.",
	' ': "." + "." + "." + "." + ".",
	'A': ".#." + "#.#" + "###" + "#.#" + "#.#",
	'D': "##." + "#.#" + "#.#" + "#.#" + "##.",
	'E': "###" + "#.." + "##." + "#.." + "###",
	'H': "#.#" + "#.#" + "###" + "#.#" + "#.#",
	'I': "###" + ".#." + ".#." + ".#." + "###",
	'L': "#.." + "#.." + "#.." + "#.." + "###",
	'O': "###" + "#.#" + "#.#" + "#.#" + "###",
	'P': "###" + "#.#" + "###" + "#.." + "#..",
	'R': "##." + "#.#" + "##." + "#.#" + "#.#",
	'S': "###" + "#.." + "###" + "..#" + "###",
	'T': "###" + ".#." + ".#." + ".#." + ".#.",
	'W': "#...#" + "#...#" + "#.#.#" + "##.##" + "#...#",
}

const glyphRows = 5

// big writes text in dots of n columns by n half rows: n = 1 gives letters three rows high,
// n = 2 five. It panics for a letter that has no glyph.
func big(text string, n int) []string {
	half := make([]string, 0, glyphRows*n+1) // rows of half the height, # and .
	for row := range glyphRows {
		var b strings.Builder
		for i, r := range []rune(text) {
			dots, ok := glyphs[r]
			if !ok {
				panic("no glyph for " + string(r))
			}
			if i > 0 {
				b.WriteString(strings.Repeat(".", n))
			}
			w := len(dots) / glyphRows
			for _, dot := range dots[row*w : (row+1)*w] {
				b.WriteString(strings.Repeat(string(dot), n))
			}
		}
		for range n {
			half = append(half, b.String())
		}
	}
	if len(half)%2 == 1 {
		half = append(half, strings.Repeat(".", len(half[0])))
	}
	var lines []string
	for i := 0; i < len(half); i += 2 {
		var b strings.Builder
		for c := range half[i] {
			b.WriteRune(halves[half[i][c]][half[i+1][c]])
		}
		lines = append(lines, b.String())
	}
	return lines
}

// halves is the character with the given upper and lower half.
var halves = map[byte]map[byte]rune{
	'#': {'#': '█', '.': '▀'},
	'.': {'#': '▄', '.': ' '},
}
