package talk

import (
	"fmt"
	"slices"
	"strconv"

	"waycall/internal/check"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// choice is a reading with its place, possible on this board.
type choice struct {
	slot     record.Slot
	quantity reading.Quantity
}

func (c choice) same(d choice) bool { return c.slot == d.slot && c.quantity.Equal(d.quantity) }

// reading takes a phrase that gives a value.
func (t *turn) reading(m phrase.Meaning) {
	c, why := t.resolve(m)
	if why != "" {
		t.say(why)
		t.remindPending()
		return
	}
	t.propose(c, t.heardID, false)
}

// propose checks a reading, makes it pending in place of what was, and reads it
// back: figure by figure when it was doubted, or corrects what was misheard.
func (t *turn) propose(c choice, heardID int64, doubted bool) {
	if p := t.s.Record.Pending; p != nil {
		if p.Slot == c.slot {
			doubted = true
			t.say("Changed to:")
			t.follows(record.Event{Kind: record.Dropped, Reason: "changed to " + c.quantity.String()})
		} else {
			t.sayf("%s was not confirmed and is dropped.", capital(named(p.Slot)))
			t.follows(record.Event{Kind: record.Dropped, Reason: "another reading was given instead"})
		}
	}
	if doubted {
		t.s.doubted = t.s.Record.LastID + 1
	}
	v := t.judge(c)
	t.fact(record.Event{Kind: record.Proposed, Slot: &c.slot, Quantity: &c.quantity, Verdict: &v, HeardID: heardID})
	if t.err == nil {
		t.say(t.readBack())
	}
}

func (t *turn) judge(c choice) check.Verdict {
	r := t.s.Record
	in := check.Input{Job: r.Job, Board: c.slot.Board, Way: c.slot.Way, Test: c.slot.Test, Position: c.slot.Position, Quantity: c.quantity, SurgeConnected: sequence.SurgeConnected(r, c.slot.Board)}
	for _, e := range r.Readings {
		if e.Standing == record.Stands && e.Slot != c.slot {
			in.Earlier = append(in.Earlier, check.Earlier{Board: e.Slot.Board, Way: e.Slot.Way, Test: e.Slot.Test, Position: e.Slot.Position, Quantity: e.Quantity})
		}
	}
	return check.Insulation(in)
}

// resolve finds the place and the quantity that a phrase with a value means
// now. When it cannot mean any, the reason is returned to be said; nothing is
// changed.
func (t *turn) resolve(m phrase.Meaning) (c choice, why string) {
	r := t.s.Record
	if d, ok := sequence.Next(r); ok && d.Step != nil {
		return c, "Not yet. " + d.Step.Brief
	}
	if c.slot, why = t.place(m); why != "" {
		return c, why
	}
	c.quantity, why = t.quantity(m, c.slot.Test)
	return c, why
}

// place finds the slot: the pending one or the due one fills in what the phrase
// leaves out.
func (t *turn) place(m phrase.Meaning) (slot record.Slot, why string) {
	r := t.s.Record
	due, isDue := sequence.Next(r)
	hand := due.Slot // the test in hand; nothing but a test is due after the preparation
	if r.Pending != nil {
		hand, isDue = r.Pending.Slot, true
	}
	if m.Command == phrase.No && r.Pending == nil {
		return slot, "Nothing waits to be corrected. Say scratch that to take back the last reading. " + notStored
	}
	slot.Board, slot.Way, slot.Test = r.Board, m.Way, m.Test
	if isDue {
		slot.Board = hand.Board
	}
	if slot.Way == 0 {
		if slot.Way = hand.Way; !isDue {
			slot.Way = r.Way
		}
	}
	if slot.Test == "" {
		if slot.Test = hand.Test; !isDue || slot.Way != hand.Way {
			return slot, "Say which way and which test. " + notStored
		}
	}
	if why := t.noWay(slot.Board, slot.Way); why != "" {
		return slot, why
	}
	if why := t.noTest(slot.Board, slot.Way, slot.Test); why != "" {
		return slot, why
	}
	slot.Position = t.position(slot, hand)
	return slot, ""
}

// position finds the switch position of a reading. The switch stands as the
// test in hand wants it; on another way the first position without a reading is
// meant, or else the one measured last.
func (t *turn) position(slot, hand record.Slot) int {
	r := t.s.Record
	positions := sequence.Positions(*r.Job.Way(slot.Board, slot.Way))
	if hand.Board == slot.Board && hand.Way == slot.Way && slices.Contains(positions, hand.Position) {
		return hand.Position
	}
	for _, p := range positions {
		slot.Position = p
		if _, ok := r.Latest(slot); !ok {
			return p
		}
	}
	return positions[len(positions)-1]
}

// noWay says why there can be no reading for a way, or nothing.
func (t *turn) noWay(board, n int) string {
	switch w := t.s.Record.Job.Way(board, n); {
	case w == nil:
		return fmt.Sprintf("There is no %s on this board. %s", way(n), notStored)
	case w.Spare:
		return fmt.Sprintf("%s is spare. %s", capital(way(n)), notStored)
	}
	return ""
}

// noTest says why a way cannot have a test, or nothing.
func (t *turn) noTest(board, n int, test reading.Test) string {
	job := t.s.Record.Job
	switch {
	case slices.Contains(sequence.Allowed(job, board, n), test):
		return ""
	case !test.Insulation():
		return fmt.Sprintf("This session takes insulation readings, not %s. %s", test.Spoken(), notStored)
	case job.Way(board, n).Keep500Off != "":
		return fmt.Sprintf("%s is tested together to earth only, because of %s. %s", capital(way(n)), job.Way(board, n).Keep500Off, notStored)
	}
	return fmt.Sprintf("%s has no test %s. %s", capital(way(n)), test.Spoken(), notStored)
}

// quantity makes what was said a quantity of the test.
func (t *turn) quantity(m phrase.Meaning, test reading.Test) (q reading.Quantity, why string) {
	end := t.s.Record.Job.Instrument.OverRange
	scale, err := reading.ParseQuantity(strconv.FormatFloat(end, 'f', -1, 64), test.Unit())
	if err != nil || end <= 0 {
		return q, "The end of the instrument's scale is not known. " + notStored
	}
	if q = m.Quantity; m.OverRange {
		q = scale
		q.Bound = reading.GreaterThan
	}
	if q.Unit == reading.NoUnit {
		q.Unit = test.Unit()
	}
	switch {
	case q.Unit != test.Unit():
		return q, fmt.Sprintf("%s is read in megohms. %s", capital(test.Spoken()), notStored)
	case q.Check() != nil:
		return q, "That is no reading. " + notStored
	case q.Value > end:
		return q, fmt.Sprintf("The instrument's scale ends at %s, so it cannot show that. %s", scale.Spoken(), notStored)
	}
	return q, ""
}

// disputed deals with a phrase whose witnesses do not agree. Values are offered
// to choose from; a single possible one is read back, which asks as well. A
// command that changes anything is never acted on.
func (t *turn) disputed(e Heard) {
	all := slices.DeleteFunc(append([]phrase.Meaning{e.Meaning}, e.Candidates...), func(m phrase.Meaning) bool { return m == phrase.Meaning{} })
	var choices []choice
	why := ""
	if len(all) == 0 {
		t.unsure(e.Meaning)
		return
	}
	for _, m := range all {
		if !m.HasValue() || m.Command != "" && m.Command != phrase.No {
			t.unsure(e.Meaning)
			return
		}
		c, no := t.resolve(m)
		switch {
		case no != "":
			if why == "" {
				why = no
			}
		case !slices.ContainsFunc(choices, c.same):
			choices = append(choices, c)
		}
	}
	if t.s.reason != nil {
		t.say(notLeftOut)
	}
	t.s.offer, t.s.reason = nil, nil
	switch len(choices) {
	case 0:
		t.say(why)
		t.remindPending()
	case 1:
		t.propose(choices[0], t.heardID, true)
	default:
		t.s.offer = &offer{choices[:2], t.heardID}
		t.say(t.offerText())
	}
}

// unsure answers a disputed command. Asking what is next, or to hear something
// again, does no harm when it was meant otherwise.
func (t *turn) unsure(m phrase.Meaning) {
	switch m.Command {
	case phrase.SayAgain, phrase.WhatsNext, phrase.WhatsLeft:
		t.meaning(m)
		return
	}
	t.say("I am not sure what you said, and did nothing.")
	t.remind()
}
