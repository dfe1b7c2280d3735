package wall

import (
	"time"

	"waycall/internal/audio"
	"waycall/internal/check"
	"waycall/internal/glance"
	"waycall/internal/record"
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
	said  string     // the last thing that waycall said
	heard string     // the last thing that it heard, with what became of it
	stage string     // what a demonstration shows
	level float64    // of the microphone, dB relative to full scale
	sound audio.News // the last of the sound devices

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
	g := glance.Of(s)
	f.job, f.board, f.name = g.Job, g.Board, g.Name
	f.place, f.label, f.feeds, f.due, f.with = g.Place, g.Label, g.Feeds, g.Due, g.With
	f.tests, f.steps, f.done, f.all, f.waiting = g.Tests, g.Steps, g.Done, g.All, g.Waiting
	f.estimate, f.estimated = g.Estimate, g.Estimated
	f.boards, f.last = nil, nil
	for _, b := range g.Boards {
		f.boards = append(f.boards, boardFacts{b.Number, b.Name, b.Left})
	}
	if l := g.Last; l != nil {
		f.last = &lastFacts{l.Waits, l.Where, l.Figure, l.Unit, l.Others, l.Result, l.Because}
	}
}
