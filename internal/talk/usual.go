package talk

// What is said in short, and means what is due: "correct", "pass", "same again".

import (
	"fmt"
	"slices"
	"strings"

	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// Judging returns the test that "pass" would answer, one of right or wrong, or none.
func (s State) Judging() reading.Test {
	t := turn{s: s}
	slot, ok := t.hand()
	if next, implied := t.implied(); implied && next.Step == nil {
		slot, ok = next.Slot, true
	}
	if !ok || !slot.Test.Judged() {
		return ""
	}
	return slot.Test
}

// inFull gives "correct", "pass" and their like the meaning that they have here. While
// anything waits or is asked, "correct" is "confirm" and nothing else. ok is false when
// it was answered already.
func (t *turn) inFull(m phrase.Meaning) (_ phrase.Meaning, ok bool) {
	slot, inHand := t.hand()
	judged := inHand && slot.Test.Judged()
	waits := t.s.Record.Pending != nil
	switch {
	case m.Command == phrase.Right:
		if m = m.Standing(judged && !waits && t.s.offer == nil && t.s.reason == nil); m.Command == phrase.Confirm {
			return m, true
		}
	case m.Command != phrase.Correct && m.Command != phrase.Incorrect || m.Test != "":
		return m, true
	}
	switch {
	case waits && m.Command == phrase.Correct:
		t.firstThis() // "pass" alone neither confirms nor makes right what was wrong
	case judged:
		m.Test = slot.Test
		return m, true
	case waits:
		t.firstThis()
	default:
		t.say("That answers no test that is due. " + notStored)
		t.remind()
	}
	return m, false
}

// casually reports whether "okay", which is said to a mate as well, may confirm: only what
// passes without a doubt. Of anything else it is answered which word does.
func (t *turn) casually() bool {
	p := t.s.Record.Pending
	if p == nil || p.MayBeImplied() {
		return true
	}
	t.say("Say confirm, or no.")
	t.remindPending()
	return false
}

// allDone reports whether "that's it", which is said of a single test as well, may end the
// session: only where nothing waits and nothing is due.
func (t *turn) allDone() bool {
	r := t.s.Record
	if r.Pending == nil && len(sequence.Remaining(r)) == 0 {
		return true
	}
	t.say("To end the session, say finish here.")
	t.remind()
	return false
}

// same takes the figure stored last for the test that is due. It is read back figure by
// figure, and stored when it is confirmed.
func (t *turn) same() {
	r := t.s.Record
	if r.Pending != nil {
		t.firstThis()
		return
	}
	slot, inHand := t.hand()
	last, stands := r.Last()
	var why string
	q := last.Quantity
	switch {
	case !inHand || !stands:
		why = "There is no figure to say again. " + notStored
	case slot.Test.Judged() || last.Slot.Test.Judged() || last.Slot.Test.Unit() != slot.Test.Unit():
		why = fmt.Sprintf("The one before was %s. Say the figure. %s", t.tested(last.Slot), notStored)
	default:
		q, why = t.quantity(q, false, slot)
	}
	if why == "" {
		why, _ = t.notYet(slot, false)
	}
	if why != "" {
		t.say(why)
		t.remind()
		return
	}
	t.propose(choice{{slot, q, t.heardID}}, true)
}

// service is the place of a bonding conductor among those of its board, 1 and up, or why
// there is none.
func (t *turn) service(slot record.Slot, to string) (position int, why string) {
	for i, name := range t.s.Record.Job.Board(slot.Board).Bonding {
		if !slices.Contains(strings.Fields(strings.ToLower(name)), to) {
			continue
		}
		if position > 0 {
			return 0, "More than one is called " + to + ". Say bonding, and the figure, when it is due. " + notStored
		}
		position = i + 1
	}
	if position == 0 {
		return 0, english.Capital(to) + " is not among the bonding of this board. " + notStored
	}
	return position, ""
}
