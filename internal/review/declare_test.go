package review

import (
	"strings"
	"testing"

	"waycall/internal/reading"
	"waycall/internal/record"
)

// What is signed lists what fails and stands, what was corrected, what was left out and
// what was observed, the danger first; and just that is kept in the record.
func TestDeclaration(t *testing.T) {
	b := open(t)
	heard := b.hear("something")
	b.add(record.Event{Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 1}, Code: "C3", Text: "no label", HeardID: heard})
	b.add(record.Event{Kind: record.Observed, Slot: &record.Slot{Board: 1}, Code: "C1", Text: "a live part is bare", HeardID: heard})
	b.closeAll()
	zs := at(1, reading.Zs)
	b.must(Edit(b.s, b.change(zs, "99")))
	b.must(Settle(b.s, b.change(zs, "")))
	for _, it := range Queue(b.s, b.events) { // what the edit made doubtful
		b.must(Settle(b.s, b.change(it.Slot, "")))
	}
	d := Declare(b.s)
	text := d.Text()
	for _, want := range []string{Statement, "1 fail", "Fails and stands:\n- board 1, way 1, Zs: 99 ohm; let stand by", "Corrected, replaced or taken off:", "put there on review",
		"Observations:\n- C1, board 1 itself: a live part is bare; not said who was told\n- C3, board 1, way 1: no label"} {
		if !strings.Contains(text, want) {
			t.Errorf("it does not say %q:\n%s", want, text)
		}
	}
	b.must(SignOff(b.s, b.events, Signature{Name: "Carys Dummy-Example", By: "CD", Sum: strings.Repeat("0", 64), At: now}))
	if b.s.Signed.Statement != text {
		t.Errorf("kept is %q", b.s.Signed.Statement)
	}
	// A sign-off of before has none, and goes on having none.
	old := b.events[len(b.events)-1]
	old.Statement = ""
	s, err := record.Fold(append(b.events[:len(b.events)-1:len(b.events)-1], old))
	if err != nil || s.Signed == nil || s.Signed.Statement != "" {
		t.Errorf("%+v, %v", s.Signed, err)
	}
}
