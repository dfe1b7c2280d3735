package hear

import (
	"math"
	"slices"
	"testing"

	"waycall/grammar"
	"waycall/internal/phrase"
)

// fakeJoining hears together with another what it is told.
type fakeJoining struct {
	fakeFirst
	joint Joint
	held  []Joint
}

func (f *fakeJoining) Together(First, *phrase.Automaton) (Joint, []Joint, error) {
	return f.joint, f.held, nil
}

// steps is sound most of which lies so many dB above the rest.
func steps(db float64, samples int) []float32 {
	sound := make([]float32, samples)
	for i := range sound {
		sound[i] = 0.01
		if i >= samples*2/5 {
			sound[i] *= float32(math.Pow(10, db/20))
		}
	}
	return sound
}

// What the first and the third hear together counts beside what each hears alone: it
// may be the best candidate, it stands against the best, and it may find a phrase where
// one of them heard nothing; but nothing is taken by it without a question.
func TestHeardTogether(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	fitted.Weights[15] = 3 // together
	joint := func(words string, first, third float64) Joint {
		return Joint{Words: words, LogProb: [2]float64{first, third}, Ended: true}
	}
	const full = "nought point one six"
	for name, tt := range map[string]struct {
		first, third string
		held         []Joint // the first of them was heard freely
		best         string
		count        int
		agreed       bool
		outcome      Outcome
	}{
		"each lost another part":         {"nought point six", "nought point one", []Joint{joint(full, -2, -2)}, full, 1, false, Reading},
		"both lost it, and nearly not":   {"nought point one", "nought point one", []Joint{joint("nought point one", -1, -1), joint(full, -2, -2)}, "nought point one", 2, true, Reading},
		"the third heard nothing":        {full, "", []Joint{joint(full, -1, -2)}, full, 1, false, Reading},
		"and together they did not":      {full, "", []Joint{joint("", -1, -1), joint(full, -1, -9)}, full, 1, false, None},
		"neither heard a phrase alone":   {"nought point one sex", "nought point one sticks", []Joint{joint(full, -3, -2)}, full, 1, false, Reading},
		"and neither did they together":  {"one six was bought", "one six was not", []Joint{joint("one six was bought", -3, -2), joint(full, -9, -9)}, "", 0, false, None},
		"together they ran on":           {"one six was bought", "one six was not", []Joint{{Words: full}, joint(full, -9, -9)}, "", 0, false, None},
		"the same in other words, twice": {full, "point one six", []Joint{joint("zero point one six", -1, -1)}, full, 1, true, Reading},
	} {
		first := &fakeJoining{fakeFirst{free: Text{Words: tt.first, LogProb: -1, Ended: true}}, tt.held[0], tt.held}
		third := &fakeFirst{free: Text{Words: tt.third, LogProb: -1, Ended: true}}
		h, err := New(g, first, &fakeSecond{}).WithThird(third).Hear(phrase.Scope{}, steps(14, 1600))
		if err != nil {
			t.Fatal(err)
		}
		if h.Best().Text != tt.best || len(h.Candidates) != tt.count || h.Agreed != tt.agreed || h.Outcome != tt.outcome {
			t.Errorf("%s: %s %+v, agreed %v; want %s %q of %d, %v", name, h.Outcome, h.Candidates, h.Agreed, tt.outcome, tt.best, tt.count, tt.agreed)
		}
	}
}

// A way that is not there may be one that sounds like it and is.
func TestAlmostMisplaced(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	all := phrase.Scope{}
	heard, meant := "", ""
	for _, way := range [][2]string{{"ninety", "nineteen"}, {"eighty", "eighteen"}, {"seventy", "seventeen"}} {
		heard, meant = "way "+way[0]+" live to earth four eight six", "way "+way[1]+" live to earth four eight six"
		if _, ok := g.Meaning(heard); ok && !g.Narrow(all).Accepts(heard) {
			break
		}
	}
	for name, tt := range map[string]struct {
		third   string
		score   float64
		outcome Outcome
		best    string
	}{
		"the third heard it":            {meant, -2, Reading, meant},
		"nobody did, and it is far off": {"well", -40, Misplaced, heard},
	} {
		first := &fakeFirst{free: Text{Words: heard, LogProb: -1, Ended: true}, scores: map[string]float64{meant: tt.score}}
		third := &fakeFirst{free: Text{Words: tt.third, LogProb: -1, Ended: true}}
		h, err := New(g, first, &fakeSecond{}).WithThird(third).Hear(all, steps(14, 1600))
		if err != nil || h.Outcome != tt.outcome || h.Best().Text != tt.best || h.Agreed {
			t.Errorf("%s: %+v, %v; want %s %q", name, h, err, tt.outcome, tt.best)
		}
	}
}

func TestSwallowed(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	f := figuresOf(g)
	for text, want := range map[string][]string{
		"greater than six":       {"greater than sixteen", "greater than sixty"},
		"greater than nine ohms": {"greater than nineteen ohms", "greater than ninety ohms"},
		"six point one two":      nil,
		"five three oh":          nil,
		"confirm":                nil,
		"ohm":                    nil,
		"":                       nil,
	} {
		if got := f.swallowed(text); !slices.Equal(got, want) {
			t.Errorf("%q may be left of %q, want %q", text, got, want)
		}
	}
}

// Noise takes the end of a figure from both models alike. What they then agree on is
// weighed against what it may be the rest of; where the noise is deafening it is asked
// about at any rate.
func TestCutShort(t *testing.T) {
	fitForTests(t)
	fitted.Weights[cutShort] = -6
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		heard  string
		db     float64
		next   string  // what may follow
		by     float64 // how much likelier it is than the end, to each
		scores map[string]float64
		count  int
		agreed bool
	}{
		"said to its end":      {"point six", 14, "one", -30, nil, 1, true},
		"it may go on":         {"point six", 14, "one", -4, map[string]float64{"point six one": -5}, 2, false},
		"before its unit":      {"point six megohms", 14, "one", -4, map[string]float64{"point six one megohms": -5}, 2, false},
		"the unit begins so":   {"point six ohms", 14, "oh", -1, nil, 1, true},
		"it may be a sixteen":  {"greater than six", 14, "one", -30, map[string]float64{"greater than sixteen": -6}, 2, false},
		"no phrase goes on so": {"confirm", 14, "one", -1, nil, 1, true},
		"deafening":            {"point six", 7, "one", -30, nil, 1, false},
		"deafening, no figure": {"confirm", 7, "one", -30, nil, 1, true},
	} {
		free := text(tt.heard, -1)
		next := func(w string) float64 {
			switch w {
			case "", "megohms", "ohms":
				return 0
			case tt.next:
				return tt.by
			}
			return -30
		}
		first := &fakeFirst{free: free, scores: tt.scores, next: next}
		h, err := New(g, first, &fakeSecond{}).WithThird(&fakeFirst{free: free, scores: tt.scores, next: next}).Hear(phrase.Scope{}, steps(tt.db, 1600))
		if err != nil {
			t.Fatal(err)
		}
		if h.Best().Text != tt.heard || len(h.Candidates) != tt.count || h.Agreed != tt.agreed {
			t.Errorf("%s: %+v, agreed %v; want %q of %d, %v", name, h.Candidates, h.Agreed, tt.heard, tt.count, tt.agreed)
		}
	}
}

// Where the second agrees, the third is asked all the same when the neighbour is near.
func TestCloseIsSettledByTheThird(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	for lp, listens := range map[float64]bool{-3: true, -30: false} {
		first := &fakeFirst{free: text("eighteen", -1), scores: map[string]float64{"eighty": lp}}
		third := &fakeFirst{free: text("eighty", -1), scores: map[string]float64{"eighteen": -5}}
		h, err := New(g, first, &fakeSecond{"eighteen"}).WithThird(third).Hear(phrase.Scope{}, steps(40, 1600))
		if err != nil {
			t.Fatal(err)
		}
		if _, listened := h.Words[WhisperOther]; listened != listens {
			t.Errorf("eighty at %v: the third listened: %v, want %v", lp, listened, listens)
		}
		if best := h.Best(); best.Text != "eighteen" || listens && (best.LogProb != -1 || len(h.Candidates) != 2) {
			t.Errorf("eighty at %v: %+v", lp, h.Candidates)
		}
	}
}

// Where no two agree, the whole that one heard stands before the part that both find
// likelier, unless it begins with a word broken off and said again.
func TestWholeBeforeItsPart(t *testing.T) {
	fitForTests(t)
	fitted.Ask = 0
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	for heard, part := range map[string]string{"nine five nine": "nine five", "three three eight": "three eight"} {
		joint := Joint{Words: part, LogProb: [2]float64{-2, -2}, Ended: true}
		first := &fakeJoining{fakeFirst{free: text(heard, -3)}, joint, []Joint{joint}}
		third := &fakeFirst{free: text("bye", -1)}
		h, err := New(g, first, &fakeSecond{}).WithThird(third).Hear(phrase.Scope{}, steps(40, 1600))
		if err != nil {
			t.Fatal(err)
		}
		want := heard
		if heard == "three three eight" {
			want = part
		}
		if h.Best().Text != want || h.Agreed {
			t.Errorf("%q and %q: %+v, agreed %v", heard, part, h.Candidates, h.Agreed)
		}
	}
}
