package sphinx

import (
	"path/filepath"
	"strings"
	"testing"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

func open(t *testing.T) (*phrase.Grammar, *Recogniser) {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Open(g.Lexicon())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	t.Cleanup(r.Close)
	return g, r
}

func clip(t *testing.T, file string) audio.Clip {
	t.Helper()
	c, err := audio.ReadFile(filepath.Join("../../../testdata/audio", file))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestHear(t *testing.T) {
	g, r := open(t)
	all := g.Narrow(phrase.Scope{})
	for file, want := range map[string]string{
		"0004-af_heart.flac":  "over nine nine nine",
		"0019-af_sarah.flac":  "way fourteen live and neutral to earth zero point four",
		"0065-am_fenrir.flac": "no two hundred and six",
		"0067-af_nova.flac":   "confirm",
	} {
		got, err := r.Hear(all, clip(t, file))
		if err != nil || got.Words != want {
			t.Errorf("%s: heard %+v, %v; want %q", file, got, err, want)
		}
	}
	if got, err := r.Hear(all, nil); err != nil || got.Words != "" {
		t.Errorf("no sound: %+v, %v", got, err)
	}
}

// It follows the scope from phrase to phrase, back and forth.
func TestHearKeepsToTheScope(t *testing.T) {
	g, r := open(t)
	all := g.Narrow(phrase.Scope{})
	four := g.Narrow(phrase.Scope{Ways: map[int][]reading.Test{4: {reading.LNE}}})
	sound := clip(t, "0019-af_sarah.flac") // way fourteen, live and neutral to earth, zero point four
	for range 3 {
		if got, err := r.Hear(four, sound); err != nil || got.Words != "" && !four.Accepts(got.Words) {
			t.Errorf("on a board with way 4 alone it heard %+v, %v", got, err)
		}
		if got, err := r.Hear(all, sound); err != nil || !strings.HasPrefix(got.Words, "way fourteen") {
			t.Errorf("with all ways it heard %+v, %v", got, err)
		}
	}
}
