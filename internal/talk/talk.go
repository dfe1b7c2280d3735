// Package talk is the conversation between the electrician and waycall:
// what is announced, how a phrase is taken, and what becomes of a reading.
//
// It is a pure function, Step, from a state and an event to the next state and
// a list of effects. It has no clock, no sound and no disk, so every
// conversation can be played from a script, and the same events always give the
// same facts.
//
// How a reading gets onto the schedule:
//
//	heard -> checked -> read back with its verdict -> "confirm" -> stored
//
// Nothing else puts it there, but for the second habit below and a tap of a key that is
// set to mean "confirm". What was cut short cannot be confirmed. Silence never
// confirms, a disputed "confirm" never confirms, and a value that was not read back
// is never stored. Whenever something is pending, whatever is said ends by reading
// it back, so that "confirm" can only mean the reading that was heard last. The ends
// of a ring, said in one breath, are read back, confirmed, corrected and dropped
// together, and so is one bound for several ways; each stands on the schedule by
// itself.
//
// A repair is a proposal like any other: what it changes is read back in full and
// confirmed. What it is about is what waits, or else the reading stored last.
// Nothing is written over: a reading that was wrong is followed by the event that
// took it off or replaced it.
//
// In the second habit (record.Agreed) a reading that passes, that nothing speaks
// against and that replaces none is stored when the next reading begins, or the step
// that comes next is answered by its name; what is next is named when it is read back. All others wait for "confirm", and
// nothing goes on without it.
//
// # The whole job
//
// What is due comes from package sequence, board by board, dead tests before
// live ones. A phrase means the board in hand (State.Board); "board two" goes to
// another. A live test that cannot be made yet is refused with the reason.
// Before the supply is put on two answers are asked for, each by itself; dead
// tests that are left are waived only with a reason.
//
// # What the session does with the effects
//
// The facts (Append) of one step are written in one transaction, with the sound
// of the phrase when they begin with a Heard fact, before anything of that step
// is spoken. Step has already numbered them as the store will (State.Record
// gives the last number), so HeardID is final. When the writing fails, the
// session keeps the state from before the step and calls Step with Failed: to a
// record that could not be written nothing happened. All facts of a job's log
// come from Step.
//
// A session that was cut off, however hard, begins again with
// State{Record: folded log} and a Begin event: a reading that was waiting to be
// confirmed is read back again. What is lost is only small talk: an offered
// choice, a question for a reason and what "say again" would repeat. How fast is spoken
// and how much is said was heard, so it is in the log (record.Manner).
package talk

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"waycall/internal/board"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// State is where the conversation stands. The zero State is a job that was
// never opened; State{Record: r} continues one that was.
type State struct {
	Record record.State // what the facts so far say; equal to record.Fold of them

	last   string         // what was said last
	told   place          // the test that was announced last, so that only what changed is said
	asked  string         // the preparation step that was asked for last, with its board
	known  []string       // the steps that were asked for on any board
	form   form           // how much is said
	times  [prompts]uint8 // how often each prompt was said in full, up to thrice
	named  int            // the board that was named last
	next   *looked        // what is due, if it was looked up
	stay   int            // the board the electrician went to though nothing is due there
	taught []reading.Test // of which tests it was said how they are answered
	offer  []choice       // two readings to choose from, which a disputed phrase may have meant
	reason *asking        // something is to be left out and its reason was asked for
	quiet  int            // silences since the last phrase
	missed int            // phrases not understood, one after the other

	proposed bool // a key was, for it is loud
	unheard  bool // what was asked last was cut short, so that it cannot be answered unnamed

	greater *record.Slot // the test whose over range reading was asked "greater than what?"

	dictation *dictation // the note whose text is said next
}

// place is where the electrician is, with what is set up there.
type place struct {
	board, way int
	position   int
	bar        string
	setup      sequence.Setup
	volts      float64
	joint      string       // which conductors are where at an insulation test: "all", "way", or ""
	began      reading.Test // the test that the way began with
}

// forgotten is p with nothing but what is set up, so that the place is named again.
func (p place) forgotten() place {
	return place{bar: p.bar, setup: p.setup, volts: p.volts, joint: p.joint}
}

// asking is what will be left out once its reason is known.
type asking struct {
	how   record.How
	board int
	step  string // a preparation step, or
	slot  record.Slot
	all   []record.Slot // what is asked of with it, in one question; slot is the first
	why   string        // as far as it was said
	who   string        // agreed to it
}

// Event is something that happened: one of Begin, Heard, Beyond, Dictated,
// NotUnderstood, Silence, Tapped, Interrupted and Failed.
type Event interface{ when() time.Time }

// Begin opens the session, or opens it again after it was finished or cut off.
type Begin struct {
	At      time.Time
	Job     board.Job    // the zero Job means the one that the record began with
	Habit   record.Habit // how readings are accepted in this session
	Tester  string       // initials of who tests in this session; empty for the job's
	Prompts Prompts      // how much is said from the first on, unless the tester said otherwise in a session before
	Insists bool         // Prompts holds whatever he said then

	// Practice is for a board that is not there: nothing is said of a job that goes on.
	Practice bool
}

// Heard is a phrase for us. Phrase.Agreed says whether the witnesses gave one
// meaning; otherwise Candidates holds the meanings to choose from, best first.
type Heard struct {
	At         time.Time
	Meaning    phrase.Meaning // the best one
	Candidates []phrase.Meaning
	Phrase     record.Phrase // goes into the log as it is
}

// Beyond is a phrase for us, clearly heard, that cannot be said on this board,
// such as a way that it does not have. It is answered, and nothing is stored.
type Beyond struct {
	At      time.Time
	Meaning phrase.Meaning
}

// NotUnderstood is speech that was probably for us but has no meaning. It is
// answered by a tone, the second time with words; nothing but these is stored. Where
// there is much Noise, a key is proposed once; HasKey says that there is one.
type NotUnderstood struct {
	At            time.Time
	Noise, HasKey bool
}

// Silence is a while without speech after something was said.
type Silence struct{ At time.Time }

// Failed is something that went wrong outside the conversation. It is said, and
// nothing is stored, because storing may be what failed.
type Failed struct {
	At     time.Time
	What   string // a whole sentence, such as "The disk is full."
	Lost   bool   // the last phrase was not stored
	Unsure bool   // it may not be stored, or may; then Lost does not count
	Next   Next
}

// Next is how it goes on after something failed.
type Next int

// How it goes on. Only what can be answered is asked.
const (
	GoesOn Next = iota // a lost phrase is to be said again; what waits is read back
	Holds              // nothing can be taken for now, and nothing is asked
	Asks               // it can again: what was asked for last is asked again
	Ends               // nobody listens any more
)

func (e Begin) when() time.Time         { return e.At }
func (e Heard) when() time.Time         { return e.At }
func (e Beyond) when() time.Time        { return e.At }
func (e NotUnderstood) when() time.Time { return e.At }
func (e Silence) when() time.Time       { return e.At }
func (e Failed) when() time.Time        { return e.At }

// Effect is something for the session to do: one of Append, Tone, Say and Stop,
// in the order given.
type Effect interface{ effect() }

// Append is a fact to be written to the log, numbered.
type Append struct{ Event record.Event }

// Say is a prompt to be spoken.
type Say struct {
	Text string
	Pace int // from -2, much slower than usual, to 2, much faster
}

// Stop ends the session once what comes before it is done.
type Stop struct{}

func (Append) effect() {}
func (Say) effect()    {}
func (Stop) effect()   {}

// Step returns the state after e and what is to be done. s is not modified.
// It never panics on a state that it returned or that was folded from a log.
func Step(s State, e Event) (State, []Effect) {
	next, effects, err := step(s, e)
	if err != nil {
		// A fact that the record refuses is a mistake in this package. The
		// record stays as it was, and the electrician is not left guessing.
		return s, []Effect{Say{"Waycall made a mistake with that, and nothing was stored. Say it again, or finish here.", 0}}
	}
	return next, effects
}

func step(s State, e Event) (State, []Effect, error) {
	// Without the monotonic clock, which no log keeps.
	t := &turn{s: s, at: e.when().UTC().Round(0)}
	switch e := e.(type) {
	case Begin:
		t.begin(e)
	case Heard:
		t.heard(e)
		t.wayOut()
	case Beyond:
		t.beyond(e)
	case Dictated:
		t.dictated(e)
	case NotUnderstood:
		t.notUnderstood(e)
	case Tapped:
		t.tapped(e)
	case Interrupted:
		t.s.unheard = true
		return t.s, nil, nil
	case Silence:
		t.silence()
	case Failed:
		if !s.Record.Finished {
			t.failed(e)
		}
		return s, t.effects, nil
	}
	said := ""
	if len(t.words) > 0 {
		said = t.text()
		t.fact(record.Event{Kind: record.Said, Text: said, Offers: t.offers()})
		if !t.passing {
			t.s.last = said
		}
		t.s.unheard = t.s.unheard && !t.asksWhole
	}
	if slices.Contains(t.sounds, Passed) {
		// What passes is only read back once the reading before it is stored, if one
		// waited: one tone says both.
		t.sounds = []Tone{Passed}
	}
	for _, tone := range t.sounds {
		t.effects = append(t.effects, tone)
	}
	if said != "" {
		t.effects = append(t.effects, Say{said, t.rate()})
	}
	switch {
	case t.stop:
		t.effects = append(t.effects, Stop{})
	case len(t.effects) > 0 && !t.s.Record.Paused:
		t.effects = append(t.effects, Listening)
	}
	if t.err != nil {
		return s, nil, t.err
	}
	return t.s, t.effects, nil
}

// failed says what went wrong. It makes no facts, and what was said before stays
// what is repeated.
func (t *turn) failed(e Failed) {
	t.say(e.What)
	switch {
	case e.Unsure:
		t.say("Your last words may not be stored.")
	case e.Lost && e.Next == GoesOn:
		t.say("Your last words were not stored. Say them again.")
	case e.Lost:
		t.say("Your last words were not stored.")
	}
	switch {
	case e.Next == Ends:
		t.say("The session has ended.")
	case e.Next == Asks && t.s.Record.Paused:
		t.say(paused)
	case e.Next == Asks && t.listening():
		t.remind()
	case e.Next == GoesOn && t.listening():
		t.remindPending()
	}
	if e.Next == Ends || e.Next == Holds && (e.Lost || e.Unsure) {
		t.effects = append(t.effects, NotCaught)
	}
	t.effects = append(t.effects, Say{t.text(), t.s.Record.Manner.Pace})
	if e.Next == Ends {
		t.effects = append(t.effects, Stop{})
	}
}

// longest is the most that is said at once, in characters, somewhat less than a
// voice speaks (package say).
const longest = 560

// text is all that is said in this turn. What is asked comes last and must be
// heard, so what goes beyond is left out before it.
func (t *turn) text() string {
	words := t.words
	for len(words) > 1 && len(strings.Join(words, " ")) > longest {
		words = append(words[:len(words)-2:len(words)-2], words[len(words)-1])
	}
	return strings.Join(words, " ")
}

// turn is one step being made.
type turn struct {
	s         State
	at        time.Time
	heardID   int64 // the phrase that this turn answers
	effects   []Effect
	words     []string
	stop      bool
	passing   bool         // what is said now is not worth saying again
	slow      bool         // it was asked to be said slowly
	paced     int          // how fast was spoken before, as Say.Pace
	brisk     bool         // it is a reading, read back briefly
	placed    [2]bool      // whether the way and the test of a reading were said
	asked     *record.Slot // the test that "greater than what?" was asked of just before
	offered   bool         // which of two readings was meant was asked just before
	asks      bool         // what waits must be confirmed aloud now
	byKey     bool         // it answers a tap
	asksWhole bool         // what is said ends with what is waited for
	sounds    []Tone       // before what is said
	err       error
}

// fact adds e to the log and to the state.
func (t *turn) fact(e record.Event) {
	e.ID, e.At = t.s.Record.LastID+1, t.at
	next, err := t.s.Record.Apply(e)
	if err != nil {
		if t.err == nil {
			t.err = err
		}
		return
	}
	t.s.Record = next
	if e.Kind != record.Heard && e.Kind != record.Said {
		t.s.next = nil
	}
	t.effects = append(t.effects, Append{e})
	switch e.Kind {
	case record.Confirmed, record.Prepared, record.Skipped:
		if len(t.sounds) == 0 && e.Answer != record.TakenBack {
			t.sounds = append(t.sounds, Stored)
		}
	}
}

// follows adds a fact that rests on the phrase of this turn.
func (t *turn) follows(e record.Event) {
	e.HeardID = t.heardID
	t.fact(e)
}

func (t *turn) say(sentences ...string) { t.words = append(t.words, sentences...) }

func (t *turn) sayf(format string, args ...any) { t.say(fmt.Sprintf(format, args...)) }

func (t *turn) begin(e Begin) {
	r := &t.s.Record
	if r.Sessions > 0 && !reflect.DeepEqual(e.Job, board.Job{}) && !e.Job.Same(r.Given) {
		// Nothing is written to a record that is about another board.
		t.effects = append(t.effects, Say{"The board file differs from the one that this record began with. Use the first one, or give the job a new reference.", 0})
		t.stop = true
		return
	}
	if r.Sessions == 0 && !testable(e.Job) {
		t.effects = append(t.effects, Say{"There is no way to test on this board. Give a board file.", 0})
		t.stop = true
		return
	}
	// A record that holds nothing but its opening was set up, not begun.
	again, job := r.LastID > 1, e.Job
	if r.Sessions > 0 {
		job = r.Given
	}
	t.s = State{Record: t.s.Record}
	if again || r.Sessions == 0 || r.Habit != e.Habit || e.Tester != "" && r.Tester != e.Tester {
		t.fact(record.Event{Kind: record.Opened, Job: &job, Habit: e.Habit, Tester: e.Tester})
	}
	t.s.form = formOf(e, t.s.Record.Manner)
	if e.Practice {
		t.say("Practice. Connect nothing: the screen shows what the instrument reads. Say it, listen, and say confirm. Nothing of it is kept.")
		t.announce()
		return
	}
	if !again {
		if t.several() {
			t.sayf("Job %s, %s boards.", job.Reference, reading.Cardinal(len(sequence.Boards(job))))
		} else {
			t.sayf("Job %s, %s.", job.Reference, job.Boards[0].Name)
		}
		t.kindOfWork()
		t.announce()
		return
	}
	t.say("Going on where this job stopped.")
	if t.s.Record.Habit == record.Agreed {
		t.say("What passes is stored by the next reading.")
	}
	t.lastStored()
	t.say(cautionOnResuming(t.s.Record))
	if t.s.Record.Paused {
		t.say(paused)
		return
	}
	t.prompt()
}

// lastStored says what is in the record, where a reading that waits does not: the
// session before may have ended without knowing whether its last words were stored.
func (t *turn) lastStored() {
	last, ok := t.s.Record.Last()
	if ok && t.s.Record.Pending == nil {
		t.sayf("Stored last: %s, %s.", t.name(last.Slot), last.Quantity.Spoken())
	}
}

// cautionOnResuming is what must not be forgotten after an interruption. Once a
// board is ready for live tests, in a job that has no others, or while the
// installation stays on, proving dead is not what comes next.
func cautionOnResuming(r record.State) string {
	for _, number := range sequence.Boards(r.Job) {
		ready, live := r.Answered(number, sequence.ReadyForLive)
		isolated, _ := r.Answered(number, sequence.Isolated)
		steps := sequence.Steps(r.Job, number)
		if live && ready.EventID > isolated.EventID || len(steps) > 0 && steps[0].Live || sequence.StillOn(r, number) {
			return "The supply may be on. Go by your own system of work."
		}
	}
	return "If the board was left, prove dead again by your own procedure."
}

// testable reports whether there is a way to test on any board.
func testable(job board.Job) bool {
	for _, number := range sequence.Boards(job) {
		if len(sequence.Order(job, number)) > 0 {
			return true
		}
	}
	return false
}

// silence repeats what is waited for once, then waits.
func (t *turn) silence() {
	if !t.listening() {
		return
	}
	t.s.quiet++
	if t.s.quiet == 1 {
		t.remind()
	} else {
		t.undictated()
	}
}

// listening reports whether anything but "carry on" is answered.
func (t *turn) listening() bool {
	r := &t.s.Record
	return r.Sessions > 0 && !r.Paused && !r.Finished
}

// beyond says why the phrase cannot be.
func (t *turn) beyond(e Beyond) {
	if !t.listening() {
		return
	}
	t.s.quiet, t.s.missed = 0, 0
	why := ""
	switch m := e.Meaning; {
	case gives(m):
		_, why, _ = t.find(m)
	case m.Command == phrase.GoToBoard && m.Board == 0:
		why = notCalled
	case m.Command == phrase.GoToBoard && t.s.Record.Job.Board(m.Board) == nil:
		why = fmt.Sprintf("There is no board %s in this job.", reading.Cardinal(m.Board))
	case m.Way != 0:
		why = t.noWay(t.board(), m.Way)
	}
	if why == "" {
		why = "That cannot be said here. Nothing was stored."
	}
	t.say(why)
	t.remind()
}
