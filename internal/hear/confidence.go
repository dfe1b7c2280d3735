package hear

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"waycall/internal/phrase"
)

// Evidence is what speaks for and against the likeliest candidate, in numbers
// between 0 and 1 or near it. Fitted weights make a probability of them.
type Evidence []float64

// The entries of an Evidence.
const (
	firstAndThird = iota
	firstAndSecond
	secondAndThird
	figure
	gap
	thirdsGap
	rival
	weakest
	eachWord
	drawled
	more
	brokenStart
	part
	noisy
	noisyAlone
	jointly
	jointGap
	cutShort
)

// EvidenceNames names the entries of an Evidence, in their order.
var EvidenceNames = []string{
	firstAndThird:  "first and third agree",
	firstAndSecond: "first and second agree",
	secondAndThird: "second and third agree",
	figure:         "figure",      // the phrase holds a value, which has more neighbours than a command
	gap:            "gap",         // how far the first witness puts it below its own free words, / farBelow
	thirdsGap:      "third's gap", // the same of the third, where it listened
	rival:          "rival",       // how near the next candidate comes: 1 level, 0 from noRival behind, to each model
	weakest:        "weakest",     // improbability of the least likely part of the first's free words
	eachWord:       "each word",   // log-probability of the first's free words, per word, / nat
	drawled:        "drawl",       // time per letter beyond what a slow speaker takes: words are missing
	more:           "more",        // words that the third heard beyond the candidate's, / manyMore
	brokenStart:    "broken off",  // the first heard a broken-off start
	part:           "part",        // one heard a part of what the other did
	noisy:          "noisy",       // how little the speech stands out of the noise: see noise
	noisyAlone:     "noisy alone", // the same, where the second witness does not agree with the first
	jointly:        "together",    // the first and the third hear it, decoding together
	jointGap:       "gap of both", // how far it lies below what they hear so, / farBelowBoth
	cutShort:       "cut short",   // how likely its figure goes on, see weighing
}

// ForPhrase reports whether evidence i says that two witnesses hear the phrase, which
// cannot speak against it.
func ForPhrase(i int) bool {
	return i == firstAndThird || i == firstAndSecond || i == secondAndThird || i == jointly
}

//go:embed fitted.json
var fittedJSON []byte

// fitted holds what "scripts/lab/fit-hearing" worked out, and from what.
var fitted = func() Fit {
	f, err := ReadFit(fittedJSON)
	if err != nil {
		panic(err) // it is part of the program, and its test reads it
	}
	return f
}()

// Fit is how evidence becomes a probability, and the probability an outcome.
type Fit struct {
	From    string    `json:"from"`    // the sets and conditions that it was fitted on
	Names   []string  `json:"names"`   // EvidenceNames when it was fitted
	Weights []float64 `json:"weights"` // of the logistic function: one for each name, then the constant
	Sure    float64   `json:"sure"`    // a phrase is taken without a question from here; one with a figure only if two witnesses agree on it
	// The same in noise, where the second witness did not hear it: see InNoise.
	SureInNoise float64 `json:"sure_in_noise"`
	Ask         float64 `json:"ask"` // a phrase is asked about from here; below it is for nobody
}

// ReadFit reads what Fit is written as.
func ReadFit(data []byte) (Fit, error) {
	var f Fit
	if err := json.Unmarshal(data, &f); err != nil {
		return f, fmt.Errorf("fitted weights: %w; run scripts/lab/fit-hearing again", err)
	}
	if f.SureInNoise == 0 || fmt.Sprint(f.Names) != fmt.Sprint(EvidenceNames) || len(f.Weights) != len(f.Names)+1 {
		return f, fmt.Errorf("fitted weights: they are for other evidence; run scripts/lab/fit-hearing again")
	}
	return f, nil
}

// Decision is what becomes of the likeliest candidate.
type Decision struct {
	// Confidence is the probability that it is right, 0 to 1.
	Confidence float64
	ForUs      bool // asked about at least
	Sure       bool // taken without a question
}

// Decide says what becomes of the likeliest candidate, for which the evidence was found.
// A figure is never taken on one witness's word, however sure of it, and a phrase of one
// word not below aloneSure.
func Decide(e Evidence, best Candidate) Decision {
	d := Decision{Confidence: fitted.Confidence(e)}
	count := len(strings.Fields(best.Text))
	d.ForUs = d.Confidence >= fitted.Ask || e.agreed() && count >= long
	// To the first, the best judge of talk, its own words are far likelier (farBelow) and
	// no part of the phrase, nor does it hear the phrase freely together with the third:
	// what the others make of them is a long phrase that both hear, or chance.
	if e[gap] >= 1 && e[part] == 0 && e[jointly] == 0 && !(e.agreed() && count > long) {
		d.ForUs = false
	}
	d.Sure = d.ForUs && d.Confidence >= fitted.threshold(e) && e.Takes()
	// What only takes back puts nothing into the record, and is often said again.
	if takesBack := best.Meaning.Command == phrase.No && !best.Meaning.HasValue(); count == 1 && !takesBack {
		d.Sure = d.Sure && d.Confidence >= aloneSure
	}
	return d
}

// InNoise reports whether there is noise and the second witness, which fails in its
// own way, does not hear what the first does. The other two are of one kind, and may
// both have lost a figure.
func (e Evidence) InNoise() bool { return e[noisyAlone] >= loud }

// threshold is the confidence from which the phrase is sure.
func (f Fit) threshold(e Evidence) float64 {
	if e.InNoise() {
		return f.SureInNoise
	}
	return f.Sure
}

// Takes reports whether the candidate may be taken without a question at all.
func (e Evidence) Takes() bool {
	return e[figure] == 0 || e.agreed() && e[noisy] < deafening && e[cutShort] < unfinished
}

// agreed reports whether two witnesses heard the candidate.
func (e Evidence) agreed() bool { return e[firstAndThird]+e[firstAndSecond]+e[secondAndThird] > 0 }

// Confidence returns the probability that the candidate is what was said.
func (f Fit) Confidence(e Evidence) float64 {
	return 1 / (1 + math.Exp(-LogOdds(f.Weights, e)))
}

// LogOdds returns the weighted sum of the evidence, with the constant, which comes
// last of the weights.
func LogOdds(weights []float64, e Evidence) float64 {
	sum := weights[len(e)]
	for i, x := range e {
		sum += weights[i] * x
	}
	return sum
}
