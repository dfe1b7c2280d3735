// Package record is what is known about a job: the events that say so, and the
// state they fold into.
//
// Nothing is ever changed or deleted. A reading that turns out wrong is
// followed by an event that withdraws it, and both stay. The state (which
// readings stand, what is pending, which preparation steps are answered) is
// folded from the log with Fold and moved on with State.Apply; it is stored
// nowhere, so it cannot disagree with the log. Package store keeps the log on
// disk with its sound; this package is pure.
//
// All events of a job's log are made by one writer at a time, one after the
// other: the conversation of package talk, and between sessions the review of
// package review. It numbers them as the store will: 1, 2, 3 and so on. A log
// whose numbers do not run so has lost something.
package record

import (
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
)

// Slot is a place on the schedule for one reading.
type Slot = board.Slot

// How says in which way a preparation step was answered or a test not made.
// The strings are stored, so they never change.
type How string

// The answers.
const (
	Done          How = "done"           // the step was carried out
	NotApplicable How = "not applicable" // there is nothing to do or to test
	Limitation    How = "limitation"     // it could not be done; the reason goes on the schedule
	Waived        How = "waived"         // a dead test was expressly waived, with a reason, so that live ones may go on
	NotMade       How = "skipped"        // the test was left out
	NotVerified   How = "not verified"   // of a periodic inspection: whether it is as it should be was not found out, with a reason
	TakenBack     How = "taken back"     // an answer to a step, or that a test was left out, was given in error
	ByKey         How = "by key"         // of Confirmed: a key was tapped, which meant "confirm"
	Accepted      How = "accepted"       // of Confirmed: the next reading began, in a session whose habit allows that
)

// Habit says when a reading that was read back goes onto the schedule. The
// strings are stored, so they never change.
type Habit string

// The habits.
const (
	Each   Habit = ""       // every reading is confirmed aloud
	Agreed Habit = "agreed" // one that passes and that nothing speaks against is accepted when the next reading begins
)

// Phrase is what was heard, kept word for word beside its sound.
type Phrase struct {
	Outcome string             `json:"outcome"`          // "reading", "command" or "note"
	Agreed  bool               `json:"agreed"`           // nothing spoke against it; false when it was disputed
	Text    string             `json:"text"`             // the words that were acted on
	Meaning Meaning            `json:"meaning"`          // what they mean
	Others  []string           `json:"others,omitempty"` // what else it may have been, when it was disputed
	Words   map[string]string  `json:"words"`            // witness -> its words
	Scores  map[string]float64 `json:"scores,omitempty"` // witness -> its score, in the witness's own unit
}

// Disputed reports whether something spoke against what was heard. Nothing can speak
// against a note: one witness alone hears it.
func (p Phrase) Disputed() bool { return !p.Agreed && p.Outcome != "note" }

// Meaning is what a phrase said, before it was set against the board: a value on
// its own has no way and no test here.
type Meaning struct {
	Command   string            `json:"command,omitempty"`
	Board     int               `json:"board,omitempty"`
	Way       int               `json:"way,omitempty"`
	Test      reading.Test      `json:"test,omitempty"`
	Quantity  *reading.Quantity `json:"quantity,omitempty"`
	OverRange bool              `json:"over_range,omitempty"`
	Reason    string            `json:"reason,omitempty"`
	Last      int               `json:"last,omitempty"` // the last of several ways that begin with Way
	Code      string            `json:"code,omitempty"` // of an observation
	Then      []Part            `json:"then,omitempty"` // what the same breath said after it, of the same way
}

// Part is a further reading of a Meaning.
type Part struct {
	Test     reading.Test     `json:"test"`
	Quantity reading.Quantity `json:"quantity"`
}

// Further is a reading that was given in one breath with another: another end of
// a ring, or the same over-range reading on another way. It is proposed with it,
// and confirmed or dropped with it.
type Further struct {
	Slot     Slot             `json:"slot"`
	Quantity reading.Quantity `json:"quantity"`
	Verdict  check.Verdict    `json:"verdict"`
	HeardID  int64            `json:"heard_id,omitempty"` // the phrase that gave the value
}

// Event is one line of the append-only log. Only the fields that its Kind
// names are set.
type Event struct {
	ID   int64     `json:"id"` // 1, 2, 3 ... in the order of writing
	At   time.Time `json:"at"` // UTC
	Kind Kind      `json:"kind"`

	Job      *board.Job        `json:"job,omitempty"`
	Habit    Habit             `json:"habit,omitempty"`
	Tester   string            `json:"tester,omitempty"` // of Opened: initials of who tests; empty for the job's
	Phrase   *Phrase           `json:"phrase,omitempty"`
	Text     string            `json:"text,omitempty"`
	Board    int               `json:"board,omitempty"` // of a preparation step
	Step     string            `json:"step,omitempty"`
	Answer   How               `json:"answer,omitempty"`
	Slot     *Slot             `json:"slot,omitempty"`
	Quantity *reading.Quantity `json:"quantity,omitempty"`
	Verdict  *check.Verdict    `json:"verdict,omitempty"`
	Then     []Further         `json:"then,omitempty"`    // of a proposal: the other readings of the breath
	Doubted  bool              `json:"doubted,omitempty"` // of a proposal: it was disputed, corrected or given for several ways
	Reason   string            `json:"reason,omitempty"`
	Code     string            `json:"code,omitempty"`     // of an observation: C1, C2, C3 or FI
	Of       int64             `json:"of,omitempty"`       // of Withdrawn: the note or observation that is taken back; of Noted the observation that somebody was told of
	HeardID  int64             `json:"heard_id,omitempty"` // the Heard event whose sound this rests on
	Off      string            `json:"off,omitempty"`      // of Prepared and Confirmed: what is taken off, out or linked for it on the board, see State.Off
	Back     string            `json:"back,omitempty"`     // of Prepared: what is said to be back as it was
	Offers   [][]Offer         `json:"offers,omitempty"`   // of Said: it asks which of these was meant, each given in one breath

	// Of a review. Replaces is the ConfirmedID of the reading in Slot that the
	// event is about, 0 where none stood; an event that was made while another
	// reading stood there is refused, so that nobody writes over what he has not
	// seen.
	By       string `json:"by,omitempty"` // initials, see board.CheckInitials
	Replaces int64  `json:"replaces,omitempty"`
	Sum      string `json:"sum,omitempty"` // of the event before, in hexadecimal, as waycall verify prints it

	// Of Signed: the declaration that the signer was shown and ticked, in lines. Sign-offs
	// of before it was kept have none.
	Statement string `json:"statement,omitempty"`
}

// Offer is a reading that a disputed phrase may have given.
type Offer struct {
	Slot     Slot             `json:"slot"`
	Quantity reading.Quantity `json:"quantity"`
}

// ofReview reports whether e was made by a reviewer.
func (e Event) ofReview() bool { return reviewed[e.Kind] || e.By != "" }
