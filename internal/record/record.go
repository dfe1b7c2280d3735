package record

import (
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
)

// Kind names what an Event says. The strings are stored, so they never change.
type Kind string

// Kinds of event. Heard and Said are what passed between the electrician and
// the tool; the others are facts that change what is known about the board.
const (
	Opened    Kind = "opened"    // a session began: Job is what was tested
	Heard     Kind = "heard"     // a phrase for us: Phrase holds what each witness heard; the sound is kept with it
	Said      Kind = "said"      // a prompt: Text
	Prepared  Kind = "prepared"  // a preparation step was answered: Step
	Proposed  Kind = "proposed"  // a reading was understood and read back: Slot, Quantity, Verdict; not yet on the schedule
	Confirmed Kind = "confirmed" // the electrician confirmed the pending proposal, which is now on the schedule
	Dropped   Kind = "dropped"   // the pending proposal was rejected or replaced: Reason
	Withdrawn Kind = "withdrawn" // a confirmed reading was taken back: Slot, Reason
	Skipped   Kind = "skipped"   // a due test was not made: Slot, Reason
	Retest    Kind = "retest"    // a way is to be tested again after work on it: Slot.Way; the earlier readings stay in the log
	Paused    Kind = "paused"
	CarriedOn Kind = "carried on"
	Finished  Kind = "finished" // the electrician ended the session
)

// Slot is one place on the schedule for one reading.
type Slot struct {
	Way      int          `json:"way"`
	Test     reading.Test `json:"test"`
	Position int          `json:"position,omitempty"` // 1 or 2: position of a two-way switch; 0 where there is none
}

// Phrase is what was heard, kept word for word beside its sound.
type Phrase struct {
	Outcome string             `json:"outcome"`          // "reading" or "command"
	Agreed  bool               `json:"agreed"`           // both witnesses gave this meaning
	Text    string             `json:"text"`             // the words that were acted on
	Words   map[string]string  `json:"words"`            // witness -> its words
	Scores  map[string]float64 `json:"scores,omitempty"` // witness -> its score, in the witness's own unit
}

// Event is one line of the append-only log. Only the fields that its Kind
// names are set.
type Event struct {
	ID   int64     `json:"id"` // 1, 2, 3 ... in the order of writing; set by the store
	At   time.Time `json:"at"` // UTC
	Kind Kind      `json:"kind"`

	Job      *board.Job        `json:"job,omitempty"`
	Phrase   *Phrase           `json:"phrase,omitempty"`
	Text     string            `json:"text,omitempty"`
	Step     string            `json:"step,omitempty"`
	Slot     *Slot             `json:"slot,omitempty"`
	Quantity *reading.Quantity `json:"quantity,omitempty"`
	Verdict  *check.Verdict    `json:"verdict,omitempty"`
	Reason   string            `json:"reason,omitempty"`
	HeardID  int64             `json:"heard_id,omitempty"` // the Heard event whose sound this rests on
}
