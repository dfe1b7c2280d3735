// Package paper lays a schedule of test results out on A4 pages and writes it as a PDF.
//
// page.go and table.go are the layout: where things go on a page, and how a table shares
// its width out. job.go, board.go, circuits.go, after.go and plots.go say what is on the
// pages, in the order in which they are written.
package paper

import (
	"io"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"waycall/internal/printable"
	"waycall/internal/report"
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
	draft                = "DRAFT"
	noSignature          = draft + ", not signed off" // above each page of a draft
	ohmSign              = "\u03a9"
)

// Write writes the schedule on A4 landscape, to be printed, read and signed: the
// job with its cautions and a statement; each board on pages of its own, with
// headings repeated where it goes on; what was corrected, by whom and why; what was
// left out and why; observations; what is left to do; the preparation; and plots.
// It is marked as a draft on every page unless the record is signed off; then it
// names who signed, when, and the sum of what was signed.
//
// A reading that took the place of another, or
// that a reviewer put in, has a corner mark, and a note says what it was before,
// why and by whom. A character that the
// fonts do not have is shown as a mark. The fonts are Go Regular and Go Bold.
//
// The same Schedule always gives the same bytes; the date of the file is that of
// the last event.
func Write(w io.Writer, s report.Schedule) error {
	p, err := layOut(s, nil)
	if err != nil {
		return err
	}
	return p.Output(w)
}

// pdf is a document being laid out.
type pdf struct {
	*fpdf.Fpdf
	s      report.Schedule
	y      float64        // where the next thing goes
	sign   string         // above each page
	notes  []string       // of the board being written
	placed func(cellArea) // told where each cell of a table went; nil but in tests
}

// cellArea is where on paper a cell of a table is, and which it is.
type cellArea struct {
	page       int
	x, y, w, h float64
	title      string // of the table
	row        int
	column     head
	mark       bool // of a corrected figure
}

// layOut writes the schedule; placed may be nil.
func layOut(s report.Schedule, placed func(cellArea)) (*pdf, error) {
	p := &pdf{Fpdf: fpdf.New("L", "mm", "A4", ""), s: s, placed: placed}
	p.AddUTF8FontFromBytes("go", "", goregular.TTF)
	p.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	p.SetAutoPageBreak(false, 0)
	p.SetCatalogSort(true)
	p.SetCreationDate(report.DateOf(s))
	p.SetModificationDate(report.DateOf(s))
	p.SetProducer("waycall", true)
	p.SetCreator("waycall", true)
	p.SetLang("en-GB")
	p.SetTitle(report.Title+", job "+shown(s.Job.Reference), true)

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
