package live

import (
	"testing"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// What a reviewer did is in words here, too, as on the time line of the review.
func TestReviewInWords(t *testing.T) {
	s := record.State{Job: board.Job{Boards: []board.Board{{Number: 1}}}}
	at := &record.Slot{Board: 1, Way: 101, Test: reading.LNE}
	q := &reading.Quantity{Value: 206, Bound: reading.Exactly, Unit: reading.Megohm}
	for _, c := range []struct {
		e    record.Event
		want string
	}{
		{record.Event{Kind: record.Edited, Slot: at, Quantity: q, Verdict: &check.Verdict{Result: check.Pass}, By: "AB", Reason: "misheard"}, "Corrected by AB: Way 1L1, LN-E, 206 MΩ, pass: misheard"},
		{record.Event{Kind: record.Settled, Slot: at, By: "AB", Reason: "as expected"}, "Looked at by AB: Way 1L1, LN-E: as expected"},
		{record.Event{Kind: record.Signed, By: "AB", Text: "A. Name"}, "Signed off by AB: A. Name"},
	} {
		if got := lineOf(s, c.e).Text; got != c.want {
			t.Errorf("%s: %q, want %q", c.e.Kind, got, c.want)
		}
	}
}
