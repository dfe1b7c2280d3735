package report_test

import (
	"io"
	"slices"
	"strings"
	"testing"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/reporttest"
	"waycall/internal/sequence"
)

// roundtrip checks that a schedule comes back from its JSON.
func roundtrip(t *testing.T, s report.Schedule) {
	t.Helper()
	text := reporttest.Written(t, func(o io.Writer) error { return report.Write(o, s) })
	if _, err := report.Read(strings.NewReader(text)); err != nil {
		t.Error(err)
	}
}

// A way that the kind of work leaves out is never one that passed or was only not tested,
// and says why; what was not verified is neither.
func TestLeftOutByTheWork(t *testing.T) {
	for _, c := range []struct {
		file    string
		way     int
		outcome string
		remark  string
	}{
		{"extension.yaml", 1, "not asked", "all tests: not asked for. The way is neither new nor altered."},
		{"extension.yaml", 2, "to do", "Altered in this work."},
		{"shop.yaml", 4, "not verified", "all tests: not verified. The way is not in the sample that was agreed with the managing agent."},
		{"shop.yaml", 3, "to do", "dead tests: not asked for. No dead test of it was agreed with the managing agent."},
		{"annexe.yaml", 1, "to do", ""},
	} {
		w := &reporttest.Work{T: t}
		w.Open(boardtest.Read(t, c.file))
		s := report.Build(w.S)
		i := slices.IndexFunc(s.Lines, func(l report.Line) bool { return l.Way == c.way })
		if got := s.Lines[i].Outcome(); got != c.outcome {
			t.Errorf("%s, way %d: %s, want %s", c.file, c.way, got, c.outcome)
		}
		if all := strings.Join(s.Lines[i].Remarks, "\n"); !strings.Contains(all, c.remark) {
			t.Errorf("%s, way %d: %s", c.file, c.way, all)
		}
		roundtrip(t, s)
	}
}

// Not verified is a word of its own, of a periodic inspection alone, and closes a test
// without making it a pass.
func TestNotVerified(t *testing.T) {
	w := &reporttest.Work{T: t}
	job := boardtest.Read(t, "shop.yaml")
	w.Open(job)
	at := reporttest.At(3, reading.Functional, 0)
	w.Do(record.Event{Kind: record.Skipped, Slot: &at, Answer: record.NotVerified, Reason: "circuit in use"})
	s := report.Build(w.S)
	i := slices.IndexFunc(s.Lines, func(l report.Line) bool { return l.Way == 3 })
	c := s.Lines[i].Cell(reading.Functional)
	if c == nil || c.Status != report.NotVerified || c.Shown() != "N/V" || c.Result != "" {
		t.Errorf("%+v", c)
	}
	zs := reporttest.At(3, reading.Zs, 0)
	w.Do(record.Event{Kind: record.Skipped, Slot: &zs, Answer: record.NotVerified, Reason: "circuit in use"})
	if got := report.Build(w.S).Lines[i].Outcome(); got != "not verified" {
		t.Error(got)
	}
	roundtrip(t, s)
	for _, e := range []record.Event{
		{Kind: record.Skipped, Slot: &at, Answer: record.NotVerified},                                         // without a reason
		{Kind: record.Skipped, Slot: &record.Slot{Board: 1, Way: 1}, Answer: record.NotVerified, Reason: "r"}, // of nothing
	} {
		e.ID = w.S.LastID + 1
		if _, err := w.S.Apply(e); err == nil {
			t.Errorf("%+v was taken", e)
		}
	}
	other := &reporttest.Work{T: t}
	other.Open(boardtest.Read(t, "annexe.yaml"))
	ref := record.Event{ID: other.S.LastID + 1, Kind: record.Skipped, Slot: &record.Slot{Board: 1, Way: 1, Test: reading.Zs}, Answer: record.NotVerified, Reason: "r"}
	if _, err := other.S.Apply(ref); err == nil {
		t.Error("it was taken in work that is no periodic inspection")
	}
}

// A reading at full voltage before the equipment was connected, and the one at 250 V after:
// both are kept and said to be what they are, and the first was not corrected. One that
// failed is not hidden so.
func TestBothVoltages(t *testing.T) {
	at := reporttest.At(1, reading.LNE, 0)
	take := func(w *reporttest.Work, q reading.Quantity) {
		v := check.Judge(check.Input{Job: w.S.Job, Slot: at, Quantity: q})
		w.Do(record.Event{Kind: record.Proposed, Slot: &at, Quantity: &q, Verdict: &v})
		w.Do(record.Event{Kind: record.Confirmed})
	}
	mohm := func(x float64) reading.Quantity {
		return reading.Quantity{Value: x, Places: 1, Bound: reading.Exactly, Unit: reading.Megohm}
	}
	for full, kept := range map[float64]bool{206: true, 0.3: false} {
		w := &reporttest.Work{T: t}
		w.Open(boardtest.Read(t, "annexe.yaml"))
		take(w, mohm(full))
		w.Do(record.Event{Kind: record.Prepared, Board: 1, Slot: &record.Slot{Board: 1, Way: 1}, Step: record.StaysConnected, Answer: record.Done})
		asked := slices.ContainsFunc(sequence.Remaining(w.S), func(d sequence.Due) bool { return d.Step == nil && d.Slot == at && d.Volts == 250 })
		if asked != kept {
			t.Errorf("%v at full voltage: the test at 250 V is asked for: %v", full, asked)
		}
		if l := report.Build(w.S).Lines[0]; kept && l.Complete {
			t.Error("complete without the reading at 250 V")
		}
		take(w, mohm(12))
		s := report.Build(w.S)
		l := s.Lines[0]
		says := strings.Contains(strings.Join(l.Remarks, "\n"), "LN-E: 206.0 Mohm at 500 V, pass, was read before the equipment was connected. It stands beside the reading at 250 V.")
		if says != kept || (len(s.Corrections()) == 0) != kept {
			t.Errorf("%v at full voltage: %q, corrections %+v", full, l.Remarks, s.Corrections())
		}
		if c := l.Cell(at.Test); c == nil || c.Volts != 250 || c.Text != "12.0" {
			t.Errorf("%+v", c)
		}
		roundtrip(t, s)
		w.Do(record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 1}})
		for _, c := range report.Build(w.S).Lines[0].Earlier {
			if c.Status == report.AtFull {
				t.Error("from before the work, it still counts")
			}
		}
	}
}

// The terms of the work stand on the schedule, and not where none were said.
func TestTermsOfTheWork(t *testing.T) {
	terms := func(job board.Job) []report.Term {
		w := &reporttest.Work{T: t}
		w.Open(job)
		return report.Build(w.S).Terms
	}
	if got := terms(boardtest.Read(t, "shop.yaml")); len(got) != 5 || got[4] != (report.Term{Name: "Agreed with", Text: "the managing agent"}) {
		t.Errorf("%+v", got)
	}
	if got := terms(boardtest.Read(t, "annexe.yaml")); len(got) != 0 {
		t.Errorf("%+v", got)
	}
}
