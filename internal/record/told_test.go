package record

import "testing"

// Who was told of a danger is kept with the observation, and of nothing else.
func TestTold(t *testing.T) {
	s := fold(t, opened(), Event{Kind: Observed, Slot: &Slot{Board: 1, Way: 0}, Code: "C1", Text: "a live part"}, Event{Kind: Noted, Slot: &Slot{Board: 1}, Text: "x"})
	if n, ok := s.Untold(); !ok || n.EventID != 2 {
		t.Fatalf("%+v", n)
	}
	told := func(of int64) (State, error) {
		return s.Apply(Event{ID: s.LastID + 1, Kind: Noted, Slot: &Slot{Board: 1}, Of: of, Text: "the client"})
	}
	if _, err := told(3); err == nil {
		t.Error("somebody was told of a note")
	}
	after, err := told(2)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := after.Untold(); ok || after.Notes[0].Told != "the client" || len(after.Notes) != 2 || s.Notes[0].Told != "" {
		t.Errorf("%+v", after.Notes)
	}
}
