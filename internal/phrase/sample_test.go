package phrase

import (
	"math/rand/v2"
	"strings"
	"testing"

	"waycall/grammar"
)

// What the sampler makes up is in the grammar, and it comes to every word of it.
func TestSampler(t *testing.T) {
	g := load(t)
	s, err := NewSampler(grammar.Files, "phrases", map[string][]float64{"numbers.number": {1, 2, 2, 1, 1, 1}, "phrases.phrase": {1, 1, 1, 6}})
	if err != nil {
		t.Fatal(err)
	}
	pick := rand.New(rand.NewPCG(7, 11))
	met := map[string]bool{}
	for range 40000 {
		text, err := s.Phrase("phrases.phrase", pick)
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := g.Meaning(text); !ok {
			t.Fatalf("%q was made up and has no meaning", text)
		}
		for _, w := range strings.Fields(text) {
			met[w] = true
		}
	}
	for w := range g.Lexicon() {
		if !met[w] {
			t.Errorf("%q never came up in 40000 phrases", w)
		}
	}
	if _, err := s.Phrase("phrases.none", pick); err == nil {
		t.Error("a rule that does not exist was taken")
	}
	if _, err := NewSampler(grammar.Files, "phrases", map[string][]float64{"numbers.number": {1, 2}}); err == nil {
		t.Error("two weights for six alternatives were taken")
	}
}
