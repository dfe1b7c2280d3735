package words

import (
	"bytes"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"waycall/grammar"
	"waycall/internal/hear"
	"waycall/internal/lab/bench"
	"waycall/internal/lab/noise"
	"waycall/internal/phrase"
)

// loaded is the grammar with the words, which take a second to find.
var loaded = sync.OnceValues(func() (g *phrase.Grammar, words []word) {
	g, err := phrase.Load(grammar.Files)
	if err == nil {
		words, err = weighed(g, os.DirFS("../../../models/adapt"))
	}
	if err != nil {
		panic(err)
	}
	return g, words
})

// Every command without a number is weighed, once, and nothing else of the grammar.
func TestWeighed(t *testing.T) {
	g, words := loaded()
	var known []string
	for _, w := range words {
		m, ok := g.Meaning(w.Text)
		if ok != w.Known {
			t.Errorf("%q: in the grammar %v, listed as %v", w.Text, ok, w.Known)
		}
		if ok {
			known = append(known, w.Text)
			if m.Command == "" || m.Command != w.For || m.HasValue() || m.Way > 0 {
				t.Errorf("%q means %+v and is listed for %q", w.Text, m, w.For)
			}
		}
	}
	for _, text := range []string{"confirm", "no", "skip this one", "no access", "proved dead", "the first one"} {
		if !slices.Contains(known, text) {
			t.Errorf("%q is not weighed", text)
		}
	}
	for i, w := range words {
		if slices.ContainsFunc(words[i+1:], func(v word) bool { return v.Text == w.Text }) {
			t.Errorf("%q is weighed twice", w.Text)
		}
	}
}

// A word that is weighed must say for what, and no purpose is left behind when a
// word goes; "query" was weighed for nothing in particular.
func TestWouldBe(t *testing.T) {
	_, words := loaded()
	for _, w := range words {
		if w.For == "" && w.Text != "query" {
			t.Errorf("%q is weighed for nothing; add it to wouldBe", w.Text)
		}
	}
}

func TestAutomaton(t *testing.T) {
	words := []word{{Text: "accept"}, {Text: "accept that"}, {Text: "scratch that"}, {Text: "all done"}}
	a := automaton(words)
	for _, w := range words {
		if !a.Accepts(w.Text) {
			t.Errorf("%q is not accepted", w.Text)
		}
	}
	for _, text := range []string{"", "scratch", "that", "accept that that", "all", "done"} {
		if a.Accepts(text) {
			t.Errorf("%q is accepted", text)
		}
	}
}

// heard is a made-up result in an ordinary voice.
func heard(said, model, second string) bench.Result {
	return bench.Result{
		Item:      bench.Item{Text: said, Voice: "v"},
		Witnesses: map[string]string{hear.WhisperFree: model, hear.Sphinx: second},
	}
}

var noisy = bench.Run{Condition: noise.Condition{Noise: []noise.Added{{Kind: noise.Site, SNR: 5}}}}

// often is a result n times.
func often(n int, r bench.Result) []bench.Result { return slices.Repeat([]bench.Result{r}, n) }

func TestCount(t *testing.T) {
	g, words := loaded()
	trained := heard("pause", "yes", "yes")
	trained.Voice += inTraining
	got, err := count(g, words, []bench.Kept{
		{Results: []bench.Result{
			heard("the first", "the first one", "the second"), // one meaning
			heard("pause", "paws", "pause"),
			trained,
			heard("hello", "hello", "hello"), // no longer among the words
		}},
		{Run: noisy, Results: []bench.Result{
			heard("pause", "", "stand by"),
			heard("pause", "yes", "yes"),
			heard("the second", "second", "the first one"),
			heard("the second", "- the second", "the second"),
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		text, model, noise, second, secondNoise string
	}{
		{"the first", "1/1", "0/0", "0/1", "0/0"},
		{"pause", "0/1", "0/2", "1/1", "0/2"},
		{"the second", "0/0", "1/2", "0/0", "1/2"},
	} {
		s := got.scores[c.text]
		if s.model[0].String() != c.model || s.model[1].String() != c.noise || s.sphinx[0].String() != c.second || s.sphinx[1].String() != c.secondNoise {
			t.Errorf("%q: %v %v, want %v", c.text, s.model, s.sphinx, c)
		}
	}
	if len(got.scores) != 3 {
		t.Errorf("%d words counted, want 3", len(got.scores))
	}
	pause := got.scores["pause"]
	if pause.harm["yes"] != 1 || len(pause.harm) != 1 || pause.together["yes"] != 1 {
		t.Errorf("pause heard as yes in one ordinary voice: harm %v, by both %v", pause.harm, pause.together)
	}
	if got.broken != 1 {
		t.Errorf("%d starts broken off, want 1", got.broken)
	}
	if v := got.voices["v"+inTraining]; v == nil || v.quiet.n != 1 {
		t.Error("the voice of the training is not counted by itself")
	}
	pairs, counts := got.confusions()
	if pairs[0] != (pair{"pause", "yes"}) || counts[pairs[0]] != [5]int{0, 1, 0, 1, 1} {
		t.Errorf("first pair %v %v, want pause heard as yes", pairs[0], counts[pairs[0]])
	}
	if _, err := count(g, words, nil); err == nil {
		t.Error("no error when nothing was heard")
	}
}

func TestVerdict(t *testing.T) {
	g, words := loaded()
	for name, c := range map[string]struct {
		quiet, noise []bench.Result
		want         string // part of why it fails; empty when it passes
	}{
		"right": {often(14, heard("pause", "pause", "")), often(28, heard("pause", "pause", "")), ""},
		"just enough": {often(14, heard("pause", "pause", "")),
			append(often(19, heard("pause", "pause", "")), heard("pause", "paws", "")), ""},
		"one short": {often(14, heard("pause", "pause", "")),
			append(often(18, heard("pause", "pause", "")), heard("pause", "paws", "")), "noise 18/19"},
		"weak in quiet": {append(often(10, heard("pause", "pause", "")), heard("pause", "paws", "")),
			often(28, heard("pause", "pause", "")), "quiet 10/11"},
		"never heard in noise": {often(14, heard("pause", "pause", "")), nil, "noise 0/0"},
		"once as a confirmation": {append(often(40, heard("pause", "pause", "")), heard("pause", "confirm", "")),
			often(28, heard("pause", "pause", "")), `"confirm" 1`},
		"once as a figure": {often(14, heard("pause", "pause", "")),
			append(often(40, heard("pause", "pause", "")), heard("pause", "four", "")), `"four" 1`},
		"once as what would delete": {often(14, heard("pause", "pause", "")),
			append(often(40, heard("pause", "pause", "")), heard("pause", "delete that", "")), `"delete that" 1`},
		"once as what asks": {often(14, heard("pause", "pause", "")),
			append(often(40, heard("pause", "pause", "")), heard("pause", "what's next", "")), ""},
		"once as another wording of its own": {often(14, heard("accept", "accept", "")),
			append(often(40, heard("accept", "accept", "")), heard("accept", "confirm", "")), ""},
		"one reason for another": {often(14, heard("no access", "no access", "")),
			append(often(40, heard("no access", "no access", "")), heard("no access", "none fitted", "")), `"none fitted" 1`},
		"the second alone does not count": {often(14, heard("pause", "pause", "confirm")), often(28, heard("pause", "pause", "no")), ""},
	} {
		got, err := count(g, words, []bench.Kept{{Results: c.quiet}, {Run: noisy, Results: c.noise}})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range got.scores {
			if why := s.verdict(); c.want == "" && why != "" || !strings.Contains(why, c.want) {
				t.Errorf("%s: %q, want %q", name, why, c.want)
			}
		}
	}
}

func TestAdvice(t *testing.T) {
	g, words := loaded()
	good := func(text string) []bench.Result { return often(20, heard(text, text, text)) }
	bad := func(text string) []bench.Result { return often(20, heard(text, "yes", "yes")) }
	for name, c := range map[string]struct {
		results []bench.Result
		want    string
	}{
		"keep": {slices.Concat(good("pause"), bad("stand by")), `keep "pause"`},
		"take": {slices.Concat(bad("pause"), good("stand by")), `weak: "pause"; could be taken: "stand by"`},
		"none": {slices.Concat(bad("pause"), bad("stand by")), `weak: "pause"; no other passes either`},
	} {
		got, err := count(g, words, []bench.Kept{{Results: c.results}, {Run: noisy, Results: c.results}})
		if err != nil {
			t.Fatal(err)
		}
		if a := advice(got.groups()[phrase.Pause]); a != c.want {
			t.Errorf("%s: %s, want %s", name, a, c.want)
		}
	}
}

// The table has a row for each word, with what it was heard as, and none for a word
// that was not heard.
func TestWriteTable(t *testing.T) {
	g, words := loaded()
	kept := []bench.Kept{
		{Run: bench.Run{Notes: []string{"a model"}}, Results: often(20, heard("pause", "pause", "pause"))},
		{Run: noisy, Results: append(often(9, heard("pause", "pause", "pause")), heard("pause", "", "hold | on"))},
	}
	var out bytes.Buffer
	if err := writeTable(&out, g, words, kept); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Heard with a model.",
		"| **pause** | 20/20 | 9/10 | 20/20 | 9/10 | nothing 1 | hold   on 1 | fails: right in noise 9/10 |",
		"| pause | hold   on | 0 | 0 | 0 | 0 | 1 |",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing in:\n%s", want, &out)
		}
	}
	if strings.Contains(out.String(), "stand by") {
		t.Error("a word that was not heard has a row")
	}
}
