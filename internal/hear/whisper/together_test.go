package whisper

import (
	"strings"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

const otherFile = "../../../models/tiny.en-waycall-other-q8_0.bin"

// Two models together give what each alone gives where it is quiet, with the
// log-probabilities that each gives it; a model together with itself takes the same
// tokens as alone; and what is held is the automaton's, best first.
func TestTogether(t *testing.T) {
	m, g := open(t), load(t)
	other, err := Open(otherFile, 1)
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	t.Cleanup(other.Close)
	all := g.Narrow(phrase.Scope{})
	board := g.Narrow(phrase.Scope{Ways: map[int][]reading.Test{4: {reading.LNE}}})
	near := func(a, b float64) bool { return abs(a-b) < 1e-2 }
	for file, want := range recorded {
		listen(t, m, file)
		clip, err := audio.ReadFile("../../../testdata/audio/" + file)
		if err != nil {
			t.Fatal(err)
		}
		if err := other.Listen(clip); err != nil {
			t.Fatal(err)
		}
		free, held, err := m.Together(other, all)
		if err != nil || len(held) == 0 || free.Words != want || held[0].Words != want || !free.Ended {
			t.Fatalf("%s: together %+v, %+v, %v; want %q", file, free, held, err, want)
		}
		seen := map[string]bool{}
		for i, j := range held {
			one, err1 := m.Score(j.Words)
			two, err2 := other.Score(j.Words)
			if err1 != nil || err2 != nil || !near(one.LogProb, j.LogProb[0]) || !near(two.LogProb, j.LogProb[1]) {
				t.Errorf("%s: %q is %v together, and %.3f and %.3f alone", file, j.Words, j.LogProb, one.LogProb, two.LogProb)
			}
			if !all.Accepts(j.Words) || seen[j.Words] || i > 0 && j.Both() > held[i-1].Both() {
				t.Errorf("%s: %d of %+v is no phrase, or there twice, or out of order", file, i, held)
			}
			seen[j.Words] = true
		}
		alone, err := m.Free()
		if err != nil {
			t.Fatal(err)
		}
		twice, _, err := m.Together(m, all)
		if err != nil || twice.Words != alone.Words || !near(twice.LogProb[1], alone.LogProb) {
			t.Errorf("%s: with itself %+v, alone %+v, %v", file, twice, alone, err)
		}
		if _, held, err = m.Together(other, board); err != nil || len(held) == 0 || !board.Accepts(held[0].Words) {
			t.Errorf("%s: held to way 4, they said %+v, %v", file, held, err)
		}
	}
	var stranger hear.First
	if _, _, err := m.Together(stranger, all); err == nil {
		t.Error("decoded together with nobody")
	}
}

// The splits are those of OpenAI's tokeniser, by the package tokenizers 0.23 reading
// the tokenizer.json of the weights.
func TestTokens(t *testing.T) {
	m := open(t)
	for words, want := range map[string]string{
		"nought point four":  " n|ought| point| four",
		"zed e":              " z|ed| e",
		"megohms megs":       " meg|oh|ms| me|gs",
		"kiloamps milliamps": " kil|o|amps| mill|i|amps",
		"earthing polarity":  " ear|thing| pol|arity",
		"what's left":        " what|'s| left",
	} {
		ids, ok := m.tokens(words)
		var parts []string
		for _, k := range ids {
			parts = append(parts, m.text[k])
		}
		if got := strings.Join(parts, "|"); !ok || got != want {
			t.Errorf("%q is split %q, want %q", words, got, want)
		}
	}
	if _, ok := m.tokens("\x00\xff"); ok {
		t.Error("bytes that are no letters were split")
	}
}
