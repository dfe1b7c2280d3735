package whisper

import (
	"cmp"
	"encoding/binary"
	"slices"
	"sort"

	"waycall/internal/phrase"
)

// mask holds decoding to an automaton: for each state, the tokens that may
// come next and where they lead. A token may end inside a word and the next
// one go on from there, so the states are places between letters.
type mask struct {
	from, token, next []int32
	final             []uint8
}

// letters is a deterministic automaton over the letters of the phrases, each
// word written with a blank before it, as the model writes them.
type letters struct {
	next  []map[byte]int32
	final []uint8
}

// spell writes the words of an automaton out in letters.
func spell(a *phrase.Automaton) *letters {
	// item is a place in the spelling of one arc's word; off is the number of
	// letters passed. At the end of the word it stands for the arc's target.
	type item struct{ state, arc, off int }
	text := func(i item) string { return " " + a.States[i.state].Arcs[i.arc].Word }

	l := &letters{}
	index := map[string]int32{}
	var sets [][]item
	add := func(set []item) int32 {
		slices.SortFunc(set, func(x, y item) int {
			return cmp.Or(cmp.Compare(x.state, y.state), cmp.Compare(x.arc, y.arc), cmp.Compare(x.off, y.off))
		})
		set = slices.Compact(set)
		var key []byte
		for _, i := range set {
			for _, part := range []int{i.state, i.arc, i.off} {
				key = binary.AppendUvarint(key, uint64(part))
			}
		}
		n, ok := index[string(key)]
		if !ok {
			n = int32(len(sets))
			index[string(key)] = n
			sets = append(sets, set)
		}
		return n
	}
	begin := func(state int) []item {
		var set []item
		for k := range a.States[state].Arcs {
			set = append(set, item{state, k, 0})
		}
		return set
	}
	add(begin(0))
	for n := 0; n < len(sets); n++ {
		final := uint8(0)
		reach := map[byte][]item{}
		open := slices.Clone(sets[n])
		for k := 0; k < len(open); k++ {
			i := open[k]
			if w := text(i); i.off < len(w) {
				reach[w[i.off]] = append(reach[w[i.off]], item{i.state, i.arc, i.off + 1})
				continue
			}
			to := a.States[i.state].Arcs[i.arc].To
			if a.States[to].Final {
				final = 1
			}
			open = append(open, begin(to)...)
		}
		next := map[byte]int32{}
		for c, set := range reach {
			next[c] = add(set)
		}
		l.next, l.final = append(l.next, next), append(l.final, final)
	}
	return l
}

// vocabulary is the model's tokens by their letters: sorted, so that all that begin
// alike lie side by side. As a tree of maps it took 14 MB for each model.
type vocabulary []spelling

// spelling is a token and the letters that it stands for.
type spelling struct {
	text  string
	token int32
}

func (v vocabulary) sort() {
	slices.SortFunc(v, func(x, y spelling) int { return cmp.Or(cmp.Compare(x.text, y.text), cmp.Compare(x.token, y.token)) })
}

// next returns the tokens of v that go on with a letter. All of v must have more
// letters than depth, and be alike before it.
func (v vocabulary) next(depth int, letter byte) vocabulary {
	from := sort.Search(len(v), func(i int) bool { return v[i].text[depth] >= letter })
	to := from + sort.Search(len(v)-from, func(i int) bool { return v[from+i].text[depth] > letter })
	return v[from:to]
}

// newMask works out the mask of an automaton for the model's vocabulary.
func newMask(a *phrase.Automaton, v vocabulary) *mask {
	l := spell(a)
	type move struct{ token, to int32 }
	renumber := map[int32]int32{0: 0}
	order := []int32{0}
	m := &mask{from: []int32{0}}
	for n := 0; n < len(order); n++ {
		var moves []move
		var walk func(v vocabulary, depth int, at int32)
		walk = func(v vocabulary, depth int, at int32) {
			for len(v) > 0 && len(v[0].text) == depth { // the shortest come first
				moves = append(moves, move{v[0].token, at})
				v = v[1:]
			}
			for c, to := range l.next[at] {
				if on := v.next(depth, c); len(on) > 0 {
					walk(on, depth+1, to)
				}
			}
		}
		walk(v, 0, order[n])
		slices.SortFunc(moves, func(x, y move) int { return cmp.Compare(x.token, y.token) })
		for _, mv := range moves {
			to, ok := renumber[mv.to]
			if !ok {
				to = int32(len(order))
				renumber[mv.to] = to
				order = append(order, mv.to)
			}
			m.token, m.next = append(m.token, mv.token), append(m.next, to)
		}
		m.from = append(m.from, int32(len(m.token)))
		m.final = append(m.final, l.final[order[n]])
	}
	return m
}
