// This file lays out tables: how their columns share the width of the page, and how they
// go on over pages.

package paper

import (
	"slices"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"waycall/internal/check"
	"waycall/internal/report"
)

// --- tables

// head is what a column is called and how it is laid out.
type head struct {
	group string // columns side by side with the same one stand below it
	name  string
	grow  bool // it takes what width there is to spare, and gives first
	right bool
}

// column is one of a table: its head, and what of each row stands in it.
type column[T any] struct {
	head
	value func(T) entry
}

// plain is a column of words.
func plain[T any](group, name string, text func(T) string) column[T] {
	return column[T]{head{group: group, name: name}, func(row T) entry { return entry{text: text(row)} }}
}

// figures is a column of figures, below one another by their last.
func figures[T any](group, name string, text func(T) string) column[T] {
	c := plain(group, name, text)
	c.right = true
	return c
}

// growing is a column of words that may be many.
func growing[T any](group, name string, text func(T) string) column[T] {
	c := plain(group, name, text)
	c.grow = true
	return c
}

// entry is what stands in one cell.
type entry struct {
	text  string
	mark  bool   // it took the place of another
	style string // the result, which is shaded
}

// table writes a table with a line for each of rows. full is called with what a cell has
// no room for.
func table[T any](p *pdf, title string, columns []column[T], rows []T, full func(row int, text string)) {
	heads := make([]head, len(columns))
	for i, c := range columns {
		heads[i] = c.head
	}
	cells := make([][]entry, len(rows))
	for r, row := range rows {
		for _, c := range columns {
			cells[r] = append(cells[r], c.value(row))
		}
	}
	p.table(title, heads, cells, full)
}

// table writes a table below its title, with title and heads again on each page
// that it goes on to. full is called with what a cell has no room for.
func (p *pdf) table(title string, columns []head, rows [][]entry, full func(row int, text string)) {
	for r := range rows {
		for c := range rows[r] {
			rows[r][c].text = shown(rows[r][c].text)
		}
	}
	widths := p.widths(columns, rows)
	p.font("B", cellSize-0.6)
	high := 1
	heads := make([][]string, len(columns))
	for i, c := range columns {
		heads[i] = p.wrap(c.name, widths[i]-2*cellPad, 0)
		high = max(high, len(heads[i]))
	}
	grouped := slices.ContainsFunc(columns, func(c head) bool { return c.group != "" })
	headHeight := float64(high)*cellLine + 1.4
	if grouped {
		headHeight += cellLine + 1
	}
	top := func(s string) {
		p.heading(s)
		p.head(columns, widths, heads, grouped, headHeight)
	}
	p.room(8 + headHeight + 3*cellLine)
	top(title)
	for r, row := range rows {
		p.font("", cellSize)
		wrapped := make([][]string, len(row))
		lines := 1
		for i, c := range row {
			w := p.wrap(c.text, widths[i]-2*cellPad, mostLines)
			if len(w) > mostLines {
				w[mostLines-1] = p.clipped(w[mostLines-1]+" "+w[mostLines], widths[i]-2*cellPad)
				w = w[:mostLines]
				if full != nil {
					full(r, c.text)
				}
			}
			wrapped[i], lines = w, max(lines, len(w))
		}
		h := float64(lines)*cellLine + 1.2
		if p.room(h) {
			top(title + " (continued)")
		}
		p.row(title, r, row, wrapped, columns, widths, h)
	}
}

func (p *pdf) head(columns []head, widths []float64, heads [][]string, grouped bool, height float64) {
	p.SetFillColor(30, 52, 74)
	p.Rect(pageLeft, p.y, sum(widths), height, "F")
	p.SetTextColor(255, 255, 255)
	p.font("B", cellSize-0.6)
	x, below := pageLeft, p.y
	if grouped {
		below += cellLine + 1
		p.SetDrawColor(150, 170, 190)
		p.SetLineWidth(0.15)
		for i := 0; i < len(columns); {
			w, k := 0.0, i
			for ; k < len(columns) && columns[k].group == columns[i].group; k++ {
				w += widths[k]
			}
			if g := columns[i].group; g != "" {
				p.Text(x+cellPad, p.y+cellLine, p.clipped(g, w-cellPad))
				p.Line(x+cellPad, below, x+w-cellPad, below)
			}
			x, i = x+w, k
		}
	}
	x = pageLeft
	for i, lines := range heads {
		for n, l := range lines {
			at := x + cellPad
			if columns[i].right {
				at = x + widths[i] - cellPad - p.GetStringWidth(l)
			}
			p.Text(at, below+float64(n+1)*cellLine-0.2, l)
		}
		x += widths[i]
	}
	p.y += height
}

func (p *pdf) row(title string, r int, row []entry, wrapped [][]string, columns []head, widths []float64, h float64) {
	p.ink()
	p.SetDrawColor(190, 196, 204)
	p.SetLineWidth(0.12)
	x := pageLeft
	for i, c := range row {
		if rgb, ok := report.Shades[c.style]; ok {
			p.SetFillColor(rgb[0], rgb[1], rgb[2])
			p.Rect(x, p.y, widths[i], h, "F")
		}
		p.Rect(x, p.y, widths[i], h, "D")
		if c.style == string(check.Fail) {
			p.font("B", cellSize)
		} else {
			p.font("", cellSize)
		}
		for n, l := range wrapped[i] {
			at := x + cellPad
			if columns[i].right {
				at = x + widths[i] - cellPad - p.GetStringWidth(l)
			}
			p.Text(at, p.y+float64(n+1)*cellLine-0.5, l)
		}
		if c.mark {
			p.SetFillColor(30, 52, 74)
			p.Polygon([]fpdf.PointType{{X: x, Y: p.y}, {X: x + 1.6, Y: p.y}, {X: x, Y: p.y + 1.6}}, "F")
		}
		if p.placed != nil {
			p.placed(cellArea{p.PageNo(), x, p.y, widths[i], h, title, r, columns[i], c.mark})
		}
		x += widths[i]
	}
	p.y += h
}

// widths shares the width of the page out. A column is as wide as its widest
// cell where that goes, and not narrower than its longest word as long as there
// is anything else to give.
func (p *pdf) widths(columns []head, rows [][]entry) []float64 {
	n := len(columns)
	natural, least := make([]float64, n), make([]float64, n)
	word := func(i int, s string) {
		for w := range strings.FieldsSeq(s) {
			least[i] = min(40, max(least[i], p.GetStringWidth(w)+2*cellPad+0.1))
		}
	}
	p.font("B", cellSize)
	for i, c := range columns {
		word(i, c.name)
		natural[i] = least[i]
	}
	for _, row := range rows {
		for i, c := range row {
			text := c.text
			if len(text) > 400 { // wider than any column
				text = text[:strings.LastIndexByte(text[:400], ' ')+1]
				least[i], natural[i] = 40, 80
			}
			word(i, text)
			natural[i] = min(80, max(natural[i], p.GetStringWidth(text)+2*cellPad+0.1))
		}
	}
	floor := slices.Clone(least)
	for i, c := range columns {
		if c.grow {
			floor[i] = max(min(natural[i], 30), min(least[i], 30))
		}
		natural[i] = max(natural[i], floor[i])
	}
	widths := slices.Clone(natural)
	give := func(may func(i int) bool) {
		over := sum(widths) - pageWidth
		spare := 0.0
		for i := range widths {
			if may(i) {
				spare += widths[i] - floor[i]
			}
		}
		if over <= 0 || spare <= 0 {
			return
		}
		share := min(1, over/spare)
		for i := range widths {
			if may(i) {
				widths[i] -= share * (widths[i] - floor[i])
			}
		}
	}
	give(func(i int) bool { return columns[i].grow })
	give(func(int) bool { return true })
	if over := sum(widths); over > pageWidth { // words of a hostile length
		for i := range widths {
			widths[i] *= pageWidth / over
		}
	}
	growing := 0
	for _, c := range columns {
		if c.grow {
			growing++
		}
	}
	if spare := pageWidth - sum(widths); spare > 0 && growing > 0 {
		// First to the columns that grow, up to a width that is still easy to
		// follow, then evenly to all.
		for i, c := range columns {
			if c.grow {
				widths[i] += min(spare/float64(growing), 30)
			}
		}
		spare = pageWidth - sum(widths)
		for i := range widths {
			widths[i] += spare / float64(n)
		}
	}
	return widths
}

func sum(all []float64) float64 {
	n := 0.0
	for _, x := range all {
		n += x
	}
	return n
}

// remainder are the texts that a table had no room for, which follow it.
type remainder struct {
	p    *pdf
	name func(row int) string
	all  []string
}

// inFull begins the texts that a table has no room for; name says whose a row is.
func (p *pdf) inFull(name func(row int) string) *remainder { return &remainder{p: p, name: name} }

func (w *remainder) add(row int, text string) {
	w.all = append(w.all, w.name(row)+", in full: "+text)
}

// write writes them below the table.
func (w *remainder) write() {
	for _, text := range w.all {
		w.p.item("•", text)
	}
}
