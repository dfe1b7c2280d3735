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
		h, err := New(g, first, &fakeSecond{""}).WithThird(third).Hear(phrase.Scope{}, steps(40, 1600))
		if err != nil || h.Outcome != None || h.Missed != c.want {
			t.Errorf("%q and %q: %s, missed %v, %v", c.first, c.third, h.Outcome, h.Missed, err)
		}
	}
	// What ran on is not a phrase, and what was understood was not missed.
	for _, free := range []Text{{Words: "way three live to", LogProb: -1}, text("confirm", -0.2)} {
		h, err := New(g, &fakeFirst{free: free}, &fakeSecond{"confirm"}).Hear(phrase.Scope{}, steps(40, 1600))
		if err != nil || h.Missed {
			t.Errorf("%q: %+v, %v", free.Words, h, err)
		}
	}
}

// A note is what the first witness made of it, whatever the words, without the mark of
// a broken-off start; one without an end is nothing.
func TestNote(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	sound := make([]float32, 1600)
	hear := func(heard Text) (Heard, error) {
		third := &fakeFirst{free: text("the lid was cracked", -2)}
		return New(g, &fakeFirst{free: heard}, &fakeSecond{"confirm"}).WithThird(third).Note(sound)
	}
	for _, words := range []string{"the lid is cracked", "- the lid is cracked"} {
		if h, err := hear(text(words, -3)); err != nil || h.Outcome != Note || h.Best().Text != "the lid is cracked" || h.Words[WhisperFree] != words {
			t.Errorf("%+v, %v", h, err)
		}
	}
	if h, err := hear(Text{Words: "the lid the lid the lid", LogProb: -2}); err != nil || h.Best().Text != "" || h.Words[WhisperFree] == "" {
		t.Errorf("%+v, %v", h, err)
	}
	broken := errors.New("broken")
	if _, err := New(g, &fakeFirst{err: broken}, &fakeSecond{"confirm"}).Note(sound); !errors.Is(err, broken) {
		t.Error(err)
	}
}
