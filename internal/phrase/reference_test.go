package phrase

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"waycall/internal/reading"
)

// Outside reference: num2words (PyPI), en_GB, for every cardinal from 0 to 9999
// and for decimals.
func TestNumbersAgainstNum2words(t *testing.T) {
	const script = `
from num2words import num2words
for i in range(10000): print(i, num2words(i, lang='en_GB'), sep='\t')
for whole in (0, 1, 7, 12, 35, 106, 250, 999):
    for frac in ('0', '5', '04', '47', '305', '999'):
        text = '%d.%s' % (whole, frac)
        words = num2words(whole, lang='en_GB') + ' point ' + ' '.join(num2words(int(d), lang='en_GB') for d in frac)
        print(text, words, sep='\t')
`
	out, err := exec.Command("../../.cache/reference/bin/python", "-c", script).Output()
	if err != nil {
		t.Fatalf("num2words: %v; run make test, which installs it", err)
	}
	g := load(t)
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) < 10000 {
		t.Fatalf("num2words gave only %d numbers", len(lines))
	}
	for _, line := range lines {
		figure, words, _ := strings.Cut(line, "\t")
		words = strings.NewReplacer("-", " ", ",", "").Replace(words)
		want, _ := strconv.ParseFloat(figure, 64)
		m, ok := g.Meaning(words)
		if !ok || m.Quantity.Value != want || m.Quantity.Bound != reading.Exactly || m.Command != "" {
			t.Errorf("%s: %q means %+v, %v", figure, words, m, ok)
		}
	}
}

// Outside reference: sphinx_jsgf2fsg (Debian's sphinxbase-utils) reads the same
// grammar and gives the same language: each side accepts what the other says.
func TestGrammarAgainstSphinx(t *testing.T) {
	fsg := filepath.Join(t.TempDir(), "phrases.fsg")
	cmd := exec.Command("sphinx_jsgf2fsg", "-jsgf", "phrases.gram", "-fsg", fsg)
	cmd.Dir = "../../grammar"
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("sphinx_jsgf2fsg: %v; run make test, which installs it\n%s", err, out)
	}
	ref := readFSG(t, fsg)
	g := load(t)
	ours := g.Narrow(Scope{})
	pick := seeded()
	for range 5000 {
		if text := randomPhrase(ours, pick); !ref.accepts(text) {
			t.Errorf("sphinx_jsgf2fsg does not accept %q", text)
		}
	}
	outside := 0
	for range 5000 {
		text := ref.random(pick)
		m, ok := g.Meaning(text)
		if !ok {
			t.Errorf("the grammar does not accept %q", text)
		}
		// Only the ways beyond MaxWay are narrowed away, and several that run backwards.
		if !ours.Accepts(text) {
			if outside++; m.Way <= MaxWay && !(m.Last != 0 && (m.Last <= m.Way || m.Last > MaxWay)) {
				t.Errorf("the automaton does not accept %q", text)
			}
		}
	}
	if outside > 2500 {
		t.Errorf("%d of 5000 samples were beyond way %d: too few are left to compare", outside, MaxWay)
	}
}

// fsg is sphinxbase's finite state grammar, with its transitions without a word.
type fsg struct {
	start, final int
	arcs         map[int][]Arc // Word is empty for a transition without one
}

func readFSG(t *testing.T, path string) *fsg {
	t.Helper()
	src, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f := &fsg{arcs: map[int][]Arc{}}
	for _, line := range bytes.Split(src, []byte("\n")) {
		var from, to int
		var p float64
		var w string
		switch n, _ := fmt.Sscanf(string(line), "TRANSITION %d %d %f %s", &from, &to, &p, &w); {
		case n >= 3:
			f.arcs[from] = append(f.arcs[from], Arc{w, to})
		default:
			fmt.Sscanf(string(line), "START_STATE %d", &f.start)
			fmt.Sscanf(string(line), "FINAL_STATE %d", &f.final)
		}
	}
	if len(f.arcs) < 50 {
		t.Fatalf("the reference has only %d states", len(f.arcs))
	}
	return f
}

func (f *fsg) closure(set map[int]bool) map[int]bool {
	todo := []int{}
	for s := range set {
		todo = append(todo, s)
	}
	for len(todo) > 0 {
		s := todo[0]
		todo = todo[1:]
		for _, a := range f.arcs[s] {
			if a.Word == "" && !set[a.To] {
				set[a.To] = true
				todo = append(todo, a.To)
			}
		}
	}
	return set
}

func (f *fsg) accepts(text string) bool {
	set := f.closure(map[int]bool{f.start: true})
	for _, w := range strings.Fields(text) {
		next := map[int]bool{}
		for s := range set {
			for _, a := range f.arcs[s] {
				if a.Word == w {
					next[a.To] = true
				}
			}
		}
		set = f.closure(next)
	}
	return set[f.final]
}

func (f *fsg) random(pick func(n int) int) string {
	var words []string
	for s := f.start; s != f.final; {
		a := f.arcs[s][pick(len(f.arcs[s]))]
		if a.Word != "" {
			words = append(words, a.Word)
		}
		s = a.To
	}
	return strings.Join(words, " ")
}
