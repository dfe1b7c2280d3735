package talk

import (
	"fmt"
	"slices"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// ask asks for a preparation step: with its caution when it is come to, in full
// the first time on any board, and briefly after that.
func (t *turn) ask(board int, step sequence.Step) {
	id := fmt.Sprintf("%d %s", board, step.ID)
	again := t.s.asked == id
	t.s.asked = id
	if step.Caution != "" && !again {
		t.say(step.Caution)
	}
	known := slices.Contains(t.s.known, step.ID)
	if !known {
		t.s.known = append(slices.Clip(t.s.known), step.ID)
	}
	if t.s.form != inFull && (again || known || t.s.form == inBrief) {
		t.say(step.Brief)
		return
	}
	t.say(step.Question)
}

// dueStep returns the step that is due on the board in hand.
func (t *turn) dueStep() (sequence.Step, bool) {
	d, ok := t.due()
	if !ok || d.Step == nil || d.Board != t.board() {
		return sequence.Step{}, false
	}
	return *d.Step, true
}

// answer takes the answer to a preparation step. Only the step that is due can
// be answered, by its own phrase; the figures of the leads may be given again.
func (t *turn) answer(m phrase.Meaning) {
	r := &t.s.Record
	id := string(m.Command)
	if r.Pending != nil && !t.answersNext(m) {
		t.firstThis()
		return
	}
	on := t.board()
	how, reason := record.Done, ""
	switch m.Command {
	case phrase.TwoFifty:
		if due, ok := t.dueStep(); !ok || due.ID != sequence.SurgeOut {
			t.staysConnected()
			return
		}
		// The same fact as that the surge protection must stay in.
		id, how, reason = sequence.SurgeOut, record.Limitation, at250
	case sequence.WholeFirst, sequence.WayByWay:
		t.wayOfWorking(id)
		return
	case phrase.LeadsChecked:
		if id = sequence.LeadsJoined; t.answered(on, id) {
			id = sequence.LeadsApart
		}
	}
	steps := sequence.Steps(r.Job, on)
	i := slices.IndexFunc(steps, func(s sequence.Step) bool { return s.ID == id })
	// A step of a board that feeds this one may be due, and one that has an
	// answer is due again when dead tests turn up after live ones.
	due, isDue := t.dueStep()
	isDue = isDue && due.ID == id
	switch {
	case i < 0 && id == sequence.SurgeOut:
		t.say("This board has no surge protection.")
	case i < 0:
		t.say("That cannot be said here. " + notStored)
	case m.Command == phrase.LeadsChecked && (isDue || t.answered(on, id)):
		t.say("Say what they read.")
	case steps[i].Unit != "" && (isDue || t.answered(on, id)):
		t.leads(on, steps[i], m)
		return
	case isDue:
		t.follows(steps[i].Answer(on, how, reason))
		t.prepared(on, id)
		return
	case t.answered(on, id) && !t.dueAgain(on, id):
		t.say("That is answered already.")
	default:
		t.say("One at a time.")
	}
	t.remind()
}

func (t *turn) answered(board int, id string) bool {
	_, ok := t.s.Record.Answered(board, id)
	return ok
}

// dueAgain reports whether a step is still to be answered, whatever its earlier
// answer was.
func (t *turn) dueAgain(board int, id string) bool {
	return slices.ContainsFunc(sequence.Remaining(t.s.Record), func(d sequence.Due) bool {
		return d.Step != nil && d.Board == board && d.Step.ID == id
	})
}

// prepared goes on after a step of a board was answered.
func (t *turn) prepared(on int, id string) {
	if !t.short(notedPrompt) {
		t.say("Noted.")
	}
	if a, ok := t.s.Record.Answered(on, id); ok && id == sequence.SurgeOut && a.How != record.Done {
		t.say("The tests are at 250 volts.")
	}
	if id == sequence.DeadComplete {
		if skipped := t.skippedDead(on); skipped != "" {
			t.say(skipped)
		}
		t.failing()
	}
	t.announce()
}

// leads takes what the leads read, joined or apart. With a figure that no lead
// has nothing is stored: no reading made with them would be worth anything.
func (t *turn) leads(on int, step sequence.Step, m phrase.Meaning) {
	q := m.Quantity
	scale, known := t.scale(record.Slot{Board: on, Test: reading.LNE}) // of the range that the tests are made on
	switch {
	case m.OverRange && step.Unit == reading.Megohm && known:
		q = beyond(scale)
	case m.OverRange && step.Unit == reading.Megohm:
		t.say("Where the scale ends at this voltage is not known. Say leads apart, greater than, and the figure.", notStored)
		t.remind()
		return
	}
	if q.Unit == reading.NoUnit {
		q.Unit = step.Unit
	}
	if q.Bound == "" || q.Unit != step.Unit || q.Check() != nil {
		t.sayf("Say %s, and the %s. %s", step.ID, unit(reading.Quantity{Value: 2, Bound: reading.Exactly, Unit: step.Unit}), notStored)
		t.remind()
		return
	}
	if q.Nothing() {
		t.say(ofNothing + notStored)
		t.remind()
		return
	}
	v := step.Judge(q)
	said := english.Capital(step.ID) + ", " + q.Spoken() + "."
	if v.Result == check.Fail {
		t.say(said, verdict(v), v.Next, notStored)
		t.remind()
		return
	}
	t.follows(record.Event{Kind: record.Prepared, Board: on, Step: step.ID, Answer: record.Done, Quantity: &q, Verdict: &v})
	if v.Result == check.Pass && t.s.form == inBrief {
		t.sounds = append(t.sounds, Passed)
		t.sayf("%s.", english.Capital(over(figure(q, m.Near))))
	} else if v.Result == check.Pass && t.s.form != inFull {
		t.sayf("%s, %s, pass.", english.Capital(step.ID), over(figure(q, m.Near)))
	} else {
		t.say(said, verdict(v))
	}
	if v.Next != "" {
		t.say(v.Next)
	}
	t.announce()
}

// lastLeads returns the step whose figure was the last thing stored, if it was.
func (t *turn) lastLeads() (board int, step sequence.Step, ok bool) {
	r := &t.s.Record
	if len(r.Answers) == 0 {
		return 0, step, false
	}
	a := r.Answers[len(r.Answers)-1]
	if last, stands := r.Last(); a.Ended != 0 || a.Quantity.Bound == "" || stands && last.ConfirmedID > a.EventID {
		return 0, step, false
	}
	if slices.ContainsFunc(r.Skips, func(k record.Skip) bool { return k.EventID > a.EventID }) {
		return 0, step, false
	}
	for _, step := range sequence.Steps(r.Job, a.Board) {
		if step.ID == a.Step {
			return a.Board, step, true
		}
	}
	return 0, step, false
}

// energisedAgain takes that somebody put the supply on while it was off. What
// waits to be confirmed is dropped: it may have been measured then.
func (t *turn) energisedAgain() {
	t.s.offer, t.s.reason = nil, nil
	if p := t.s.Record.Pending; p != nil {
		t.sayf("%s %s not confirmed and %s dropped.", english.Capital(t.pendingName()), were(len(p.Then)), are(len(p.Then)))
		t.follows(record.Event{Kind: record.Dropped, Reason: "the supply was put on before it was confirmed"})
	}
	if !t.energise("") {
		t.say("This board has no dead tests.")
	} else if due, ok := t.dueStep(); ok && !due.Live {
		t.say("Noted.", isolateAgain)
	} else {
		t.say("Noted. Before any dead test, isolate and prove dead again by your own procedure.")
	}
	t.remind()
}

// energise makes proving dead, and what follows it, due again on the board in
// hand, and on every other on which any of that was answered, because they may be
// fed from one another. It reports false when there is no such board.
func (t *turn) energise(reason string) bool {
	on := t.board()
	all := slices.DeleteFunc(sequence.Boards(t.s.Record.Job), func(n int) bool { return n == on })
	done := false
	for _, n := range append(all, on) { // that in hand last, so that it stays in hand
		dead := slices.ContainsFunc(sequence.Steps(t.s.Record.Job, n), func(s sequence.Step) bool { return s.ID == sequence.ProvedDead })
		if dead && (n == on || t.answered(n, sequence.IndicatorOK) || t.answered(n, sequence.ProvedDead)) {
			t.follows(record.Event{Kind: record.Prepared, Board: n, Step: sequence.EnergisedAgain, Answer: record.Done, Reason: reason})
			done = true
		}
	}
	return done
}
