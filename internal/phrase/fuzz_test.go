package phrase

import (
	"strings"
	"testing"
	"testing/fstest"

	"waycall/grammar"
)

// Whatever stands in the lexicon: it is refused with its line, or every word has
// pronunciations of phones that the second witness knows.
func FuzzLexicon(f *testing.F) {
	whole, err := grammar.Files.ReadFile("lexicon.txt")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(whole))
	for _, text := range []string{"", "one", "one : W AH N", "one : W AH N / W AA N\n", "one :", "one : /", "one : AA\x00", "# no\none#: W", "one\r\n", "é", "one : W AH N / "} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		lex, err := readLexicon(fstest.MapFS{"lexicon.txt": {Data: []byte(text)}}, "lexicon.txt")
		if err != nil {
			return
		}
		for word, sounds := range lex {
			if word == "" || strings.ContainsAny(word, " \t\n:/#") || strings.ToLower(word) != word {
				t.Errorf("%q: the word %q", text, word)
			}
			for _, s := range sounds {
				if len(s) == 0 {
					t.Errorf("%q: %q has a pronunciation of nothing", text, word)
				}
				for _, p := range s {
					if len(p) > 2 || strings.TrimSpace(p) != p || !strings.Contains(phones, " "+p+" ") {
						t.Errorf("%q: %q has the phone %q", text, word, p)
					}
				}
			}
		}
	})
}
