package hear

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"waycall/internal/phrase"
)

// within is how far, in natural log-probability, a phrase of the grammar may
// lie below the freely decoded words and still be taken for what was said. On
// corpus/dev the ordinary talk that came closest ("yes I know I told him that
// already" for "yes") lay 5.8 below, and the one phrase decoded wrongly
// ("wrong" as "ring") 1.7.
const within = 3.5

// alike is how far below the freely decoded words the second witness's phrase
// may lie and count as heard by both: the first then only spelled it another
// way ("switch is on", "no axis"). In the same set this was right on all 24
// phrases that it took.
const alike = 1.5

// For a phrase without a figure, the first witness outweighs the second when its
// least likely token has at least sureToken (0.74 of the probability) and the
// whole lies sureMargin above what the second heard. On 212 such phrases
// (corpus/dev, and 144 commands in six voices that the adaptation never heard)
// the rule was never wrong, clean or at 10 dB of noise.
const (
	sureToken  = -0.3
	sureMargin = 6
)

// plausible is how far below the likeliest candidate another may lie and still
// be worth offering to the electrician. In noise the second witness, which
// cannot decline, comes up with phrases tens below.
const plausible = 12

// fuse makes one phrase of what the witnesses heard in the sound. The first has
// taken it in already and can go on decoding and scoring. It is called with the
// witnesses to itself.
func (e *Ear) fuse(a *phrase.Automaton, sound []float32, free, held Text) (Heard, error) {
	h := nothing()
	h.note(WhisperFree, free)
	h.note(Sphinx, held)
	if e.third != nil && e.first.Adapted() {
		return e.weighThree(h, a, sound, free, held)
	}
	if e.first.Adapted() {
		return e.weigh(h, a, free, held)
	}
	return e.weighPlain(h, a, free, held)
}

// brokenOff is how the first witness writes a start that was broken off ("four
// sev- four eight six") before the phrase itself.
const brokenOff = "- "

// weighThree fuses the witnesses when there is a third: the same model adapted
// on other data. The first and another that hear the same settle a phrase, and so
// do the two others where the first heard a part of it. The third listens only when
// the second does not hear what the first does, as in noise.
//
// On corpus/dev with site noise at 5 dB the first and one of the others heard
// the same 168 phrases of 205, all of them right, where the first and the second
// alone heard the same 39; the right phrase was among what the first and the
// third heard in 203.
func (e *Ear) weighThree(h Heard, a *phrase.Automaton, sound []float32, free, held Text) (Heard, error) {
	if !free.Ended {
		return h, nil // it ran on: not a phrase
	}
	words, broken := strings.CutPrefix(free.Words, brokenOff)
	mine, ok := e.grammar.Meaning(words)
	if ok && !a.Accepts(words) {
		h.Outcome = Misplaced
		h.Candidates = []Candidate{{words, mine, free.LogProb}}
		return h, nil
	}
	second, heard := e.grammar.Meaning(held.Words)
	if ok && !broken && heard && same(mine, second) {
		h.Outcome, h.Agreed = kind(mine), true
		h.Candidates = []Candidate{{words, mine, free.LogProb}}
		return h, nil
	}

	if err := e.third.Listen(sound); err != nil {
		return h, err
	}
	other, err := e.third.Free()
	if err != nil {
		return h, err
	}
	h.note(WhisperOther, other)
	theirs, understood := e.grammar.Meaning(other.Words)
	understood = understood && other.Ended && a.Accepts(other.Words)
	if !ok && !understood {
		return h, nil // neither takes it for a phrase: talk
	}

	// A witness may lose a part of what was said, across a pause or in noise; it
	// does not make one up. So a phrase that another's words are a part of stands
	// before these, however sure of them that other is. Any other phrase must be
	// nearly as likely to the first as its own words, or it is talk that only
	// sounds like a phrase.
	whole := understood && partOf(words, other.Words)
	h.Agreed = understood && (ok && same(mine, theirs) || whole && heard && same(theirs, second))
	if broken && !h.Agreed {
		ok = false // music and knocks come out so, too: nobody else heard the phrase
	}
	if ok && (!h.Agreed || !whole) {
		h.Candidates = append(h.Candidates, Candidate{words, mine, free.LogProb})
	}
	consider := func(text string, m phrase.Meaning) error {
		for _, c := range h.Candidates {
			if same(c.Meaning, m) {
				return nil
			}
		}
		t, err := e.first.Score(text)
		if whole && text == other.Words { // at least as likely as its part
			t.LogProb = max(t.LogProb, math.Nextafter(free.LogProb, 0))
		}
		if err == nil && (ok || partOf(words, text) || t.LogProb >= free.LogProb-within) {
			h.Candidates = append(h.Candidates, Candidate{text, m, t.LogProb})
		}
		return err
	}
	if understood {
		if err := consider(other.Words, theirs); err != nil {
			return h, err
		}
	}
	if heard && !h.Agreed {
		if err := consider(held.Words, second); err != nil {
			return h, err
		}
	}
	if len(h.Candidates) == 0 {
		return h, nil
	}
	h.order()
	return h, nil
}

// partOf reports whether the words of part stand together within the longer
// whole.
func partOf(part, whole string) bool {
	return part != "" && len(part) < len(whole) && strings.Contains(" "+whole+" ", " "+part+" ")
}

func nothing() Heard {
	return Heard{Outcome: None, Words: map[string]string{}, Scores: map[string]float64{}}
}

func (h *Heard) note(witness string, t Text) {
	h.Words[witness] = t.Words
	if !math.IsInf(t.LogProb, 0) && !math.IsNaN(t.LogProb) { // the record takes numbers only
		h.Scores[witness] = t.LogProb
	}
}

// weigh fuses the witnesses when the free words can be compared with the
// grammar.
func (e *Ear) weigh(h Heard, a *phrase.Automaton, free, held Text) (Heard, error) {
	if !free.Ended || strings.HasPrefix(free.Words, strings.TrimSpace(brokenOff)) {
		return h, nil // it ran on, or was broken off: not a phrase
	}
	if !a.Accepts(free.Words) {
		if m, ok := e.grammar.Meaning(free.Words); ok {
			h.Outcome = Misplaced
			h.Candidates = []Candidate{{free.Words, m, free.LogProb}}
			return h, nil
		}
		return e.nearby(h, a, free, held)
	}
	m, _ := e.grammar.Meaning(free.Words)
	return e.settle(h, Candidate{free.Words, m, free.LogProb}, free.Weakest, held)
}

// nearby handles free words outside the grammar: a phrase garbled by noise if
// some phrase of the grammar is nearly as likely, otherwise talk.
func (e *Ear) nearby(h Heard, a *phrase.Automaton, free, held Text) (Heard, error) {
	masked, err := e.first.Held(a)
	if err != nil {
		return h, err
	}
	h.note(WhisperHeld, masked)
	found := map[string]float64{}
	if masked.Ended {
		found[masked.Words] = masked.LogProb
	}
	if held.Words != "" {
		if t, err := e.first.Score(held.Words); err == nil {
			found[held.Words] = t.LogProb
		}
	}
	for words, lp := range found {
		if m, ok := e.grammar.Meaning(words); ok && lp >= free.LogProb-within {
			h.Candidates = append(h.Candidates, Candidate{words, m, lp})
		}
	}
	if len(h.Candidates) == 0 {
		return h, nil
	}
	h.order()
	h.Agreed = h.Best().Text == held.Words && h.Best().LogProb >= free.LogProb-alike
	return h, nil
}

// settle compares the first witness's phrase with the second's.
func (e *Ear) settle(h Heard, c Candidate, weakest float64, held Text) (Heard, error) {
	h.Candidates = []Candidate{c}
	h.Outcome = kind(c.Meaning)
	other, ok := e.grammar.Meaning(held.Words)
	if ok && same(other, c.Meaning) {
		h.Agreed = true
		return h, nil
	}
	doubt := Text{LogProb: math.Inf(-1)} // nothing heard: nothing against it
	if ok {
		var err error
		if doubt, err = e.first.Score(held.Words); err != nil {
			return h, err
		}
	}
	if !c.Meaning.HasValue() && weakest >= sureToken && c.LogProb-doubt.LogProb >= sureMargin {
		h.Agreed = true
		return h, nil
	}
	if ok {
		h.Candidates = append(h.Candidates, Candidate{held.Words, other, doubt.LogProb})
		h.order()
	}
	return h, nil
}

// weighPlain fuses the witnesses when the first is a model that was not adapted
// and writes "Way 3: >999": then only the phrase held to the grammar can be
// compared, and the free words serve to count how much was said.
func (e *Ear) weighPlain(h Heard, a *phrase.Automaton, free, held Text) (Heard, error) {
	masked, err := e.first.Held(a)
	if err != nil {
		return h, err
	}
	h.note(WhisperHeld, masked)
	m, ok := e.grammar.Meaning(masked.Words)
	if !ok || !masked.Ended || !free.Ended {
		return h, nil
	}
	second, ok := e.grammar.Meaning(held.Words)
	if !ok || !same(m, second) || len(strings.Fields(free.Words)) > len(strings.Fields(masked.Words))+1 {
		return h, nil
	}
	return e.settle(h, Candidate{masked.Words, m, masked.LogProb}, masked.Weakest, held)
}

// order puts the likeliest candidate first and drops those that are not worth
// offering beside it.
func (h *Heard) order() {
	slices.SortFunc(h.Candidates, func(a, b Candidate) int {
		return cmp.Or(cmp.Compare(b.LogProb, a.LogProb), cmp.Compare(a.Text, b.Text))
	})
	h.Candidates = slices.DeleteFunc(h.Candidates, func(c Candidate) bool {
		return c.LogProb < h.Candidates[0].LogProb-plausible
	})
	h.Outcome = kind(h.Candidates[0].Meaning)
}

func kind(m phrase.Meaning) Outcome {
	if m.Command != "" {
		return Command
	}
	return Reading
}

// same reports whether two phrases mean the same: "nought point three oh" and
// "point three" do.
func same(a, b phrase.Meaning) bool {
	a.Quantity.Places, b.Quantity.Places = 0, 0
	return a == b
}
