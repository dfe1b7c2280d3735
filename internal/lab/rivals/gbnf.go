package rivals

import (
	"maps"
	"slices"

	"waycall/internal/phrase"
)

// element is a whisper_grammar_element: its type, and a character or a rule.
type element struct{ kind, value uint32 }

// The kinds used, as whisper.h numbers them.
const (
	endOfRule   = 0
	alternative = 1
	reference   = 2
	character   = 3
)

// rules is a grammar in whisper.cpp's form: rule r begins at element[from[r]],
// and a phrase is rule 0.
type rules struct {
	from    []int32
	element []element
}

// spelling is a tree of the words that lead on from a state, letter by letter.
// Where a word ends, to is the state it leads to; a word may be the beginning of
// another ("live", "lives").
type spelling struct {
	next map[rune]*spelling
	to   []int
}

// newRules writes the automaton letter by letter. Words with the same beginning
// share it, without which whisper.cpp follows a hundred alternatives at once and
// is many times slower. Each word has a blank before it, as in whisper's tokens.
func newRules(a *phrase.Automaton) *rules {
	bodies := slices.Repeat([][]element{nil}, len(a.States)) // the rules of the states come first
	var write func(s *spelling) []element
	write = func(s *spelling) []element {
		var body []element
		begin := func() {
			if body != nil {
				body = append(body, element{alternative, 0})
			}
		}
		for _, to := range s.to {
			begin()
			body = append(body, element{reference, uint32(to)})
		}
		for _, c := range slices.Sorted(maps.Keys(s.next)) {
			begin()
			t := s.next[c]
			body = append(body, element{character, uint32(c)})
			for len(t.to) == 0 && len(t.next) == 1 { // no choice: no rule of its own
				for c, only := range t.next {
					body, t = append(body, element{character, uint32(c)}), only
				}
			}
			if len(t.to) == 1 && len(t.next) == 0 {
				body = append(body, element{reference, uint32(t.to[0])})
				continue
			}
			r := len(bodies)
			bodies = append(bodies, nil)
			bodies[r] = write(t)
			body = append(body, element{reference, uint32(r)})
		}
		return body
	}
	for i, st := range a.States {
		root := &spelling{}
		for _, arc := range st.Arcs {
			at := root
			for _, c := range " " + arc.Word {
				if at.next == nil {
					at.next = map[rune]*spelling{}
				}
				if at.next[c] == nil {
					at.next[c] = &spelling{}
				}
				at = at.next[c]
			}
			at.to = append(at.to, arc.To)
		}
		body := write(root)
		if st.Final && body != nil {
			body = append(body, element{alternative, 0}) // or nothing more
		}
		bodies[i] = body
	}
	r := &rules{}
	for _, b := range bodies {
		r.from = append(r.from, int32(len(r.element)))
		r.element = append(r.element, b...)
		r.element = append(r.element, element{endOfRule, 0})
	}
	return r
}
