// Package sequence says which test is due, and why.
//
// The order of work is: the preparation steps, each answered; then the ways of
// the board, neutral bar by neutral bar, in the order of their numbers; on each
// way the live conductors together to earth, then line to neutral; on a way
// with two-way switching both tests in one position of the switch, then both in
// the other. A way whose insulation to earth fails is taken apart, line to
// earth and neutral to earth, to find the conductor; its line to neutral waits
// until it was worked on. What is skipped is not asked for again.
//
// Nothing is kept here: what is due follows from package record's State alone,
// so a session that was cut off goes on where it stopped. That L to N and both
// switch positions are measured is from IET Guidance Note 3, from memory; the
// order of the ways is common practice, no published source.
package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

const (
	gn3      = "IET Guidance Note 3, insulation resistance, from memory"
	practice = "common practice, no published source"
	joined   = "BS 7671:2018+A2:2022 regulation 643.3.3, from memory"
)

// Due is what is to be done next: a preparation step or a test.
type Due struct {
	Step   *Step       // a preparation step; nil when a test is due
	Slot   record.Slot // the test, when Step is nil
	Volts  float64     // DC test voltage
	Least  float64     // the limit, Mohm
	Again  bool        // a reading stands there already and the electrician went back to it
	Why    string      // one sentence
	Source string      // of Why
}

// Omitted is a test that a way would have but that is not asked for.
type Omitted struct {
	Slot   record.Slot
	Reason string
	Source string
}

// Positions returns the switch positions in which a way is tested: 1 and 2 for
// two-way switching, otherwise 0 alone.
func Positions(w board.Way) []int {
	if w.TwoWay {
		return []int{1, 2}
	}
	return []int{0}
}

// Allowed returns the tests that a reading may be taken for on a way: none on a
// spare way or one that does not exist.
func Allowed(job board.Job, way int) []reading.Test {
	w := job.Board.Way(way)
	switch {
	case w == nil || w.Spare:
		return nil
	case w.Keep500Off != "":
		return []reading.Test{reading.LNE}
	}
	return []reading.Test{reading.LNE, reading.LN, reading.LE, reading.NE}
}

// Required returns the readings that a way's schedule needs when nothing fails,
// in the order in which they are taken.
func Required(job board.Job, way int) []record.Slot {
	w := job.Board.Way(way)
	if w == nil || w.Spare {
		return nil
	}
	var slots []record.Slot
	for _, p := range Positions(*w) {
		slots = append(slots, record.Slot{Way: way, Test: reading.LNE, Position: p})
		if w.Keep500Off == "" {
			slots = append(slots, record.Slot{Way: way, Test: reading.LN, Position: p})
		}
	}
	return slots
}

// Order returns the numbers of the ways that are tested, in the order in which
// they are: neutral bars in the order in which they first appear on the board,
// in each the ways in the order of their numbers.
func Order(job board.Job) []int {
	var bars []string
	for _, w := range job.Board.Ways {
		if !w.Spare && !slices.Contains(bars, w.NeutralBar) {
			bars = append(bars, w.NeutralBar)
		}
	}
	var order []int
	for _, bar := range bars {
		for _, w := range job.Board.Ways {
			if !w.Spare && w.NeutralBar == bar {
				order = append(order, w.Number)
			}
		}
	}
	return order
}

// Next returns what is due. It goes on from the way in hand and comes round to
// ways that were passed over. False means that nothing is left to ask for,
// though a way that failed may still wait for work: see NotAsked.
func Next(s record.State) (Due, bool) {
	if step, ok := nextStep(s); ok {
		return stepDue(step), true
	}
	if s.Aim != nil {
		d := testDue(s, *s.Aim, "You went to this test.", practice)
		_, d.Again = s.Latest(*s.Aim)
		return d, true
	}
	order := Order(s.Job)
	start := max(0, slices.Index(order, s.Way))
	for i := range order {
		if due := wayDue(s, order[(start+i)%len(order)]); len(due) > 0 {
			return due[0], true
		}
	}
	return Due{}, false
}

// Remaining returns everything that is still to be asked for, in the order of
// the board.
func Remaining(s record.State) []Due {
	var all []Due
	for _, step := range Steps(s.Job) {
		if _, done := s.Answered(step.ID); !done {
			all = append(all, stepDue(step))
		}
	}
	for _, way := range Order(s.Job) {
		all = append(all, wayDue(s, way)...)
	}
	return all
}

// NotAsked returns the tests that are not asked for on any way, with the
// reason: because of what stays connected, or because the way waits for work.
func NotAsked(s record.State) []Omitted {
	var all []Omitted
	for _, number := range Order(s.Job) {
		w := s.Job.Board.Way(number)
		for _, p := range Positions(*w) {
			slot := record.Slot{Way: number, Test: reading.LN, Position: p}
			switch {
			case w.Keep500Off != "":
				all = append(all, Omitted{slot, "Equipment stays connected: " + w.Keep500Off + ".", joined})
			case fails(s, number, p) && !closed(s, slot):
				all = append(all, Omitted{slot, "Its insulation to earth fails; it waits for work.", practice})
			}
		}
	}
	return all
}

// Failing returns the ways on which a reading that stands fails, in the order
// of testing. They are tested again after work, when the electrician says so.
func Failing(s record.State) []int {
	return slices.DeleteFunc(Order(s.Job), func(way int) bool {
		return !slices.ContainsFunc(s.Readings, func(r record.Reading) bool {
			return r.Slot.Way == way && r.Standing == record.Stands && r.Verdict.Result == check.Fail
		})
	})
}

// Progress counts the work. Tests is what is to be measured as far as is known
// now, and Tests = Recorded + LeftOut + Waiting + what Remaining holds of tests.
type Progress struct {
	Steps, StepsDone int
	Tests            int
	Recorded         int // a reading stands
	LeftOut          int // skipped, not applicable or a limitation
	Waiting          int // on a way that failed and waits for work
}

// Count returns how far the work is.
func Count(s record.State) Progress {
	var p Progress
	for _, step := range Steps(s.Job) {
		p.Steps++
		if _, done := s.Answered(step.ID); done {
			p.StepsDone++
		}
	}
	for _, way := range Order(s.Job) {
		for _, slot := range slotsNow(s, way) {
			p.Tests++
			_, recorded := s.Latest(slot)
			_, left := s.LeftOut(slot)
			switch {
			case recorded:
				p.Recorded++
			case left:
				p.LeftOut++
			case slot.Test == reading.LN && fails(s, way, slot.Position):
				p.Waiting++
			}
		}
	}
	return p
}

// slotsNow returns what a way needs as things are: what it always needs, and
// after a failure the separate readings.
func slotsNow(s record.State, way int) []record.Slot {
	var slots []record.Slot
	apart := slices.Contains(Allowed(s.Job, way), reading.LE)
	for _, slot := range Required(s.Job, way) {
		slots = append(slots, slot)
		if slot.Test == reading.LNE && apart && fails(s, way, slot.Position) {
			for _, test := range []reading.Test{reading.LE, reading.NE} {
				slots = append(slots, record.Slot{Way: way, Test: test, Position: slot.Position})
			}
		}
	}
	return slots
}

func wayDue(s record.State, way int) []Due {
	var due []Due
	w := s.Job.Board.Way(way)
	for _, slot := range slotsNow(s, way) {
		if closed(s, slot) {
			continue
		}
		switch slot.Test {
		case reading.LNE:
			why, source := "Live conductors together to earth come first on each way.", gn3
			if w.Keep500Off != "" {
				why, source = "Only live conductors together to earth, because of what stays connected: "+w.Keep500Off+".", joined
			}
			due = append(due, testDue(s, slot, why, source))
		case reading.LN:
			if !fails(s, way, slot.Position) {
				due = append(due, testDue(s, slot, "Line to neutral follows where nothing stays connected.", gn3))
			}
		default:
			due = append(due, testDue(s, slot, "Live conductors together to earth failed, so find the conductor.", practice))
		}
	}
	return due
}

// closed reports whether slot has a reading or was left out.
func closed(s record.State, slot record.Slot) bool {
	if _, ok := s.Latest(slot); ok {
		return true
	}
	_, ok := s.LeftOut(slot)
	return ok
}

// fails reports whether the reading of the live conductors together to earth
// that stands for a way in one switch position fails.
func fails(s record.State, way, position int) bool {
	r, ok := s.Latest(record.Slot{Way: way, Test: reading.LNE, Position: position})
	return ok && r.Verdict.Result == check.Fail
}

func stepDue(step Step) Due { return Due{Step: &step, Why: step.Question, Source: step.Source} }

func testDue(s record.State, slot record.Slot, why, source string) Due {
	limit := check.InsulationLimit(*s.Job.Board.Way(slot.Way), s.Job.Board.Voltage, SurgeConnected(s))
	return Due{Slot: slot, Volts: limit.TestVoltage, Least: limit.Least, Why: why, Source: source}
}
