package hear

import (
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

// A note is what the first witness made of it, whatever the words.
func TestNote(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	want := text("the lid of the joint box is cracked", -3)
	e := New(g, &fakeFirst{free: want}, &fakeSecond{"confirm"})
	if got, err := e.Note(make([]float32, 1600)); err != nil || got != want {
		t.Errorf("%+v, %v", got, err)
	}
}
