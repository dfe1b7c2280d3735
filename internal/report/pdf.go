package report

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
)

// The page: A4 landscape, in mm.
const (
	pageLeft, pageRight  = 10.0, 287.0
	pageTop, pageBottom  = 23.0, 197.0
	pageWidth            = pageRight - pageLeft
	cellSize, cellLine   = 6.8, 3.0 // of the text in tables: points, and mm from line to line
	cellPad              = 1.2
	plainSize, plainLine = 8.0, 3.9
	mostLines            = 4 // of one cell of a table; the rest goes into a note
	pdfTitle             = "Schedule of circuit details and test results"
	draft                = "DRAFT"
	noSignature          = draft + ", not signed off" // above each page of a draft
	ohmSign              = "\u03a9"
)

// PDF writes the schedule on A4 landscape, to be printed, read and signed: the
// job with its cautions and a statement; each board on pages of its own, with
// headings repeated where it goes on; what was corrected, by whom and why; what was
// left out and why; observations; what is left to do; the preparation; and plots.
// It is marked as a draft on every page unless the record is signed off; then it
// names who signed, when, and the sum of what was signed.
//
// Columns that a person fills in by hand, as the record does not hold them, are
// empty and named below their table. A reading that took the place of another, or
// that a reviewer put in, has a corner mark, and a note says what it was before,
// why and by whom. A character that the
// fonts do not have is shown as a mark. The fonts are Go Regular and Go Bold.
//
// The same Schedule always gives the same bytes; the date of the file is that of
// the last event.
func (s Schedule) PDF(w io.Writer) error {
	p, err := s.pdf()
	if err != nil {
		return err
	}
	return p.Output(w)
}

// dateOf is the date of a file: that of the last event.
func dateOf(s Schedule) time.Time {
	when := s.Record.LastAt.UTC()
	if when.Year() < 1970 || when.Year() > 9999 { // of an empty log, or a clock out of its mind
		when = time.Unix(0, 0).UTC()
	}
	return when
}

// pdf is a document being laid out.
type pdf struct {
	*fpdf.Fpdf
	s     Schedule
	y     float64    // where the next thing goes
	sign  string     // above each page
	notes []string   // of the board being written
	cells []cellArea // where the figures went, for the tests
}

// cellArea is where on paper the cell of a table is.
type cellArea struct {
	page       int
	x, y, w, h float64
	key        string
	mark       bool // of a corrected figure
}

func (s Schedule) pdf() (*pdf, error) {
	p := &pdf{Fpdf: fpdf.New("L", "mm", "A4", ""), s: s}
	p.AddUTF8FontFromBytes("go", "", goregular.TTF)
	p.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	p.SetAutoPageBreak(false, 0)
	p.SetCatalogSort(true)
	p.SetCreationDate(dateOf(s))
	p.SetModificationDate(dateOf(s))
	p.SetProducer("waycall", true)
	p.SetCreator("waycall", true)
	p.SetLang("en-GB")
	p.SetTitle(pdfTitle+", job "+shown(s.Job.Reference), true)

	p.newPage()
	p.front()
	for _, b := range s.Boards {
		p.board(b)
	}
	p.after()
	p.plots()
	p.footers()
	return p, p.Error()
}

// glyphs are the characters of the basic plane that the fonts have.
var glyphs = sync.OnceValue(func() []bool {
	have := make([]bool, 0x10000)
	var buf sfnt.Buffer
	for i, data := range [][]byte{goregular.TTF, gobold.TTF} {
		f, err := sfnt.Parse(data)
		if err != nil {
			panic(err) // a font that is built in
		}
		for r := range have {
			g, err := f.GlyphIndex(&buf, rune(r))
			have[r] = err == nil && g != 0 && (i == 0 || have[r])
		}
	}
	return have
})

// shown is s as it is printed: one line of characters that the fonts have.
func shown(s string) string {
	have := glyphs()
	return strings.Map(func(r rune) rune {
		if int(r) >= len(have) || !have[r] {
			return unicode.ReplacementChar
		}
		return r
	}, printable.Words(s))
}

// --- pages

func (p *pdf) newPage() {
	p.AddPage()
	if p.s.Signed == nil {
		p.TransformBegin()
		p.TransformRotate(30, 148, 110)
		p.font("B", 150)
		p.SetTextColor(241, 241, 241)
		p.Text(148-p.GetStringWidth(draft)/2, 130, draft)
		p.TransformEnd()
	}

	p.ink()
	p.font("B", 12)
	p.Text(pageLeft, 14, pdfTitle)
	p.font("", plainSize)
	p.Text(pageLeft, 18.4, p.clipped("Job "+shown(p.s.Job.Reference)+", "+shown(p.s.Job.Address), 215))
	p.font("B", 9)
	if p.sign == "" {
		p.sign = p.clipped(p.s.signature(), 170)
	}
	p.right(pageRight, 14, p.sign)
	p.SetDrawColor(30, 52, 74)
	p.SetLineWidth(0.5)
	p.Line(pageLeft, 20, pageRight, 20)
	p.y = pageTop
}

// signature is what stands above each page: that it is a draft, or who signed.
func (s Schedule) signature() string {
	if s.Signed == nil {
		return noSignature
	}
	return "Signed off by " + shown(s.Signed.Name) + " (" + shown(s.Signed.Initials) + "), " + s.Signed.At.UTC().Format("2006-01-02 15:04 UTC")
}

// footers come last, when it is known how many pages there are.
func (p *pdf) footers() {
	all := p.PageCount()
	record := "Record: event " + strconv.FormatInt(p.s.Record.LastEvent, 10)
	if p.s.Record.Sum != "" {
		record += ", sum " + shown(p.s.Record.Sum)
	}
	for n := 1; n <= all; n++ {
		p.SetPage(n)
		p.SetDrawColor(150, 150, 150)
		p.SetLineWidth(0.2)
		p.Line(pageLeft, 200, pageRight, 200)
		p.ink()
		p.font("", 6.5)
		p.Text(pageLeft, 203.5, p.clipped(record, 240))
		p.right(pageRight, 203.5, fmt.Sprintf("Page %d of %d", n, all))
	}
}

func (p *pdf) font(style string, size float64) { p.SetFont("go", style, size) }

func (p *pdf) ink() { p.SetTextColor(25, 30, 36) }

func (p *pdf) right(x, y float64, s string) { p.Text(x-p.GetStringWidth(s), y, s) }

// room begins a page where less than h mm are left, and says whether it did.
func (p *pdf) room(h float64) bool {
	if p.y+h <= pageBottom {
		return false
	}
	p.newPage()
	return true
}

// clipped is s, cut where it is wider than w.
func (p *pdf) clipped(s string, w float64) string {
	if end, _ := p.reach(s, w); end == len(s) {
		return s
	}
	end, _ := p.reach(s, w-p.GetStringWidth("…"))
	return strings.TrimRight(s[:end], " ") + "…"
}

// wrap breaks s, which is printable, into lines of at most w mm in the font that
// is set. Beyond most lines there is one more with the rest; most 0 is no limit.
func (p *pdf) wrap(s string, w float64, most int) []string {
	if end, _ := p.reach(s, w); end == len(s) {
		return []string{s}
	}
	var lines []string
	line, used := "", 0.0
	_, space := p.reach(" ", w)
	for len(s) > 0 {
		if most > 0 && len(lines) == most {
			return append(lines, s)
		}
		word, rest, more := strings.Cut(s, " ")
		end, width := p.reach(word, w)
		switch {
		case end == len(word) && line == "":
			line, used = word, width
		case end == len(word) && used+space+width <= w:
			line, used = line+" "+word, used+space+width
		case line != "":
			lines, line = append(lines, line), ""
			continue
		default: // a word longer than a whole line
			if end == 0 {
				_, end = utf8.DecodeRuneInString(word)
			}
			lines, s = append(lines, word[:end]), s[end:]
			continue
		}
		if s = rest; !more {
			break
		}
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// reach returns how far s goes within w mm in the font that is set, and how wide
// that is. It measures no more than it has to of a hostile length.
func (p *pdf) reach(s string, w float64) (end int, width float64) {
	_, size := p.GetFontSize()
	for i, r := range s {
		step := float64(p.GetStringSymbolWidth(s[i:i+utf8.RuneLen(r)])) * size / 1000
		if width+step > w {
			return i, width
		}
		width += step
	}
	return len(s), width
}

func (p *pdf) heading(s string) {
	p.room(14)
	p.y += 2.5
	p.ink()
	p.font("B", 9.5)
	p.Text(pageLeft, p.y+3, p.clipped(s, pageWidth))
	p.y += 5.5
}

// item writes a paragraph after a mark, over as many pages as it needs.
func (p *pdf) item(mark, s string) {
	p.ink()
	p.font("", plainSize)
	indent := 0.0
	if mark != "" {
		indent = max(4, p.GetStringWidth(mark)+1.5)
	}
	for i, l := range p.wrap(shown(s), pageWidth-indent, 0) {
		if p.room(plainLine) {
			p.ink()
			p.font("", plainSize)
		}
		if i == 0 {
			p.Text(pageLeft, p.y+3, mark)
		}
		p.Text(pageLeft+indent, p.y+3, l)
		p.y += plainLine
	}
}

// field writes a name and what it is.
func (p *pdf) field(name, s string) {
	p.ink()
	for i, l := range p.fieldLines(s) {
		p.room(plainLine)
		p.ink()
		if i == 0 {
			p.font("B", plainSize)
			p.Text(pageLeft, p.y+3, name)
		}
		p.font("", plainSize)
		p.Text(pageLeft+34, p.y+3, l)
		p.y += plainLine
	}
}

func (p *pdf) fieldLines(s string) []string {
	p.font("", plainSize)
	return p.wrap(shown(s), pageWidth-34, 0)
}

// --- tables

// column is one of a table.
type column struct {
	group string // columns side by side with the same one stand below it
	head  string
	grow  bool // it takes what width there is to spare, and gives first
	right bool
}

// entry is what stands in one cell.
type entry struct {
	text  string
	key   string // by which the tests know it
	mark  bool   // it took the place of another
	style string // the result, which is shaded
}

var shades = map[string][3]int{string(check.Fail): {246, 200, 196}, string(check.Investigate): {252, 232, 190}, string(check.CannotSay): {228, 228, 236}}

// table writes a table below its title, with title and heads again on each page
// that it goes on to. full is called with what a cell has no room for.
func (p *pdf) table(title string, columns []column, rows [][]entry, full func(row int, text string)) {
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
		heads[i] = p.wrap(c.head, widths[i]-2*cellPad, 0)
		high = max(high, len(heads[i]))
	}
	grouped := slices.ContainsFunc(columns, func(c column) bool { return c.group != "" })
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
		p.row(row, wrapped, columns, widths, h)
	}
}

func (p *pdf) head(columns []column, widths []float64, heads [][]string, grouped bool, height float64) {
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

func (p *pdf) row(row []entry, wrapped [][]string, columns []column, widths []float64, h float64) {
	p.ink()
	p.SetDrawColor(190, 196, 204)
	p.SetLineWidth(0.12)
	x := pageLeft
	for i, c := range row {
		if rgb, ok := shades[c.style]; ok {
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
		if c.key != "" {
			p.cells = append(p.cells, cellArea{p.PageNo(), x, p.y, widths[i], h, c.key, c.mark})
		}
		x += widths[i]
	}
	p.y += h
}

// widths shares the width of the page out. A column is as wide as its widest
// cell where that goes, and not narrower than its longest word as long as there
// is anything else to give.
func (p *pdf) widths(columns []column, rows [][]entry) []float64 {
	n := len(columns)
	natural, least := make([]float64, n), make([]float64, n)
	word := func(i int, s string) {
		for w := range strings.FieldsSeq(s) {
			least[i] = min(40, max(least[i], p.GetStringWidth(w)+2*cellPad+0.1))
		}
	}
	p.font("B", cellSize)
	for i, c := range columns {
		word(i, c.head)
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
	least2 := slices.Clone(least)
	for i, c := range columns {
		if c.grow {
			least2[i] = max(min(natural[i], 30), min(least[i], 30))
		}
		natural[i] = max(natural[i], least2[i])
	}
	widths := slices.Clone(natural)
	give := func(may func(i int) bool) {
		over := sum(widths) - pageWidth
		spare := 0.0
		for i := range widths {
			if may(i) {
				spare += widths[i] - least2[i]
			}
		}
		if over <= 0 || spare <= 0 {
			return
		}
		share := min(1, over/spare)
		for i := range widths {
			if may(i) {
				widths[i] -= share * (widths[i] - least2[i])
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

// --- what is on the pages

func (p *pdf) front() {
	s, j := p.s, p.s.Job
	p.heading("The job")
	p.field("Reference", j.Reference)
	p.field("Address", j.Address)
	p.field("Date", j.Date)
	p.field("Tested by", j.testers())
	if j.Edition != "" {
		p.field("Judged by", j.Edition)
	}
	p.field("Instrument", fmt.Sprintf("serial %s, calibration checked %s, insulation scale ends at %s M%s", j.Instrument, j.Checked, number(j.OverRange), ohmSign))
	if len(j.Limited) > 0 {
		p.field("Limited to", strings.Join(j.Limited, ", "))
	}
	p.field("Record", s.Record.text())
	if s.Record.Sum != "" {
		p.field("Sum of the record", s.Record.Sum)
		p.item("", "The sum stands for every event of the record up to the last one named here. While that event is the last, waycall verify prints the same sum of the record that this paper was made from.")
	}
	var rows [][]entry
	for _, b := range s.Boards {
		ways, lines, left := 0, 0, 0
		for _, l := range s.Lines {
			if l.Board == b.Number && !l.Spare {
				lines++
				if l.Position <= 1 {
					ways++
				}
				for _, c := range l.Cells {
					if c.Status == ToDo || c.Status == Waiting {
						left++
					}
				}
			}
		}
		from := "origin"
		if b.FedFrom != 0 {
			from = fmt.Sprintf("board %d, way %d", b.FedFrom, b.FedFromWay)
		}
		tests := fmt.Sprintf("%d to do", left)
		if left == 0 {
			tests = "all made or left out with a reason"
		}
		if b.OnlyIsolated {
			tests = "only isolated, not tested"
		}
		rows = append(rows, []entry{{text: strconv.Itoa(b.Number)}, {text: b.Name}, {text: from}, {text: strconv.Itoa(ways)}, {text: tests}, {text: worstOf(b, s.Lines), style: worstOf(b, s.Lines)}})
	}
	if len(rows) > 0 {
		p.table("Boards", []column{{head: "Board"}, {head: "Name", grow: true}, {head: "Fed from"}, {head: "Ways in use", right: true}, {head: "Tests on its ways"}, {head: "Worst result"}}, rows, nil)
	}
	p.heading("Cautions")
	for _, c := range s.Cautions {
		p.item("•", c)
	}
	p.statement()
}

// worstOf is the worst result at a board and on its ways.
func worstOf(b Board, lines []Line) string {
	worst := slices.Index(badness, b.Result)
	for _, l := range lines {
		if l.Board == b.Number {
			worst = max(worst, slices.Index(badness, l.Result))
		}
	}
	if worst < 0 {
		return "none"
	}
	return badness[worst]
}

// The statement is ours. It is about the record, and says nothing about the
// installation.
const statement = "I took the readings in this schedule, or directed those who took them, with the instrument named above. " +
	"I have read the schedule with its notes, what was left out and why, and what is left to do, and it agrees with what was read. " +
	"I sign for this record of readings and for nothing else: what follows from it for the installation is for the competent person to judge, with the inspection."

func (p *pdf) statement() {
	p.room(64)
	p.heading("Statement of the competent person")
	p.item("", statement)
	if g := p.s.Signed; g == nil {
		p.item("", "This is a draft. It is not to be signed before it is signed off in the record.")
	} else {
		p.field("Signed off by", g.Name+" ("+g.Initials+")")
		p.field("At", fmt.Sprintf("%s, as event %d of the record", g.At.UTC().Format("2006-01-02 15:04:05 UTC"), g.Event))
		p.field("Sum as signed", g.Sum)
	}
	p.SetDrawColor(60, 60, 60)
	p.SetLineWidth(0.2)
	for _, who := range []string{"Tested by", "Checked by"} {
		p.room(12)
		p.y += 8
		p.ink()
		p.font("B", plainSize)
		p.Text(pageLeft, p.y, who)
		x := pageLeft + 24
		p.font("", plainSize)
		for _, f := range []struct {
			name  string
			width float64
		}{{"Name", 56}, {"Position", 46}, {"Signature", 66}, {"Date", 34}} {
			p.Text(x, p.y, f.name)
			at := x + p.GetStringWidth(f.name) + 1.5
			p.Line(at, p.y+0.6, x+f.width, p.y+0.6)
			x += f.width + 6
		}
	}
	p.y += 4
}

func (p *pdf) board(b Board) {
	p.newPage()
	p.notes = nil
	name := fmt.Sprintf("Board %d: %s", b.Number, shown(b.Name))
	p.heading(name)
	from := "origin of the installation"
	if b.FedFrom != 0 {
		from = fmt.Sprintf("board %d, way %d", b.FedFrom, b.FedFromWay)
	}
	surge := "no surge protection"
	if b.SurgeProtection {
		surge = "surge protection fitted"
	}
	if p.clipped(name, pageWidth) != name {
		p.field("Name", b.Name)
	}
	p.field("Supply", fmt.Sprintf("%s, %s V line to earth, %s, from %s, %s", b.Earthing, number(b.Voltage), plural(b.Phases, "single-phase", "three-phase"), from, surge))
	if text := given(", ", "Ze", b.DeclaredZe, ohmSign, "fault current", b.DeclaredPFC, "kA", "conditional rating of the board", b.Conditional, "kA"); text != "" {
		p.field("Declared", text)
	}
	if b.Zdb != "" {
		p.field("Zdb", fmt.Sprintf("%s, Zs of way %d of board %d", b.Zdb, b.FedFromWay, b.FedFrom))
	}
	if text := b.Main.long(); text != "" {
		p.field("Main switch", text)
	}
	conductors := given(", ", "earthing", b.EarthingConductor, "mm²", "bonding", b.BondingSize, "mm²")
	if len(b.Bonding) > 0 {
		conductors = strings.TrimPrefix(conductors+"; bonded: "+strings.Join(b.Bonding, ", "), "; ")
	}
	conductors = strings.TrimPrefix(conductors+b.allBonded(), "; ")
	if conductors != "" {
		p.field("Conductors", conductors)
	}
	if b.OnlyIsolated {
		p.field("Tests", "Only isolated: nothing on it was tested.")
		return
	}
	for _, l := range p.s.Limits {
		if l.Board == b.Number {
			p.field("Insulation limit", fmt.Sprintf("%s M%s at %s V DC, %s%s; %s", number(l.Least), ohmSign, number(l.Volts), plural(len(l.Ways), "way ", "ways "), numbers(l.Ways), l.Source))
		}
	}
	p.atBoard(b)
	var lines []Line
	for _, l := range p.s.Lines {
		if l.Board == b.Number {
			lines = append(lines, l)
		}
	}
	p.ways(b, lines)
	if len(p.notes) > 0 {
		p.heading(fmt.Sprintf("Board %d: notes", b.Number))
		for i, n := range p.notes {
			p.item(strconv.Itoa(i+1), n)
		}
	}
}

func (p *pdf) note(format string, args ...any) {
	p.notes = append(p.notes, fmt.Sprintf(format, args...))
}

func (p *pdf) atBoard(b Board) {
	for _, r := range b.Remarks {
		p.note("The board, %s", r)
	}
	var rows [][]entry
	for _, c := range b.Cells {
		test := string(c.Test)
		if service := b.service(c.Position); c.Test == reading.Bonding && service != "" {
			test += ", " + service
		}
		e := c.entry(key(b.Number, 0, 0, c))
		e.mark = c.Edited != nil || corrected(b.Tested, c.Test, c.Position)
		rows = append(rows, []entry{{text: test}, e, {text: unit(c)}, {text: known(c.Volts)}, {text: c.Result, style: c.Result}, {text: c.Why}})
	}
	if len(rows) == 0 {
		return
	}
	p.table(fmt.Sprintf("Board %d: tests at the board itself, %s", b.Number, b.outcome()),
		[]column{{head: "Test", grow: true}, {head: "Reading", right: true}, {head: "Unit"}, {head: "Test V", right: true}, {head: "Result"}, {head: "Why", grow: true}}, rows,
		func(row int, text string) { p.note("The board, %s, in full: %s", b.Cells[row].name(), text) })
}

func unit(c Cell) string {
	if c.Status != Recorded {
		return ""
	}
	return withOhm(c.Unit)
}

// withOhm writes the sign for the word.
func withOhm(unit string) string { return strings.ReplaceAll(unit, "ohm", ohmSign) }

// key names a cell for the tests.
func key(board, way, line int, c Cell) string {
	return fmt.Sprintf("%d/%d/%d/%s/%d", board, way, line, c.Test, c.Position)
}

func (c *Cell) entry(key string) entry {
	if c == nil {
		return entry{}
	}
	e := entry{text: c.text(), key: key}
	if c.Status == Recorded && c.Result != string(check.Pass) {
		e.style = c.Result
	}
	return e
}

// corrected reports whether a test has readings that no longer stand. At
// position 0 any will do.
func corrected(t Tested, test reading.Test, position int) bool {
	return slices.ContainsFunc(t.Earlier, func(c Cell) bool { return c.Test == test && c.Position == position })
}

// testColumn is a column of test results. Those of the model forms are always
// there, the others where a line has something to say of them.
type testColumn struct {
	test   reading.Test
	group  string
	head   string
	always bool
}

var deadColumns = []testColumn{
	{reading.RingR1, "Ring, end to end Ω", "r1", true}, {reading.RingRn, "Ring, end to end Ω", "rn", true}, {reading.RingR2, "Ring, end to end Ω", "r2", true},
	{reading.RingLN, "At the points Ω", "L-N", false}, {reading.RingLE, "At the points Ω", "L-E", false},
	{reading.R1R2, "Continuity Ω", "R1+R2", true}, {reading.R2, "Continuity Ω", "R2", true},
	{reading.LNE, "Insulation MΩ", "LN-E", true}, {reading.LE, "Insulation MΩ", "L-E", false}, {reading.NE, "Insulation MΩ", "N-E", false},
	{reading.LN, "Insulation MΩ", "L-N", true}, {reading.LL, "Insulation MΩ", "L-L", false},
	{reading.L1E, "Insulation MΩ", "L1-E", false}, {reading.L2E, "Insulation MΩ", "L2-E", false}, {reading.L3E, "Insulation MΩ", "L3-E", false},
	{reading.L1L2, "Insulation MΩ", "L1-L2", false}, {reading.L2L3, "Insulation MΩ", "L2-L3", false}, {reading.L1L3, "Insulation MΩ", "L1-L3", false},
	{reading.L1N, "Insulation MΩ", "L1-N", false}, {reading.L2N, "Insulation MΩ", "L2-N", false}, {reading.L3N, "Insulation MΩ", "L3-N", false},
	{reading.Polarity, "", "Polarity", true},
}

var liveColumns = []testColumn{
	{reading.Zs, "Earth fault loop Ω", "Zs", true},
	{reading.PFC, "Fault current kA", "PFC", false}, {reading.PSC, "Fault current kA", "PSC", false},
	{reading.RCDHalf, "RCD", "at half", false}, {reading.RCD1x, "RCD", "1x ms", true}, {reading.RCD5x, "RCD", "5x ms", false},
	{reading.RCDRamp, "RCD", "ramp mA", false}, {reading.RCDButton, "RCD", "button", true},
	{reading.PhaseSequence, "", "Phase sequence", false}, {reading.Functional, "", "Functional", false},
}

// ways writes the circuits of a board in three tables: what they are, the dead
// tests, the live tests with the outcome.
func (p *pdf) ways(b Board, lines []Line) {
	marks := make([][]string, len(lines))
	add := func(i int, format string, args ...any) {
		p.note(format, args...)
		marks[i] = append(marks[i], strconv.Itoa(len(p.notes)))
	}
	for i, l := range lines {
		for _, r := range l.Remarks {
			add(i, "%s, %s", l.name(), r)
		}
		var points []string
		for _, c := range l.Cells {
			if ofRing(c.Test) && c.Position > 0 {
				points = append(points, c.name()+" "+strings.TrimSpace(c.text()+" "+unit(c)))
			}
		}
		if len(points) > 0 {
			add(i, "%s, point by point: %s", l.name(), strings.Join(points, ", "))
		}
	}
	if len(lines) == 0 {
		return
	}
	sw := slices.ContainsFunc(lines, func(l Line) bool { return l.Position > 0 })
	begin := func(l Line, i int, what string) []entry {
		name := l.Feeds
		if l.Spare {
			name = strings.TrimSpace("spare " + name)
		}
		row := []entry{{text: strconv.Itoa(l.Way), key: fmt.Sprintf("%s way/%d/%d", what, l.Board, i)}}
		if sw {
			row = append(row, entry{text: l.sw()})
		}
		return append(row, entry{text: name, key: fmt.Sprintf("%s feeds/%d/%d", what, l.Board, i)})
	}
	heads := []column{{group: "Circuit", head: "Way", right: true}}
	if sw {
		heads = append(heads, column{group: "Circuit", head: "Sw", right: true})
	}
	heads = append(heads, column{group: "Circuit", head: "Feeds", grow: true})

	full := func(row int, text string) { add(row, "%s, in full: %s", lines[row].name(), text) }
	columns := slices.Concat(heads, []column{
		{"Circuit", "Wiring", false, false}, {"Circuit", "Ref. method", false, false}, {"Circuit", "Phase", false, false}, {"Circuit", "Points", false, true}, {"Circuit", "Length m", false, true},
		{"Conductors", "Live mm²", false, true}, {"Conductors", "cpc mm²", false, true}, {"Conductors", "Material", false, false}, {"Conductors", "N bar", false, false},
		{"Protective device", "BS (EN)", false, false}, {"Protective device", "Type", false, false}, {"Protective device", "Rating A", false, true}, {"Protective device", "Trip A", false, true}, {"Protective device", "Breaking kA", false, true},
		{"RCD", "BS (EN)", false, false}, {"RCD", "Type", false, false}, {"RCD", "Rated mA", false, true}, {"RCD", "Delay", false, false},
		{"Limits", "Time s", false, true}, {"Limits", "Zs Ω", false, true},
	})
	var rows [][]entry
	for i, l := range lines {
		d, cpc, delay := l.Device, known(l.CPC), ""
		if l.CPCKind == string(board.Steel) || l.CPCKind == string(board.Armour) {
			cpc = l.CPCKind
		}
		if d.RCDDelayed {
			delay = "S"
		}
		row := begin(l, i, "details")
		for _, f := range []struct{ name, text string }{
			{"wiring", l.Wiring}, {"", ""}, {"phase", l.phase()}, {"points", known(float64(l.Points))}, {"length", known(l.Length)},
			{"line", known(l.Line)}, {"cpc", cpc}, {"material", l.Material}, {"neutral", l.Neutral},
			{"standard", d.Standard}, {"type", d.Type}, {"rating", known(d.Rating)}, {"trip", known(d.Trip)}, {"breaking", known(d.Breaking)},
			{"RCD standard", d.RCDStandard}, {"RCD type", d.RCDType}, {"RCD rated", known(d.RCDRated)}, {"RCD delay", delay}, {"max time", known(l.MaxTime)}, {"max Zs", l.maxZs()},
		} {
			e := entry{text: f.text}
			if f.name != "" {
				e.key = fmt.Sprintf("%s/%d/%d", f.name, l.Board, i)
			}
			row = append(row, e)
		}
		rows = append(rows, row)
	}
	p.table(fmt.Sprintf("Board %d: circuit details", b.Number), columns, rows, full)
	p.item("", "The record does not hold the reference method: to be filled in by hand. Time is the disconnection time that Table 41.1 allows. The limit of Zs is at operating temperature; ? where it is not known.")

	results := func(title string, tests []testColumn, dead bool) {
		var show []testColumn
		for _, t := range tests {
			if t.always || slices.ContainsFunc(lines, func(l Line) bool { return l.cell(t.test) != nil }) {
				show = append(show, t)
			}
		}
		columns, volts := slices.Clone(heads), false
		for _, t := range show {
			if t.test.Insulation() && !volts {
				volts = true
				columns = append(columns, column{t.group, "Test V", false, true})
			}
			columns = append(columns, column{t.group, t.head, false, true})
			if t.test == reading.Zs {
				columns = append(columns, column{t.group, "cold limit", false, true})
			}
		}
		if !dead {
			columns = append(columns, column{head: "AFDD button"}, column{head: "Result"})
		}
		columns = append(columns, column{head: "Notes"})
		var rows [][]entry
		for i, l := range lines {
			row, volts := begin(l, i, title), false
			for _, t := range show {
				if t.test.Insulation() && !volts {
					volts = true
					row = append(row, entry{text: l.volts(columnsOf(show)), key: fmt.Sprintf("volts/%d/%d", l.Board, i)})
				}
				c := l.cell(t.test)
				e := entry{}
				if c != nil {
					e = c.entry(key(l.Board, l.Way, l.Position, *c))
					e.mark = slices.ContainsFunc(l.Earlier, func(old Cell) bool { return old.Test == t.test }) ||
						slices.ContainsFunc(l.Cells, func(c Cell) bool { return c.Test == t.test && c.Edited != nil })
				}
				row = append(row, e)
				if t.test == reading.Zs {
					cold := ""
					if l.MaxZs != nil {
						cold = significant3(l.MaxZs.Measured)
					}
					row = append(row, entry{text: cold, key: fmt.Sprintf("cold/%d/%d", l.Board, i)})
				}
			}
			if !dead {
				row = append(row, entry{}, entry{text: l.outcome(), key: fmt.Sprintf("result/%d/%d", l.Board, i), style: l.Result})
			}
			rows = append(rows, append(row, entry{text: strings.Join(marks[i], " "), key: fmt.Sprintf("%s notes/%d/%d", title, l.Board, i)}))
		}
		p.table(fmt.Sprintf("Board %d: %s", b.Number, title), columns, rows, nil)
	}
	results("dead tests", deadColumns, true)
	p.item("", "Of several points of a ring the highest stands here, the rest in the notes. A corner mark: the figure was corrected, see the notes. LIM: limitation. N/A: not applicable.")
	results("live tests and result", liveColumns, false)
	p.item("", "The cold limit is what Zs was held against. The record does not hold tests of arc fault devices: to be filled in by hand.")
}

func columnsOf(show []testColumn) []reading.Test {
	var all []reading.Test
	for _, t := range show {
		all = append(all, t.test)
	}
	return all
}

// corrections writes every reading that was corrected: from, to, why, by whom.
func (p *pdf) corrections() {
	all := p.s.corrections()
	if len(all) == 0 {
		p.heading("Corrected readings")
		p.item("", "None is recorded.")
		return
	}
	var rows [][]entry
	for i, c := range all {
		way, at, test := strconv.Itoa(c.Way), "", string(c.Test)
		if c.Way == 0 {
			way = "the board"
		}
		if c.Line > 0 {
			way += ", switch position " + strconv.Itoa(c.Line)
		}
		if c.Position > 0 && (ofRing(c.Test) || c.Test == reading.Bonding) {
			test = slotTest(c.Test, c.Position)
		}
		if !c.At.IsZero() {
			at = c.At.UTC().Format("2006-01-02 15:04 UTC")
		}
		row := []entry{{text: strconv.Itoa(c.Board)}, {text: way}, {text: test}, {text: withOhm(c.From)}, {text: withOhm(c.To)}, {text: c.What}, {text: c.Why}, {text: c.By}, {text: at}}
		for k, name := range []string{"", "", "test", "from", "to", "what", "why", "by", "at"} {
			if name != "" {
				row[k].key = fmt.Sprintf("corrected %s/%d", name, i)
			}
		}
		rows = append(rows, row)
	}
	rest := p.inFull(func(row int) string {
		return fmt.Sprintf("Board %d, way %d, %s", all[row].Board, all[row].Way, all[row].Test)
	})
	p.table("Corrected readings", []column{{head: "Board"}, {head: "Way"}, {head: "Test"}, {head: "From"}, {head: "To"}, {head: "What became of it"}, {head: "Why", grow: true}, {head: "By"}, {head: "At"}}, rows, rest.add)
	rest.write()
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

// after writes what belongs to all boards: what was corrected, what was left out,
// observations and notes, what is left to do, the preparation.
func (p *pdf) after() {
	s := p.s
	p.newPage()
	p.corrections()
	var rows [][]entry
	var names []string
	add := func(board, way string, t Tested) {
		for _, c := range t.Cells {
			switch c.Status {
			case Skipped, NotApplicable, Limitation, Waived, Accepted, NotAsked:
				reason := sentence(c.Reason)
				if c.Settled != nil {
					reason += " Let be so by " + c.Settled.by() + "."
				}
				rows = append(rows, []entry{{text: board}, {text: way}, {text: c.name()}, {text: string(c.Status)}, {text: reason}, {text: c.Source}})
				names = append(names, fmt.Sprintf("Board %s, %s, %s", board, way, c.name()))
			}
		}
	}
	for _, b := range s.Boards {
		add(strconv.Itoa(b.Number), "the board", b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				way := strconv.Itoa(l.Way)
				if l.Position > 0 {
					way += ", switch position " + l.sw()
				}
				add(strconv.Itoa(b.Number), way, l.Tested)
			}
		}
	}
	if len(rows) > 0 {
		rest := p.inFull(func(row int) string { return names[row] })
		p.table("Limitations and tests left out", []column{{head: "Board"}, {head: "Way"}, {head: "Test"}, {head: "What became of it"}, {head: "Reason", grow: true}, {head: "Source", grow: true}}, rows, rest.add)
		rest.write()
	} else {
		p.heading("Limitations and tests left out")
		p.item("", "None is recorded.")
	}
	p.observations()
	p.notesMade()
	p.heading("Left to do")
	if len(s.ToDo) == 0 {
		p.item("", "Every test was made or left out with a reason.")
	}
	for _, item := range s.ToDo {
		p.item("•", item)
	}
	if len(s.Preparation) > 0 {
		var rows [][]entry
		for _, step := range s.Preparation {
			answer, at := step.Answer, ""
			if answer == "" {
				answer = "not answered"
			}
			if step.At != nil {
				at = step.At.Format("2006-01-02 15:04 UTC")
			}
			rows = append(rows, []entry{{text: strconv.Itoa(step.Board)}, {text: step.Step}, {text: answer}, {text: at}, {text: step.Reason}})
		}
		rest := p.inFull(func(row int) string { return s.Preparation[row].Step })
		p.table("Preparation, as answered by the tester", []column{{head: "Board"}, {head: "Step", grow: true}, {head: "Answer"}, {head: "At"}, {head: "Reason", grow: true}}, rows, rest.add)
		rest.write()
	}
}
