package hear

import (
	"fmt"
	"strings"

	"waycall/internal/phrase"
)

// mostNext is how many words that may follow are named at most.
const mostNext = 12

// longestTyped is how many characters Typed takes; the longest phrase has some 200.
const longestTyped = 1000

// Typed returns a text that a person typed as the grammar writes it: lower-case words.
// Commas and full stops are left out. It refuses what nobody can say.
func Typed(text string) (string, error) {
	if len(text) > longestTyped {
		return "", fmt.Errorf("it has %d characters; a phrase has at most %d", len(text), longestTyped)
	}
	for _, r := range text {
		switch {
		case r == ' ' || r == ',' || r == '.' || r == '\'' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z':
		case r >= '0' && r <= '9':
			return "", fmt.Errorf("it has the digit %c; write figures as they are said, such as %q", r, "two hundred and six")
		default:
			return "", fmt.Errorf("it has the character %+q; give words of letters alone", r)
		}
	}
	return strings.ToLower(strings.NewReplacer(",", " ", ".", " ").Replace(text)), nil
}

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
