package words

import (
	"testing"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

func job(boards int) board.Job {
	j := board.Job{Boards: []board.Board{{Number: 1, Bonding: []string{"water", "gas"}}}}
	for n := 2; n <= boards; n++ {
		j.Boards = append(j.Boards, board.Board{Number: n})
	}
	return j
}

// What an event says: in a line of the live page, and without the readings, as the time
// line of the review has it, which shows those for themselves.
func TestOfEvent(t *testing.T) {
	s := record.State{Job: job(1), Notes: []record.Note{{EventID: 7, Text: "no label"}}}
	q, v := reading.Quantity{Value: 206, Bound: reading.Exactly, Unit: reading.Megohm}, check.Verdict{Result: check.Pass}
	at := &record.Slot{Board: 1, Way: 3, Test: reading.LN, Position: 2}
	phrase := &record.Phrase{Outcome: "reading", Text: "two hundred"}
	for _, c := range []struct {
		e          record.Event
		line, text string // text is "" where it is the line
	}{
		{record.Event{Kind: record.Heard, Phrase: phrase}, "two hundred (disputed)", ""},
		{record.Event{Kind: record.Said, Text: "Way three."}, "Way three.", ""},
		{record.Event{Kind: record.Prepared, Step: "isolated", Answer: record.Done}, "Step answered: isolated, done", ""},
		{record.Event{Kind: record.Prepared, Step: "leads", Answer: record.Done, Quantity: &q, Verdict: &v}, "Step answered: leads, done, 206 MΩ, pass", "Step answered: leads, done"},
		{record.Event{Kind: record.Proposed, Slot: at, Quantity: &q, Verdict: &v, Then: []record.Further{{Slot: record.Slot{Board: 1, Way: 4, Test: reading.LN}, Quantity: q, Verdict: v}}},
			"Read back: Way 3, L-N, switch position 2, 206 MΩ, pass, Way 4, L-N, 206 MΩ, pass", "Read back: Way 3, L-N, switch position 2"},
		{record.Event{Kind: record.Confirmed}, "Confirmed and stored", ""},
		{record.Event{Kind: record.Confirmed, Answer: record.ByKey}, "Confirmed by the key and stored", ""},
		{record.Event{Kind: record.Tapped, Text: "confirm"}, "Key tapped: confirm", ""},
		{record.Event{Kind: record.Confirmed, Answer: record.Accepted}, "The reading before was accepted as this one began, and stored", ""},
		{record.Event{Kind: record.Dropped, Reason: "said again"}, "Not stored: said again", ""},
		{record.Event{Kind: record.Noted, Slot: &record.Slot{Board: 1}, Text: "damp"}, "Note, the board itself: damp", ""},
		{record.Event{Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 3}, Code: "C2", Text: "no label"}, "Observation C2, way 3: no label", ""},
		{record.Event{Kind: record.Withdrawn, Of: 7, Reason: "wrong way"}, "Taken back: no label: wrong way", ""},
		{record.Event{Kind: record.Withdrawn, Of: 8}, "Taken back: event 8", ""},
		{record.Event{Kind: record.Withdrawn, Slot: at, By: "AB", Reason: "a slip"}, "Taken off by AB: Way 3, L-N, switch position 2: a slip", ""},
		{record.Event{Kind: record.Skipped, Slot: at, Answer: record.Waived, Reason: "locked"}, "Left out: Way 3, L-N, switch position 2, waived: locked", ""},
		{record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 1, Test: reading.Bonding, Position: 2}}, "Went to the board itself, Main bonding, gas", ""},
		{record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 3}, Reason: "new cable"}, "To be tested again after work: Way 3: new cable", ""},
		{record.Event{Kind: record.Edited, Slot: at, Quantity: &q, Verdict: &v, By: "AB", Reason: "misheard"}, "Corrected by AB: Way 3, L-N, switch position 2, 206 MΩ, pass: misheard", "Corrected by AB: Way 3, L-N, switch position 2: misheard"},
		{record.Event{Kind: record.Settled, Slot: at, By: "AB", Reason: "as expected"}, "Looked at by AB: Way 3, L-N, switch position 2: as expected", ""},
		{record.Event{Kind: record.Signed, By: "AB", Text: "A. Name"}, "Signed off by AB: A. Name", ""},
		{record.Event{Kind: record.Finished}, "Session ended", ""},
		{record.Event{Kind: "later", Slot: at, Text: "what"}, "Later: Way 3, L-N, switch position 2: what", ""},
	} {
		got := OfEvent(s, c.e)
		if got.String() != c.line {
			t.Errorf("%s: %q, want %q", c.e.Kind, got, c.line)
		}
		if want := c.text; want != "" && got.Text() != want {
			t.Errorf("%s without readings: %q, want %q", c.e.Kind, got.Text(), want)
		}
	}
}

func TestPlaces(t *testing.T) {
	for _, c := range []struct {
		slot   record.Slot
		boards int
		place  string // in a document
		where  string // on a page
	}{
		{record.Slot{Board: 1, Way: 3, Test: reading.LNE}, 1, "Way 3, LN-E", "Way 3, LN-E"},
		{record.Slot{Board: 2, Way: 3, Test: reading.RingLN, Position: 4}, 2, "Board 2, way 3, " + string(reading.RingLN) + ", point 4", ""},
		{record.Slot{Board: 1, Test: reading.Bonding, Position: 1}, 1, "The board itself, bonding, service 1", "The board itself, Main bonding, water"},
		{record.Slot{Board: 2, Test: reading.Bonding, Position: 1}, 2, "Board 2 itself, bonding, service 1", "Board 2 itself, Main bonding, service 1"},
		{record.Slot{Board: 1, Test: reading.Ze}, 2, "Board 1 itself, Ze", "Board 1 itself, Ze"},
	} {
		if got := Place(c.slot, c.boards > 1); got != c.place {
			t.Errorf("%+v: %q, want %q", c.slot, got, c.place)
		}
		if got := Where(job(c.boards), c.slot); c.where != "" && got != c.where {
			t.Errorf("%+v on a page: %q, want %q", c.slot, got, c.where)
		}
	}
}

func TestWays(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Ways([]int{3}), "way 3"},
		{Ways([]int{1, 101, 5}), "ways 1, 1L1, 5"},
		{FedFrom(1, 207), "board 1, way 7L2"},
		{Switched("Way 3", 2), "Way 3, switch position 2"},
		{Switched("Way 3", 0), "Way 3"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}
