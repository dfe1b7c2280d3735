package report_test

import (
	"bytes"
	"io"
	"slices"
	"testing"

	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/report/spreadsheet"
)

// The same record gives the same bytes, whenever and however often it is written.
func TestPaperIsTheSameAgain(t *testing.T) {
	for _, f := range forms {
		var first []byte
		for range 4 {
			s := reporttest.Observed(report.Build(reporttest.Reviewed(t)))
			var b bytes.Buffer
			if err := f(&b, s); err != nil {
				t.Fatal(err)
			}
			if first == nil {
				first = b.Bytes()
			}
			if !bytes.Equal(first, b.Bytes()) {
				t.Fatal("the same record gave other bytes")
			}
		}
	}
}

func BenchmarkBusyBuild(b *testing.B) {
	s, err := record.Fold(reporttest.Busy(b))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		report.Build(s)
	}
}

func BenchmarkBusyFold(b *testing.B) {
	events := reporttest.Busy(b)
	for b.Loop() {
		if _, err := record.Fold(events); err != nil {
			b.Fatal(err)
		}
	}
}

func TestWorkshopGolden(t *testing.T) {
	schedule := report.Build(reporttest.Workshop(t))
	reporttest.Golden(t, "workshop.txt", reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, schedule) }))
	reporttest.Golden(t, "workshop.csv", reporttest.Written(t, func(w io.Writer) error { return spreadsheet.CSV(w, schedule) }))
	reporttest.Golden(t, "workshop.json", reporttest.Written(t, func(w io.Writer) error { return report.Write(w, schedule) }))
}

// Every board has its own lines, and what is tested once on a two-way circuit
// is on one line of it.
func TestSeveralBoards(t *testing.T) {
	s := report.Build(reporttest.Workshop(t))
	if len(s.Boards) != 3 || len(s.Lines) != 4+11+5 {
		t.Fatalf("%d boards, %d lines", len(s.Boards), len(s.Lines))
	}
	line := func(board, way, position int) report.Line {
		for _, l := range s.Lines {
			if l.Board == board && l.Way == way && l.Position == position {
				return l
			}
		}
		t.Fatalf("no line for board %d way %d position %d", board, way, position)
		return report.Line{}
	}
	if c := line(2, 4, 1).Cell(reading.R1R2); c == nil || c.Text != "0.99" {
		t.Errorf("R1+R2 of a two-way circuit: %+v", c)
	}
	if c := line(2, 4, 2).Cell(reading.R1R2); c != nil {
		t.Errorf("R1+R2 stands twice: %+v", c)
	}
	if c := line(2, 4, 2).Cell(reading.LN); c == nil || c.Status != report.Waived || c.Shown() != "waived" {
		t.Errorf("a waived test: %+v", c)
	}
	if c := line(2, 3, 0).Cell(reading.RingLN); c == nil || c.Text != "0.24" || c.Position != 3 {
		t.Errorf("the highest of the points: %+v", c)
	}
	if l := line(3, 1, 0); l.MaxZs == nil || l.MaxZs.Ohm < 1666 || l.Permitted() != "1667" {
		t.Errorf("TT by the RCD: %+v", l.MaxZs)
	}
	if c := s.Boards[0].Cell(reading.Ze); c == nil || c.Text != "0.21" || c.Result != string(check.Pass) {
		t.Errorf("Ze: %+v", c)
	}
	services := 0
	for _, c := range s.Boards[0].Cells {
		if c.Test == reading.Bonding {
			services++
		}
	}
	if services != 2 {
		t.Errorf("%d bonded services", services)
	}
	if got := line(2, 5, 0).Outcome(); got != "fail" {
		t.Errorf("a reversed socket: %s", got)
	}
	if !slices.Contains(s.ToDo, "Board 2, way 4 fails: find the cause, put it right and test it again.") {
		t.Errorf("%q", s.ToDo)
	}
}

func TestWidthOfSchedule(t *testing.T) {
	s := report.Build(reporttest.Workshop(t))
	reporttest.KeepsToItsPage(t, reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, s) }))
}
