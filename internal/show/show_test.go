package show

import (
	"slices"
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

// A place is shown as the board is marked: way 1L1 is kept as 101, which no board has.
func TestPlaces(t *testing.T) {
	for _, c := range []struct {
		slot         record.Slot
		large, words string
	}{
		{record.Slot{Board: 1, Way: 3, Test: reading.LE}, "3", "way 3"},
		{record.Slot{Board: 1, Way: 312, Test: reading.LE}, "12L3", "way 12L3"},
		{record.Slot{Board: 2, Test: reading.Ze}, "B2", "board 2"},
	} {
		var f Facts
		f.at(record.State{}, c.slot)
		if f.Place != c.large || AtPlace(f.Place) != c.words {
			t.Errorf("%+v is shown as %q, %q, want %q, %q", c.slot, f.Place, AtPlace(f.Place), c.large, c.words)
		}
		if got, want := where(record.State{}, c.slot), c.words+", "+InWords(record.State{}, c.slot); got != want {
			t.Errorf("%+v is %q, want %q", c.slot, got, want)
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

// told folds readings of the demonstration's job.
func told(t *testing.T, more ...record.Event) record.State {
	t.Helper()
	job, err := demo.Board()
	if err != nil {
		t.Fatal(err)
	}
	events := append([]record.Event{{Kind: record.Opened, Job: &job}}, more...)
	for i := range events {
		events[i].ID, events[i].At = int64(i+1), time.Unix(int64(i), 0)
	}
	s, err := record.Fold(events)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func proposed(way int, figure float64, result check.Result, then ...record.Further) record.Event {
	slot := record.Slot{Board: 1, Way: way, Test: reading.LNE}
	q := reading.Quantity{Value: figure, Places: 2, Bound: reading.Exactly, Unit: reading.Megohm}
	return record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: result}, Then: then}
}

// The last reading is shown as the last one, even where it stands no more: never the
// verdict of a way before it in its place.
func TestLastIsTheLastConfirmed(t *testing.T) {
	confirmed := record.Event{Kind: record.Confirmed}
	four, five := record.Slot{Board: 1, Way: 4, Test: reading.LNE}, record.Slot{Board: 1, Way: 5, Test: reading.LNE}
	base := []record.Event{proposed(4, 200, check.Pass), confirmed, proposed(5, 0.3, check.Fail), confirmed}
	for name, c := range map[string]struct {
		more []record.Event
		gone string
	}{
		"it stands":      {nil, ""},
		"it was undone":  {[]record.Event{{Kind: record.Withdrawn, Slot: &five}}, "TAKEN OFF"},
		"tested again":   {[]record.Event{{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 5}}}, "BEFORE WORK"},
		"another undone": {[]record.Event{{Kind: record.Withdrawn, Slot: &four}}, ""},
	} {
		f := Of(told(t, append(base[:len(base):len(base)], c.more...)...))
		if f.Last == nil || f.Last.Where != "way 5, Live and neutral to earth" || f.Last.Result != check.Fail || f.Last.Waits {
			t.Errorf("%s: it shows %+v", name, f.Last)
		} else if f.Last.Gone != c.gone || f.Last.Place != "5" {
			t.Errorf("%s: it shows %+v, want %q", name, f.Last, c.gone)
		}
	}
}

// Of several ways in one breath, that which the verdict is of is the way shown, before
// and after it is stored.
func TestVerdictHasItsWay(t *testing.T) {
	q := reading.Quantity{Value: 999, Bound: reading.GreaterThan, Unit: reading.Megohm}
	many := proposed(6, 999, check.Pass, record.Further{Slot: record.Slot{Board: 1, Way: 7, Test: reading.LNE}, Quantity: q, Verdict: check.Verdict{Result: check.Investigate}},
		record.Further{Slot: record.Slot{Board: 1, Way: 8, Test: reading.LNE}, Quantity: q, Verdict: check.Verdict{Result: check.Pass}})
	many.Quantity = &q
	if f := Of(told(t, many)); f.Place != "7" || f.Last.Place != "7" || f.Last.Result != check.Investigate {
		t.Errorf("read back: %+v, %+v", f, f.Last)
	}
	f := Of(told(t, many, record.Event{Kind: record.Confirmed}))
	if f.Last.Place != "7" || f.Last.Result != check.Investigate || f.Last.Others == "" {
		t.Errorf("stored: %+v", f.Last)
	}
}

// While it is asked which of two was meant, they are what is shown; and no longer.
func TestOptions(t *testing.T) {
	job := told(t).Job
	at := func(way int, v float64) record.Offer {
		return record.Offer{Slot: record.Slot{Board: 1, Way: way, Test: reading.LNE}, Quantity: reading.Quantity{Value: v, Bound: reading.Exactly, Unit: reading.Megohm}}
	}
	for _, c := range []struct {
		offers [][]record.Offer
		want   []Option
	}{
		{[][]record.Offer{{at(5, 350)}, {at(5, 315)}}, []Option{{"5", "350 MΩ"}, {"5", "315 MΩ"}}},
		{[][]record.Offer{{at(5, 350)}, {at(9, 350)}}, []Option{{"5", "Live and neutral to earth 350 MΩ"}, {"9", "Live and neutral to earth 350 MΩ"}}},
		{[][]record.Offer{{at(5, 1), at(6, 1)}, {at(5, 2), at(6, 1)}}, []Option{{"5", "Live and neutral to earth 1 MΩ, Live and neutral to earth 1 MΩ"}, {"5", "Live and neutral to earth 2 MΩ, Live and neutral to earth 1 MΩ"}}},
		{[][]record.Offer{{}, {at(5, 2)}}, nil},
	} {
		ask := record.Event{Kind: record.Said, Text: "This, or that?", Offers: c.offers}
		if f := Of(told(t, ask)); !slices.Equal(f.Options, c.want) {
			t.Errorf("%+v", f.Options)
		}
		for _, next := range []record.Event{{Kind: record.Said, Text: "Stored."}, proposed(5, 350, check.Pass), {Kind: record.Paused}, {Kind: record.Opened, Job: &job}} {
			if f := Of(told(t, ask, next)); f.Options != nil {
				t.Errorf("after %s it still asks %+v", next.Kind, f.Options)
			}
		}
	}
}

// At the end no single reading speaks for the job.
func TestTally(t *testing.T) {
	confirmed := record.Event{Kind: record.Confirmed}
	events := []record.Event{proposed(4, 200, check.Pass), confirmed, proposed(5, 0.3, check.Fail), confirmed, proposed(6, 200, check.Pass), confirmed,
		{Kind: record.Skipped, Slot: &record.Slot{Board: 1, Way: 7, Test: reading.LNE}, Answer: record.Limitation, Reason: "no access"}}
	if f := Of(told(t, events...)); f.Tally != nil || f.Last == nil {
		t.Errorf("in the middle it shows %+v", f.Tally)
	}
	f := Of(told(t, append(events, record.Event{Kind: record.Finished})...))
	want := []Count{{1, check.Fail}, {2, check.Pass}, {1, ""}}
	if f.Last != nil || !slices.Equal(f.Tally, want) || f.Recorded != 3 || f.LeftOut != 1 || f.Done != 4 {
		t.Errorf("at the end it shows %+v, %+v, %d %d", f.Last, f.Tally, f.Recorded, f.LeftOut)
	}
}

// What fails comes before what is to be looked into, and that before what cannot be
// said: the order of package check.
func TestWorstFirst(t *testing.T) {
	results := check.Results()
	for i, worse := range results {
		for _, r := range results[:i] {
			s := record.State{Pending: &record.Proposal{Verdict: check.Verdict{Result: r}, Then: []record.Further{{Verdict: check.Verdict{Result: worse}}}}}
			if l := lastOf(s); l.Result != worse {
				t.Errorf("of %s and %s it shows %s", r, worse, l.Result)
			}
		}
	}
}
