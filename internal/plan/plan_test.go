package plan

import (
	"encoding/json"
	"io"
	"testing"

	"github.com/google/go-cmp/cmp"

	"waycall/internal/record"
	"waycall/internal/report/reporttest"
)

// plans are what is due on the workshop after the work, and before it.
func plans(t *testing.T) (after, before Plan) {
	t.Helper()
	s := reporttest.Workshop(t)
	fresh, err := record.State{}.Apply(record.Event{ID: 1, At: reporttest.Nine, Kind: record.Opened, Job: &s.Job})
	if err != nil {
		t.Fatal(err)
	}
	return Of(s), Of(fresh)
}

func TestPlanGolden(t *testing.T) {
	after, _ := plans(t)
	reporttest.Golden(t, "plan-after.txt", reporttest.Written(t, func(w io.Writer) error { return after.Text(w, false) }))
}

func TestWidthOfPlan(t *testing.T) {
	after, before := plans(t)
	for _, p := range []Plan{after, before} {
		reporttest.KeepsToItsPage(t, reporttest.Written(t, func(w io.Writer) error { return p.Text(w, true) }))
	}
}

// The plan and the schedule agree on what is left, and a plan reads back.
func TestPlanAgrees(t *testing.T) {
	after, before := plans(t)
	for _, p := range []Plan{after, before} {
		due, now := 0, map[string]int{}
		for _, b := range p.Boards {
			for _, d := range b.Due {
				if d.Step == "" {
					due++
				}
				if d.Why == "" || d.Source == "" {
					t.Errorf("no reason: %+v", d)
				}
			}
			for _, one := range b.Tests {
				now[one.Now]++
				if one.Now == nowDue && one.Why == "" || one.Need == "" {
					t.Errorf("%+v", one)
				}
			}
		}
		if due+p.Recorded+p.LeftOut+p.Waiting != p.Tests {
			t.Errorf("%d due, %d recorded, %d left out, %d waiting of %d", due, p.Recorded, p.LeftOut, p.Waiting, p.Tests)
		}
		if now[nowDue] != due {
			t.Errorf("%d due in the list, %d in the order of work", now[nowDue], due)
		}
		var back Plan
		if err := json.Unmarshal([]byte(reporttest.Written(t, p.JSON)), &back); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(p, back); d != "" {
			t.Error(d)
		}
	}
	if before.Estimate.Known || before.Estimate.text() == "" {
		t.Errorf("an estimate before any work: %+v", before.Estimate)
	}
	if !after.Estimate.Known {
		t.Error("no estimate after the work")
	}
}

func TestEstimateText(t *testing.T) {
	for want, e := range map[string]Estimate{
		"How long it takes is not known: no pace.": {Basis: "no pace"},
		"About 1 h 30 min left, by pace.":          {Minutes: 90, Known: true, Basis: "pace"},
		"Less than a minute left, by pace.":        {Minutes: 0.2, Known: true, Basis: "pace"},
	} {
		if got := e.text(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
