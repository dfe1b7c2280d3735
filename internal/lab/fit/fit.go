// Package fit works out, from phrases that were heard and of which it is known
// what was said, how evidence becomes a probability and a probability an outcome.
//
// The probability is a logistic function of the evidence, fitted by maximum
// likelihood with a little shrinkage, so that what it claims is what is observed.
// The two thresholds follow from it and from what a mistake costs.
package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/optimize"

	"waycall/internal/hear"
)

// Example is one phrase that was heard.
type Example struct {
	Evidence hear.Evidence
	Talk     bool // nothing was said to waycall
	Right    bool // the likeliest candidate is what was said
}

// AskCost is what it costs to ask about talk, or to offer what was not said,
// counted in phrases missed. To a question that was not meant for him somebody says
// no, or nothing; a phrase missed must be noticed and said again. Voices on a site
// are further from the fitting set than those in it, so missing is the dearer.
const AskCost = 0.3

// MostWrong is the largest share of phrases taken without a question that may be
// wrong, in quiet and in noise each: it lies between what is asked of the two, 0.1
// and 0.5 %, and near the former, since most is said in quiet. Talk does not count in
// it: it is judged apart, by AskCost.
const MostWrong = 0.0015

// shrink is the strength of the pull of the weights towards nought.
const shrink = 0.5

// against is the strength of the pull away from a weight below nought for evidence that
// cannot speak against a phrase: that two witnesses hear it. Such a weight comes of few
// examples, and the next set pays for it.
const against = 1000

// pull is how strongly the weight v of evidence i is pulled towards nought.
func pull(i int, v float64) float64 {
	if v < 0 && hear.ForPhrase(i) {
		return against
	}
	return shrink
}

// To fits to the examples. from names what they were, for the record.
func To(examples []Example, from string) (hear.Fit, error) {
	n := len(hear.EvidenceNames)
	right := 0
	for i, x := range examples {
		if len(x.Evidence) != n {
			return hear.Fit{}, fmt.Errorf("example %d has %d pieces of evidence, not %d; hear the set again with this version", i+1, len(x.Evidence), n)
		}
		if x.Right {
			right++
		}
	}
	if right < 50 || len(examples)-right < 20 {
		return hear.Fit{}, fmt.Errorf("%d examples right and %d wrong are too few to fit to; hear more, in noise too", right, len(examples)-right)
	}
	loss := func(w []float64) float64 {
		sum := 0.0
		for _, x := range examples {
			z := hear.LogOdds(w, x.Evidence)
			if x.Right {
				z = -z
			}
			sum += softplus(z)
		}
		for i, v := range w[:n] {
			sum += pull(i, v) * v * v / 2
		}
		return sum / float64(len(examples))
	}
	gradient := func(g, w []float64) {
		clear(g)
		for _, x := range examples {
			d := 1 / (1 + math.Exp(-hear.LogOdds(w, x.Evidence)))
			if x.Right {
				d--
			}
			for i, e := range x.Evidence {
				g[i] += d * e
			}
			g[n] += d
		}
		for i := range n {
			g[i] += pull(i, w[i]) * w[i]
		}
		for i := range g {
			g[i] /= float64(len(examples))
		}
	}
	found, err := optimize.Minimize(optimize.Problem{Func: loss, Grad: gradient}, make([]float64, n+1), &optimize.Settings{GradientThreshold: 1e-7}, &optimize.LBFGS{})
	if err != nil {
		return hear.Fit{}, fmt.Errorf("fitting did not end: %w; hear more phrases", err)
	}
	f := hear.Fit{From: from, Names: hear.EvidenceNames, Weights: rounded(found.X)}
	var quiet, inNoise []Example
	for _, x := range examples {
		if x.Evidence.InNoise() {
			inNoise = append(inNoise, x)
		} else {
			quiet = append(quiet, x)
		}
	}
	f.Ask = ask(f, examples)
	at, wrong := sure(f, quiet)
	f.Sure = max(f.Ask, at, beyond(wrong, quietMargin))
	at, _ = sure(f, inNoise)
	f.SureInNoise = max(f.Sure, beyond(at, margin))
	return f, nil
}

func softplus(z float64) float64 { return max(z, 0) + math.Log1p(math.Exp(-math.Abs(z))) }

func rounded(w []float64) []float64 {
	out := make([]float64, len(w))
	for i, v := range w {
		out[i] = math.Round(v*1000) / 1000
	}
	return out
}

// sure returns the lowest confidence from which the phrases that may be taken
// without a question are wrong in no more than MostWrong, and the likeliest wrong one
// below it; 0 where there is none.
func sure(f hear.Fit, examples []Example) (at, below float64) {
	type heard struct {
		p     float64
		right bool
	}
	var all []heard
	for _, x := range examples {
		if x.Evidence.Takes() && !x.Talk {
			all = append(all, heard{f.Confidence(x.Evidence), x.Right})
		}
	}
	slices.SortFunc(all, func(a, b heard) int { return cmp.Compare(b.p, a.p) })
	at = 1
	wrong := 0
	for i, x := range all {
		if !x.right {
			wrong++
		}
		last := i+1 == len(all) || all[i+1].p < x.p // of those as sure as x
		if last && float64(wrong) <= MostWrong*float64(i+1) {
			at = x.p
		}
	}
	for _, x := range all {
		if !x.right && x.p < at {
			return at, x.p
		}
	}
	return at, 0
}

// margin is how much further than that, in log-odds, the threshold lies in noise. There
// what is wrong and likely lies just below it, so that with the next noise and the next
// voice it would lie above. In quiet what is wrong lies far below, and the threshold
// quietMargin above it: of 1568 phrases of the set fit two lie above 0.98, which all the
// witnesses heard so, and none from there to 0.40.
const (
	margin      = 0.4
	quietMargin = 2
)

// beyond returns the probability whose log-odds are those of p and by more.
func beyond(p, by float64) float64 {
	odds := p / (1 - p) * math.Exp(by)
	if math.IsInf(odds, 1) {
		return p
	}
	return odds / (1 + odds)
}

// half returns the probability whose odds lie between those of a and b.
func half(a, b float64) float64 {
	odds := math.Sqrt(a / (1 - a) * b / (1 - b))
	return odds / (1 + odds)
}

// ask returns the confidence from which asking costs least: below it more that
// was not said is asked about than is missed above it.
func ask(f hear.Fit, examples []Example) float64 {
	slices.SortFunc(examples, func(a, b Example) int {
		return cmp.Compare(f.Confidence(a.Evidence), f.Confidence(b.Evidence))
	})
	cost := 0.0
	for _, x := range examples { // everything is asked about
		if !x.Right {
			cost += AskCost
		}
	}
	best, at := cost, 0.0
	for i, x := range examples { // x and those before it no more
		if x.Right {
			cost++
		} else {
			cost -= AskCost
		}
		if cost < best && i+1 < len(examples) {
			best, at = cost, half(f.Confidence(x.Evidence), f.Confidence(examples[i+1].Evidence))
		}
	}
	return at
}
