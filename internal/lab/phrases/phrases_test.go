package phrases

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A text is labelled with its meaning, or with none where it is no phrase.
func TestLabel(t *testing.T) {
	counts := map[string]*int{}
	for _, kind := range Kinds {
		counts[kind] = new(int)
	}
	name := filepath.Join(t.TempDir(), "texts")
	if err := os.WriteFile(name, []byte("five two\nyes\nmarvin\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := Write(&out, Options{Counts: counts, Label: name}); err != nil {
		t.Fatal(err)
	}
	want := `{"text":"five two","want":{"bound":"=","kind":"reading","value":52}}
{"text":"yes","want":{"kind":"command","phrase":"yes"}}
{"text":"marvin","want":{"kind":"none"}}
`
	if out.String() != want {
		t.Errorf("labelled as\n%s, not\n%s", out.String(), want)
	}
	if err := Write(&out, Options{Counts: counts, Label: name + "x"}); err == nil || !strings.Contains(err.Error(), "check its name") {
		t.Errorf("a file that is not there: %v", err)
	}
}

// No sentence of the talk, to train with or to measure with, is a phrase of the grammar: the
// grammar grows, and what it takes since would be learnt as nothing said.
func TestTalkIsNoPhrase(t *testing.T) {
	counts := map[string]*int{}
	for _, kind := range Kinds {
		counts[kind] = new(int)
	}
	for _, name := range []string{"models/adapt/talk.txt", "testdata/bench/talk.txt"} {
		var out strings.Builder
		if err := Write(&out, Options{Counts: counts, Label: filepath.Join("../../..", name)}); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(out.String()) {
			if !strings.Contains(line, `"want":{"kind":"none"}`) {
				t.Errorf("%s: %s", name, line)
			}
		}
		if n := strings.Count(out.String(), "\n"); n < 1000 {
			t.Errorf("%s: %d sentences", name, n)
		}
	}
}
