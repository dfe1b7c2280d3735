package report_test

import (
	"io"
	"strings"
	"testing"

	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/reporttest"
	"waycall/internal/sequence"
)

// A way that the reading of the whole board covers shows that reading as a bound, and
// no figure of its own; after work on it, it is to be read again.
func TestByTheBoard(t *testing.T) {
	w := &reporttest.Work{T: t}
	w.Open(reporttest.Terrace(t))
	for _, step := range sequence.Steps(w.S.Job, 1) {
		if step.Back == "" {
			w.Do(step.Answer(1, record.Done, ""))
		}
	}
	w.Take(reporttest.At(0, reading.LNE, 0), "206")
	w.Take(reporttest.At(0, reading.LN, 0), ">999")
	cells := func() map[int]string {
		got := map[int]string{}
		for _, l := range report.Build(w.S).Lines {
			if c := l.Cell(reading.LNE); c != nil && !l.Spare {
				got[l.Way] += c.Shown() + " "
			}
			if c := l.Cell(reading.LN); c != nil && !l.Spare {
				got[l.Way] += c.Shown() + " "
			}
			for _, c := range l.Cells {
				if c.Status == report.ByBoard && (c.Volts == 0 || c.Value != nil || c.Result != "" || c.Reason == "") {
					t.Errorf("%+v", c)
				}
			}
		}
		return got
	}
	got := cells()
	if got[1] != ">=206 >999 " || got[2] != ">=206 >999 >=206 >999 " || got[8] != "to do not made " {
		t.Errorf("%v", got)
	}
	w.Do(record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 1}})
	if got := cells(); got[1] != "to do to do " || got[3] != ">=206 >999 " {
		t.Errorf("%v", got)
	}
	if s := reporttest.Written(t, func(o io.Writer) error { return report.Write(o, report.Build(w.S)) }); s == "" {
		t.Error("nothing was written")
	} else if _, err := report.Read(strings.NewReader(s)); err != nil {
		t.Error(err)
	}
}
