package hear

import (
	"fmt"
	"strings"

	"waycall/internal/phrase"
)

// mostNext is how many words that may follow are named at most.
const mostNext = 12

// Words returns what a text means in the scope, as if each witness had heard it without a
// doubt, and, where it is no phrase, why not. The text is lower-case words separated by
// blanks. With it a grammar is tried without sound.
func Words(g *phrase.Grammar, s phrase.Scope, text string) (h Heard, why string) {
	h = nothing()
	a := g.Narrow(s)
	text = strings.Join(strings.Fields(text), " ")
	m, ok := g.Meaning(text)
	switch {
	case ok && a.Accepts(text):
		h.Outcome, h.Agreed = kind(m), true
	case ok:
		h.Outcome = Misplaced
	default:
		return h, notWhole(a, text)
	}
	h.Candidates = []Candidate{{Text: text, Meaning: m}}
	return h, ""
}

// notWhole says where a text leaves the automaton, or that it stops too early.
func notWhole(a *phrase.Automaton, text string) string {
	state, said := 0, []string{}
	for _, w := range strings.Fields(text) {
		to, ok := a.Step(state, w)
		if !ok && len(said) == 0 {
			return fmt.Sprintf("no phrase begins with %q", w)
		}
		if !ok {
			return fmt.Sprintf("%q cannot follow %q; what can: %s", w, strings.Join(said, " "), following(a, state))
		}
		state, said = to, append(said, w)
	}
	if len(said) == 0 {
		return "there are no words"
	}
	return fmt.Sprintf("%q is not whole; it may go on with: %s", text, following(a, state))
}

// following names the words that may come next.
func following(a *phrase.Automaton, state int) string {
	var words []string
	for i, arc := range a.States[state].Arcs {
		if i == mostNext {
			words = append(words, "...")
			break
		}
		words = append(words, arc.Word)
	}
	if len(words) == 0 {
		return "nothing"
	}
	return strings.Join(words, ", ")
}
