// Package hear turns the sound of one phrase into what was said.
//
// Two witnesses of different kinds listen to every phrase. The first decodes it
// freely, which is the test for whether the phrase was for us at all: talk to a
// mate comes out as talk, not as the nearest phrase of the grammar. The second
// is held to the grammar and cannot decline. Where both give the same meaning
// the phrase is agreed. Where they differ it is disputed and the electrician is
// asked; a figure is never guessed. Only a phrase without a figure is taken on the
// first witness's word alone, when it is sure of every part and finds what the
// second heard far less likely, as happens in noise.
//
// The engines are in the packages whisper and sphinx below this one, behind the
// interfaces First and Second.
package hear

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"waycall/internal/phrase"
)

// Text is what a witness heard.
type Text struct {
	Words   string  // lower-case words separated by blanks
	LogProb float64 // natural logarithm, of the whole text with its end
	Weakest float64 // log-probability of the least likely part
	Ended   bool    // false when the text ran on and was cut
}

// First is a witness that can decode one sound in several ways. All its
// log-probabilities compare with each other.
type First interface {
	Listen(sound []float32) error           // take in 16 kHz mono sound
	Free() (Text, error)                    // the likeliest words, whatever they are
	Held(a *phrase.Automaton) (Text, error) // the likeliest phrase of the automaton
	Score(words string) (Text, error)       // how likely these words are
	Prepare(a *phrase.Automaton)            // make ready for an automaton ahead of its use
	Adapted() bool                          // whether Free spells words as the grammar does
}

// Second is a witness held to an automaton. Its log-probabilities compare only
// within one sound.
type Second interface {
	Hear(a *phrase.Automaton, sound []float32) (Text, error)
	Prepare(a *phrase.Automaton) error
}

// Outcome says what kind of thing was heard.
type Outcome string

// The outcomes.
const (
	None      Outcome = "none"      // silence, noise, or talk that is not for us
	Reading   Outcome = "reading"   // a reading in full or a value
	Command   Outcome = "command"   // a phrase of the conversation
	Misplaced Outcome = "misplaced" // a clear phrase that cannot be here, such as way 31 of 12
)

// Candidate is one reading of a phrase.
type Candidate struct {
	Text    string
	Meaning phrase.Meaning
	LogProb float64 // by the first witness
}

// Heard is what the witnesses made of one phrase.
type Heard struct {
	Outcome    Outcome
	Agreed     bool               // nothing speaks against the likeliest candidate: see the package comment
	Candidates []Candidate        // likeliest first; empty for None; more than one when disputed
	Words      map[string]string  // witness -> its words
	Scores     map[string]float64 // witness -> its log-probability
}

// Best returns the likeliest candidate; its Text is empty when there is none.
func (h Heard) Best() Candidate {
	if len(h.Candidates) == 0 {
		return Candidate{}
	}
	return h.Candidates[0]
}

// Names of the witnesses in Heard.Words and in the record.
const (
	WhisperFree = "whisper"      // decoded freely
	WhisperHeld = "whisper-held" // held to the grammar, when the free words were outside it
	Sphinx      = "sphinx"
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

// Ear hears phrases. Its methods may be called from one goroutine at a time.
type Ear struct {
	grammar *phrase.Grammar
	first   First
	second  Second
	scopes  map[string]*phrase.Automaton
}

// New returns an Ear over a grammar and two witnesses.
func New(g *phrase.Grammar, first First, second Second) *Ear {
	return &Ear{g, first, second, map[string]*phrase.Automaton{}}
}

// Prepare makes ready for a scope ahead of its first phrase.
func (e *Ear) Prepare(s phrase.Scope) error {
	a := e.automaton(s)
	e.first.Prepare(a)
	return e.second.Prepare(a)
}

// automaton keeps the automata of the scopes seen, of which one board has a few
// dozen.
func (e *Ear) automaton(s phrase.Scope) *phrase.Automaton {
	key := fmt.Sprintf("%v %d %s", s.Ways, s.Here, s.Unit) // fmt prints maps in the order of their keys
	a := e.scopes[key]
	if a == nil {
		if len(e.scopes) > 256 {
			clear(e.scopes)
		}
		a = e.grammar.Narrow(s)
		e.scopes[key] = a
	}
	return a
}

// Hear hears one phrase of 16 kHz mono sound, spoken where the scope says.
func (e *Ear) Hear(s phrase.Scope, sound []float32) (Heard, error) {
	h := Heard{Outcome: None, Words: map[string]string{}, Scores: map[string]float64{}}
	if len(sound) == 0 {
		return h, nil
	}
	a := e.automaton(s)

	var held Text
	var heldErr error
	var wait sync.WaitGroup
	wait.Go(func() { held, heldErr = e.second.Hear(a, sound) })
	free, err := e.listen(sound)
	wait.Wait()
	if err = cmp.Or(err, heldErr); err != nil {
		return h, err
	}
	h.note(WhisperFree, free)
	h.note(Sphinx, held)

	if e.first.Adapted() {
		return e.weigh(h, a, free, held)
	}
	return e.weighPlain(h, a, free, held)
}

func (e *Ear) listen(sound []float32) (Text, error) {
	if err := e.first.Listen(sound); err != nil {
		return Text{}, err
	}
	return e.first.Free()
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
	if !free.Ended {
		return h, nil // it ran on: not a phrase
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
