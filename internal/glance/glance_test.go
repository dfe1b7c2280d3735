package glance

import (
	"testing"
	"time"

	"waycall/internal/check"
	"waycall/internal/demo"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// Of several readings in one breath the one to look at is drawn large.
func TestOneBreath(t *testing.T) {
	q := func(v float64) reading.Quantity {
		return reading.Quantity{Value: v, Places: 2, Bound: reading.Exactly, Unit: reading.Ohm}
	}
	s := record.State{Pending: &record.Proposal{
		Slot: record.Slot{Board: 1, Way: 3, Test: reading.RingR1}, Quantity: q(0.31), Verdict: check.Verdict{Result: check.Pass},
		Then: []record.Further{
			{Slot: record.Slot{Board: 1, Way: 3, Test: reading.RingRn}, Quantity: q(0.62), Verdict: check.Verdict{Result: check.Fail}},
			{Slot: record.Slot{Board: 1, Way: 3, Test: reading.RingR2}, Quantity: q(0.52), Verdict: check.Verdict{Result: check.Investigate}},
		},
	}}
	l := lastOf(s)
	if l.Figure != "0.62" || l.Result != check.Fail || l.Others != "r1 0.31 Ω, rn 0.62 Ω, r2 0.52 Ω" {
		t.Errorf("%+v", l)
	}
}

func TestInWords(t *testing.T) {
	job, err := demo.Board()
	if err != nil {
		t.Fatal(err)
	}
	job.Boards[0].Bonding = []string{"water", "gas"}
	s := record.State{Job: job}
	for _, c := range []struct {
		slot record.Slot
		want string
	}{
		{record.Slot{Board: 1, Way: 2, Test: reading.LN, Position: 2}, "Live to neutral, switch position two"},
		{record.Slot{Board: 1, Way: 3, Test: reading.LN}, "Live to neutral"},
		{record.Slot{Board: 1, Test: reading.Bonding, Position: 2}, "Bonding, gas"},
		{record.Slot{Board: 1, Test: reading.Bonding, Position: 9}, "Bonding, service nine"},
		{record.Slot{Board: 9, Way: 3, Test: "later"}, "later"},
	} {
		if got := InWords(s, c.slot); got != c.want {
			t.Errorf("%+v is shown as %q, want %q", c.slot, got, c.want)
		}
	}
}

func TestOf(t *testing.T) {
	if f := Of(record.State{}); f.Label != "NO JOB YET" || f.Place != "" || f.Last != nil {
		t.Errorf("of nothing it shows %+v", f)
	}
	job, err := demo.Board()
	if err != nil {
		t.Fatal(err)
	}
	s, err := record.Fold([]record.Event{{ID: 1, At: time.Unix(0, 0), Kind: record.Opened, Job: &job}})
	if err != nil {
		t.Fatal(err)
	}
	f := Of(s)
	left := 0
	for _, b := range f.Boards {
		left += b.Left
	}
	if f.Place != "B1" || f.Label != "BEFORE THE DEAD TESTS" || f.Due == "" || left != f.Tests+f.Steps || f.Done != 0 || f.All == 0 {
		t.Errorf("at the start it shows %+v", f)
	}
}

func TestFigure(t *testing.T) {
	for _, c := range []struct{ text, unit, figure, in string }{
		{">999", "Mohm", ">999", "MΩ"},
		{"0.47", "ohm", "0.47", "Ω"},
		{"24.0", "ms", "24.0", "ms"},
	} {
		q, err := reading.ParseQuantity(c.text, reading.Unit(c.unit))
		if err != nil {
			t.Fatal(err)
		}
		if Figure(q) != c.figure || Unit(q.Unit) != c.in {
			t.Errorf("%s is shown as %s %s", c.text, Figure(q), Unit(q.Unit))
		}
	}
	if got := Figure(reading.Correct); got != "CORRECT" {
		t.Errorf("a correct polarity is shown as %s", got)
	}
}
