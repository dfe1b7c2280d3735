// This file puts the events of a record into words, for the time line of the review and
// for the live page.

package words

import (
	"fmt"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// Event is what an event of the record says, in print. A part that it has not is "".
type Event struct {
	What  string   // what was done, and by which reviewer: "Not stored", "Corrected by AB"
	Where string   // with what: "Way 3, LN", a step of the preparation
	How   string   // an answer: "done", "waived"
	Given []string // readings with their verdicts: "0.35 Ω, pass"
	Why   string   // the reason, or the text
}

// String is the whole in a line: "Corrected by AB: Way 3, Zs, 0.35 Ω, pass: misheard".
func (e Event) String() string {
	e.Where = Join(", ", append([]string{e.Where, e.How}, e.Given...)...)
	e.How = ""
	return e.Text()
}

// Text is the line without the readings, for who shows them for themselves.
func (e Event) Text() string {
	return Join(": ", e.What, Join(", ", e.Where, e.How), e.Why)
}

// OfEvent is e, which is in the record that led to s, in words. Its texts may hold
// anything that a board file or a voice put there.
func OfEvent(s record.State, e record.Event) Event {
	where, by := "", ""
	if e.Slot != nil {
		where = Where(s.Job, *e.Slot)
	}
	if e.By != "" {
		by = " by " + e.By
	}
	switch e.Kind {
	case record.Heard:
		return Event{What: heard(e.Phrase)}
	case record.Tapped:
		return Event{What: "Key tapped", How: e.Text}
	case record.Said:
		return Event{What: e.Text}
	case record.Opened:
		return Event{What: "Session opened"}
	case record.Prepared:
		return Event{What: "Step answered", Where: e.Step, How: string(e.Answer), Given: given(e.Quantity, e.Verdict), Why: e.Reason}
	case record.Proposed:
		all := given(e.Quantity, e.Verdict)
		for _, f := range e.Then {
			all = append(all, Where(s.Job, f.Slot)+", "+given(&f.Quantity, &f.Verdict)[0])
		}
		return Event{What: "Read back", Where: where, Given: all}
	case record.Confirmed:
		if e.Answer == record.Accepted {
			return Event{What: "The reading before was accepted as this one began, and stored"}
		}
		if e.Answer == record.ByKey {
			return Event{What: "Confirmed by the key and stored"}
		}
		return Event{What: "Confirmed and stored"}
	case record.Dropped:
		return Event{What: "Not stored" + by, Why: e.Reason}
	case record.Noted:
		return Event{What: "Note, " + english.Lower(where), Why: e.Text}
	case record.Observed:
		return Event{What: "Observation " + e.Code + ", " + english.Lower(where), Why: e.Text}
	case record.Withdrawn:
		if e.Of != 0 {
			return Event{What: "Taken back" + by, Where: noteOf(s, e.Of), Why: e.Reason}
		}
		return Event{What: "Taken off" + by, Where: where, Why: e.Reason}
	case record.Skipped:
		return Event{What: "Left out", Where: where, How: string(e.Answer), Why: e.Reason}
	case record.Moved:
		return Event{What: "Went to " + english.Lower(where)}
	case record.Retest:
		return Event{What: "To be tested again after work", Where: where, Why: e.Reason}
	case record.Edited:
		return Event{What: "Corrected" + by, Where: where, Given: given(e.Quantity, e.Verdict), Why: e.Reason}
	case record.Settled:
		return Event{What: "Looked at" + by, Where: where, Why: e.Reason}
	case record.Signed:
		return Event{What: "Signed off" + by, Why: e.Text}
	case record.Paused:
		return Event{What: "Paused"}
	case record.CarriedOn:
		return Event{What: "Carried on"}
	case record.Finished:
		return Event{What: "Session ended" + by}
	}
	// A kind that has no words of its own yet.
	return Event{What: english.Capital(string(e.Kind)), Where: where, Why: Join(": ", e.Text, e.Reason)}
}

// heard is a phrase, and that the witnesses did not agree on it.
func heard(p *record.Phrase) string {
	switch {
	case p == nil:
		return ""
	case p.Disputed():
		return p.Text + " (disputed)"
	}
	return p.Text
}

// given is a reading with its verdict, or nothing where an event has none.
func given(q *reading.Quantity, v *check.Verdict) []string {
	if q == nil || v == nil {
		return nil
	}
	return []string{Quantity(*q) + ", " + string(v.Result)}
}

// noteOf is the text of a note or an observation by its event, taken back or not.
func noteOf(s record.State, event int64) string {
	for _, n := range s.Notes {
		if n.EventID == event {
			return n.Text
		}
	}
	return fmt.Sprintf("event %d", event)
}
