package report

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"waycall/internal/check"
	"waycall/internal/printable"
)

// mostInCell is how much text a cell of the format can hold, in characters of 16
// bits, less the mark that says that it was cut.
const mostInCell = 32_767 - 1

// XLSX writes the schedule as a workbook: sheets for the job, the boards, the
// circuits, every reading and what was left out, the corrections, the observations,
// the preparation, what is left to do, and the cautions. The first row of each names its columns and stays in
// view.
//
// A reading without a bound is a number, shown with the places that it was read
// with; one with a bound is text, ">999". All other text is text, never a
// formula, whatever it begins with, with line breaks as spaces and invisible
// characters as marks. Nothing in it depends on the clock: the same Schedule
// always gives the same bytes.
func (s Schedule) XLSX(w io.Writer) error {
	b := book{File: excelize.NewFile()}
	defer b.Close()
	b.try(b.SetDocProps(&excelize.DocProperties{Creator: "waycall", LastModifiedBy: "waycall", Title: bounded(pdfTitle + ", job " + s.Job.Reference), Description: bounded(s.status()), Created: stamp(s), Modified: stamp(s)}))
	b.style()
	j := s.Job
	job := [][]any{
		{"Status", s.status()}, {"Reference", j.Reference}, {"Address", j.Address}, {"Date", j.Date}, {"Tester", j.testers()},
		{"Instrument serial", j.Instrument}, {"Instrument checked", j.Checked}, {"Insulation scale ends at Mohm", j.OverRange}, {"Judged by", j.Edition}, {"Limited to", strings.Join(j.Limited, ", ")},
		{"Last event", strconv.FormatInt(s.Record.LastEvent, 10)}, {"Time of the last event", s.Record.LastAt.UTC().Format("2006-01-02 15:04:05 UTC")}, {"Sum of the last event", s.Record.Sum},
		{"Sessions", float64(s.Record.Sessions)}, {"Finished", yes(s.Record.Finished)}, {"Complete", yes(s.Record.Complete)},
	}
	if g := s.Signed; g != nil {
		job = append(job, []any{"Signed off by", g.Name}, []any{"Initials", g.Initials}, []any{"Signed off at", g.At.UTC().Format("2006-01-02 15:04:05 UTC")}, []any{"Signed off as event", strconv.FormatInt(g.Event, 10)}, []any{"Sum of what was signed", g.Sum})
	}
	b.sheet("Job", []string{"", "Value"}, job)
	b.sheet("Boards", boardHead, s.boardRows())
	b.sheet("Circuits", circuitHead(), s.circuitRows())
	b.sheet("Readings", readingHead, s.readingRows())
	b.sheet("Corrections", correctionHead, s.correctionRows())
	var rows [][]any
	for _, o := range s.Observations {
		rows = append(rows, []any{float64(o.Board), float64(o.Way), o.Code, o.Text, o.At.UTC().Format("2006-01-02 15:04:05 UTC"), perhaps(float64(o.Event)), perhaps(float64(o.Heard))})
	}
	b.sheet("Observations", []string{"Board", "Way", "Code", "Observation", "At", "Event", "Heard in event"}, rows)
	rows = nil
	for _, n := range s.Notes {
		rows = append(rows, []any{float64(n.Board), float64(n.Way), n.Text, n.At.UTC().Format("2006-01-02 15:04:05 UTC"), perhaps(float64(n.Event)), perhaps(float64(n.Heard))})
	}
	b.sheet("Notes", []string{"Board", "Way", "Note", "At", "Event", "Heard in event"}, rows)
	rows = nil
	for _, p := range s.Preparation {
		at := ""
		if p.At != nil {
			at = p.At.UTC().Format("2006-01-02 15:04:05 UTC")
		}
		rows = append(rows, []any{float64(p.Board), p.Step, p.Answer, p.Reason, at})
	}
	b.sheet("Preparation", []string{"Board", "Step", "Answer", "Reason", "At"}, rows)
	b.sheet("Left to do", []string{"What"}, column1(s.ToDo))
	b.sheet("Cautions", []string{"Caution"}, column1(s.Cautions))
	if b.err == nil {
		b.err = b.DeleteSheet("Sheet1")
	}
	if b.err != nil {
		return fmt.Errorf("the workbook cannot be made: %w", b.err)
	}
	_, err := b.WriteTo(w)
	return err
}

func stamp(s Schedule) string { return dateOf(s).Format("2006-01-02T15:04:05Z") }

func column1(all []string) [][]any {
	rows := make([][]any, len(all))
	for i, s := range all {
		rows[i] = []any{s}
	}
	return rows
}

var boardHead = []string{
	"Board", "Name", "Earthing", "Voltage V", "Phases", "Surge protection", "Only isolated", "Fed from board", "Fed from way", "Zdb", "Declared Ze ohm", "Declared fault current kA", "Conditional rating kA",
	"Main standard", "Main type", "Main rating A", "Main RCD mA", "Earthing conductor mm2", "Bonded", "Bonding mm2", "All bonded", "Result", "Complete", "Remarks",
}

func (s Schedule) boardRows() [][]any {
	var rows [][]any
	for _, b := range s.Boards {
		rows = append(rows, []any{
			float64(b.Number), b.Name, b.Earthing, b.Voltage, float64(b.Phases), yes(b.SurgeProtection), yes(b.OnlyIsolated), perhaps(float64(b.FedFrom)), perhaps(float64(b.FedFromWay)), b.Zdb, perhaps(b.DeclaredZe), perhaps(b.DeclaredPFC), perhaps(b.Conditional),
			b.Main.Standard, b.Main.Type, perhaps(b.Main.Rating), perhaps(b.Main.RCDRated), perhaps(b.EarthingConductor), strings.Join(b.Bonding, ", "), perhaps(b.BondingSize), yes(b.AllBonded), b.outcome(), yes(b.Complete), strings.Join(b.Remarks, " "),
		})
	}
	return rows
}

func circuitHead() []string {
	return slices.Concat([]string{
		"Board", "Way", "Switch position", "Feeds", "Wiring", "Phase", "Points", "Length m", "Live mm2", "cpc mm2", "cpc kind", "Material", "Neutral bar",
		"Device standard", "Device type", "Rating A", "Trip A", "Breaking capacity kA", "RCD standard", "RCD type", "RCD rated mA", "RCD delayed",
		"Disconnection s", "Max Zs ohm", "Zs cold limit ohm", "Expected R1+R2 ohm", "Test voltage V DC",
	}, testColumns(), []string{"Result", "Complete", "Remarks"})
}

func (s Schedule) circuitRows() [][]any {
	var rows [][]any
	for _, l := range s.Lines {
		feeds, d := l.Feeds, l.Device
		if l.Spare {
			feeds = strings.TrimSpace("spare " + feeds)
		}
		var ohm, cold, delayed any = "", "", ""
		if l.MaxZs != nil {
			ohm, cold = figured(significant3(l.MaxZs.Ohm)), figured(significant3(l.MaxZs.Measured))
		}
		if d.RCDRated != 0 {
			delayed = yes(d.RCDDelayed)
		}
		var expected any = ""
		if l.Expected > 0 {
			expected = figured(strconv.FormatFloat(l.Expected, 'f', 3, 64))
		}
		row := []any{
			float64(l.Board), float64(l.Way), perhaps(float64(l.Position)), feeds, l.Wiring, l.phase(), perhaps(float64(l.Points)), perhaps(l.Length), perhaps(l.Line), perhaps(l.CPC), l.CPCKind, l.Material, l.Neutral,
			d.Standard, d.Type, perhaps(d.Rating), perhaps(d.Trip), perhaps(d.Breaking), d.RCDStandard, d.RCDType, perhaps(d.RCDRated), delayed,
			perhaps(l.MaxTime), ohm, cold, expected, l.volts(columns),
		}
		for _, test := range columns {
			row = append(row, l.cell(test).value())
		}
		rows = append(rows, append(row, l.outcome(), yes(l.Complete), strings.Join(l.Remarks, " ")))
	}
	return rows
}

// figured is a number with the places that it is written with.
type figured string

// value is what stands in the cell of a sheet: a number where there is one.
func (c *Cell) value() any {
	if c != nil && c.Status == Recorded {
		return c.reading()
	}
	return c.text()
}

// reading is a reading, whether it still stands or not.
func (c *Cell) reading() any {
	if c.Bound == "=" && c.Unit != "" && c.Value != nil {
		if x, err := strconv.ParseFloat(c.Text, 64); err == nil && x == *c.Value {
			return figured(c.Text)
		}
	}
	return c.Text
}

var readingHead = []string{"Board", "Way", "Switch position", "Test", "Position", "Status", "Reading", "Unit", "Test voltage V DC", "Result", "Why", "Source", "Next", "Reason", "At", "Event", "Heard in event"}

// readingRows is every cell of the schedule, then what no longer stands, place by
// place.
func (s Schedule) readingRows() [][]any {
	var rows [][]any
	add := func(board, way, position int, t Tested) {
		for _, c := range slices.Concat(t.Cells, t.Earlier) {
			at := ""
			if c.At != nil {
				at = c.At.UTC().Format("2006-01-02 15:04:05 UTC")
			}
			rows = append(rows, []any{
				float64(board), float64(way), perhaps(float64(position)), string(c.Test), perhaps(float64(c.Position)), string(c.Status), c.reading(), c.Unit, perhaps(c.Volts),
				c.Result, c.Why, c.Source, c.Next, c.Reason, at, perhaps(float64(c.Event)), perhaps(float64(c.Heard)),
			})
		}
	}
	for _, b := range s.Boards {
		add(b.Number, 0, 0, b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				add(l.Board, l.Way, l.Position, l.Tested)
			}
		}
	}
	return rows
}

var correctionHead = []string{"Board", "Way", "Switch position", "Test", "Position", "From", "To", "What became of it", "Why", "By", "At", "Event"}

// correctionRows is every reading that no longer stands, and every one that a
// reviewer put where none was.
func (s Schedule) correctionRows() [][]any {
	var rows [][]any
	for _, c := range s.corrections() {
		at := ""
		if !c.At.IsZero() {
			at = c.At.UTC().Format("2006-01-02 15:04:05 UTC")
		}
		rows = append(rows, []any{float64(c.Board), float64(c.Way), perhaps(float64(c.Line)), string(c.Test), perhaps(float64(c.Position)), c.From, c.To, c.What, c.Why, c.By, at, perhaps(float64(c.Event))})
	}
	return rows
}

// perhaps is a number, or nothing when it is 0 for unknown.
func perhaps(x float64) any {
	if x == 0 {
		return ""
	}
	return x
}

// book is a workbook being written; the first error stays.
type book struct {
	*excelize.File
	err    error
	head   int
	text   int
	result map[string]int
	places map[int]int // styles of numbers by their decimal places
}

func (b *book) try(err error) {
	if b.err == nil {
		b.err = err
	}
}

func (b *book) newStyle(s *excelize.Style) int {
	if s.Alignment == nil {
		s.Alignment = &excelize.Alignment{Vertical: "top"}
	}
	n, err := b.NewStyle(s)
	b.try(err)
	return n
}

func (b *book) style() {
	b.places = map[int]int{}
	b.head = b.newStyle(&excelize.Style{Font: &excelize.Font{Bold: true, Color: "FFFFFF"}, Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"1E344A"}}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	b.text = b.newStyle(&excelize.Style{NumFmt: 49, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}}) // text, and it stays so when it is edited
	b.result = map[string]int{}
	for _, r := range []check.Result{check.CannotSay, check.Fail, check.Investigate} {
		rgb := shades[string(r)]
		b.result[string(r)] = b.newStyle(&excelize.Style{NumFmt: 49, Font: &excelize.Font{Bold: r == check.Fail}, Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{fmt.Sprintf("%02X%02X%02X", rgb[0], rgb[1], rgb[2])}}})
	}
}

// number returns the style of numbers with so many decimal places.
func (b *book) number(places int) int {
	if n, ok := b.places[places]; ok {
		return n
	}
	format := "0"
	if places > 0 {
		format += "." + strings.Repeat("0", min(places, 20))
	}
	b.places[places] = b.newStyle(&excelize.Style{CustomNumFmt: &format})
	return b.places[places]
}

func (b *book) sheet(name string, head []string, rows [][]any) {
	if b.err != nil {
		return
	}
	_, err := b.NewSheet(name)
	b.try(err)
	b.try(b.SetPanes(name, &excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}))
	landscape, a4, fit, all := "landscape", 9, true, 0
	b.try(b.SetPageLayout(name, &excelize.PageLayoutOptions{Orientation: &landscape, Size: &a4, FitToHeight: &all}))
	b.try(b.SetSheetProps(name, &excelize.SheetPropsOptions{FitToPage: &fit}))
	wide := make([]int, len(head))
	for i, h := range head {
		for word := range strings.FieldsSeq(h) {
			wide[i] = max(wide[i], len(word))
		}
		b.put(name, i, 0, h)
	}
	for r, row := range rows {
		for i, v := range row {
			wide[i] = max(wide[i], utf8.RuneCountInString(b.put(name, i, r+1, v)))
		}
	}
	for i, n := range wide {
		column, err := excelize.ColumnNumberToName(i + 1)
		b.try(err)
		b.try(b.SetColWidth(name, column, column, float64(min(60, max(6, n+2)))))
	}
}

// put writes one cell and returns how it looks. An empty one is left out.
func (b *book) put(sheet string, column, row int, v any) string {
	at, err := excelize.CoordinatesToCellName(column+1, row+1)
	b.try(err)
	switch v := v.(type) {
	case float64:
		b.try(b.SetCellFloat(sheet, at, v, -1, 64))
		return number(v)
	case figured:
		x, err := strconv.ParseFloat(string(v), 64)
		b.try(err)
		_, decimals, _ := strings.Cut(string(v), ".")
		b.try(b.SetCellFloat(sheet, at, x, -1, 64))
		style := b.number(len(decimals))
		b.try(b.SetCellStyle(sheet, at, at, style))
		return string(v)
	case string:
		text := bounded(v)
		style, special := b.result[text]
		switch {
		case row == 0:
			style = b.head
		case !special:
			style = b.text
		}
		if text != "" || row == 0 {
			b.try(b.SetCellStr(sheet, at, text))
			b.try(b.SetCellStyle(sheet, at, at, style))
		}
		return text
	}
	panic(fmt.Sprintf("a cell of type %T", v))
}

// bounded is s as one line of visible characters that fits into a cell.
func bounded(s string) string {
	s = printable.Words(strings.ToValidUTF8(s, "\uFFFD"))
	n := 0
	for i, r := range s {
		if n++; r > 0xffff {
			n++
		}
		if n > mostInCell {
			return s[:i] + "…"
		}
	}
	return s
}
