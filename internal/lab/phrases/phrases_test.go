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
