// Package phrase knows what may be said to waycall and what it means.
//
// The one source is the JSGF grammar in the folder grammar/ with its lexicon.
// Load turns it into a Grammar. From a Grammar come, for a given Scope (the
// board at hand and the test that is due), an Automaton: a small machine over
// words that accepts exactly the phrases that may be said now. The recognisers
// are held to it, each in its own way, and Meaning says what an accepted phrase
// means.
//
// A phrase must not have two meanings. Load finds every phrase that can be
// read in two ways, even when both readings agree, and refuses the grammar.
package phrase

import (
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
)

// Grammar is a loaded, unambiguous grammar. It is not changed after Load and
// may be used from several goroutines.
type Grammar struct {
	// The grammar as positions: each place in the text where a word stands is
	// a position, and a phrase is a walk from one to the next. Position 0 is
	// the beginning.
	words   []string // position -> word; words[0] is empty
	next    [][]step // position -> where a phrase may go on
	ends    []ending // position -> whether a phrase may end here
	lexicon Lexicon
	figures Figures
}

// step leads to a position; the actions are carried out on the way, those of
// the word before first.
type step struct {
	to      int
	actions []action
}

type ending struct {
	ok      bool
	actions []action
}

// Load reads the grammar whose top rule is <phrase> in phrases.gram, and the
// lexicon lexicon.txt. It returns an error that names the file and line when
// the text is wrong, and one that shows the phrase when it is ambiguous or
// holds a word that the lexicon lacks.
func Load(files fs.FS) (*Grammar, error) { return LoadNamed(files, "phrases") }

// LoadNamed is Load for another grammar beside that one: its top rule is <phrase> in
// NAME.gram, and words that lexicon.txt lacks are in NAME.txt.
func LoadNamed(files fs.FS, name string) (*Grammar, error) {
	set, err := readJSGF(files, name)
	if err != nil {
		return nil, err
	}
	file := name + ".gram"
	if set.rules[name+".phrase"] == nil {
		return nil, fmt.Errorf("%s: no rule <phrase>; the grammar begins there", file)
	}
	g := &Grammar{words: []string{""}, next: [][]step{nil}, figures: set.figures()}
	b := builder{set: set, g: g}
	part, err := b.build(ref{name + ".phrase", file})
	if err != nil {
		return nil, err
	}
	if len(part.empty) > 0 {
		return nil, fmt.Errorf("%s: <phrase> may be empty; make one of its parts obligatory", file)
	}
	g.next[0] = part.first
	g.ends = make([]ending, len(g.words))
	for _, l := range part.last {
		if g.ends[l.to].ok {
			return nil, fmt.Errorf("%s: a phrase ending in %q ends in two ways; remove one", file, g.words[l.to])
		}
		g.ends[l.to] = ending{true, l.actions}
	}
	if err := g.unambiguous(); err != nil {
		return nil, err
	}
	if g.lexicon, err = readLexicon(files, "lexicon.txt"); err != nil {
		return nil, err
	}
	if _, err := fs.Stat(files, name+".txt"); err == nil {
		more, err := readLexicon(files, name+".txt")
		if err != nil {
			return nil, err
		}
		maps.Copy(g.lexicon, more)
	}
	for _, w := range g.words[1:] {
		if _, ok := g.lexicon[w]; !ok {
			return nil, fmt.Errorf("lexicon.txt: no line for %q; add one, with a pronunciation if the word is unusual", w)
		}
	}
	return g, nil
}

// maxPositions bounds the size of a grammar, which hostile nesting of rules
// could make grow exponentially.
const maxPositions = 60000

// fragment is a part of the grammar under construction: the positions it may
// begin and end with, and the actions of passing it without a word.
type fragment struct {
	first, last []step
	empty       [][]action // at most one, else passing it is ambiguous
}

type builder struct {
	set *ruleSet
	g   *Grammar
}

func (b *builder) build(x expansion) (fragment, error) {
	switch x := x.(type) {
	case word:
		p := len(b.g.words)
		if p >= maxPositions {
			return fragment{}, fmt.Errorf("the grammar has more than %d places for words; simplify it", maxPositions)
		}
		b.g.words = append(b.g.words, string(x))
		b.g.next = append(b.g.next, nil)
		return fragment{first: []step{{to: p}}, last: []step{{to: p}}}, nil
	case action:
		return fragment{empty: [][]action{{x}}}, nil
	case ref:
		f, err := b.build(b.set.rules[x.rule])
		if err == nil && len(f.empty) > 1 {
			err = fmt.Errorf("%s: <%s> may be passed silently in two ways; remove one", x.at, x.rule)
		}
		return f, err
	case optional:
		f, err := b.build(x.of)
		if err == nil && len(f.empty) > 0 {
			err = fmt.Errorf("an optional part may be empty by itself; remove the brackets [ ]")
		}
		f.empty = [][]action{nil}
		return f, err
	case choice:
		var all fragment
		for _, y := range x {
			f, err := b.build(y)
			if err != nil {
				return all, err
			}
			all.first = append(all.first, f.first...)
			all.last = append(all.last, f.last...)
			all.empty = append(all.empty, f.empty...)
		}
		if len(all.empty) > 1 {
			return all, fmt.Errorf("two alternatives may both be empty; make one of them obligatory")
		}
		return all, nil
	case sequence:
		all := fragment{empty: [][]action{nil}}
		for _, y := range x {
			f, err := b.build(y)
			if err != nil {
				return all, err
			}
			if all, err = b.join(all, f); err != nil {
				return all, err
			}
		}
		return all, nil
	}
	return fragment{}, fmt.Errorf("unexpected part %T in the grammar", x)
}

func (b *builder) join(x, y fragment) (fragment, error) {
	for _, l := range x.last {
		for _, f := range y.first {
			for _, s := range b.g.next[l.to] {
				if s.to == f.to {
					return fragment{}, fmt.Errorf("%q may follow %q in two ways; remove one", b.g.words[f.to], b.g.words[l.to])
				}
			}
			b.g.next[l.to] = append(b.g.next[l.to], step{f.to, concat(l.actions, f.actions)})
		}
	}
	z := fragment{first: x.first, last: y.last}
	for _, e := range x.empty {
		for _, f := range y.first {
			z.first = append(z.first[:len(z.first):len(z.first)], step{f.to, concat(e, f.actions)})
		}
	}
	for _, e := range y.empty {
		for _, l := range x.last {
			z.last = append(z.last[:len(z.last):len(z.last)], step{l.to, concat(l.actions, e)})
		}
		for _, d := range x.empty {
			z.empty = append(z.empty, concat(d, e))
		}
	}
	return z, nil
}

func concat(a, b []action) []action { return append(a[:len(a):len(a)], b...) }

// unambiguous looks for a phrase that walks through the grammar in two ways.
// It follows pairs of walks over the same words from the beginning, and reports
// a pair that has parted and can still end.
func (g *Grammar) unambiguous() error {
	type pair struct{ p, q int }
	from := map[pair]pair{{0, 0}: {}}
	back := map[pair][]pair{}
	queue := []pair{{0, 0}}
	var ends []pair
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		if at.p != at.q && g.ends[at.p].ok && g.ends[at.q].ok {
			ends = append(ends, at)
		}
		byWord := map[string][]int{}
		for _, s := range g.next[at.q] {
			byWord[g.words[s.to]] = append(byWord[g.words[s.to]], s.to)
		}
		for _, s := range g.next[at.p] {
			for _, q := range byWord[g.words[s.to]] {
				to := pair{s.to, q}
				if to.p > to.q {
					to.p, to.q = to.q, to.p
				}
				back[to] = append(back[to], at)
				if _, seen := from[to]; !seen {
					from[to] = at
					queue = append(queue, to)
				}
			}
		}
	}
	// Walks that part and meet again, or that part and both end.
	bad := ends
	for to, origins := range back {
		for _, at := range origins {
			if to.p == to.q && at.p != at.q {
				bad = append(bad, at)
			}
		}
	}
	if len(bad) == 0 {
		return nil
	}
	shortest := ""
	for _, at := range bad {
		var words []string
		for ; at != (pair{0, 0}); at = from[at] {
			words = append(words, g.words[at.p])
		}
		slices.Reverse(words)
		text := strings.Join(words, " ")
		if shortest == "" || len(text) < len(shortest) || len(text) == len(shortest) && text < shortest {
			shortest = text
		}
	}
	return fmt.Errorf("the grammar is ambiguous: %q, or a phrase that begins so, can be read in two ways; make the rules exclude each other", shortest)
}

// Lexicon returns the words of the grammar with their pronunciations.
func (g *Grammar) Lexicon() Lexicon { return g.lexicon }

// Meaning returns what the phrase, a string of lower-case words, means. The
// second result is false when the grammar does not hold the phrase at all; a
// phrase that it holds may still be out of place on the board at hand, which
// an Automaton tells.
func (g *Grammar) Meaning(text string) (Meaning, bool) {
	words := strings.Fields(text)
	type crumb struct {
		at   step
		from int // index into the crumbs of the word before
	}
	trail := [][]crumb{{{}}}
	for _, w := range words {
		var here []crumb
		for i, c := range trail[len(trail)-1] {
			for _, s := range g.next[c.at.to] {
				if g.words[s.to] == w {
					here = append(here, crumb{s, i})
				}
			}
		}
		if len(here) == 0 {
			return Meaning{}, false
		}
		trail = append(trail, here)
	}
	for i, c := range trail[len(trail)-1] {
		end := g.ends[c.at.to]
		if !end.ok {
			continue
		}
		walk := make([]step, len(words))
		for k, j := len(words), i; k > 0; k-- {
			walk[k-1] = trail[k][j].at
			j = trail[k][j].from
		}
		var x machine
		for _, s := range walk {
			x.do(s.actions)
		}
		x.do(end.actions)
		return x.meaning(), true
	}
	return Meaning{}, false
}
