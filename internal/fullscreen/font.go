package fullscreen

import "strings"

// glyphs is our own drawing of what is shown very large: figures, the bounds, and
// the letters of the few words that go with them. Five rows each, # is ink.
var glyphs = map[rune][5]string{
	'0': {"###", "#.#", "#.#", "#.#", "###"},
	'1': {".#.", "##.", ".#.", ".#.", "###"},
	'2': {"###", "..#", "###", "#..", "###"},
	'3': {"###", "..#", "###", "..#", "###"},
	'4': {"#.#", "#.#", "###", "..#", "..#"},
	'5': {"###", "#..", "###", "..#", "###"},
	'6': {"###", "#..", "###", "#.#", "###"},
	'7': {"###", "..#", "..#", "..#", "..#"},
	'8': {"###", "#.#", "###", "#.#", "###"},
	'9': {"###", "#.#", "###", "..#", "###"},
	'.': {".", ".", ".", ".", "#"},
	'>': {"#..", ".#.", "..#", ".#.", "#.."},
	'<': {"..#", ".#.", "#..", ".#.", "..#"},
	'?': {"###", "..#", ".##", "...", ".#."},
	'A': {"###", "#.#", "###", "#.#", "#.#"},
	'B': {"##.", "#.#", "##.", "#.#", "##."},
	'C': {"###", "#..", "#..", "#..", "###"},
	'D': {"##.", "#.#", "#.#", "#.#", "##."},
	'E': {"###", "#..", "##.", "#..", "###"},
	'F': {"###", "#..", "##.", "#..", "#.."},
	'G': {"###", "#..", "#.#", "#.#", "###"},
	'I': {"#", "#", "#", "#", "#"},
	'K': {"#.#", "#.#", "##.", "#.#", "#.#"},
	'L': {"#..", "#..", "#..", "#..", "###"},
	'N': {"#..#", "##.#", "#.##", "#..#", "#..#"},
	'O': {"###", "#.#", "#.#", "#.#", "###"},
	'P': {"###", "#.#", "###", "#..", "#.."},
	'R': {"##.", "#.#", "##.", "#.#", "#.#"},
	'S': {"###", "#..", "###", "..#", "###"},
	'T': {"###", ".#.", ".#.", ".#.", ".#."},
	'W': {"#...#", "#...#", "#.#.#", "#.#.#", ".#.#."},
}

// glyphRows is the height of a glyph before it is made larger.
const glyphRows = 5

// units is the width of text in dots; 0 when a character has no drawing.
func units(text string) int {
	n := 0
	for _, r := range text {
		g, ok := glyphs[r]
		if !ok {
			return 0
		}
		n += len(g[0]) + 1
	}
	return max(0, n-1)
}

// fit returns how many cells wide a dot can be, at most sx, so that text is not
// wider than width; 0 when it cannot be drawn so.
func fit(text string, sx, width int) int {
	n := units(text)
	if n == 0 {
		return 0
	}
	return max(0, min(sx, width/n))
}

// big draws text at x, y with dots of sx by sy cells. Knocked out, the letters are
// holes in a panel that has a dot's width more on either side.
func (c *canvas) big(x, y int, st style, text string, sx, sy int, out bool) {
	rows := [glyphRows]strings.Builder{}
	for i, r := range text {
		for row := range rows {
			if i > 0 {
				rows[row].WriteByte('.')
			}
			rows[row].WriteString(glyphs[r][row])
		}
	}
	for row := range rows {
		line := rows[row].String()
		if out {
			line = "." + line + "."
		}
		for dot := range len(line) {
			if (line[dot] == '#') == out {
				continue
			}
			for dy := range sy {
				c.put(x+dot*sx, y+row*sy+dy, sx, st, strings.Repeat("█", sx))
			}
		}
	}
}
