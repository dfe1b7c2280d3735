package talk

import (
	"fmt"
	"slices"
	"strings"

	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/waymark"
)

const manyWait = "Several readings wait. Say all of them again, or one by its name. "

// wrong returns the reading that "it was" is about: the one that waits, or else
// the last one stored, if that is the last thing that was done.
func (t *turn) wrong() (p record.Proposal, why string) {
	r := &t.s.Record
	if r.Pending != nil {
		if len(r.Pending.Then) > 0 {
			return p, manyWait + notStored
		}
		return *r.Pending, ""
	}
	last, ok := r.Last()
	if !ok {
		return p, "There is nothing to correct. " + notStored
	}
	for _, a := range r.Answers {
		ok = ok && a.EventID < last.ConfirmedID
	}
	for _, k := range r.Skips {
		ok = ok && k.EventID < last.ConfirmedID
	}
	if !ok {
		return p, "That is not about a reading. Say undo and the way, or replace and the whole reading."
	}
	return last.Proposal, ""
}

// repair changes one thing about a reading, and keeps the others: "it was greater
// than", "it was way five", "it was live to neutral", and of one that is stored
// "it was four eight six". What comes of it waits to be confirmed; the reading
// that was stored in the wrong place is taken from there at once.
func (t *turn) repair(m phrase.Meaning) {
	p, why := t.wrong()
	slot, q, heardID := p.Slot, p.Quantity, p.HeardID
	if why == "" {
		switch m.Command {
		case phrase.OnlyBound:
			q.Bound = m.Quantity.Bound
		case phrase.OnlyWay:
			slot.Way = m.Way
		case phrase.OnlyTest:
			slot.Test = m.Test
		default:
			q, heardID = m.Quantity, t.heardID
		}
		if slot != p.Slot {
			slot, why = t.checked(slot)
		}
	}
	if why == "" {
		q, why = t.quantity(q, m.OverRange, slot)
	}
	var goes *record.Slot
	if why == "" {
		why, goes = t.notYet(slot, false)
	}
	if why != "" {
		t.say(why)
		if goes != nil {
			t.say(notStored)
		}
		t.remindPending()
		return
	}
	c := choice{{slot, q, heardID}}
	switch {
	case t.s.Record.Pending != nil && slot == p.Slot && q.Equal(p.Quantity):
		t.say(t.readBack(false))
		return
	case slot == p.Slot && q.Equal(p.Quantity):
		t.say("That is how it is stored.")
		t.remind()
		return
	case t.s.Record.Pending != nil:
		t.say("Changed to:")
		t.follows(record.Event{Kind: record.Dropped, Reason: "changed to " + t.correction(p.Slot, slot, c)})
	case slot != p.Slot:
		t.follows(record.Event{Kind: record.Withdrawn, Slot: &p.Slot, Reason: "changed to " + t.correction(p.Slot, slot, c)})
		t.sayf("%s, taken off the schedule.", english.Capital(t.name(p.Slot)))
	}
	t.put(c, true)
}

// correction says what was changed, as it is written.
func (t *turn) correction(from, to record.Slot, c choice) string {
	switch {
	case to.Way != from.Way:
		return way(to.Way)
	case to != from:
		return to.Test.Spoken()
	}
	return written(c)
}

// undo takes back the last that was done about a way, or about one test of it,
// wherever it was in the order: a reading, or that a test was left out. A test
// without a way is that of the way in hand, if anything was done about it there, or
// else of the board itself.
func (t *turn) undo(m phrase.Meaning) {
	r := &t.s.Record
	on := t.board()
	if m.Way != 0 {
		if why := t.noWay(on, m.Way); why != "" {
			t.say(why)
			t.remindPending()
			return
		}
	}
	meant := func(s record.Slot) bool {
		return s.Board == on && s.Way == m.Way && (m.Test == "" || s.Test == m.Test || m.Test == reading.R2 && s.Test == reading.RingR2)
	}
	if hand, ok := t.hand(); m.Way == 0 && m.Test != "" && ok {
		m.Way = hand.Way
		pending := r.Pending != nil && slices.ContainsFunc(r.Pending.Each(), func(p record.Proposal) bool { return meant(p.Slot) })
		stands := slices.ContainsFunc(r.Readings, func(x *record.Reading) bool { return x.Standing == record.Stands && meant(x.Slot) })
		out := slices.ContainsFunc(r.Skips, func(k record.Skip) bool { return k.Ended == 0 && meant(k.Slot) })
		if !pending && !stands && !out && slices.Contains(sequence.Allowed(r.Job, on, 0), m.Test) {
			m.Way = 0
		}
	}
	if p := r.Pending; p != nil {
		if slices.ContainsFunc(p.Each(), func(one record.Proposal) bool { return meant(one.Slot) }) {
			t.scratch()
			return
		}
		t.firstThis()
		return
	}
	var last record.Reading
	for _, x := range r.Readings {
		if x.Standing == record.Stands && meant(x.Slot) {
			last = *x
		}
	}
	for _, k := range slices.Backward(r.Skips) {
		if k.Ended == 0 && meant(k.Slot) && k.EventID > last.ConfirmedID {
			t.takeBack(k)
			t.remind()
			return
		}
	}
	if last.ConfirmedID != 0 {
		t.withdraw(func(x record.Reading) bool { return x.ConfirmedID == last.ConfirmedID && meant(x.Slot) })
		t.remind()
		return
	}
	t.sayf("Nothing stands for %s.", t.wayAndTest(m))
	t.remind()
}

func (t *turn) wayAndTest(m phrase.Meaning) string {
	switch {
	case m.Way == 0 && m.Test == "":
		return "the board itself"
	case m.Way == 0:
		return m.Test.Spoken() + " of the board itself"
	case m.Test == "":
		return way(m.Way)
	}
	return way(m.Way) + ", " + m.Test.Spoken()
}

// mostWays is how many ways may be given at once, so that each of them can be
// named when they are read back.
const mostWays = 12

// eachWay finds the readings that "ways three to seven" gives, the same bound on
// each or the same answer, or says why it gives none: it is taken for all of them or not at all.
func (t *turn) eachWay(m phrase.Meaning) (c choice, why string) {
	q := m.Quantity
	judged := m.Command == phrase.Correct
	if judged {
		q = reading.Correct
	}
	switch {
	case m.Command == phrase.Incorrect:
		return nil, "Say each way that is wrong by itself. " + notStored
	case m.Last <= m.Way:
		return nil, "Say the lower way first. " + notStored
	case m.Last-m.Way >= mostWays && !judged:
		return nil, fmt.Sprintf("No more than %s ways at once. %s", reading.Cardinal(mostWays), notStored)
	case !m.OverRange && !q.ForSeveral():
		return nil, "Several ways at once only with greater than, or over range. " + notStored
	}
	said, volts := q, 0.0
	for n := m.Way; n <= m.Last; n++ {
		if w := t.s.Record.Job.Way(t.board(), n); judged && w != nil && w.Spare {
			continue
		}
		slot, why := t.checked(record.Slot{Board: t.board(), Way: n, Test: m.Test})
		if why != "" {
			return nil, why
		}
		// The test in hand says nothing of the position on the others.
		if positions := sequence.Positions(*t.s.Record.Job.Way(slot.Board, n)); len(positions) > 1 {
			return nil, fmt.Sprintf("%s has %s switch positions, so say it by itself. %s", english.Capital(way(n)), reading.Cardinal(len(positions)), notStored)
		}
		if old, ok := t.s.Record.Latest(slot); ok {
			return nil, fmt.Sprintf("%s has %s already. %s", english.Capital(t.name(slot)), old.Quantity.Spoken(), notStored)
		}
		if why, _ := t.notYet(slot, false); why != "" {
			return nil, strings.TrimSuffix(why, " "+notStored) + " " + notStored // a test that waits says so already
		}
		if q, why = t.quantity(said, m.OverRange, slot); why != "" {
			return nil, why
		}
		at := sequence.Volts(t.s.Record, slot)
		if len(c) > 0 && at != volts {
			return nil, "These ways are not all tested at one voltage, so say each by itself. " + notStored
		}
		volts, c = at, append(c, part{slot, q, t.heardID})
	}
	return c, ""
}

// manyWays reports whether what one breath gave is of several ways.
func manyWays(all []record.Proposal) bool {
	return len(all) > 1 && all[0].Slot.Way != all[len(all)-1].Slot.Way
}

// accept stores what waits, in a session whose habit allows that, because another
// reading begins: m gives a reading that can be made now, and not the one that
// waits.
func (t *turn) accept(all ...phrase.Meaning) {
	if _, ok := t.implied(); !ok || t.offered {
		return // or what was offered may be the right reading in place of what waits
	}
	p, before := t.s.Record.Pending, *t
	for _, m := range all {
		// Named, it may be what waits, given again.
		if c, why, _ := t.find(m); why == "" && (m.Way != 0 || m.Test != "") && slices.ContainsFunc(p.Each(), func(one record.Proposal) bool { return c.has(one.Slot) }) {
			return
		}
	}
	t.follows(t.confirmed(record.Accepted))
	for _, m := range all {
		if _, why, _ := t.find(m); why != "" {
			*t = before
			return
		}
	}
}

// find finds what a phrase gives, of one way or of several.
func (t *turn) find(m phrase.Meaning) (choice, string, *record.Slot) {
	if m.Last != 0 {
		c, why := t.eachWay(m)
		return c, why, nil
	}
	return t.resolve(m)
}

// implied reports whether the reading that waits is stored when the next one
// begins, and which that is: the habit allows it, it passes, nothing speaks
// against what was heard, nothing is replaced by it, its read-back was not cut short, and a
// test is due after it.
func (t *turn) implied() (sequence.Due, bool) {
	r := t.s.Record
	if r.Pending == nil || r.Habit != record.Agreed || !r.Pending.MayBeImplied() || t.s.unheard {
		return sequence.Due{}, false
	}
	for _, one := range r.Pending.Each() {
		if _, replaces := r.Latest(one.Slot); replaces {
			return sequence.Due{}, false
		}
	}
	e := t.confirmed(record.Accepted)
	e.ID, e.At = r.LastID+1, t.at
	r, err := r.Apply(e)
	if err != nil {
		return sequence.Due{}, false
	}
	d, ok := sequence.Next(r)
	return d, ok && (d.Step == nil || goesOn(*d.Step)) && !d.Again && d.Board == t.s.Record.Pending.Slot.Board
}

// goesOn reports whether the answer to a step goes on with the work, as a reading does.
// What comes before the supply is put on is answered with nothing waiting.
func goesOn(s sequence.Step) bool {
	return s.ID != sequence.DeadComplete && s.ID != sequence.ReadyForLive
}

// answersNext stores what waits, in a session whose habit allows that, because the step
// that comes next is answered by its name. It reports whether it did.
func (t *turn) answersNext(m phrase.Meaning) bool {
	d, ok := t.implied()
	if !ok || d.Step == nil || d.Step.ID != string(m.Command) || t.offered {
		return false
	}
	t.follows(t.confirmed(record.Accepted))
	return true
}

// places are the ways of several readings, each named.
func (t *turn) places(all []record.Proposal) string {
	var names []string
	for _, p := range all {
		names = append(names, way(p.Slot.Way))
	}
	return english.List(names)
}

// span is "ways three to seven, live and neutral to earth".
func (t *turn) span(all []record.Proposal) string {
	return t.ways(all) + ", " + t.tested(all[0].Slot)
}

// ways names the ways of several readings of one board: "ways one to four and seven".
// What stands side by side but for spare ways is one run.
func (t *turn) ways(all []record.Proposal) string {
	on := sequence.Order(t.s.Record.Job, all[0].Slot.Board)
	slices.SortFunc(on, waymark.Compare)
	given := map[int]bool{}
	for _, p := range all {
		given[p.Slot.Way] = true
	}
	var runs []string
	for i := 0; i < len(on); i++ {
		if !given[on[i]] {
			continue
		}
		first := i
		for i+1 < len(on) && given[on[i+1]] {
			i++
		}
		run := waymark.Aloud(on[first])
		switch {
		case i == first+1:
			runs = append(runs, run)
			run = waymark.Aloud(on[i])
		case i > first:
			run += " to " + waymark.Aloud(on[i])
		}
		runs = append(runs, run)
	}
	return "ways " + english.List(runs)
}
