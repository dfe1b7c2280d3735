package phrase

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"waycall/grammar"
)

// wordings reads a table: a wording as it is usual on site, and a phrase that means the
// same as it; lines of # are comments.
func wordings(t *testing.T, file string) (all [][2]string) {
	t.Helper()
	src, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(src), "\n") {
		if line == "" || line[0] == '#' {
			continue
		}
		wording, plain, ok := strings.Cut(line, "\t")
		if !ok {
			t.Fatalf("%s: %q has no meaning; put a tab and one behind it", file, line)
		}
		all = append(all, [2]string{wording, plain})
	}
	return all
}

// weigh says of each wording whether it is understood as the plain phrase is, and counts.
func weigh(t *testing.T, g *Grammar, all [][2]string) (meant, refused int) {
	t.Helper()
	for _, w := range all {
		got, ok := g.Meaning(w[0])
		want, known := g.Meaning(w[1])
		switch {
		case !ok:
			refused++
			t.Logf("refused: %q", w[0])
		case w[1] == "-":
			t.Errorf("%q is left out on purpose, but means %+v", w[0], got)
		case known && got.Same(want):
			meant++
		default:
			t.Errorf("%q means %+v, and not %q: %+v", w[0], got, w[1], want)
		}
	}
	return meant, refused
}

// The wordings of our own table are all understood as meant. Those left out on purpose,
// whose meaning is "-", are refused.
func TestUsualWordings(t *testing.T) {
	g, err := Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	all := wordings(t, filepath.Join("testdata", "wordings.tsv"))
	out := 0
	for _, w := range all {
		if w[1] == "-" {
			out++
		}
	}
	if meant, refused := weigh(t, g, all); refused != out || meant+out != len(all) {
		t.Errorf("%d of %d understood as meant, %d refused, %d of them on purpose", meant, len(all), refused, out)
	}
}

// Of the shared list, where it is at hand, at least 95 in a hundred are understood, and
// none as something else.
func TestListedWordings(t *testing.T) {
	list := ""
	for _, up := range []string{"../../..", "../../../.."} { // beside the repository, or a worktree of it
		if file := filepath.Join(up, "shared", "corpus", "wordings.tsv"); list == "" {
			if _, err := os.Stat(file); err == nil {
				list = file
			}
		}
	}
	if list == "" {
		t.Skip("the shared list is not here")
	}
	g, err := Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	plain := map[string]string{}
	for _, w := range wordings(t, filepath.Join("testdata", "listed.tsv")) {
		plain[w[0]] = w[1]
	}
	var all [][2]string
	for _, w := range wordings(t, list) {
		p, ok := plain[w[1]]
		if !ok {
			t.Errorf("the meaning %q has no phrase in testdata/listed.tsv; add one", w[1])
		}
		all = append(all, [2]string{w[0], p})
	}
	meant, refused := weigh(t, g, all)
	t.Logf("%d of %d understood as meant, %d refused", meant, len(all), refused)
	if meant*100 < 95*len(all) {
		t.Errorf("only %d of %d are understood as meant", meant, len(all))
	}
}
