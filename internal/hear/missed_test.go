package hear

import (
	"errors"
	"testing"

	"waycall/grammar"
	"waycall/internal/phrase"
)

// A garbled phrase is told from talk by its words alone.
func TestMissed(t *testing.T) {
	fitForTests(t)
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		first, third string
		want         bool
	}{
		{"way three live to", "three live to", true},
		{"- way three live to", "way three live", true},
		{"way three live to", "pass me the long one", false},
		{"live", "live to", false}, // a word alone may be anything
		{"pass me the long one", "way three live", false},
		{"way three live to", "", false}, // knocks and music
		{"", "", false},
	} {
		first := &fakeFirst{free: Text{Words: c.first, LogProb: -1, Ended: true}}
		third := &fakeFirst{free: Text{Words: c.third, LogProb: -1, Ended: true}}
		h, err := New(g, first, &fakeSecond{""}).WithThird(third).Hear(phrase.Scope{}, make([]float32, 1600))
		if err != nil || h.Outcome != None || h.Missed != c.want {
			t.Errorf("%q and %q: %s, missed %v, %v", c.first, c.third, h.Outcome, h.Missed, err)
		}
	}
	// What ran on is not a phrase, and what was understood was not missed.
	for _, free := range []Text{{Words: "way three live to", LogProb: -1}, text("confirm", -0.2)} {
		h, err := New(g, &fakeFirst{free: free}, &fakeSecond{"confirm"}).Hear(phrase.Scope{}, make([]float32, 1600))
		if err != nil || h.Missed {
			t.Errorf("%q: %+v, %v", free.Words, h, err)
		}
	}
}

// A note is what the third witness made of it, or the first where there is none,
// whatever the words; one without an end is nothing.
func TestNote(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	sound := make([]float32, 1600)
	e := New(g, &fakeFirst{free: text("the lid is cracked", -3)}, &fakeSecond{"confirm"})
	if h, err := e.Note(sound); err != nil || h.Outcome != Note || h.Best().Text != "the lid is cracked" || h.Words[WhisperFree] != "the lid is cracked" {
		t.Errorf("%+v, %v", h, err)
	}
	e.WithThird(&fakeFirst{free: text("the lid was cracked", -2)})
	if h, err := e.Note(sound); err != nil || h.Best().Text != "the lid was cracked" || h.Words[WhisperOther] != "the lid was cracked" {
		t.Errorf("%+v, %v", h, err)
	}
	e.WithThird(&fakeFirst{free: Text{Words: "the lid the lid the lid", LogProb: -2}})
	if h, err := e.Note(sound); err != nil || h.Best().Text != "" || h.Words[WhisperOther] == "" {
		t.Errorf("%+v, %v", h, err)
	}
	broken := errors.New("broken")
	e.WithThird(&fakeFirst{err: broken})
	if _, err := e.Note(sound); !errors.Is(err, broken) {
		t.Error(err)
	}
}
