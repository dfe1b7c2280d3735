package hear

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"waycall/grammar"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

// fakeFirst hears what it is told and scores words from a table.
type fakeFirst struct {
	free, held Text
	scores     map[string]float64
	plain      bool
	err        error
	next       func(string) float64 // nil: a text has ended, all but certainly
}

func (f *fakeFirst) Listen([]float32) error               { return f.err }
func (f *fakeFirst) Free() (Text, error)                  { return f.free, nil }
func (f *fakeFirst) Note() (Text, error)                  { return f.free, nil }
func (f *fakeFirst) Held(*phrase.Automaton) (Text, error) { return f.held, nil }
func (f *fakeFirst) Prepare(*phrase.Automaton)            {}
func (f *fakeFirst) Adapted() bool                        { return !f.plain }
func (f *fakeFirst) Score(words string) (Text, error) {
	lp, ok := f.scores[words]
	if !ok {
		lp = -50
	}
	return Text{Words: words, LogProb: lp, Ended: true}, nil
}

func (f *fakeFirst) Next(_ string, others []string) ([]float64, error) {
	all := make([]float64, len(others))
	for i, w := range others {
		switch {
		case f.next != nil:
			all[i] = f.next(w)
		case w != "":
			all[i] = -30
		}
	}
	return all, nil
}

type fakeSecond struct{ words string }

func (f *fakeSecond) Hear(*phrase.Automaton, []float32) (Text, error) {
	return Text{Words: f.words, Ended: true}, nil
}
func (f *fakeSecond) Prepare(*phrase.Automaton) error { return nil }

// weak is a text with a token of low probability.
func weak(words string, lp float64) Text {
	return Text{Words: words, LogProb: lp, Weakest: -1, Ended: true}
}

func text(words string, lp float64) Text { return Text{Words: words, LogProb: lp, Ended: true} }

// fitForTests replaces the fitted weights by plain ones: two that agree are sure,
// and a phrase far below the free words is for nobody.
func fitForTests(t *testing.T) {
	old := fitted
	t.Cleanup(func() { fitted = old })
	fitted = Fit{Names: EvidenceNames, Weights: make([]float64, len(EvidenceNames)+1), Sure: 0.9, SureInNoise: 0.9, Ask: 0.2}
	fitted.Weights[0], fitted.Weights[1], fitted.Weights[2] = 4, 4, 4 // who agrees
	fitted.Weights[4], fitted.Weights[12] = -6, 6                     // the gap; a part was lost
}

func TestFusion(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	board := phrase.Scope{Ways: map[int][]reading.Test{1: {reading.LNE}, 2: {reading.LNE}}}
	for name, tt := range map[string]struct {
		first   fakeFirst
		second  string
		outcome Outcome
		agreed  bool
		best    string
		count   int
	}{
		"both say the same": {
			fakeFirst{free: text("way one live and neutral to earth four eight six", -0.5)},
			"way one live and neutral to earth four eight six", Reading, true, "way one live and neutral to earth four eight six", 1},
		"other words, same meaning": {
			fakeFirst{free: text("nought point three", -0.5)}, "point three oh", Reading, true, "nought point three", 1},
		"a figure that might be meant otherwise": {
			fakeFirst{free: text("under four fifty one", -0.5)}, "under four fifty one", Reading, false, "under four fifty one", 1},
		"they differ": {
			fakeFirst{free: text("four eight six", -1), scores: map[string]float64{"four six": -3}}, "four six", Reading, false, "four eight six", 2},
		"they differ and the second's is likelier": {
			fakeFirst{free: text("four eight six", -4), scores: map[string]float64{"four six": -3}}, "four six", Reading, false, "four six", 2},
		"the second heard something far off": {
			fakeFirst{free: weak("nine hundred and sixty", -2), scores: map[string]float64{"wrong": -40}}, "wrong", Reading, false, "nine hundred and sixty", 1},
		"the first is sure and the second far off": {
			fakeFirst{free: text("go back", -2), scores: map[string]float64{"wrong": -40}}, "wrong", Command, false, "go back", 1},
		"but never for a figure": {
			fakeFirst{free: text("nine hundred and sixty", -2), scores: map[string]float64{"wrong": -40}}, "wrong", Reading, false, "nine hundred and sixty", 1},
		"the first is sure, but not much surer": {
			fakeFirst{free: text("go back", -1), scores: map[string]float64{"no": -6.5}}, "no", Command, false, "go back", 2},
		"the first is unsure and the second heard nothing": {
			fakeFirst{free: weak("confirm", -1)}, "", Command, false, "confirm", 1},
		"the second heard nothing": {
			fakeFirst{free: text("confirm", -0.2)}, "", Command, false, "confirm", 1},
		"talk that begins with a command": {
			fakeFirst{free: text("go back to the van", -1), held: text("go back", -9)}, "go back", None, false, "go back", 1},
		"a phrase garbled": {
			fakeFirst{free: text("ring", -0.4), held: text("ring r n nought", -36), scores: map[string]float64{"wrong": -2.2}}, "wrong", Command, false, "wrong", 1},
		"a phrase spelled another way": {
			fakeFirst{free: text("switch is on", -2), held: text("switches on", -1.7), scores: map[string]float64{"switches on": -1.7}}, "switches on", Command, false, "switches on", 1},
		"a way that is not there": {
			fakeFirst{free: text("way nine live and neutral to earth four eight six", -0.5)}, "way one live and neutral to earth four eight six", Misplaced, false, "way nine live and neutral to earth four eight six", 1},
		"ran on": {
			fakeFirst{free: Text{Words: "confirm", LogProb: -1}}, "confirm", None, false, "", 0},
		"plain model, agreeing": {
			fakeFirst{plain: true, free: text("Over 999.", -2), held: text("over nine nine nine", -8)}, "over nine nine nine", Reading, true, "over nine nine nine", 1},
		"plain model, differing": {
			fakeFirst{plain: true, free: text("Over 999.", -2), held: text("over nine nine nine", -8)}, "over nine nine", None, false, "", 0},
		"plain model, too many words": {
			fakeFirst{plain: true, free: text("Go back to the van.", -2), held: text("go back", -8)}, "go back", None, false, "", 0},
	} {
		e := New(g, &tt.first, &fakeSecond{tt.second})
		h, err := e.Hear(board, steps(40, 16000))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if h.Outcome != tt.outcome || h.Agreed != tt.agreed || h.Best().Text != tt.best || len(h.Candidates) != tt.count {
			t.Errorf("%s: got %+v", name, h)
		}
		if h.Words[Sphinx] != tt.second || h.Words[WhisperFree] != tt.first.free.Words {
			t.Errorf("%s: words %v", name, h.Words)
		}
	}
}

func TestHearNothingAndErrors(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	e := New(g, &fakeFirst{err: broken}, &fakeSecond{})
	if h, err := e.Hear(phrase.Scope{}, nil); err != nil || h.Outcome != None {
		t.Errorf("no sound: %+v, %v", h, err)
	}
	if _, err := e.Hear(phrase.Scope{}, make([]float32, 16000)); !errors.Is(err, broken) {
		t.Errorf("error of the first witness: %v", err)
	}
}

func TestNoise(t *testing.T) {
	speech := func(floor float64) []float32 {
		rng := rand.New(rand.NewPCG(1, 2))
		x := make([]float32, 32000)
		for i := range x {
			level := floor
			if i > 8000 && i < 24000 {
				level = 0.1
			}
			x[i] = float32(level * rng.NormFloat64())
		}
		return x
	}
	quiet, some, loud := noise(speech(0.0001)), noise(speech(0.02)), noise(speech(0.08))
	if quiet != 0 || some <= quiet || loud <= some || loud > 1 {
		t.Errorf("noise is %.2f, %.2f, %.2f from quiet to loud", quiet, some, loud)
	}
	if noise(nil) != 1 || noise(make([]float32, 32000)) != 1 {
		t.Error("silence stands out of nothing")
	}
}

// A phrase of one word needs more to be taken than another, but for what only takes back.
func TestOneWordAlone(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	e := make(Evidence, len(EvidenceNames))
	e[firstAndSecond] = 1
	fitted.Weights[firstAndSecond] = 0
	for text, want := range map[string][2]bool{ // sure just below the bar, and above it
		"yes":       {false, true},
		"ten":       {false, true},
		"nought":    {false, true},
		"pause":     {false, true},
		"no":        {true, true},
		"wrong":     {true, true},
		"go back":   {true, true},
		"nine nine": {true, true},
	} {
		m, ok := g.Meaning(text)
		if !ok {
			t.Fatalf("%q is no phrase", text)
		}
		for i, p := range []float64{aloneSure - 0.02, aloneSure + 0.01} {
			fitted.Weights[len(EvidenceNames)] = math.Log(p / (1 - p))
			if d := Decide(e, Candidate{Text: text, Meaning: m}); d.Sure != want[i] || !d.ForUs {
				t.Errorf("%q at %.2f: %+v, want sure %v", text, p, d, want[i])
			}
		}
	}
}
