package check

import (
	"encoding/json"
	"fmt"
	"math"
	bigfloat "math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board"
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
	return Earlier{1, way, test, position, mohm(s)}
}

func TestInsulationLimits(t *testing.T) {
	for _, c := range []struct {
		name    string
		w       board.Way
		voltage float64
		surge   bool
		want    Limit
	}{
		{"230 V", board.Way{}, 230, false, Limit{500, 1, limitSource}},
		{"500 V is still in", board.Way{}, 500, false, Limit{500, 1, limitSource}},
		{"above 500 V", board.Way{}, 501, false, Limit{1000, 1, limitSource}},
		{"SELV", board.Way{Separated: true}, 230, false, Limit{250, 0.5, limitSource}},
		{"surge protection stays in", board.Way{}, 230, true, Limit{250, 1, surgeSource}},
		{"SELV with surge protection", board.Way{Separated: true}, 230, true, Limit{250, 0.5, limitSource}},
	} {
		if got := InsulationLimit(c.w, c.voltage, c.surge); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
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
		v := Judge(Input{Job: job(), Board: 1, Way: c.way, Test: c.test, Position: c.position, Quantity: mohm(c.q), Earlier: c.earlier})
		if v.Result != c.want || !strings.Contains(v.Reason, c.reason) {
			t.Errorf("%s: %+v, want %s %q", c.name, v, c.want, c.reason)
		}
		if v.Source == "" || strings.Contains(strings.ToLower(v.Reason), "safe") {
			t.Errorf("%s: verdict %+v", c.name, v)
		}
	}
	if v := Judge(Input{Job: job(), Board: 1, Way: 1, Test: reading.LNE}); v.Result != CannotSay {
		t.Errorf("no reading: %+v", v)
	}
	if v := Judge(Input{Job: job(), Board: 1, Way: 1, Test: reading.LNE, Quantity: reading.Quantity{Value: 300, Bound: reading.Exactly, Unit: reading.Ohm}}); v.Result != CannotSay {
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
		l := Limit{500, rapid.SampledFrom([]float64{0.5, 1}).Draw(t, "limit"), "x"}
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
		l := Limit{500, 1, "x"}
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
		in := Input{Job: job(), Board: 1, Way: rapid.IntRange(1, 6).Draw(t, "way"), Test: tests.Draw(t, "test"), Position: rapid.IntRange(0, 2).Draw(t, "position"),
			Quantity: quantities(t, "q"), SurgeConnected: rapid.Bool().Draw(t, "surge")}
		alone := Judge(in)
		for range rapid.IntRange(0, 8).Draw(t, "n") {
			in.Earlier = append(in.Earlier, Earlier{1, rapid.IntRange(0, 7).Draw(t, "ew"), tests.Draw(t, "et"), rapid.IntRange(0, 2).Draw(t, "ep"), quantities(t, "eq")})
		}
		if v := Judge(in); v.Result.Severity() < alone.Result.Severity() || v.Reason == "" || v.Source == "" {
			t.Fatalf("alone %+v, with neighbours %+v", alone, v)
		}
	})
}

func intervals(t *rapid.T, label string) Interval {
	a := rapid.Float64Range(0, 1e6).Draw(t, label+" low")
	b := rapid.OneOf(rapid.Just(math.Inf(1)), rapid.Just(a), rapid.Float64Range(a, 1e7)).Draw(t, label+" high")
	return Interval{a, b}
}

func TestParallelProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := intervals(t, "a"), intervals(t, "b"), intervals(t, "c")
		p := Parallel(a, b)
		if p != Parallel(b, a) {
			t.Fatalf("order matters: %v %v", p, Parallel(b, a))
		}
		if p.Low > p.High || p.Low > a.Low || p.Low > b.Low || math.IsNaN(p.Low) || math.IsNaN(p.High) {
			t.Fatalf("Parallel(%v, %v) = %v", a, b, p)
		}
		// Contained in, contained out; more in, more out.
		wide := Interval{math.Min(a.Low, c.Low), math.Max(a.High, c.High)}
		if w := Parallel(wide, b); w.Low > p.Low || w.High < p.High {
			t.Fatalf("Parallel of wider %v with %v = %v does not hold %v", wide, b, w, p)
		}
		more := Interval{math.Max(a.Low, c.Low), math.Max(a.High, c.High)}
		if m := Parallel(more, b); m.Low < p.Low || m.High < p.High {
			t.Fatalf("Parallel of greater %v with %v = %v is below %v", more, b, m, p)
		}
	})
	for _, c := range []struct{ a, b, want Interval }{
		{Interval{0, 0}, Interval{5, math.Inf(1)}, Interval{0, 0}},
		{Interval{999, math.Inf(1)}, Interval{999, math.Inf(1)}, Interval{499.5, math.Inf(1)}},
	} {
		got := Parallel(c.a, c.b)
		if math.Abs(got.Low-c.want.Low) > 1e-9 || got.High != c.want.High {
			t.Errorf("Parallel(%v, %v) = %v, want %v", c.a, c.b, got, c.want)
		}
	}
}

// TestParallelReference compares with mpmath's interval arithmetic at 200 bits:
// ours must hold it, and be wider by no more than a few roundings.
func TestParallelReference(t *testing.T) {
	python, err := filepath.Abs("../../.cache/reference/bin/python")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(python); err != nil {
		t.Fatalf("the reference packages are not set up: %v; run make test", err)
	}
	type line struct{ A, B, C, D float64 }
	var in []line
	rapid.Check(t, func(t *rapid.T) {
		if len(in) > 500 {
			return
		}
		a, b := intervals(t, "a"), intervals(t, "b")
		if a.Low > 0 && b.Low > 0 && !math.IsInf(a.High, 1) && !math.IsInf(b.High, 1) {
			in = append(in, line{a.Low, a.High, b.Low, b.High})
		}
	})
	data, err := json.Marshal(in)
	if err != nil || len(in) < 20 {
		t.Fatalf("%d intervals, %v", len(in), err)
	}
	// It answers whether ours holds the true interval and by how much more.
	script := `import sys, json
from mpmath import iv, mp, mpf
iv.prec = mp.prec = 200
for l in json.load(sys.stdin):
    r = 1 / (1 / iv.mpf([l["A"], l["B"]]) + 1 / iv.mpf([l["C"], l["D"]]))
    for x in (r.a, r.b):
        print(mp.nstr(mpf(x), 40))
`
	cmd := exec.Command(python, "-c", script)
	cmd.Stdin = strings.NewReader(string(data))
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("mpmath did not run: %v; run make test, which sets up the reference packages", err)
	}
	words := strings.Fields(string(out))
	if len(words) != 2*len(in) {
		t.Fatalf("mpmath gave %d ends for %d intervals", len(words), len(in))
	}
	for i, l := range in {
		got := Parallel(Interval{l.A, l.B}, Interval{l.C, l.D})
		low, high := big(t, words[2*i]), big(t, words[2*i+1])
		if big(t, fmt.Sprintf("%.60g", got.Low)).Cmp(low) > 0 || big(t, fmt.Sprintf("%.60g", got.High)).Cmp(high) < 0 {
			t.Errorf("%v: ours %v leaves out mpmath's [%s, %s]", l, got, words[2*i], words[2*i+1])
		}
		lf, _ := low.Float64()
		hf, _ := high.Float64()
		const tiny = 1e-300 // ohms, near which numbers lose digits
		if lf-got.Low > 4e-15*lf+tiny || got.High-hf > 4e-15*hf+tiny {
			t.Errorf("%v: ours %v is far wider than mpmath's [%s, %s]", l, got, words[2*i], words[2*i+1])
		}
	}
}

func big(t *testing.T, s string) *bigfloat.Float {
	t.Helper()
	f, _, err := bigfloat.ParseFloat(s, 10, 240, bigfloat.ToNearestEven)
	if err != nil {
		t.Fatal(err)
	}
	return f
}
