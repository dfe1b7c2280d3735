// This file says what stands in the sheets of the workbook.

package spreadsheet

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"waycall/internal/report"
	"waycall/internal/waymark"
	"waycall/internal/words"
)

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
func XLSX(w io.Writer, s report.Schedule) error {
	b := book{File: excelize.NewFile()}
	defer b.Close()
	b.try(b.SetDocProps(&excelize.DocProperties{Creator: "waycall", LastModifiedBy: "waycall", Title: bounded(report.Title + ", job " + s.Job.Reference), Description: bounded(s.Standing()), Created: stamp(s), Modified: stamp(s)}))
	b.style()
	j := s.Job
	job := [][]any{
		{"Status", s.Standing()}, {"Reference", j.Reference}, {"Address", j.Address}, {"Date", j.Date}, {"Tester", j.AllTesters()},
		{"Instrument serial", j.Instrument}, {"Instrument checked", j.Checked}, {"Insulation scale ends at Mohm", j.OverRange}, {"Judged by", j.Edition}, {"Limited to", strings.Join(j.Limited, ", ")},
		{"Last event", strconv.FormatInt(s.Record.LastEvent, 10)}, {"Time of the last event", s.Record.LastAt.UTC().Format("2006-01-02 15:04:05 UTC")}, {"Sum of the last event", s.Record.Sum},
		{"Sessions", float64(s.Record.Sessions)}, {"Finished", words.YesNo(s.Record.Finished)}, {"Complete", words.YesNo(s.Record.Complete)},
	}
	for _, t := range s.Terms {
		job = append(job, []any{t.Name, t.Text})
	}
	if g := s.Signed; g != nil {
		job = append(job, []any{"Signed off by", g.Name}, []any{"Initials", g.Initials}, []any{"Signed off at", g.At.UTC().Format("2006-01-02 15:04:05 UTC")}, []any{"Signed off as event", strconv.FormatInt(g.Event, 10)}, []any{"Sum of what was signed", g.Sum})
		if g.Statement != "" {
			for line := range strings.SplitSeq(g.Statement, "\n") {
				job = append(job, []any{"What was signed", line})
			}
		}
	}
	b.sheet("Job", []string{"", "Value"}, job)
	b.sheet("Boards", boardHead, boardRows(s))
	var particulars [][]any
	for _, one := range s.Boards {
		for _, p := range one.Particulars {
			particulars = append(particulars, []any{float64(one.Number), p.Name, p.Value})
		}
	}
	b.sheet("Particulars", []string{"Board", "What", "Value"}, particulars)
	b.sheet("Circuits", circuitHead(), circuitRows(s))
	b.sheet("Readings", readingHead, readingRows(s))
	b.sheet("Corrections", correctionHead, correctionRows(s))
	var rows [][]any
	for _, o := range s.Observations {
		rows = append(rows, []any{float64(o.Board), wayOrBoard(o.Way), o.Code, o.Text, o.At.UTC().Format("2006-01-02 15:04:05 UTC"), perhaps(float64(o.Event)), perhaps(float64(o.Heard))})
	}
	b.sheet("Observations", []string{"Board", "Way", "Code", "Observation", "At", "Event", "Heard in event"}, rows)
	rows = nil
	for _, n := range s.Notes {
		rows = append(rows, []any{float64(n.Board), wayOrBoard(n.Way), n.Text, n.At.UTC().Format("2006-01-02 15:04:05 UTC"), perhaps(float64(n.Event)), perhaps(float64(n.Heard))})
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

func stamp(s report.Schedule) string { return report.DateOf(s).Format("2006-01-02T15:04:05Z") }

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

func boardRows(s report.Schedule) [][]any {
	var rows [][]any
	for _, b := range s.Boards {
		rows = append(rows, []any{
			float64(b.Number), b.Name, b.Earthing, b.Voltage, float64(b.Phases), words.YesNo(b.SurgeProtection), words.YesNo(b.OnlyIsolated), perhaps(float64(b.FedFrom)), marked(b.FedFromWay), b.Zdb, perhaps(b.DeclaredZe), perhaps(b.DeclaredPFC), perhaps(b.Conditional),
			b.Main.Standard, b.Main.Type, perhaps(b.Main.Rating), perhaps(b.Main.RCDRated), perhaps(b.EarthingConductor), strings.Join(b.Bonding, ", "), perhaps(b.BondingSize), words.YesNo(b.AllBonded), b.Outcome(), words.YesNo(b.Complete), strings.Join(b.Remarks, " "),
		})
	}
	return rows
}

func circuitHead() []string {
	return slices.Concat([]string{
		"Board", "Way", "Switch position", "Feeds", "Kind", "Wiring", "Reference method", "Phase", "Points", "Length m", "Live mm2", "cpc mm2", "cpc kind", "Material", "Neutral bar",
		"Device standard", "Device type", "Rating A", "Trip A", "Breaking capacity kA", "RCD standard", "RCD type", "RCD rated mA", "RCD delayed", "AFDD",
		"Disconnection s", "Max Zs ohm", "Zs cold limit ohm", "Expected R1+R2 ohm", "Test voltage V DC",
	}, testColumns(), []string{"Result", "Complete", "Remarks"})
}

func circuitRows(s report.Schedule) [][]any {
	var rows [][]any
	for _, l := range s.Lines {
		feeds, d := l.Feeds, l.Device
		if l.Spare {
			feeds = strings.TrimSpace("spare " + feeds)
		}
		var ohm, cold, delayed, afdd any = "", "", "", ""
		if l.AFDD {
			afdd = words.YesNo(true)
		}
		if l.MaxZs != nil {
			ohm, cold = figured(words.Loop(l.MaxZs.Ohm)), figured(words.Loop(l.MaxZs.Measured))
		}
		if d.RCDRated != 0 {
			delayed = words.YesNo(d.RCDDelayed)
		}
		var expected any = ""
		if l.Expected > 0 {
			expected = figured(strconv.FormatFloat(l.Expected, 'f', 3, 64))
		}
		row := []any{
			float64(l.Board), marked(l.Way), perhaps(float64(l.Position)), feeds, l.KindWords(), l.Wiring, l.MethodWords(), l.OnPhase(), perhaps(float64(l.Points)), perhaps(l.Length), perhaps(l.Line), perhaps(l.CPC), l.CPCKind, l.Material, l.Neutral,
			d.Standard, d.Type, perhaps(d.Rating), perhaps(d.Trip), perhaps(d.Breaking), d.RCDStandard, d.RCDType, perhaps(d.RCDRated), delayed, afdd,
			perhaps(l.MaxTime), ohm, cold, expected, l.TestVolts(report.Order),
		}
		for _, test := range report.Order {
			row = append(row, valueOf(l.Cell(test)))
		}
		rows = append(rows, append(row, l.Outcome(), words.YesNo(l.Complete), strings.Join(l.Remarks, " ")))
	}
	return rows
}

// valueOf is what stands in the cell of a sheet: a number where there is one.
func valueOf(c *report.Cell) any {
	if c != nil && c.Status == report.Recorded {
		return readingOf(c)
	}
	return c.Shown()
}

// readingOf is a reading, whether it still stands or not.
func readingOf(c *report.Cell) any {
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
func readingRows(s report.Schedule) [][]any {
	var rows [][]any
	add := func(board, way, position int, t report.Tested) {
		for _, c := range slices.Concat(t.Cells, t.Earlier) {
			at := ""
			if c.At != nil {
				at = c.At.UTC().Format("2006-01-02 15:04:05 UTC")
			}
			rows = append(rows, []any{
				float64(board), wayOrBoard(way), perhaps(float64(position)), string(c.Test), perhaps(float64(c.Position)), string(c.Status), readingOf(&c), c.Unit, perhaps(c.Volts),
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
func correctionRows(s report.Schedule) [][]any {
	var rows [][]any
	for _, c := range s.Corrections() {
		at := ""
		if !c.At.IsZero() {
			at = c.At.UTC().Format("2006-01-02 15:04:05 UTC")
		}
		rows = append(rows, []any{float64(c.Board), wayOrBoard(c.Way), perhaps(float64(c.Line)), string(c.Test), perhaps(float64(c.Position)), c.From, c.To, c.What, c.Why, c.By, at, perhaps(float64(c.Event))})
	}
	return rows
}

// marked is a way as the board is marked, a number where that is one, or nothing for 0.
func marked(way int) any {
	if waymark.Line(way) == 0 {
		return perhaps(float64(way))
	}
	return waymark.Print(way)
}

// wayOrBoard is the same with 0 for the board itself.
func wayOrBoard(way int) any {
	if way == 0 {
		return 0.0
	}
	return marked(way)
}

// perhaps is a number, or nothing when it is 0 for unknown.
func perhaps(x float64) any {
	if x == 0 {
		return ""
	}
	return x
}
