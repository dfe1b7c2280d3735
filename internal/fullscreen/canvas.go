package fullscreen

import (
	"strings"
	"unicode"

	"github.com/charmbracelet/x/ansi"

	"waycall/internal/printable"
)

// style is how a cell looks. Nothing is said by colour alone: every style that has
// one goes with a word and a shape.
type style uint8

const (
	plain style = iota
	strong
	bar // reversed, across the screen
	faint
	good
	doubt
	bad
)

// palette says which colours may be used. The terminal's own foreground and
// background stay, so that dark and light are as the terminal has them.
type palette struct {
	colour bool
	light  bool // the terminal's background is light
}

// sgr returns the sequence that begins a style.
func (p palette) sgr(s style) string {
	dark := map[style]string{good: "\x1b[1;92m", doubt: "\x1b[1;93m", bad: "\x1b[1;91m"}
	light := map[style]string{good: "\x1b[1;38;5;22m", doubt: "\x1b[1;38;5;94m", bad: "\x1b[1;38;5;124m"}
	switch {
	case s == plain:
		return ""
	case s == bar:
		return "\x1b[1;7m"
	case s == faint:
		return "\x1b[2m"
	case s == strong || !p.colour:
		return "\x1b[1m"
	case p.light:
		return light[s]
	}
	return dark[s]
}

// cell is one place of the screen. The second place of a wide character has no
// text.
type cell struct {
	text string
	st   style
	tail bool
}

// canvas is the screen as cells, so that no name can make a line longer than it is.
type canvas struct {
	w, h  int
	cells []cell
}

func newCanvas(w, h int) *canvas {
	return &canvas{w, h, make([]cell, w*h)}
}

// put writes text, which must be clean, from x on in one row, at most width cells.
// What falls outside is left out.
func (c *canvas) put(x, y, width int, st style, text string) {
	if y < 0 || y >= c.h || x < 0 {
		return
	}
	end := min(x+width, c.w)
	for _, r := range text {
		n := ansi.StringWidth(string(r))
		if n == 0 { // a mark on the character before
			if at := x - 1; at >= 0 && at < c.w {
				for at > 0 && c.cells[y*c.w+at].tail {
					at--
				}
				c.cells[y*c.w+at].text += string(r)
			}
			continue
		}
		if x+n > end {
			return
		}
		c.cells[y*c.w+x] = cell{text: string(r), st: st}
		for i := 1; i < n; i++ {
			c.cells[y*c.w+x+i] = cell{st: st, tail: true}
		}
		x += n
	}
}

// fill gives a whole row a style.
func (c *canvas) fill(y int, st style) {
	if y >= 0 && y < c.h {
		for x := range c.w {
			c.cells[y*c.w+x] = cell{text: " ", st: st}
		}
	}
}

// render returns the rows with their styles, as many as the screen has. Blanks at
// the end of a row are left out.
func (c *canvas) render(p palette) string {
	var b strings.Builder
	for y := range c.h {
		if y > 0 {
			b.WriteByte('\n')
		}
		row := c.cells[y*c.w : (y+1)*c.w]
		for len(row) > 0 && (row[len(row)-1] == cell{} || row[len(row)-1] == cell{text: " "}) {
			row = row[:len(row)-1]
		}
		now := plain
		for _, cell := range row {
			if cell.tail {
				continue
			}
			if cell.st != now {
				if now != plain {
					b.WriteString("\x1b[m")
				}
				b.WriteString(p.sgr(cell.st))
				now = cell.st
			}
			if cell.text == "" {
				cell.text = " "
			}
			b.WriteString(cell.text)
		}
		if now != plain {
			b.WriteString("\x1b[m")
		}
	}
	return b.String()
}

// mostMarks is how many combining marks one character keeps: no script needs more,
// and a heap of them would run over the rows above.
const mostMarks = 2

// clean is printable.Line for the cells of a terminal: what joins characters into
// others is left out, what is hidden or has no width of its own becomes a question mark,
// and runs of blanks one.
func clean(s string) string {
	var b strings.Builder
	marks, blank := mostMarks, false
	for _, r := range printable.Line(s) {
		switch {
		case unicode.IsSpace(r):
			blank = b.Len() > 0
			continue
		case unicode.Is(unicode.Variation_Selector, r) || unicode.In(r, unicode.Cf, unicode.Me):
			continue
		case unicode.Is(unicode.Mn, r) || ansi.StringWidth(string(r)) == 0:
			if !unicode.Is(unicode.Mn, r) || blank || marks >= mostMarks {
				continue
			}
			marks++
			b.WriteRune(r)
			continue
		case !unicode.IsPrint(r) || r == unicode.ReplacementChar || unicode.Is(unicode.Regional_Indicator, r) || r >= 0x1f3fb && r <= 0x1f3ff:
			r = '?'
		}
		if blank {
			b.WriteByte(' ')
			blank = false
		}
		marks = 0
		b.WriteRune(r)
	}
	return b.String()
}

// wrap breaks clean text into at most rows lines of width cells, at blanks where it
// can. What does not fit ends in three dots.
func wrap(text string, width, rows int) []string {
	if width <= 0 || rows <= 0 || text == "" {
		return nil
	}
	var lines []string
	for len(text) > 0 && len(lines) < rows {
		n, last, used := len(text), 0, 0
		for i, r := range text {
			if used += ansi.StringWidth(string(r)); used > width {
				n = i
				break
			}
			if r == ' ' {
				last = i
			}
		}
		if n < len(text) && text[n] != ' ' && last > 0 {
			n = last
		}
		if n == 0 { // not even one character is so narrow
			return lines
		}
		lines = append(lines, strings.TrimSpace(text[:n]))
		text = strings.TrimSpace(text[n:])
	}
	if text != "" {
		lines[len(lines)-1] = short(lines[len(lines)-1]+" "+text, width)
	}
	return lines
}

// short cuts clean text to width cells and says so with three dots.
func short(text string, width int) string {
	used, fits := 0, 0
	for i, r := range text {
		n := ansi.StringWidth(string(r))
		if used+n > width {
			return strings.TrimRight(text[:fits], " …") + strings.Repeat("…", min(1, width))
		}
		if used += n; used < width {
			fits = i + len(string(r))
		}
	}
	return text
}
