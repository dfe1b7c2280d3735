package wall

import (
	"fmt"
	"strings"
	"time"

	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// facts is everything that the screen shows; it is drawn from nothing else. Its
// texts may hold anything: they are made harmless when they are drawn.
type facts struct {
	job    string // reference
	board  int
	name   string // of the board
	boards []boardFacts

	place string // drawn very large: the way, B and the board's number, or END
	label string // what place is
	feeds string
	due   string // the test or the question in words
	with  string // set-up and test voltage

	last  *lastFacts
	turn  turn
	said  string  // the last thing that waycall said
	heard string  // the last thing that it heard, with what became of it
	stage string  // what a demonstration shows
	level float64 // of the microphone, dB relative to full scale

	tests, steps int // left
	done, all    int // tests
	waiting      int // tests that wait for work on what failed
	estimate     time.Duration
	estimated    bool
}

type boardFacts struct {
	number int
	name   string
	left   int // steps and tests
}

// lastFacts is the reading that waits for "confirm", or else the last one that
// stands.
type lastFacts struct {
	waits   bool
	where   string // way and test in words
	figure  string // drawn large
	unit    string
	others  string // of the same breath
	result  check.Result
	because string
}

// turn says whose turn it is.
type turn int

const (
	starting turn = iota
	listening
	speaking
	paused
	finished
)

// known fills in what the record says. The texts of a session (said, heard, turn
// and level) are not touched, but that a pause or the end is in the record.
func (f *facts) known(s record.State) {
	f.job, f.board, f.name, f.boards = s.Job.Reference, s.Board, "", nil
	f.place, f.label, f.feeds, f.due, f.with, f.last = "", "", "", "", "", nil
	if s.Sessions == 0 {
		f.label = "NO JOB YET"
		return
	}
	due, any := sequence.Next(s)
	switch {
	case s.Pending != nil:
		f.at(s, s.Pending.Slot)
		f.with = "Read back. Say confirm, or correct it."
	case !any:
		f.place, f.label, f.due = "END", "NOTHING LEFT TO ASK", "Say finish here, or name a way to go back to."
	case due.Step != nil:
		f.board = due.Board
		f.place, f.label, f.feeds = fmt.Sprintf("B%d", due.Board), "BEFORE THE DEAD TESTS", nameOf(s, due.Board)
		if due.Step.Live {
			f.label = "BEFORE THE LIVE TESTS"
		}
		f.due = due.Step.Brief
	default:
		f.at(s, due.Slot)
		f.with = string(due.Setup)
		if due.Volts > 0 {
			f.with += fmt.Sprintf(", %g V, at least %g MΩ", due.Volts, due.Least)
		}
	}
	f.name = nameOf(s, f.board)
	left := map[int]int{}
	f.tests, f.steps = 0, 0
	for _, d := range sequence.Remaining(s) {
		if left[d.Board]++; d.Step != nil {
			f.steps++
		} else {
			f.tests++
		}
	}
	for _, b := range s.Job.Boards {
		f.boards = append(f.boards, boardFacts{b.Number, b.Name, left[b.Number]})
	}
	n := sequence.Count(s)
	f.done, f.all, f.waiting = n.Recorded+n.LeftOut, n.Tests, n.Waiting
	f.estimate, f.estimated = sequence.Estimate(s)
	f.last = lastOf(s)
}

// at shows a test.
func (f *facts) at(s record.State, slot record.Slot) {
	f.board = slot.Board
	f.due = inWords(s, slot)
	if slot.Way == 0 {
		f.place, f.label, f.feeds = fmt.Sprintf("B%d", slot.Board), "THE BOARD ITSELF", nameOf(s, slot.Board)
		return
	}
	f.place, f.label = fmt.Sprint(slot.Way), "WAY"
	if w := s.Job.Way(slot.Board, slot.Way); w != nil {
		f.feeds = w.Feeds
	}
}

// inWords is a test as it is said, with what tells it from others of its kind.
func inWords(s record.State, slot record.Slot) string {
	text := slot.Test.Spoken()
	if n := slot.Position; n > 0 {
		b := s.Job.Board(slot.Board)
		switch {
		case slot.Test == reading.Bonding && b != nil && n <= len(b.Bonding):
			text += ", " + b.Bonding[n-1]
		case slot.Test.Insulation():
			text += ", switch position " + reading.Cardinal(n)
		default:
			text += ", point " + reading.Cardinal(n)
		}
	}
	if text == "" {
		return string(slot.Test)
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

func nameOf(s record.State, board int) string {
	if b := s.Job.Board(board); b != nil {
		return b.Name
	}
	return ""
}

// grave orders results, the one to look at first.
var grave = map[check.Result]int{check.Fail: 3, check.CannotSay: 2, check.Investigate: 1}

func lastOf(s record.State) *lastFacts {
	var each []record.Proposal
	if s.Pending != nil {
		each = s.Pending.Each()
	} else if r, ok := s.Last(); ok {
		each = []record.Proposal{r.Proposal}
	}
	if len(each) == 0 {
		return nil
	}
	worst := 0
	var all []string
	for i, p := range each {
		if grave[p.Verdict.Result] > grave[each[worst].Verdict.Result] {
			worst = i
		}
		all = append(all, string(p.Slot.Test)+" "+figure(p.Quantity)+" "+unit(p.Quantity.Unit))
	}
	p := each[worst]
	l := &lastFacts{
		waits: s.Pending != nil, where: fmt.Sprintf("way %d, ", p.Slot.Way) + inWords(s, p.Slot),
		figure: figure(p.Quantity), unit: unit(p.Quantity.Unit), result: p.Verdict.Result, because: p.Verdict.Reason,
	}
	if p.Slot.Way == 0 {
		l.where = fmt.Sprintf("board %d, ", p.Slot.Board) + inWords(s, p.Slot)
	}
	if len(each) > 1 {
		l.others = strings.Join(all, ", ")
	}
	return l
}

// figure is what is drawn large: >999, 0.47, or CORRECT.
func figure(q reading.Quantity) string {
	switch {
	case q.Unit == reading.NoUnit && q.Equal(reading.Correct):
		return "CORRECT"
	case q.Unit == reading.NoUnit:
		return "WRONG"
	case q.Bound == reading.Exactly:
		return q.Figure()
	}
	return string(q.Bound) + q.Figure()
}

func unit(u reading.Unit) string {
	switch u {
	case reading.Megohm:
		return "MΩ"
	case reading.Ohm:
		return "Ω"
	}
	return string(u)
}
