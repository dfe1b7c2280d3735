package hear

import (
	"slices"
	"testing"

	"waycall/grammar"
	"waycall/internal/phrase"
)

// Two of three witnesses that hear the same settle a phrase, a lost part is
// found again, and talk stays talk.
func TestThreeWitnesses(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	const full = "way three live to earth four eight six"
	for name, tt := range map[string]struct {
		first, second, third string
		scores               map[string]float64
		best                 string
		agreed               bool
		outcome              Outcome
	}{
		"first and second": {full, full, "", nil, full, true, Reading},
		"first and third":  {full, "way three live to earth four six", full, nil, full, true, Reading},
		"none agree":       {full, "confirm", "four eight", nil, full, false, Reading},
		"the first lost the beginning, the others agree": {"live to earth four eight six", full, full, nil, full, true, Reading},
		"the first lost the end":                         {"way three", "three", full, nil, full, false, Reading},
		"the first is outside the grammar by a word":     {"three live to earth four eight six", full, full, nil, full, true, Reading},
		"broken off, and nobody else heard it":           {"- " + full, "", "hello", nil, full, false, None},
		"broken off, the third agrees":                   {"- " + full, "", full, nil, full, true, Reading},
		"broken off to both":                             {"- " + full, "", "- " + full, nil, full, false, Reading},
		"broken off to both, a command":                  {"- not applicable", "", "- not applicable", nil, "not applicable", false, Command},
		"broken off to both, before a figure":            {"- nine nine", "", "- nine nine", nil, "nine nine", false, None},
		"broken off to the third alone, before a figure": {"nine nine", "", "- nine nine", nil, "nine nine", false, Reading},
		"the second hears one more of a figure":          {"nine nine", "nine nine nine", "nine nine", nil, "nine nine", false, Reading},
		"talk":                                           {"go back to the van", "go back", "go back to the van", nil, "", false, None},
		"talk, the third misled":                         {"go back to the van", "go back", "go back", nil, "go back", false, None},
		"nearly a phrase to the first, too":              {"no axis", "", "no access", map[string]float64{"no access": -2}, "no access", false, Command},
		"one word, again and again, to the third alone":  {"four", "", "four four four", map[string]float64{"four four four": -1.5}, "four four four", false, None},
		"one word to the third alone":                    {"bake", "", "eight", map[string]float64{"eight": -1.5}, "eight", false, None},
		"one word to the third, something to the second": {"bake", "no", "eight", map[string]float64{"eight": -1.5}, "eight", false, Reading},
		"one word that the first heard":                  {"nine nine nine", "", "nine nine", nil, "nine nine nine", false, Reading},
		"not on any board":                               {"way ninety nine live to earth two hundred", "confirm", "confirm", nil, "way ninety nine live to earth two hundred", false, Misplaced},
	} {
		first := &fakeFirst{free: Text{Words: tt.first, LogProb: -1, Ended: true}, scores: tt.scores}
		third := &fakeFirst{free: Text{Words: tt.third, LogProb: -1, Ended: true}}
		h, err := New(g, first, &fakeSecond{tt.second}).WithThird(third).Hear(phrase.Scope{}, steps(14, 1600))
		if err != nil {
			t.Fatal(err)
		}
		if h.Best().Text != tt.best || h.Agreed != tt.agreed || h.Outcome != tt.outcome {
			t.Errorf("%s: %s %q, agreed %v; want %s %q, %v", name, h.Outcome, h.Best().Text, h.Agreed, tt.outcome, tt.best, tt.agreed)
		}
	}
}

// What may have been said as well is offered: one more of a figure that the second heard,
// however unlikely to the others, and "no" for "nought".
func TestOffered(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	for heard, tt := range map[string]struct {
		second, offered string
		score           float64
	}{
		"nine nine": {"nine nine nine", "nine nine nine", -1 - 2*plausible},
		"nought":    {"nought", "no", -2},
		"no":        {"no", "nought", -2},
	} {
		text := Text{Words: heard, LogProb: -1, Ended: true}
		scores := map[string]float64{tt.offered: tt.score}
		h, err := New(g, &fakeFirst{free: text, scores: scores}, &fakeSecond{tt.second}).WithThird(&fakeFirst{free: text, scores: scores}).Hear(phrase.Scope{}, steps(14, 1600))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(h.Candidates, func(c Candidate) bool { return c.Text == tt.offered }) || h.Best().Text != heard {
			t.Errorf("%q: %v, want %q offered beside it", heard, h.Candidates, tt.offered)
		}
	}
}

// A figure whose neighbour is about as likely is asked about, though all witnesses heard it;
// where there is noise the neighbour must lie further behind. What is no neighbour may come
// as near.
func TestEvenNeighbour(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	const heard, other = "live to earth three hundred and fifty", "live to earth three hundred and fifteen"
	quiet, loud := steps(40, 1600), steps(20, 1600)
	for _, c := range []struct {
		sound  []float32
		behind float64
		agreed bool
	}{
		{quiet, 0.2, false}, {quiet, evenly - 0.1, false}, {quiet, evenly + 0.1, true},
		{loud, evenly + 0.1, false}, {loud, evenlyInNoise - 0.1, false}, {loud, evenlyInNoise + 0.1, true},
	} {
		for text, agreed := range map[string]bool{other: c.agreed, "live to earth three hundred and forty": true} {
			said := Text{Words: heard, LogProb: -0.5, Ended: true}
			scores := map[string]float64{other: -30, text: -0.5 - c.behind}
			witness := func() *fakeFirst { return &fakeFirst{free: said, scores: scores} }
			h, err := New(g, witness(), &fakeSecond{heard}).WithThird(witness()).Hear(phrase.Scope{}, c.sound)
			if err != nil {
				t.Fatal(err)
			}
			if h.Best().Text != heard || h.Agreed != agreed {
				t.Errorf("noise %.2f, %q %.1f nats behind: %q, agreed %v of %v", noise(c.sound), text, c.behind, h.Best().Text, h.Agreed, h.Candidates)
			}
			if !agreed && !slices.ContainsFunc(h.Candidates, func(c Candidate) bool { return c.Text == text }) {
				t.Errorf("%q is not offered beside %v", text, h.Candidates)
			}
		}
	}
}
