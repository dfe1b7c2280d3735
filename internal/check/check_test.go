package check

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
)

// job has ways 1 to 6; way 2 is two-way, way 6 is SELV.
func job() board.Job {
	j := board.Job{Instrument: board.Instrument{OverRange: 999}, Boards: []board.Board{{Number: 1, Voltage: 230}}}
	for n := 1; n <= 6; n++ {
		j.Boards[0].Ways = append(j.Boards[0].Ways, board.Way{Number: n, TwoWay: n == 2, Separated: n == 6})
	}
	return j
}

func mohm(s string) reading.Quantity {
	q, err := reading.ParseQuantity(s, reading.Megohm)
	if err != nil {
		panic(err)
	}
	return q
}

func at(way int, test reading.Test, position int, s string) Earlier {
	return Earlier{board.Slot{Board: 1, Way: way, Test: test, Position: position}, mohm(s)}
}

func TestInsulation(t *testing.T) {
	for _, c := range []struct {
		name     string
		way      int
		test     reading.Test
		position int
		q        string
		earlier  []Earlier
		want     Result
		reason   string
	}{
		{"below the limit", 1, reading.LNE, 0, "0.99", nil, Fail, "Below the limit of one megohm."},
		{"at the limit", 1, reading.LNE, 0, "1.00", nil, Investigate, "Under two megohms"},
		{"just under two", 1, reading.LNE, 0, "1.99", nil, Investigate, "Under two megohms"},
		{"two", 1, reading.LNE, 0, "2", nil, Pass, "Meets"},
		{"sound", 1, reading.LNE, 0, "20", nil, Pass, "Meets the limit of one megohm."},
		{"nought", 1, reading.LNE, 0, "0", nil, Fail, "Below"},
		{"over range", 1, reading.LNE, 0, ">999", nil, Pass, "Meets"},
		{"over range again is no copy", 1, reading.LNE, 0, ">999", []Earlier{at(3, reading.LNE, 0, ">999")}, Pass, "Meets"},
		{"bound under the limit", 6, reading.LNE, 0, ">0.3", nil, CannotSay, "use a higher range"},
		{"bound under two", 6, reading.LNE, 0, ">1.9", nil, CannotSay, "use a higher range"},
		{"bound above what is doubtful", 6, reading.LNE, 0, ">19", nil, Pass, "Meets"},
		{"bound that says enough", 6, reading.LNE, 0, ">20", nil, Pass, "Meets"},
		{"less than the limit", 1, reading.LNE, 0, "<1", nil, Fail, "Below"},
		{"less than two", 1, reading.LNE, 0, "<1.5", nil, Investigate, "Under two"},
		{"less than twenty", 1, reading.LNE, 0, "<20", nil, CannotSay, "read the value itself"},
		{"less than much", 1, reading.LNE, 0, "<200", nil, CannotSay, "read the value itself"},
		{"SELV above its limit", 6, reading.LNE, 0, "0.6", nil, Investigate, "Under two"},
		{"SELV below its limit", 6, reading.LNE, 0, "0.4", nil, Fail, "nought point five megohms"},

		{"lost its greater than", 1, reading.LNE, 0, "999", nil, Investigate, "The scale ends at nine nine nine, so was it over range?"},
		{"lost a figure", 1, reading.LNE, 0, ">99", nil, Investigate, "over range at nine nine nine"},

		{"the same as the way before", 4, reading.LNE, 0, "206", []Earlier{at(3, reading.LNE, 0, "206")}, Investigate, "The same as way three"},
		{"the same but for another test", 4, reading.LNE, 0, "206", []Earlier{at(3, reading.LN, 0, "206")}, Pass, "Meets"},
		{"the same as a way further back", 4, reading.LNE, 0, "206", []Earlier{at(1, reading.LNE, 0, "206"), at(3, reading.LNE, 0, "310")}, Pass, "Meets"},
		{"the same on this way", 4, reading.LN, 0, "206", []Earlier{at(4, reading.LNE, 0, "206")}, Pass, "Meets"},

		{"together fits separate", 3, reading.NE, 0, "200", []Earlier{at(3, reading.LNE, 0, "100"), at(3, reading.LE, 0, "200")}, Pass, "Meets"},
		{"load left in: all alike", 3, reading.NE, 0, "100", []Earlier{at(3, reading.LNE, 0, "100"), at(3, reading.LE, 0, "100")}, Pass, "Meets"},
		{"together too low", 3, reading.NE, 0, "400", []Earlier{at(3, reading.LNE, 0, "50"), at(3, reading.LE, 0, "400")}, Investigate, "do not fit"},
		{"together too high", 3, reading.NE, 0, "40", []Earlier{at(3, reading.LNE, 0, "300"), at(3, reading.LE, 0, "400")}, Investigate, "do not fit"},
		{"separate over range, together failed", 3, reading.NE, 0, ">999", []Earlier{at(3, reading.LNE, 0, "0.4"), at(3, reading.LE, 0, ">999")}, Investigate, "do not fit"},
		{"found the conductor", 3, reading.LE, 0, ">999", []Earlier{at(3, reading.LNE, 0, "0.4"), at(3, reading.NE, 0, "0.4")}, Pass, "Meets"},
		{"other position is another matter", 2, reading.NE, 2, "400", []Earlier{at(2, reading.LNE, 1, "50"), at(2, reading.LE, 2, "400")}, Pass, "Meets"},
		{"fail comes first", 3, reading.NE, 0, "0.4", []Earlier{at(3, reading.LNE, 0, "300"), at(3, reading.LE, 0, "400")}, Fail, "Below"},

		{"positions alike", 2, reading.LNE, 2, "200", []Earlier{at(2, reading.LNE, 1, ">999")}, Pass, "Meets"},
		{"positions far apart", 2, reading.LNE, 2, "90", []Earlier{at(2, reading.LNE, 1, ">999")}, Investigate, "Far lower than in the other switch position."},
		{"positions far apart upward", 2, reading.LNE, 2, ">999", []Earlier{at(2, reading.LNE, 1, "90")}, Investigate, "Far higher"},

		{"ten times lower", 5, reading.LNE, 0, "31", []Earlier{at(1, reading.LNE, 0, "300"), at(3, reading.LNE, 0, "280"), at(4, reading.LNE, 0, "350")}, Investigate, "About ten times lower"},
		{"a hundred times higher", 5, reading.LNE, 0, "900", []Earlier{at(1, reading.LNE, 0, "9"), at(3, reading.LNE, 0, "8"), at(4, reading.LNE, 0, "10")}, Investigate, "a hundred times higher"},
		{"where the others scatter", 5, reading.LNE, 0, "31", []Earlier{at(1, reading.LNE, 0, "30"), at(3, reading.LNE, 0, "280"), at(4, reading.LNE, 0, "950")}, Pass, "Meets"},
		{"with two others only", 5, reading.LNE, 0, "31", []Earlier{at(1, reading.LNE, 0, "300"), at(3, reading.LNE, 0, "280")}, Pass, "Meets"},
		{"others all nought", 5, reading.LNE, 0, "31", []Earlier{at(1, reading.LNE, 0, "0"), at(3, reading.LNE, 0, "0"), at(4, reading.LNE, 0, "0")}, Pass, "Meets"},

		{"no such way", 9, reading.LNE, 0, ">999", nil, CannotSay, "no way 9"},
	} {
		v := Judge(Input{Job: job(), Slot: board.Slot{Board: 1, Way: c.way, Test: c.test, Position: c.position}, Quantity: mohm(c.q), Earlier: c.earlier})
		if v.Result != c.want || !strings.Contains(v.Reason, c.reason) {
			t.Errorf("%s: %+v, want %s %q", c.name, v, c.want, c.reason)
		}
		if v.Source == "" || strings.Contains(strings.ToLower(v.Reason), "safe") {
			t.Errorf("%s: verdict %+v", c.name, v)
		}
	}
	if v := Judge(Input{Job: job(), Slot: board.Slot{Board: 1, Way: 1, Test: reading.LNE}}); v.Result != CannotSay {
		t.Errorf("no reading: %+v", v)
	}
	if v := Judge(Input{Job: job(), Slot: board.Slot{Board: 1, Way: 1, Test: reading.LNE}, Quantity: reading.Quantity{Value: 300, Bound: reading.Exactly, Unit: reading.Ohm}}); v.Result != CannotSay {
		t.Errorf("ohms: %+v", v)
	}
}

func quantities(t *rapid.T, label string) reading.Quantity {
	s := rapid.OneOf(
		rapid.StringMatching(`[<>]?[0-9]{1,3}(\.[0-9]{1,2})?`),
		rapid.SampledFrom([]string{"1", "<1", ">1", "2", "<2", ">2", "20", "<20", ">20", "0.5", "0"}),
	).Draw(t, label)
	return mohm(s)
}

// A better reading never gets a worse verdict from the limit.
func TestBetterReadingNeverWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := limits.Insulation{TestVoltage: 500, Least: rapid.SampledFrom([]float64{0.5, 1}).Draw(t, "limit"), Source: "x"}
		a, b := quantities(t, "a"), quantities(t, "b")
		al, ah := a.Interval()
		bl, bh := b.Interval()
		// Of equal highs, the one that the truth cannot reach is the lower.
		if al > bl || ah > bh || ah == bh && b.Bound == reading.LessThan && a.Bound != reading.LessThan {
			t.Skip("not better")
		}
		va, vb := againstLimit(a, l), againstLimit(b, l)
		if vb.Result.Severity() > va.Result.Severity() {
			t.Fatalf("%v gives %s but the better %v gives %s", a, va.Result, b, vb.Result)
		}
	})
}

// Knowing less never turns a failure into a pass, nor a pass into a failure.
func TestWideningNeverTurnsFailIntoPass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := quantities(t, "q")
		q.Bound = reading.Exactly
		l := limits.Insulation{TestVoltage: 500, Least: 1, Source: "x"}
		was := againstLimit(q, l).Result
		for _, b := range []reading.Bound{reading.GreaterThan, reading.LessThan} {
			wide := q
			wide.Bound = b
			now := againstLimit(wide, l).Result
			if was == Fail && now == Pass || was == Pass && now == Fail {
				t.Fatalf("%v gives %s but %v gives %s", q, was, wide, now)
			}
		}
	})
}

// Neighbours only ever make a verdict more severe.
func TestNeighboursNeverExcuse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tests := rapid.SampledFrom([]reading.Test{reading.LNE, reading.LE, reading.NE, reading.LN})
		in := Input{Job: job(), Slot: board.Slot{Board: 1, Way: rapid.IntRange(1, 6).Draw(t, "way"), Test: tests.Draw(t, "test"), Position: rapid.IntRange(0, 2).Draw(t, "position")},
			Quantity: quantities(t, "q"), SurgeConnected: rapid.Bool().Draw(t, "surge")}
		alone := Judge(in)
		for range rapid.IntRange(0, 8).Draw(t, "n") {
			in.Earlier = append(in.Earlier, Earlier{board.Slot{Board: 1, Way: rapid.IntRange(0, 7).Draw(t, "ew"), Test: tests.Draw(t, "et"), Position: rapid.IntRange(0, 2).Draw(t, "ep")}, quantities(t, "eq")})
		}
		if v := Judge(in); v.Result.Severity() < alone.Result.Severity() || v.Reason == "" || v.Source == "" {
			t.Fatalf("alone %+v, with neighbours %+v", alone, v)
		}
	})
}
