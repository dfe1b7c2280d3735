package hear

import (
	"strings"
	"testing"

	"waycall/grammar"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

// A text is a phrase, one that cannot be here, or none, and then it is said where it
// leaves the grammar.
func TestWords(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	here := phrase.Scope{Ways: map[int][]reading.Test{0: {reading.Ze}, 3: {reading.LNE}}, Here: 3, Unit: reading.Megohm}
	for _, c := range []struct {
		text, why string
		outcome   Outcome
		want      phrase.Meaning
	}{
		{"way three live and neutral to earth over range", "", Reading, phrase.Meaning{Way: 3, Test: reading.LNE, Quantity: reading.Quantity{Unit: reading.Megohm}, OverRange: true}},
		{"  confirm ", "", Command, phrase.Meaning{Command: phrase.Confirm}},
		{"way four live and neutral to earth over range", "", Misplaced, phrase.Meaning{Way: 4, Test: reading.LNE, Quantity: reading.Quantity{Unit: reading.Megohm}, OverRange: true}},
		{"way three gubbins", `"gubbins" cannot follow "way three"; what can: `, None, phrase.Meaning{}},
		{"mind the ladder", `no phrase begins with "mind"`, None, phrase.Meaning{}},
		{"make a", `"make a" is not whole; it may go on with: note`, None, phrase.Meaning{}},
		{"confirm confirm", `"confirm" cannot follow "confirm"; what can: nothing`, None, phrase.Meaning{}},
		{"", "there are no words", None, phrase.Meaning{}},
	} {
		h, why := Words(g, here, c.text)
		if h.Outcome != c.outcome || h.Best().Meaning != c.want || !strings.HasPrefix(why, c.why) || c.why == "" && why != "" {
			t.Errorf("%q is %s %+v, %q", c.text, h.Outcome, h.Best().Meaning, why)
		}
		if h.Agreed != (c.outcome == Reading || c.outcome == Command) {
			t.Errorf("%q is agreed: %v", c.text, h.Agreed)
		}
	}
}
