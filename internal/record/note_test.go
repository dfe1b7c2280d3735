package record

import (
	"testing"
	"time"

	"waycall/internal/board"
)

func TestNotes(t *testing.T) {
	job := board.Job{Reference: "N-1", Boards: []board.Board{{Number: 1, Ways: []board.Way{{Number: 1}, {Number: 2, Spare: true}}}}}
	at := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	var s State
	apply := func(e Event) error {
		e.ID, e.At = s.LastID+1, at
		next, err := s.Apply(e)
		if err == nil {
			s = next
		}
		return err
	}
	place := func(way int) *Slot { return &Slot{Board: 1, Way: way} }
	steps := []struct {
		name string
		e    Event
		ok   bool
	}{
		{"before a session", Event{Kind: Noted, Slot: place(1), Text: "x"}, false},
		{"", Event{Kind: Opened, Job: &job}, true},
		{"a note", Event{Kind: Noted, Slot: place(0), Text: "the lid is cracked"}, true},
		{"of a spare way", Event{Kind: Observed, Slot: place(2), Code: "C2", Text: "no blank"}, true},
		{"no such way", Event{Kind: Noted, Slot: place(3), Text: "x"}, false},
		{"no such board", Event{Kind: Noted, Slot: &Slot{Board: 2}, Text: "x"}, false},
		{"no code", Event{Kind: Observed, Slot: place(1), Text: "x"}, false},
		{"another code", Event{Kind: Observed, Slot: place(1), Code: "C4", Text: "x"}, false},
		{"a note with a code", Event{Kind: Noted, Slot: place(1), Code: "C1", Text: "x"}, false},
		{"no text", Event{Kind: Noted, Slot: place(1)}, false},
		{"no place", Event{Kind: Noted, Text: "x"}, false},
		{"take back what is no note", Event{Kind: Withdrawn, Of: 1}, false},
		{"take back the observation", Event{Kind: Withdrawn, Of: 3}, true},
		{"twice", Event{Kind: Withdrawn, Of: 3}, false},
		{"", Event{Kind: Paused}, true},
		{"in a pause", Event{Kind: Noted, Slot: place(1), Text: "x"}, false},
	}
	for _, c := range steps {
		if err := apply(c.e); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if n, ok := s.LastNote(); len(s.Notes) != 2 || !ok || n.Text != "the lid is cracked" || s.Notes[1].Ended == 0 {
		t.Errorf("%+v", s.Notes)
	}
}

// Who tests is said anew by each session; the first one goes on with the opening that
// set the job up.
func TestSetUpIsNoSession(t *testing.T) {
	job := board.Job{Reference: "N-1", Tester: "AB", Boards: []board.Board{{Number: 1, Ways: []board.Way{{Number: 1}}}}}
	at := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	var s State
	for i, c := range []struct {
		e        Event
		sessions int
		tester   string
	}{
		{Event{Kind: Opened, Job: &job}, 1, "AB"},
		{Event{Kind: Opened, Job: &job, Tester: "CD"}, 1, "CD"},
		{Event{Kind: Said, Text: "x"}, 1, "CD"},
		{Event{Kind: Opened, Job: &job}, 2, "AB"},
	} {
		c.e.ID, c.e.At = s.LastID+1, at
		var err error
		if s, err = s.Apply(c.e); err != nil || s.Sessions != c.sessions || s.Tester != c.tester {
			t.Errorf("event %d: %d sessions, tester %q, %v", i+1, s.Sessions, s.Tester, err)
		}
	}
	if len(s.Resumed) != 1 {
		t.Errorf("resumed at %v", s.Resumed)
	}
}
