// Package sequence says which test is due, and why.
//
// The order of work is, board by board: the preparation steps, each answered;
// then the ways of the board, neutral bar by neutral bar, in the order of their numbers; on each
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
	Board  int         // the board of either
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
func Allowed(job board.Job, board, way int) []reading.Test {
	w := job.Way(board, way)
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
func Required(job board.Job, board, way int) []record.Slot {
	w := job.Way(board, way)
	if w == nil || w.Spare {
		return nil
	}
	var slots []record.Slot
	for _, p := range Positions(*w) {
		slots = append(slots, record.Slot{Board: board, Way: way, Test: reading.LNE, Position: p})
		if w.Keep500Off == "" {
			slots = append(slots, record.Slot{Board: board, Way: way, Test: reading.LN, Position: p})
		}
	}
	return slots
}

// Boards returns the numbers of the boards that are tested, in the order of the
// job: those that are only isolated are left out.
func Boards(job board.Job) []int {
	var all []int
	for _, b := range job.Boards {
		if !b.Supply.OnlyIsolated {
			all = append(all, b.Number)
		}
	}
	return all
}

// Order returns the numbers of the ways of a board that are tested, in the order
// in which they are: neutral bars in the order in which they first appear on the
// board, in each the ways in the order of their numbers.
func Order(job board.Job, number int) []int {
	b := job.Board(number)
	if b == nil || b.Supply.OnlyIsolated {
		return nil
	}
	var bars []string
	for _, w := range b.Ways {
		if !w.Spare && !slices.Contains(bars, w.NeutralBar) {
			bars = append(bars, w.NeutralBar)
		}
	}
	var order []int
	for _, bar := range bars {
		for _, w := range b.Ways {
			if !w.Spare && w.NeutralBar == bar {
				order = append(order, w.Number)
			}
		}
	}
	return order
}

// Next returns what is due. It goes on from the board and the way in hand and
// comes round to what was passed over. False means that nothing is left to ask
// for, though a way that failed may still wait for work: see NotAsked.
func Next(s record.State) (Due, bool) {
	if s.Aim != nil {
		if step, ok := nextStep(s, s.Aim.Board); ok {
			return stepDue(s.Aim.Board, step), true
		}
		d := testDue(s, *s.Aim, "You went to this test.", practice)
		_, d.Again = s.Latest(*s.Aim)
		return d, true
	}
	boards := Boards(s.Job)
	first := max(0, slices.Index(boards, s.Board))
	for i := range boards {
		board := boards[(first+i)%len(boards)]
		if step, ok := nextStep(s, board); ok {
			return stepDue(board, step), true
		}
		order, start := Order(s.Job, board), 0
		if board == s.Board {
			start = max(0, slices.Index(order, s.Way))
		}
		for k := range order {
			if due := wayDue(s, board, order[(start+k)%len(order)]); len(due) > 0 {
				return due[0], true
			}
		}
	}
	return Due{}, false
}

// Remaining returns everything that is still to be asked for, in the order of
// the boards.
func Remaining(s record.State) []Due {
	var all []Due
	for _, board := range Boards(s.Job) {
		for _, step := range Steps(s.Job, board) {
			if _, done := s.Answered(board, step.ID); !done {
				all = append(all, stepDue(board, step))
			}
		}
		for _, way := range Order(s.Job, board) {
			all = append(all, wayDue(s, board, way)...)
		}
	}
	return all
}

// NotAsked returns the tests that are not asked for on any way, with the
// reason: because of what stays connected, or because the way waits for work.
func NotAsked(s record.State) []Omitted {
	var all []Omitted
	for _, board := range Boards(s.Job) {
		for _, number := range Order(s.Job, board) {
			w := s.Job.Way(board, number)
			for _, p := range Positions(*w) {
				slot := record.Slot{Board: board, Way: number, Test: reading.LN, Position: p}
				switch {
				case w.Keep500Off != "":
					all = append(all, Omitted{slot, "Equipment stays connected: " + w.Keep500Off + ".", joined})
				case fails(s, board, number, p) && !closed(s, slot):
					all = append(all, Omitted{slot, "Its insulation to earth fails; it waits for work.", practice})
				}
			}
		}
	}
	return all
}

// Failing returns the ways of a board on which a reading that stands fails, in
// the order of testing. They are tested again after work, when the electrician
// says so.
func Failing(s record.State, board int) []int {
	return slices.DeleteFunc(Order(s.Job, board), func(way int) bool {
		return !slices.ContainsFunc(s.Readings, func(r record.Reading) bool {
			return r.Slot.Board == board && r.Slot.Way == way && r.Standing == record.Stands && r.Verdict.Result == check.Fail
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
	for _, board := range Boards(s.Job) {
		for _, step := range Steps(s.Job, board) {
			p.Steps++
			if _, done := s.Answered(board, step.ID); done {
				p.StepsDone++
			}
		}
		for _, way := range Order(s.Job, board) {
			for _, slot := range slotsNow(s, board, way) {
				p.Tests++
				_, recorded := s.Latest(slot)
				_, left := s.LeftOut(slot)
				switch {
				case recorded:
					p.Recorded++
				case left:
					p.LeftOut++
				case slot.Test == reading.LN && fails(s, board, way, slot.Position):
					p.Waiting++
				}
			}
		}
	}
	return p
}

// slotsNow returns what a way needs as things are: what it always needs, and
// after a failure the separate readings.
func slotsNow(s record.State, board, way int) []record.Slot {
	var slots []record.Slot
	apart := slices.Contains(Allowed(s.Job, board, way), reading.LE)
	for _, slot := range Required(s.Job, board, way) {
		slots = append(slots, slot)
		if slot.Test == reading.LNE && apart && fails(s, board, way, slot.Position) {
			for _, test := range []reading.Test{reading.LE, reading.NE} {
				slots = append(slots, record.Slot{Board: board, Way: way, Test: test, Position: slot.Position})
			}
		}
	}
	return slots
}

func wayDue(s record.State, board, way int) []Due {
	var due []Due
	w := s.Job.Way(board, way)
	for _, slot := range slotsNow(s, board, way) {
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
			if !fails(s, board, way, slot.Position) {
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
func fails(s record.State, board, way, position int) bool {
	r, ok := s.Latest(record.Slot{Board: board, Way: way, Test: reading.LNE, Position: position})
	return ok && r.Verdict.Result == check.Fail
}

func stepDue(board int, step Step) Due {
	return Due{Board: board, Step: &step, Why: step.Question, Source: step.Source}
}

func testDue(s record.State, slot record.Slot, why, source string) Due {
	limit := check.InsulationLimit(*s.Job.Way(slot.Board, slot.Way), s.Job.Board(slot.Board).Voltage, SurgeConnected(s, slot.Board))
	return Due{Board: slot.Board, Slot: slot, Volts: limit.TestVoltage, Least: limit.Least, Why: why, Source: source}
}
