package phrase

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"strings"
)

// Sampler makes up phrases of a grammar, to be rendered as speech: for training
// and for measuring.
type Sampler struct {
	set     *ruleSet
	weights map[string][]float64
}

// NewSampler reads the grammar called name and what it imports. Unlike Load it
// asks for no lexicon and does not look into the tags.
//
// Every way of putting a thing is as likely as every other, so that rare forms
// are met too, except where weights names a rule ("numbers.number") and gives
// each of its alternatives a weight: the grammar itself has none, because it
// says what is possible and not what is likely.
func NewSampler(files fs.FS, name string, weights map[string][]float64) (*Sampler, error) {
	set, err := readJSGF(files, name)
	if err != nil {
		return nil, err
	}
	for rule, w := range weights {
		if x, ok := set.rules[rule]; ok {
			if c, _ := x.(choice); len(c) != len(w) {
				return nil, fmt.Errorf("weights of rule %s: %d for %d alternatives; give each one", rule, len(w), len(c))
			}
		}
	}
	return &Sampler{set, weights}, nil
}

// Over looks for a file in top, and where that has none in below: a grammar that is
// not the project's own may import what is.
func Over(top, below fs.FS) fs.FS { return over{top, below} }

type over struct{ top, below fs.FS }

func (o over) Open(name string) (fs.File, error) {
	f, err := o.top.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return o.below.Open(name)
	}
	return f, err
}

// Phrase makes up one phrase of a rule, named in full ("phrases.reading").
func (s *Sampler) Phrase(rule string, rng *rand.Rand) (string, error) {
	if _, ok := s.set.rules[rule]; !ok {
		return "", fmt.Errorf("rule %s: not in the grammar; name it with its grammar, as in phrases.reading", rule)
	}
	var words []string
	var walk func(x expansion, weights []float64)
	walk = func(x expansion, weights []float64) {
		switch x := x.(type) {
		case word:
			words = append(words, string(x))
		case ref:
			walk(s.set.rules[x.rule], s.weights[x.rule])
		case sequence:
			for _, part := range x {
				walk(part, nil)
			}
		case choice:
			walk(x[weighted(len(x), weights, rng)], nil)
		case optional:
			if rng.IntN(2) == 0 {
				walk(x.of, nil)
			}
		}
	}
	walk(ref{rule: rule}, nil)
	return strings.Join(words, " "), nil
}

// weighted draws one of n, evenly or by weight.
func weighted(n int, weights []float64, rng *rand.Rand) int {
	if weights == nil {
		return rng.IntN(n)
	}
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	at := rng.Float64() * sum
	for i, w := range weights {
		if at -= w; at < 0 {
			return i
		}
	}
	return n - 1
}
