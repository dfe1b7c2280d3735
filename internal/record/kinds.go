// This file says which kinds of event there are and what each must carry, whatever came
// before it.

package record

import (
	"errors"
	"fmt"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// Kind names what an Event says. The strings are stored, so they never change.
type Kind string

// Kinds of event. Heard, Tapped and Said are what passed between the electrician and
// the tool; the others are facts that change what is known about the board.
const (
	Opened    Kind = "opened"    // a session began, or began again: Job is what is tested, Habit how its readings are accepted
	Heard     Kind = "heard"     // a phrase for us: Phrase holds what each witness heard; the sound is kept with it
	Said      Kind = "said"      // a prompt: Text
	Tapped    Kind = "tapped"    // a key was tapped: Text is the command that this means
	Prepared  Kind = "prepared"  // a preparation step was answered or its answer taken back: Board, Step, Answer, Reason, of StaysConnected also Slot; of a check of the leads Quantity and Verdict
	Proposed  Kind = "proposed"  // a reading was understood and read back: Slot, Quantity, Verdict, and Then for what the same breath gave beside it; not yet on the schedule; Doubted says that it must be confirmed aloud
	Confirmed Kind = "confirmed" // the electrician confirmed the pending proposal, all of which is now on the schedule; with the Answer ByKey by a tap; with Accepted it was not said but implied by the next reading
	Dropped   Kind = "dropped"   // the pending proposal was rejected or replaced: Reason
	Withdrawn Kind = "withdrawn" // a confirmed reading was taken back: Slot, Reason; or a note or an observation: Of
	Skipped   Kind = "skipped"   // a due test was not made, or that was taken back: Slot, Answer, Reason
	Moved     Kind = "moved"     // the electrician went to another test, which is due now whatever stands there: Slot
	Retest    Kind = "retest"    // a way, or with way 0 the board itself, is to be tested again after work on it: Slot.Board, Slot.Way; the earlier readings stay in the log
	Noted     Kind = "noted"     // a note was made in free speech: Text, Slot.Board, Slot.Way (0 is the board itself); with Of it says who was told of that observation
	Observed  Kind = "observed"  // an observation was made: Code, and the rest as of a note
	Paused    Kind = "paused"
	CarriedOn Kind = "carried on" // the pause is over; without a pause: back from a Moved to the order of testing
	Finished  Kind = "finished"   // the electrician ended the session; with By a reviewer did, of one that was cut off
)

// Kinds of event that a review adds. Each says By whom, by initials, and comes
// between sessions or after the last. A Withdrawn or a Dropped with By is a
// review's, too. None of them moves the place in hand: a session that goes on
// afterwards begins where the last one stopped.
const (
	Edited  Kind = "edited"     // a reviewer put a reading on the schedule: Slot, Quantity, Verdict, Reason, By, Replaces
	Settled Kind = "settled"    // a reviewer lets a doubtful reading stand, or a test be missing: Slot, Reason, By, Replaces
	Signed  Kind = "signed off" // the record was signed off: By, Text is the signer's full name, Sum the sum of the event before it
)

// kinds are the kinds of event and what each must carry.
var kinds = map[Kind]func(*Event) bool{
	Opened:    func(e *Event) bool { return e.Job != nil },
	Heard:     func(e *Event) bool { return e.Phrase != nil },
	Said:      func(e *Event) bool { return e.Text != "" },
	Tapped:    func(e *Event) bool { return e.Text != "" },
	Prepared:  func(e *Event) bool { return e.Step != "" && e.Answer != "" },
	Proposed:  func(e *Event) bool { return e.Slot != nil && e.Quantity != nil && e.Verdict != nil },
	Confirmed: nil,
	Dropped:   nil,
	Withdrawn: func(e *Event) bool { return (e.Slot != nil) != (e.Of != 0) },
	Skipped:   func(e *Event) bool { return e.Slot != nil && e.Answer != "" },
	Moved:     func(e *Event) bool { return e.Slot != nil },
	Retest:    func(e *Event) bool { return e.Slot != nil },
	Noted:     func(e *Event) bool { return e.Slot != nil && e.Text != "" && e.HeardID != 0 },
	Observed:  func(e *Event) bool { return e.Slot != nil && e.Text != "" && e.Code != "" && e.HeardID != 0 },
	Paused:    nil,
	CarriedOn: nil,
	Finished:  nil,
	Edited:    func(e *Event) bool { return e.Slot != nil && e.Quantity != nil && e.Verdict != nil },
	Settled:   func(e *Event) bool { return e.Slot != nil },
	Signed:    func(e *Event) bool { return e.Text != "" && e.Sum != "" },
}

// reviewed are the kinds that a reviewer makes: always, or where he may.
var reviewed = map[Kind]bool{
	Edited: true, Settled: true, Signed: true,
	Withdrawn: false, Dropped: false, Finished: false,
}

// Known reports whether k is a kind of event.
func (k Kind) Known() bool {
	_, known := kinds[k]
	return known
}

// Check returns an error that says what e lacks or cannot hold, or nil: what every event
// is held to before it is stored. Whether it can follow is for Apply, which asks less of
// a log that an earlier version wrote, and whether waycall can have written it is for
// Plausible.
func (e *Event) Check() error {
	complete, known := kinds[e.Kind]
	switch {
	case !known:
		return errors.New("unknown kind of event")
	case complete != nil && !complete(e):
		return errors.New("a field that this kind must have is missing")
	case e.At.IsZero():
		return errors.New("it has no time")
	case e.At.UTC().Year() < 1 || e.At.UTC().Year() > 9999:
		return fmt.Errorf("year %d", e.At.UTC().Year())
	}
	switch e.Answer {
	case "", Done, NotApplicable, Limitation, NotMade, NotVerified, TakenBack, Waived, Accepted, ByKey:
	default:
		return fmt.Errorf("unknown answer %q", e.Answer)
	}
	if err := checkReview(e); err != nil {
		return err
	}
	if e.Kind != Proposed && len(e.Then) > 0 {
		return errors.New("only a proposal has further readings")
	}
	if e.Kind != Said && len(e.Offers) > 0 {
		return errors.New("only what is said offers readings")
	}
	for i, all := range e.Offers {
		for _, o := range all {
			if err := checkReading(&o.Slot, &o.Quantity, nil, false); err != nil {
				return fmt.Errorf("offer %d: %w", i+1, err)
			}
		}
	}
	if _, known := Codes[e.Code]; e.Code != "" && !(known && e.Kind == Observed) {
		return fmt.Errorf("code %q", e.Code)
	}
	if err := checkReading(e.Slot, e.Quantity, e.Verdict, e.whole()); err != nil {
		return err
	}
	for i := range e.Then {
		f := &e.Then[i]
		if err := checkReading(&f.Slot, &f.Quantity, &f.Verdict, false); err != nil {
			return fmt.Errorf("further reading %d: %w", i+1, err)
		}
	}
	return nil
}

// whole reports whether the place of e is a whole way or the board itself.
func (e *Event) whole() bool {
	switch e.Kind {
	case Retest, Prepared, Noted, Observed:
		return true
	case Moved:
		return e.Slot != nil && *e.Slot == (Slot{Board: e.Slot.Board})
	}
	return false
}

// checkReview checks who made an event, and what it is about.
func checkReview(e *Event) error {
	must, may := reviewed[e.Kind]
	switch {
	case e.By == "" && must:
		return errors.New("a review has no initials")
	case e.By == "" && e.Replaces != 0, e.By != "" && !may:
		return errors.New("it is not made by a reviewer")
	case e.Replaces < 0 || e.Replaces >= e.ID && e.Replaces != 0:
		return fmt.Errorf("it is about event %d, which is not before it", e.Replaces)
	case e.Kind != Signed && e.Sum != "":
		return errors.New("only a sign-off has a sum")
	case e.Kind != Signed && e.Statement != "":
		return errors.New("only a sign-off has a statement")
	case e.By == "":
		return nil
	}
	return board.CheckInitials(e.By)
}

// checkReading checks what an event says of a reading; what is nil it does not
// say. whole is for one that means a whole way or the board itself and names no test.
func checkReading(s *Slot, q *reading.Quantity, v *check.Verdict, whole bool) error {
	if s != nil {
		switch {
		case s.Board < 1 || s.Board > 99:
			return fmt.Errorf("board %d; boards are 1 to 99", s.Board)
		case s.Way != 0 && !waymark.Known(s.Way):
			return fmt.Errorf("way %d; ways are 1 to 99, 101 to 399 for 1L1 to 99L3, or 0 for the board itself", s.Way)
		case s.Position < 0 || s.Position > 500:
			return fmt.Errorf("position %d; positions are 1 to 500, or 0 for none", s.Position)
		case !s.Test.Known() && !(whole && s.Test == ""):
			return fmt.Errorf("unknown test %q", s.Test)
		}
	}
	if q != nil && *q != (reading.Quantity{}) {
		if err := q.Check(); err != nil {
			return err
		}
	}
	if v != nil && !v.Result.Known() {
		return fmt.Errorf("unknown result %q", v.Result)
	}
	return nil
}
