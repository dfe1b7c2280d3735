// Package review is what happens to a record after the session: somebody with
// ears and eyes looks at what is doubtful, and then signs.
//
// Queue lists what needs a human, the most pressing first. For each Item there
// are three answers, each with a reason and the reviewer's initials: Edit puts
// another reading in its place, Withdraw takes it off, Settle lets it stand, or
// lets a test be missing. Finish ends a session that was cut off. SignOff signs
// the record, and refuses as long as the queue is not empty, with what is open.
//
// All of them are functions of the state that the log folds into. They return
// events to be added to the log and change nothing: what was there before stays
// there. Who appends them to a log that has moved on meanwhile is refused by the
// store and begins again from the new state; where another reviewer changed the
// very reading, that is a *StaleError with the reading that stands there now.
//
// A settled doubt is no pass. The verdict of a reading never changes here; that
// a competent person looked at it and why he let it stand is said beside it.
package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// Most characters that a reviewer's reason and a signer's name may have.
const (
	MaxReason = 500
	MaxName   = 100
)

// Change is what a reviewer wants at one place of the schedule.
type Change struct {
	Slot     record.Slot
	Replaces int64            // ConfirmedID of the reading that he was shown there; 0 when there was none
	Quantity reading.Quantity // of an edit
	Reason   string           // one line, at most MaxReason characters
	By       string           // initials, see board.CheckInitials
	At       time.Time        // now
}

// Signature is who signs a record off, and which.
type Signature struct {
	Name string // in full, as he writes it; one line, at most MaxName characters
	By   string // initials
	Sum  string // of the last event of the log that he was shown, as store.Sum gives it
	At   time.Time
}

// InvalidError says which field of a Change or a Signature cannot be, and why.
type InvalidError struct {
	Field string // "slot", "quantity", "reason", "by", "name" or "record"
	What  string
	Do    string
}

// Error returns what is wrong and what to do.
func (e *InvalidError) Error() string { return e.What + "; " + e.Do }

// StaleError says that the place changed since the reviewer was shown it. What he
// wanted was not done.
type StaleError struct {
	Slot record.Slot
	Now  *record.Reading // what stands there now; nil when nothing does
}

// Error returns what stands there now.
func (e *StaleError) Error() string {
	at := placeOf(e.Slot)
	switch {
	case e.Now == nil:
		return at + " was changed meanwhile: no reading stands there now; look at it again and decide anew"
	case e.Now.By != "":
		return fmt.Sprintf("%s was changed meanwhile: %s stands there now, by %s; look at it again and decide anew", at, e.Now.Quantity, e.Now.By)
	}
	return fmt.Sprintf("%s was changed meanwhile: %s stands there now; look at it again and decide anew", at, e.Now.Quantity)
}

// OpenError says what stands in the way of a sign-off.
type OpenError struct{ Open []Item }

// Error returns the first few of what is open.
func (e *OpenError) Error() string {
	const most = 5
	var parts []string
	for _, it := range e.Open[:min(most, len(e.Open))] {
		parts = append(parts, it.String())
	}
	if more := len(e.Open) - most; more > 0 {
		parts = append(parts, fmt.Sprintf("and %d more", more))
	}
	return fmt.Sprintf("the record cannot be signed off while %d %s open: %s; work through the queue first",
		len(e.Open), map[bool]string{true: "thing is", false: "things are"}[len(e.Open) == 1], strings.Join(parts, "; "))
}

// Edit returns the events that put c.Quantity on the schedule, judged as the
// session judges: against its limit, what the circuit should give, and all
// readings that stand. A reading of a cut-off session that waits there
// unconfirmed is dropped. Errors: *InvalidError, *StaleError.
func Edit(s record.State, c Change) ([]record.Event, error) {
	c, dropped, err := c.check(s)
	if err != nil {
		return nil, err
	}
	if err := c.Slot.Test.Fits(c.Quantity); err != nil {
		return nil, &InvalidError{"quantity", "that is no reading of " + string(c.Slot.Test) + ": " + advice.What(err), cmp.Or(advice.Do(err), "give another")}
	}
	if r, ok := s.Latest(c.Slot); ok && r.Quantity == c.Quantity {
		return nil, &InvalidError{"quantity", fmt.Sprintf("%s stands there already", c.Quantity), "let it stand, or give another"}
	}
	var earlier []check.Earlier
	for _, r := range s.Readings {
		if r.Standing == record.Stands && r.Slot != c.Slot {
			earlier = append(earlier, check.Earlier{Slot: r.Slot, Quantity: r.Quantity})
		}
	}
	v := check.Judge(check.Input{
		Job: s.Job, Slot: c.Slot, Quantity: c.Quantity,
		SurgeConnected: sequence.SurgeConnected(s, c.Slot.Board), Earlier: earlier,
	})
	e := c.event(record.Edited)
	e.Quantity, e.Verdict = &c.Quantity, &v
	return apply(s, append(dropped, e))
}

// Settle returns the events that let the reading at a place stand, or with
// Replaces 0 let its test be missing. The quantity is not looked at. Errors:
// *InvalidError, *StaleError.
func Settle(s record.State, c Change) ([]record.Event, error) {
	c, dropped, err := c.check(s)
	if err != nil {
		return nil, err
	}
	if c.Replaces == 0 && len(dropped) == 0 && !lacking(s, c.Slot) {
		return nil, &InvalidError{"slot", "no reading stands there, and none is asked for", "choose a place of the queue"}
	}
	return apply(s, append(dropped, c.event(record.Settled)))
}

// Withdraw returns the events that take the reading at a place off the schedule.
// Its test is then missing. The quantity is not looked at. Errors: *InvalidError,
// *StaleError.
func Withdraw(s record.State, c Change) ([]record.Event, error) {
	c, dropped, err := c.check(s)
	if err != nil {
		return nil, err
	}
	if c.Replaces == 0 {
		if len(dropped) == 0 {
			return nil, &InvalidError{"slot", "no reading stands there that could be taken off", "choose a place that has one"}
		}
		return apply(s, dropped)
	}
	return apply(s, append(dropped, c.event(record.Withdrawn)))
}

// Finish returns the event that ends a session which was cut off or left, in the
// name of a reviewer. Errors: *InvalidError.
func Finish(s record.State, by string, at time.Time) ([]record.Event, error) {
	switch err := board.CheckInitials(by); {
	case err != nil:
		return nil, initials(err)
	case s.Sessions == 0:
		return nil, &InvalidError{"record", "no session was begun", "begin one with waycall start"}
	case s.Finished:
		return nil, &InvalidError{"record", "the work was finished already", "go on to the sign-off"}
	case s.Pending != nil:
		return nil, &InvalidError{"record", "a reading was read back and never confirmed", "edit, settle or withdraw it first"}
	}
	return apply(s, []record.Event{{At: at, Kind: record.Finished, By: by}})
}

// SignOff returns the event that signs the record off, with the declaration that is
// signed, see Declare. events is the whole log
// that s was folded from. Errors: *OpenError with what is open, *InvalidError.
func SignOff(s record.State, events []record.Event, sig Signature) ([]record.Event, error) {
	if s.Sessions == 0 {
		return nil, &InvalidError{"record", "no session was begun, so there is nothing to sign", "begin one with waycall start"}
	}
	if s.Signed != nil {
		return nil, &InvalidError{"record", fmt.Sprintf("the record is signed off already, by %s (%s)", s.Signed.Name, s.Signed.By), "change something first, or leave it as it is"}
	}
	name, err := line("name", sig.Name, MaxName)
	if err != nil {
		return nil, err
	}
	if err := board.CheckInitials(sig.By); err != nil {
		return nil, initials(err)
	}
	if open := Queue(s, events); len(open) > 0 {
		return nil, &OpenError{open}
	}
	return apply(s, []record.Event{{At: sig.At, Kind: record.Signed, By: sig.By, Text: name, Sum: sig.Sum, Statement: Declare(s).Text()}})
}

// check looks at what every change has. dropped is what must precede it.
func (c Change) check(s record.State) (_ Change, dropped []record.Event, _ error) {
	if s.Sessions == 0 {
		return c, nil, &InvalidError{"record", "no session was begun", "begin one with waycall start"}
	}
	if err := c.Slot.Check(s.Job); err != nil {
		return c, nil, &InvalidError{"slot", err.Error(), "choose a place of this job"}
	}
	if err := board.CheckInitials(c.By); err != nil {
		return c, nil, initials(err)
	}
	reason, err := line("reason", c.Reason, MaxReason)
	if err != nil {
		return c, nil, err
	}
	c.Reason = reason
	r, stands := s.Latest(c.Slot)
	if r.ConfirmedID != c.Replaces {
		stale := &StaleError{Slot: c.Slot}
		if stands {
			stale.Now = &r
		}
		return c, nil, stale
	}
	if s.Pending != nil && slices.ContainsFunc(s.Pending.Each(), func(p record.Proposal) bool { return p.Slot == c.Slot }) {
		dropped = []record.Event{{At: c.At, Kind: record.Dropped, By: c.By, Reason: "never confirmed: " + c.Reason}}
	}
	return c, dropped, nil
}

func (c Change) event(k record.Kind) record.Event {
	slot := c.Slot
	return record.Event{At: c.At, Kind: k, Slot: &slot, By: c.By, Reason: c.Reason, Replaces: c.Replaces}
}

// apply numbers events and makes sure that they can follow.
func apply(s record.State, events []record.Event) ([]record.Event, error) {
	for i := range events {
		e := &events[i]
		e.ID = s.LastID + 1
		if e.At.IsZero() {
			return nil, &InvalidError{"record", "the time of the change is not known", "give it"}
		}
		next, err := s.Apply(*e)
		if err != nil {
			return nil, &InvalidError{"record", err.Error(), "nothing was changed"}
		}
		s = next
	}
	return events, nil
}

// line checks one line of text that a person wrote.
func line(field, text string, most int) (string, error) {
	text = strings.TrimSpace(text)
	switch {
	case text == "":
		return "", &InvalidError{field, "there is no " + field, "write one"}
	case !utf8.ValidString(text):
		return "", &InvalidError{field, "the " + field + " holds bytes that are no text", "write it again"}
	case utf8.RuneCountInString(text) > most:
		return "", &InvalidError{field, fmt.Sprintf("the %s has more than %d characters", field, most), "shorten it"}
	case !printable.IsLine(text):
		return "", &InvalidError{field, "the " + field + " holds a line break or a character that cannot be seen", "write it on one line, in plain characters"}
	}
	return text, nil
}

func initials(err error) error {
	return &InvalidError{"by", advice.What(err), advice.Do(err)}
}
