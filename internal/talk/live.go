package talk

import (
	"fmt"
	"slices"

	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// Board returns the number of the board in hand: that of the reading that
// waits, the one that the electrician went to, or the one that is due.
func (s State) Board() int {
	r := s.Record
	if r.Pending != nil {
		return r.Pending.Slot.Board
	}
	if s.stay != 0 {
		return s.stay
	}
	if d, ok := s.due(); ok {
		return d.Board
	}
	return r.Board
}

// looked is what package sequence says is due, looked up once.
type looked struct {
	due sequence.Due
	ok  bool
}

// due is what is due.
func (s State) due() (sequence.Due, bool) {
	if s.next != nil {
		return s.next.due, s.next.ok
	}
	return sequence.Next(s.Record)
}

func (t *turn) due() (sequence.Due, bool) {
	if t.s.next == nil {
		d, ok := sequence.Next(t.s.Record)
		t.s.next = &looked{d, ok}
	}
	return t.s.due()
}

func (t *turn) board() int {
	t.due()
	return t.s.Board()
}

// InHand returns the board in hand and, when a reading waits or a test is due
// there, its way and unit. Way 0 is the board itself. When what waits is stored
// by the next reading, the next test is in hand.
func (s State) InHand() (board, way int, unit reading.Unit) {
	t := turn{s: s}
	board = t.board()
	if next, ok := t.implied(); ok && next.Step == nil {
		// A value may be that of the next test, or correct what waits.
		if unit = next.Slot.Test.Unit(); unit != s.Record.Pending.Slot.Test.Unit() {
			unit = ""
		}
		return board, next.Slot.Way, unit
	}
	if slot, ok := t.hand(); ok {
		return board, slot.Way, slot.Test.Unit()
	}
	return board, 0, ""
}

// goToBoard goes to a board. What is due there is said, or that nothing is: the
// electrician may then still read back or test again what is on it.
// notCalled refuses a board by its name.
const notCalled = "No one board of this job is called so. Say board, and its number."

func (t *turn) goToBoard(n int) {
	r := &t.s.Record
	b := r.Job.Board(n)
	switch {
	case n == 0:
		t.say(notCalled)
		t.remind()
		return
	case b == nil:
		t.sayf("There is no board %s in this job.", reading.Cardinal(n))
		t.remind()
		return
	case b.Supply.OnlyIsolated:
		t.sayf("Board %s is only isolated, and nothing is tested on it.", reading.Cardinal(n))
		t.remind()
		return
	}
	t.follows(record.Event{Kind: record.Moved, Slot: &record.Slot{Board: n}})
	t.s.stay, t.s.named = 0, 0
	if d, ok := t.due(); ok && (d.Board == n || r.Job.Board(d.Board).Supply.OnlyIsolated || d.Step != nil && feeds(r.Job, d.Board, n)) {
		if d.Step != nil && d.Step.Live && d.Board != n {
			t.sayf("Board %s feeds board %s and comes first.", reading.Cardinal(d.Board), reading.Cardinal(n))
		}
		t.remind()
		return
	}
	t.s.stay = n
	t.nameBoard(n)
	t.say("Nothing is due here now.")
	if w := t.waits(n); w != "" {
		t.say(w)
	}
	t.say("Read back a way, test one again, or say carry on.")
}

// feeds reports whether board up feeds board n, itself or through others.
func feeds(job board.Job, up, n int) bool {
	for range job.Boards {
		b := job.Board(n)
		if b == nil || b.Supply.From == 0 {
			return false
		}
		if n = b.Supply.From; n == up {
			return true
		}
	}
	return false
}

// toLive takes the two answers before live tests. With dead tests left it says
// how many, and what waives them; with a reason they are waived. Both answers
// are still given one by one.
func (t *turn) toLive(m phrase.Meaning) {
	r := &t.s.Record
	n := t.board()
	d, due := t.due()
	switch {
	case !liveJob(r.Job):
		t.say("This job has no live tests.")
		t.remind()
		return
	case due && d.Step != nil && !d.Step.Live && d.Board == n:
		t.say("One at a time.")
		t.remind()
		return
	case due && d.Step != nil && d.Step.ID == sequence.ReadyForLive && m.Reason == "" && sequence.StillOn(*r, n):
		t.answer(m) // the dead tests come after
		return
	}
	left := sequence.Left(*r, n)
	open := slices.DeleteFunc(slices.Clone(left), func(s record.Slot) bool { _, out := r.LeftOut(s); return out })
	if m.Reason != "" && len(left) > 0 {
		t.omit(asking{how: record.Waived, board: n, why: m.Reason}, "")
		return
	}
	if len(open) > 0 {
		t.sayf("Not yet. %s%s %s left. Make %s, or waive %s with a reason: say ready for live tests, by agreement.",
			english.Capital(count(len(left), "dead test", "dead tests")), t.ofBoard(n), are(len(left)-1), them(len(left)), them(len(left)))
		t.remind()
		return
	}
	if !due && len(left) > 0 {
		t.say(t.skippedDead(n))
		return
	}
	t.answer(m)
}

// byAgreement is the reason that hangs on who agreed.
const byAgreement = "by agreement"

// waive waives the dead tests of a board that are left, with a reason.
func (t *turn) waive(n int, reason string) {
	left := sequence.Left(t.s.Record, n)
	for _, slot := range left {
		t.follows(record.Event{Kind: record.Skipped, Slot: &slot, Answer: record.Waived, Reason: reason})
	}
	t.sayf("%s%s %s waived, %s. The competent person answers for that.", english.Capital(count(len(left), "dead test", "dead tests")), t.ofBoard(n), are(len(left)-1), reason)
	if d, due := t.due(); due && d.Step != nil && d.Board == n && d.Step.ID == sequence.ReadyForLive {
		t.answer(phrase.Meaning{Command: phrase.ReadyForLive}) // the one that waives, so it was said
		return
	}
	t.announce()
}

// skippedDead says which dead tests of a board were skipped, so that their
// places have no live test, and how they are waived; in a job without live tests, how
// they are made after all. It is empty when there are none.
func (t *turn) skippedDead(n int) string {
	r := t.s.Record
	left := sequence.Left(r, n)
	if len(left) == 0 {
		return ""
	}
	var places []string
	for _, s := range left {
		p := way(s.Way)
		if s.Way == 0 {
			p = "the board"
		}
		if !slices.Contains(places, p) {
			places = append(places, p)
		}
	}
	where := english.List(places)
	if len(places) > 4 {
		where = count(len(places), "way", "ways")
	}
	if !liveJob(r.Job) {
		how := "give its reading with its name"
		if left[0].Way != 0 {
			how = "say " + way(left[0].Way)
		}
		return fmt.Sprintf("%s%s %s skipped, of %s. To make %s after all, %s.",
			english.Capital(count(len(left), "test", "tests")), t.ofBoard(n), were(len(left)-1), where, them(len(left)), how)
	}
	return fmt.Sprintf("%s%s %s skipped, so %s %s no live test. To waive %s, say ready for live tests, by agreement.",
		english.Capital(count(len(left), "dead test", "dead tests")), t.ofBoard(n), were(len(left)-1), where, have(len(places)), them(len(left)))
}

// waits says why live tests of a board wait, or nothing.
func (t *turn) waits(n int) string {
	if text := t.skippedDead(n); text != "" {
		return text
	}
	for _, o := range sequence.NotAsked(t.s.Record) {
		if o.Waiting && o.Slot.Board == n {
			return o.Reason
		}
	}
	return ""
}

// several reports whether boards must be told apart.
func (t *turn) several() bool { return len(t.s.Record.Job.Boards) > 1 }

func (t *turn) ofBoard(n int) string {
	if !t.several() {
		return ""
	}
	return " of board " + reading.Cardinal(n)
}

// nameBoard says which board it is, when it is another than before.
func (t *turn) nameBoard(n int) {
	if t.several() && t.s.named != n {
		t.s.named = n
		t.sayf("Board %s, %s.", reading.Cardinal(n), t.s.Record.Job.Board(n).Name)
	}
}

// were and are are for one thing and more besides.
func were(more int) string { return english.Plural(more+1, "was", "were") }

func are(more int) string { return english.Plural(more+1, "is", "are") }

func have(n int) string { return english.Plural(n, "has", "have") }

func them(n int) string { return english.Plural(n, "it", "them") }
