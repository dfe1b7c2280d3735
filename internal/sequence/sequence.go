// Package sequence says which test is due, and why.
//
// The whole job, in the order of BS 7671 Part 6 and IET Guidance Note 3, from
// memory:
//
//	for each board, those that feed others first:
//	    the steps before dead tests, each answered
//	    dead tests: earthing and bonding, continuity with polarity, insulation
//	then for each board:
//	    two steps before live tests, each answered, after those of what feeds it
//	    live tests: at its supply, then circuit by circuit
//
// In a periodic inspection of an installation that stays on, its live tests come
// first, with the external loop impedance last of them, and the dead ones that were
// agreed after: isolating and proving dead then come before these as ever. What the
// kind of work leaves out is in work.go.
//
// # The rule set
//
// The table rules names every test with the set-up it is made in and the
// function that says whether a board or a way needs it. Needs applies it. A job
// that is limited (board.Job.Tests) has only the tests and the steps of these
// kinds.
//
// # The walk
//
// The tests of a board are grouped by set-up, so that leads and links are moved
// least: changing them costs more than going to the next way. In one set-up the
// ways follow neutral bar by neutral bar in the order of their numbers. All
// that is measured live of a circuit is measured in one visit to its last
// point. What has no figure is answered in one round of the board once the figures of
// its set-up are read: polarity, test buttons, functional tests (Together). On each way the live conductors go together to earth, then to each
// other; a way with two-way switching has both in one position of the switch,
// then both in the other. The electrician may go anywhere else at any time;
// the walk goes on from there.
//
// # What waits
//
// A way whose insulation to earth fails is taken apart, to find the conductor;
// what is between its conductors waits until it was worked on. A ring that is
// not whole is not cross-connected. A way with a dead test that fails, or that
// was skipped without being waived, has no live test, and neither has what it
// feeds; the same goes for the earthing and bonding of a board. The polarity of
// the supply comes before every other live test, the loop impedance before the
// residual current device. See Blocked and NotAsked. What was left out is not
// asked for again.
//
// Dead tests that turn up again after the supply was put on, such as those of a
// way that was repaired, ask for the steps before dead tests anew. So does whoever
// says that the supply was put on meanwhile (EnergisedAgain), from proving dead on;
// the two answers before live tests are then due again, too.
//
// Nothing is kept here: what is due follows from package record's State alone,
// so a session that was cut off goes on where it stopped. Each call looks the
// state up once and takes about a millisecond for a site of a hundred ways.
package sequence

import (
	"slices"

	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// Due is what is to be done next: a preparation step or a test.
type Due struct {
	Board  int         // the board of either
	Step   *Step       // a preparation step; nil when a test is due
	Slot   record.Slot // the test, when Step is nil or comes before that test alone; its Way is 0 for the board itself
	Setup  Setup       // of a test: the leads and links it is made with
	Volts  float64     // DC test voltage of an insulation test, otherwise 0
	Least  float64     // its limit, Mohm
	Again  bool        // a reading stands there already and the electrician went back to it
	Why    string      // one sentence
	Source string      // of Why
}

// Omitted is a test that a place would have but that is not asked for.
type Omitted struct {
	Slot    record.Slot
	Reason  string
	Source  string
	Waiting bool // it will be asked for once there was work, or a skipped test is made or waived
}

// Next returns what is due. It goes on from the board and the way in hand and
// comes round to what was passed over: in the set-up that is made, as long as
// anything is due in it. False means that nothing is left to ask for, though
// tests may still wait: see NotAsked.
//
// A live test that the electrician went to but that cannot be made yet is not
// due: see Blocked.
func Next(s record.State) (Due, bool) { return newSite(s).next() }

func (p *site) next() (Due, bool) {
	s := p.s
	if d, ok := p.backFirst(); ok {
		return d, true
	}
	if s.Aim != nil {
		if d, ok := p.aimed(*s.Aim); ok {
			return d, true
		}
	}
	first := max(0, slices.IndexFunc(p.boards, func(b *panel) bool { return b.Number == s.Board }))
	// What is only isolated before the board in hand is not passed over.
	for first > 0 && p.boards[first-1].Supply.OnlyIsolated {
		first--
	}
	boards := slices.Concat(p.boards[first:], p.boards[:first])
	// An installation that stays on is tested live first, as far as it was not isolated.
	if d, ok := p.nextLive(p.stillOnOf(boards)); ok {
		return d, true
	}
	for _, b := range boards {
		if steps := p.deadSteps(b); len(steps) > 0 {
			return p.stepDue(steps[0].board, steps[0].step), true
		}
		slot, it := anyLive(b), p.pick(b, false)
		if it != nil {
			slot = it.slot
		}
		if back := p.backs(b, slot); len(back) > 0 {
			return p.stepDue(b.Number, back[0].step), true
		}
		if it != nil {
			return p.testDue(it), true
		}
	}
	if d, ok := p.nextLive(boards); ok {
		return d, true
	}
	if off := p.stillSwitchedOff(); len(off) > 0 {
		return p.stepDue(off[0].board, off[0].step), true
	}
	return Due{}, false
}

// nextLive returns what is due live on boards, which begin with the one in hand.
func (p *site) nextLive(boards []*panel) (Due, bool) {
	// Live tests begin at the board that feeds the others, unless the electrician
	// is at another with them, or went there.
	if b := p.at[p.s.Board]; b == nil || len(p.liveSteps(b)) > 0 && b.last.Way == p.s.Way {
		boards = slices.DeleteFunc(slices.Clone(p.boards), func(b *panel) bool { return !slices.Contains(boards, b) })
	}
	for _, b := range boards {
		// Nothing is put on for tests that others come before.
		it := p.pick(b, true)
		if !b.liveOpen || it == nil {
			continue
		}
		if steps := p.liveSteps(b); len(steps) > 0 {
			return p.stepDue(steps[0].board, steps[0].step), true
		}
		return p.afterSteps(b, p.testDue(it)), true
	}
	return Due{}, false
}

// afterSteps returns the step that is due before a test, of those that hang on that, or
// the test.
func (p *site) afterSteps(b *panel, d Due) Due {
	if steps := p.stepsFor(b, d.Slot); len(steps) > 0 {
		step := p.stepDue(steps[0].board, steps[0].step)
		if step.Step.Alone {
			step.Slot = d.Slot
		}
		return step
	}
	return d
}

// aimed returns what is due when the electrician went to a test. False means
// that it cannot be made now.
func (p *site) aimed(slot record.Slot) (Due, bool) {
	b := p.at[slot.Board]
	if b == nil || b.Supply.OnlyIsolated {
		return Due{}, false
	}
	if Live(slot) {
		if p.blocked(slot).need != "" {
			return Due{}, false
		}
		if steps := p.liveSteps(b); len(steps) > 0 {
			return p.stepDue(steps[0].board, steps[0].step), true
		}
	} else {
		// Made after the supply was on, it needs the steps before dead tests,
		// whether or not another dead test is due.
		here := *b
		here.deadOpen = true
		if steps := p.deadSteps(&here); len(steps) > 0 {
			return p.stepDue(steps[0].board, steps[0].step), true
		}
		if back := p.backs(b, slot); len(back) > 0 {
			return p.stepDue(b.Number, back[0].step), true
		}
	}
	d := p.described(slot)
	d.Why, d.Source, d.Again = "You went to this test.", practice, p.stands[slot] != nil
	return p.afterSteps(b, d), true
}

// pick returns the test that is due on a board in one stage, or nil: on the way
// that the electrician went to, else in the set-up and test voltage of what was
// done last, from its way on and round again, else the first in the order of
// the walk.
func (p *site) pick(b *panel, live bool) *item {
	var due []*item
	for _, it := range b.items {
		if it.live == live && it.open && (!live || p.before(b, it.slot).need == "") {
			due = append(due, it)
		}
	}
	if len(due) == 0 {
		return nil
	}
	if p.s.Board != b.Number {
		return due[0]
	}
	if b.lastID == 0 || b.last.Way != p.s.Way {
		if i := slices.IndexFunc(due, func(it *item) bool { return it.slot.Way == p.s.Way }); i >= 0 {
			return due[i]
		}
		if b.lastID == 0 {
			return due[0]
		}
	}
	all := due
	// What was done last may be a test that nobody asked for.
	last, from := p.described(b.last), 0
	if i := slices.IndexFunc(b.items, func(it *item) bool { return it.slot.Way == b.last.Way }); i >= 0 {
		from = b.items[i].order
	}
	due = slices.DeleteFunc(slices.Clone(due), func(it *item) bool { return it.setup != last.Setup || it.volts != last.Volts })
	if len(due) > 0 && due[0].round > 0 && due[0].slot.Test != b.last.Test {
		from = 0 // a round begins at the first way
	}
	var first *item
	for _, it := range due {
		if it.round != due[0].round {
			break // a round comes once all before it is done
		}
		if it.order >= from {
			return it
		}
		if first == nil {
			first = it
		}
	}
	if first == nil {
		first = all[0]
	}
	return first
}

// Remaining returns everything that is still to be asked for, in the order of
// the work. Live tests are among it before the dead ones are made, but not what
// waits: see NotAsked.
func Remaining(s record.State) []Due { return newSite(s).remaining() }

func (p *site) remaining() []Due {
	var all []Due
	type at struct {
		board int
		id    string
	}
	seen := map[at]bool{}
	add := func(steps []boardStep) {
		for _, step := range steps {
			if is := (at{step.board, step.step.ID}); !seen[is] {
				seen[is] = true
				all = append(all, p.stepDue(step.board, step.step))
			}
		}
	}
	tests := func(b *panel, live bool) {
		for _, it := range b.items {
			if it.live == live && it.open {
				add(p.stepsFor(b, it.slot))
				all = append(all, p.testDue(it))
			}
		}
	}
	if d, ok := p.next(); ok && d.Step != nil && (d.Step.Back != "" || d.Step.Alone) {
		seen[at{d.Board, d.Step.ID}], all = true, append(all, d)
	}
	live := func(b *panel) {
		if b.liveOpen {
			add(p.liveSteps(b))
			tests(b, true)
		}
	}
	first := p.stillOnOf(p.boards)
	for _, b := range first {
		live(b)
	}
	for _, b := range p.boards {
		add(p.deadSteps(b))
		tests(b, false)
		add(p.backs(b, anyLive(b)))
	}
	for _, b := range p.boards {
		if !slices.Contains(first, b) {
			live(b)
		}
	}
	add(p.stillSwitchedOff())
	return all
}

// NotAsked returns the tests that are not asked for as things are, with the
// reason: because of what stays connected, or because they wait for work or for
// a test that was skipped.
func NotAsked(s record.State) []Omitted {
	p := newSite(s)
	var all []Omitted
	for _, b := range p.boards {
		for _, it := range b.items {
			if it.need == NotPossible {
				all = append(all, Omitted{it.slot, it.why, p.cite(it.source), false})
			} else if p.active(it) && !p.closed(it.slot) {
				if r := p.waits(it); r.need != "" {
					all = append(all, Omitted{it.slot, r.why, p.cite(r.source), true})
				}
			}
		}
	}
	return all
}

// Failing returns the ways of a board on which a reading that stands fails, in
// the order of testing; way 0, first, is the board itself. They are tested
// again after work, when the electrician says so.
func Failing(s record.State, board int) []int {
	bad := map[int]bool{}
	for i := range s.Readings {
		if r := s.Readings[i]; r.Slot.Board == board && r.Standing == record.Stands && r.Verdict.Result == check.Fail {
			bad[r.Slot.Way] = true
		}
	}
	return slices.DeleteFunc(append([]int{0}, Order(s.Job, board)...), func(way int) bool { return !bad[way] })
}

// Progress counts the work. Tests is what is to be measured as far as is known
// now, and Tests = Recorded + LeftOut + Waiting + what Remaining holds of tests.
type Progress struct {
	Steps, StepsDone int
	Tests            int
	Recorded         int // a reading stands
	LeftOut          int // skipped, waived, not applicable or a limitation
	Waiting          int // for work on what failed, or for what was skipped
}

// Count returns how far the work is.
func Count(s record.State) Progress {
	site := newSite(s)
	var p Progress
	for _, b := range site.boards {
		for i := range steps {
			if asks(&s.Job, b.Board, steps[i]) && site.counts(b, &steps[i]) {
				p.Steps++
				_, off := s.OffLast(b.Number, steps[i].Back)
				if _, done := b.answered(steps[i], 0); done && !off {
					p.StepsDone++
				}
			}
		}
		for _, it := range b.items {
			if !site.active(it) {
				continue
			}
			p.Tests++
			switch {
			case site.stands[it.slot] != nil:
				p.Recorded++
			case site.left[it.slot] != nil:
				p.LeftOut++
			case site.waits(it).need != "":
				p.Waiting++
			}
		}
	}
	return p
}

func (p *site) stepDue(board int, step *Step) Due {
	if b := p.at[board]; b != nil {
		worded := *step
		switch {
		case step.ByWay != "" && b.mode() == WayByWay:
			worded.Question = step.ByWay
		case step.On != "" && p.stillOn(b):
			worded.Question = step.On
		}
		step = &worded
	}
	return Due{Board: board, Step: step, Why: step.Question, Source: p.cite(step.Source)}
}

func (p *site) testDue(it *item) Due {
	d := Due{Board: it.slot.Board, Slot: it.slot, Setup: it.setup, Volts: it.volts, Least: it.least, Why: it.why, Source: it.source}
	switch {
	case it.slot.Test == reading.R2:
		d.Why, d.Source = "R1+R2 could not be had, so the protective conductor is tested by itself.", protective
	case it.rule.after == reading.LNE:
		d.Why, d.Source = "Live conductors together to earth failed, so find the conductor.", practice
	case it.rule.after != "":
		d.Why, d.Source = "The lines together failed, so find the conductor.", practice
	}
	d.Source = p.cite(d.Source)
	return d
}

// cite names the edition of BS 7671 that the job is judged by in a source.
func (p *site) cite(source string) string { return p.s.Job.JudgedBy().Of(source) }

// Volts returns the DC test voltage of an insulation test as things are, V; 0 for
// other tests.
func Volts(s record.State, slot record.Slot) float64 { return newSite(s).described(slot).Volts }

// described returns a test with what it is made with, whether or not it is
// asked for.
func (p *site) described(slot record.Slot) Due {
	d := Due{Board: slot.Board, Slot: slot}
	c, ok := place(&p.s.Job, slot.Board, slot.Way)
	if !ok {
		return d
	}
	d.Setup = setupAt(c, slot.Test)
	if slot.Test.Insulation() {
		limit := p.limit(c)
		d.Volts, d.Least = limit.TestVoltage, limit.Least
	}
	return d
}
