package whisper

import (
	"slices"
	"testing"

	"waycall/internal/phrase"
)

// The mask allows just the tokens whose letters lead on in a phrase, whatever the
// tokens are, and leads where the letters do.
func TestMask(t *testing.T) {
	arc := func(word string, to int) phrase.Arc { return phrase.Arc{Word: word, To: to} }
	a := &phrase.Automaton{States: []phrase.State{
		{Arcs: []phrase.Arc{arc("no", 1), arc("nought", 2), arc("say", 3)}},
		{Final: true, Arcs: []phrase.Arc{arc("nought", 2)}},
		{Arcs: []phrase.Arc{arc("point", 3)}},
		{Final: true},
	}}
	phrases := map[string]bool{" no": true, " no nought point": true, " nought point": true, " say": true}
	begins := func(text string) bool {
		for p := range phrases {
			if len(text) <= len(p) && p[:len(text)] == text {
				return true
			}
		}
		return false
	}
	var v vocabulary
	for i, text := range []string{" ", "n", " n", " no", " nought", "ought", "o", "ug", "ht", " point", "poi", "nt", "point", " p", " s", "ay", " say", " no nought", "zed", "a", "y", " no", "no"} {
		v = append(v, spelling{text, int32(i)})
	}
	all := slices.Clone(v)
	v.sort()
	m := newMask(a, v)
	seen := 0
	var walk func(state int32, text string)
	walk = func(state int32, text string) {
		if seen++; seen > 10000 {
			t.Fatal("the mask goes round in circles")
		}
		if got := m.final[state] != 0; got != phrases[text] {
			t.Errorf("%q may end: %v", text, got)
		}
		to := map[int32]int32{}
		for i := m.from[state]; i < m.from[state+1]; i++ {
			to[m.token[i]] = m.next[i]
		}
		for _, s := range all {
			next, ok := to[s.token]
			if ok != begins(text+s.text) {
				t.Errorf("after %q, %q is allowed: %v", text, s.text, ok)
			}
			if ok {
				walk(next, text+s.text)
			}
		}
		if len(to) != int(m.from[state+1]-m.from[state]) {
			t.Errorf("after %q a token is there twice", text)
		}
	}
	walk(0, "")
	if seen < 20 {
		t.Errorf("%d places in the mask", seen)
	}
}

// accepts reports whether the mask lets the tokens pass as a whole phrase.
func (m *mask) accepts(tokens []int32) bool {
	state := int32(0)
	for _, t := range tokens {
		row := m.token[m.from[state]:m.from[state+1]]
		k, ok := slices.BinarySearch(row, t)
		if !ok {
			return false
		}
		state = m.next[m.from[state]+int32(k)]
	}
	return m.final[state] == 1
}
