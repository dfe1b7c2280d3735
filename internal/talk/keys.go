// This file is the conversation with a key: taps in place of words, and what counts after
// waycall was cut short.

package talk

import (
	"time"

	"waycall/internal/phrase"
	"waycall/internal/record"
)

// Tapped is a tap or a double tap of the key, which means a command, as "confirm" or "no":
// what that word means when it is heard for certain. It is kept in the record as a tap.
type Tapped struct {
	At    time.Time
	Means phrase.Command
}

// Interrupted says that the last that was said was cut short, and how far it was heard
// nobody knows. What answers it without naming what it is about, such as "confirm", does not
// count until it was asked again; a reading is read back as ever, and stores none before it.
type Interrupted struct{ At time.Time }

func (e Tapped) when() time.Time      { return e.At }
func (e Interrupted) when() time.Time { return e.At }

// tapped acts on a tap. In a pause and after the end there is none.
func (t *turn) tapped(e Tapped) {
	if !t.listening() {
		return
	}
	t.byKey = true
	if t.takes(record.Event{Kind: record.Tapped, Text: string(e.Means)}) {
		t.meaning(phrase.Meaning{Command: e.Means})
	}
}

// asksAgain asks again for what was cut short, where m would answer it unheard. It reports
// whether it did.
func (t *turn) asksAgain(m phrase.Meaning) bool {
	if !t.s.unheard {
		return false
	}
	if d, ok := t.due(); m.HasValue() && (m.Way != 0 || m.Test != "" || t.s.Record.Pending != nil || ok && d.Step == nil) {
		return false // it is read back with its place
	}
	switch m.Command {
	case phrase.No, phrase.Scratch, phrase.Undo, phrase.SayAgain, phrase.SayAgainSlow, phrase.WhatsNext, phrase.Pause, phrase.Finish, phrase.GoTo, phrase.GoToBoard, phrase.Slower, phrase.Faster, phrase.Brief, phrase.InFull:
		return false // none of these puts anything on the schedule
	}
	t.say("That was cut short.")
	t.remind()
	return true
}

// proposal is what is said where it is too loud to be heard.
func proposal(hasKey bool) string {
	if hasKey {
		return "It is loud here. Hold the key while you speak, or tap it to confirm."
	}
	return "It is loud here. With a foot switch or a clicker you can confirm by a tap."
}
