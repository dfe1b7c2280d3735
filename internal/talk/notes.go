package talk

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"waycall/internal/phrase"
	"waycall/internal/record"
	"waycall/internal/waymark"
)

// Dictated is free speech, said after State.Dictating became true: the text of a
// note or of an observation. It ends the dictation, whatever it holds.
type Dictated struct {
	At     time.Time
	Phrase record.Phrase // Text is what was heard, empty when it was nothing; goes into the log as it is
	Cut    bool          // it was longer than can be taken, and is not to be used
}

func (e Dictated) when() time.Time { return e.At }

// dictation is a note or an observation whose text is said next.
type dictation struct {
	slot record.Slot // board and way
	code string      // of an observation
}

// Dictating reports whether what is said next is the text of a note: free speech,
// heard without the grammar and given to Step as Dictated.
func (s State) Dictating() bool { return s.dictation != nil }

const sayNote = "Say the note."

// longestNote is the most of a note that is kept, in characters: what can be said in
// the time that a phrase may last.
const longestNote = 800

// calledOff is what ends a dictation without a note, as the grammar has it.
var calledOff = []string{"scratch that", "cancel that", "undo that", "no"}

// note takes "make a note", about the way in hand.
func (t *turn) note() {
	at, way, _ := t.s.InHand()
	t.s.dictation = &dictation{slot: record.Slot{Board: at, Way: way}}
	t.say(sayNote)
}

// observation takes "observation way six code c two".
func (t *turn) observation(m phrase.Meaning) {
	at := t.board()
	if m.Way != 0 && t.s.Record.Job.Board(at).Way(m.Way) == nil {
		t.say(t.noWay(at, m.Way))
		t.remindPending()
		return
	}
	t.s.dictation = &dictation{slot: record.Slot{Board: at, Way: m.Way}, code: m.Code}
	t.sayf("%s. Say what you found.", t.observed(*t.s.dictation))
}

// observed names an observation: "Observation, way six, code C 2".
func (t *turn) observed(d dictation) string {
	return fmt.Sprintf("Observation, %s, code %s", d.slot.Place(waymark.Aloud), spelled(d.code))
}

// spelled is a code as it is said: "C 2", "F I".
func spelled(code string) string { return strings.Join(strings.Split(code, ""), " ") }

// dictated makes a note or an observation of what was said. It is kept with its
// sound, so a word that was misheard is not lost.
func (t *turn) dictated(e Dictated) {
	d := t.s.dictation
	if d == nil || !t.listening() {
		return
	}
	t.s.dictation, t.s.quiet, t.s.missed = nil, 0, 0
	text := strings.Join(strings.Fields(e.Phrase.Text), " ")
	switch {
	case e.Cut:
		t.say("That was too long for one note, and was not kept. Make a note of each part.")
	case text == "":
		t.say("I heard no words, and made no note.")
	case slices.Contains(calledOff, strings.ToLower(strings.TrimRight(text, "."))):
		t.say("No note was made.")
	default:
		for len(text) > longestNote {
			_, last := utf8.DecodeLastRuneInString(text)
			text = text[:len(text)-last]
		}
		t.fact(record.Event{Kind: record.Heard, Phrase: &e.Phrase})
		t.heardID = t.s.Record.LastID
		fact, name := record.Event{Kind: record.Noted, Slot: &d.slot, Text: text}, "Noted"
		if d.code != "" {
			fact.Kind, fact.Code, name = record.Observed, d.code, t.observed(*d)
		}
		t.follows(fact)
		t.sounds = append(t.sounds, Stored)
		t.sayf("%s: %s.", name, strings.TrimRight(text, ".!? "))
		if d.code == "C1" {
			t.say("Danger present. Make it good or isolate it now, make a note of what you did, and tell who answers for it.", whoWasTold)
		}
	}
	t.remindPending()
}

// whoWasTold is asked after an observation of present danger, and at the end while it
// has no answer.
const whoWasTold = "Who was told? Say, told the client, told the owner, told the user, or told nobody."

// told keeps who was told of the last danger that was observed.
func (t *turn) told(whom string) {
	n, ok := t.s.Record.Untold()
	if !ok {
		t.say("No observation with code C 1 waits for that.")
		t.remind()
		return
	}
	t.follows(record.Event{Kind: record.Noted, Slot: &record.Slot{Board: n.Board, Way: n.Way}, Of: n.EventID, Text: whom})
	t.sounds = append(t.sounds, Stored)
	t.sayf("%s: told %s.", t.observed(dictation{slot: record.Slot{Board: n.Board, Way: n.Way}, code: n.Code}), whom)
	if whom == "nobody" {
		t.say("Tell somebody before you leave.")
	}
	t.remindPending()
}

// untold says at the end that it was not said who was told of a danger.
func (t *turn) untold() {
	if n, ok := t.s.Record.Untold(); ok {
		t.sayf("%s: it is not said who was told.", t.observed(dictation{slot: record.Slot{Board: n.Board, Way: n.Way}, code: n.Code}))
	}
}

// undictated ends a dictation that was not taken up. It reports whether there was
// one.
func (t *turn) undictated() bool {
	if t.s.dictation == nil {
		return false
	}
	t.s.dictation = nil
	t.say("No note was made.")
	t.remindPending()
	return true
}

// scratchNote takes back the last note or observation if that came after the event
// given, which is the last of anything else that can be taken back.
func (t *turn) scratchNote(after int64) bool {
	n, ok := t.s.Record.LastNote()
	if !ok || n.EventID < after {
		return false
	}
	t.follows(record.Event{Kind: record.Withdrawn, Of: n.EventID, Reason: "scratched"})
	if n.Code != "" {
		t.say("The observation is taken back.")
	} else {
		t.say("The note is taken back.")
	}
	return true
}
