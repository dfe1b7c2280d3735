// Package columns lays text out on a page of so many characters: paragraphs, fields, and
// tables whose columns share the width. It has no colours but those of a result, where
// they are asked for, and what it writes cannot move the cursor.
package columns

import (
	"fmt"
	"io"
	"strings"

	"waycall/internal/check"
	"waycall/internal/printable"
)

// Width is the most characters that a line of text has.
const Width = 100

// Page collects lines.
type Page struct {
	b      strings.Builder
	Colour bool
	Style  string // the result that the lines are about, while there is one
}

// Print writes what was collected.
func (t *Page) Print(w io.Writer) error {
	_, err := io.WriteString(w, t.b.String())
	return err
}

// Rule draws a line under the head of a table.
func (t *Page) Rule(widths []int) {
	t.Line(strings.Repeat("-", min(Width, total(widths))))
}

// colours are the terminal's for the results. What they say stands in words, too.
var colours = map[string]string{
	string(check.Fail): "\x1b[31m", string(check.Investigate): "\x1b[33m", string(check.CannotSay): "\x1b[33m",
}

// Line writes a line in the colour of Style, where colour is wanted.
func (t *Page) Line(s string) {
	s = strings.TrimRight(s, " ")
	if code := colours[t.Style]; t.Colour && code != "" && s != "" {
		s = code + s + "\x1b[0m"
	}
	t.b.WriteString(s + "\n")
}

// Field writes a name and what it is, wrapped beside it.
func (t *Page) Field(name, format string, args ...any) {
	t.Item(fmt.Sprintf("%-12s", name), fmt.Sprintf(format, args...))
}

// Item writes s after a mark, with later lines set in as far as the mark.
func (t *Page) Item(mark, s string) {
	indent := strings.Repeat(" ", len([]rune(mark)))
	for i, l := range wrap(printable.Words(s), Width-len(indent)) {
		if i > 0 {
			mark = indent
		}
		t.Line(mark + l)
	}
}

// columnGap is between the columns of the table.
const columnGap = "  "

// Rows writes a table; the first row is its head unless the table has none,
// which is so where feeds is 0. feeds is the column that gives first where it is
// too wide, -1 where there is none.
func (t *Page) Rows(rows [][]string, feeds int) {
	widths := Fit(rows, max(0, feeds), func(int) bool { return true })
	for i, row := range rows {
		t.Row(row, widths)
		if i == 0 && feeds != 0 {
			t.Rule(widths)
		}
	}
}

// Fit gives each column the width of its widest cell. Where the table is then
// too wide it takes from the column feeds first, and next from whichever of the
// columns that may give is widest. A column is not made narrower than its longest
// word, so that a figure is never broken, unless nothing else is left to give.
func Fit(rows [][]string, feeds int, mayGive func(column int) bool) []int {
	widths, least := make([]int, len(rows[0])), make([]int, len(rows[0]))
	for _, row := range rows {
		for i, c := range row {
			widths[i] = max(widths[i], len([]rune(c)))
			for _, word := range strings.Fields(c) {
				least[i] = max(least[i], len([]rune(word)))
			}
		}
	}
	least[feeds] = min(least[feeds], 20)
	for total(widths) > Width {
		widest := -1
		for i, w := range widths {
			if i != feeds && mayGive(i) && w > least[i] && (widest < 0 || w > widths[widest]) {
				widest = i
			}
		}
		switch {
		case widths[feeds] > max(20, least[feeds]) || widest < 0 && widths[feeds] > least[feeds]:
			widest = feeds
		case widest < 0: // words of a hostile length
			for i, w := range widths {
				if widest < 0 || w > widths[widest] {
					widest = i
				}
			}
			least[widest] = widths[widest] - 1
		}
		widths[widest]--
	}
	return widths
}

func total(widths []int) int {
	n := -len(columnGap)
	for _, w := range widths {
		n += w + len(columnGap)
	}
	return n
}

// Row writes one row of the table, on as many lines as its fullest cell needs.
func (t *Page) Row(cells []string, widths []int) {
	wrapped := make([][]string, len(cells))
	high := 1
	for i, c := range cells {
		wrapped[i] = wrap(printable.Words(c), widths[i])
		high = max(high, len(wrapped[i]))
	}
	for n := range high {
		parts := make([]string, len(cells))
		for i, w := range wrapped {
			c := ""
			if n < len(w) {
				c = w[n]
			}
			parts[i] = c + strings.Repeat(" ", widths[i]-len([]rune(c)))
		}
		t.Line(strings.Join(parts, columnGap))
	}
}

// wrap breaks s, which is clean, into lines of at most n characters, between
// words where it can. There is always at least one line.
func wrap(s string, n int) []string {
	var lines []string
	line := []rune{}
	for _, word := range strings.Fields(s) {
		w := []rune(word)
		if len(line) > 0 && len(line)+1+len(w) > n {
			lines, line = append(lines, string(line)), nil
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		for len(line)+len(w) > n { // a word longer than a whole line
			room := n - len(line)
			lines, line, w = append(lines, string(append(line, w[:room]...))), nil, w[room:]
		}
		line = append(line, w...)
	}
	return append(lines, string(line))
}
