package phrase

import (
	"cmp"
	"maps"
	"slices"
)

// Figures are the words that the grammar makes figures of, by its tags. They are those
// of every rule in its files, whether or not a phrase has a place for it.
type Figures struct {
	// Digits are said one by one, "four" and "oh", with what each stands for.
	Digits map[string]int
	// Scales follow a digit or stand before one, and make another figure of it: "hundred",
	// "thousand" and "point". Sorted.
	Scales []string
	// Numbers are the words of whole numbers, 0 to 90: 13 is "thirteen".
	Numbers map[int]string
	// Units name what a figure is of: "megs" and "ohms". Sorted.
	Units []string
}

// Figures returns the words of the grammar's figures.
func (g *Grammar) Figures() Figures { return g.figures }

// figures collects the words of a grammar's figures.
func (s *ruleSet) figures() Figures {
	f := Figures{Digits: map[string]int{}, Numbers: map[int]string{}}
	for _, name := range slices.Sorted(maps.Keys(s.rules)) {
		s.each(s.rules[name], func(w word, a action) {
			switch a.verb {
			case doDigit:
				f.Digits[string(w)] = a.n
			case doHundred, doThousand, doPoint:
				f.Scales = append(f.Scales, string(w))
			case doAdd:
				// "A" is one, too, and "oh" nought: the longest word is the plain one.
				f.Numbers[a.n] = longest(string(w), f.Numbers[a.n])
			case doUnit:
				f.Units = append(f.Units, string(w))
			}
		})
	}
	for _, all := range []*[]string{&f.Scales, &f.Units} {
		slices.Sort(*all)
		*all = slices.Compact(*all)
	}
	return f
}

// longest returns the longer word, of two that are as long the first in the alphabet.
func longest(a, b string) string {
	if c := cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(b, a)); c < 0 {
		return b
	}
	return a
}

// each calls do for each action within x that comes right after a word, with that word:
// of "<mega> {unit Mohm}" with each word that <mega> may end with.
func (s *ruleSet) each(x expansion, do func(word, action)) {
	switch x := x.(type) {
	case optional:
		s.each(x.of, do)
	case choice:
		for _, y := range x {
			s.each(y, do)
		}
	case sequence:
		for i, y := range x {
			s.each(y, do)
			if a, ok := y.(action); ok && i > 0 {
				for _, w := range s.endings(x[i-1]) {
					do(w, a)
				}
			}
		}
	}
}

// endings returns the words that x may end with.
func (s *ruleSet) endings(x expansion) (all []word) {
	switch x := x.(type) {
	case word:
		return []word{x}
	case ref:
		return s.endings(s.rules[x.rule])
	case optional:
		return s.endings(x.of)
	case choice:
		for _, y := range x {
			all = append(all, s.endings(y)...)
		}
	case sequence:
		for _, y := range slices.Backward(x) {
			all = append(all, s.endings(y)...)
			switch y.(type) {
			case action, optional: // the word before may be the last said
			default:
				return all
			}
		}
	}
	return all
}
