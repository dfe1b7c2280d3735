package record

import (
	"strings"
	"testing"
	"time"

	"waycall/internal/check"
	"waycall/internal/reading"
)

// Each kind with all it must carry is taken, and without any one of that is not.
func TestCheck(t *testing.T) {
	slot, q := Slot{Board: 1, Way: 3, Test: reading.LNE}, reading.Quantity{Value: 999, Bound: reading.GreaterThan, Unit: reading.Megohm}
	v := check.Verdict{Result: check.Pass}
	for name, c := range map[string]struct {
		e       Event
		without func(*Event)
		want    string
	}{
		"of no kind":     {Event{Kind: Said, Text: "a"}, func(e *Event) { e.Kind = "later" }, "unknown kind"},
		"no words":       {Event{Kind: Said, Text: "a"}, func(e *Event) { e.Text = "" }, "a field that this kind must have is missing"},
		"no time":        {Event{Kind: Paused}, func(e *Event) { e.At = time.Time{} }, "no time"},
		"no verdict":     {Event{Kind: Proposed, Slot: &slot, Quantity: &q, Verdict: &v}, func(e *Event) { e.Verdict = nil }, "must have is missing"},
		"another result": {Event{Kind: Proposed, Slot: &slot, Quantity: &q, Verdict: &v}, func(e *Event) { e.Verdict = &check.Verdict{Result: "fine"} }, "unknown result"},
		"no test":        {Event{Kind: Skipped, Slot: &slot, Answer: NotMade}, func(e *Event) { e.Slot = &Slot{Board: 1, Way: 3} }, "unknown test"},
		"a whole way":    {Event{Kind: Retest, Slot: &Slot{Board: 1, Way: 3}}, func(e *Event) { e.Slot = nil }, "must have is missing"},
		"nobody":         {Event{Kind: Settled, Slot: &slot, By: "AB"}, func(e *Event) { e.By = "" }, "no initials"},
		"no reviewer":    {Event{Kind: Withdrawn, Slot: &slot, By: "AB"}, func(e *Event) { e.Kind, e.Text = Said, "a" }, "not made by a reviewer"},
	} {
		c.e.ID, c.e.At = 1, time.Unix(1, 0)
		if err := c.e.Check(); err != nil {
			t.Errorf("%s: whole it is %v", name, err)
		}
		c.without(&c.e)
		if err := c.e.Check(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
	}
}
