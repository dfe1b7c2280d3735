package talk

// What may be said, in answer to "what can I say".

import (
	"fmt"
	"strings"

	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// always may be said at any time.
const always = "At any time: what's next, what's left, say again, make a note, observation, pause, finish here."

// options says what may be said now, and then what is waited for.
func (t *turn) options() {
	t.passing = true
	t.say("Say "+t.answers()+".", always)
	t.remind()
}

// wayOut tells what is waited for after a refusal that tells nothing of what could be said.
func (t *turn) wayOut() {
	n := len(t.words)
	if n == 0 || !strings.HasSuffix(t.words[n-1], notStored) {
		return
	}
	if why := strings.Join(t.words, " "); !strings.Contains(why, "?") && !strings.Contains(strings.ToLower(why), "say ") {
		t.remind()
	}
}

// Choices returns what may be said now, as "what can I say" tells it, for a screen: without
// what may be said at any time. It is empty while nothing is waited for.
func (s State) Choices() string {
	t := turn{s: s}
	switch {
	case s.Record.Sessions == 0 || s.Record.Finished:
		return ""
	case s.Record.Paused:
		return "carry on"
	case s.dictation != nil:
		return "the note, in your own words"
	}
	return t.answers()
}

// answers are the phrases that answer what is waited for.
func (t *turn) answers() string {
	r := t.s.Record
	d, due := t.due()
	switch {
	case t.s.offer != nil:
		return "the first, the second, or no"
	case t.s.reason != nil && t.s.reason.why != "":
		return "agreed with the client, agreed with the owner, or no"
	case t.s.reason != nil:
		return "no access, equipment connected, circuit in use, cannot be isolated, or by agreement; or no"
	case r.Pending != nil:
		return "confirm, or no; no, and what is right; it was, and the way, the test or the figure; or scratch that"
	case !due:
		return "read back, test again, or undo, and a way"
	case d.Step != nil && d.Step.ID == sequence.WholeFirst:
		return sequence.WholeFirst + ", or " + sequence.WayByWay
	case d.Step != nil && !d.Step.Alone:
		text := d.Step.ID
		if d.Step.Unit != "" {
			text += ", and the figure"
		}
		for _, how := range d.Step.Else {
			if how == record.Limitation {
				return text + "; or not possible, and the reason"
			}
		}
		return text
	}
	return t.figureOf(d.Slot.Test) + "; another way or test by its name; skip this one, not applicable, or limitation, and the reason"
}

// figureOf is how the answer to a test is said.
func (t *turn) figureOf(test reading.Test) string {
	switch {
	case test.Judged():
		name := english.Lower(test.Spoken())
		return fmt.Sprintf("%s correct, or %s wrong", name, name)
	case test.Unit() == reading.Megohm:
		return "the figure in megohms, greater than and the figure, or over range"
	case test.Unit() == reading.Ohm:
		return "the figure in ohms"
	}
	return "the figure"
}
