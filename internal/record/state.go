package record

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
)

// State is what the log says up to one event. The zero State is an empty log.
// Its slices are shared between states and must not be changed.
type State struct {
	Job      board.Job
	Sessions int       // how often a session was opened; 0 for an empty log
	Habit    Habit     // of the last session
	Tester   string    // initials of who tests in the last session
	LastID   int64     // of the last event, 0 for an empty log
	LastAt   time.Time // of the last event

	Answers  []Answer  // every answer to a preparation step, in order
	Readings []Reading // every reading ever confirmed, in order, whether or not it still stands
	Skips    []Skip    // every test ever left out, in order
	Notes    []Note    // every note and observation ever made, in order, whether or not it still stands

	Pending  *Proposal // read back and waiting to be confirmed
	Board    int       // the number of the board in hand: the last one that anything was done on; at the start the first that is tested
	Way      int       // the way in hand on that board; 0 at the start and at the board itself
	Aim      *Slot     // the test the electrician went to, due whatever stands there
	Paused   bool
	Finished bool

	// Resumed holds the events at which work went on after a pause, or after the
	// session was cut off or ended. The time before each says nothing about pace.
	Resumed []int64
}

// Answer is one answer to a preparation step.
type Answer struct {
	Board   int // the board that was prepared
	Step    string
	How     How
	Reason  string
	EventID int64
	HeardID int64
	At      time.Time
	Ended   int64 // the event that took it back or replaced it; 0 while it stands

	// Of a check of the leads what was read and what is thought of it; otherwise
	// zero.
	Quantity reading.Quantity
	Verdict  check.Verdict
}

// Proposal is a reading that was understood and read back, with those that the
// same breath gave beside it.
type Proposal struct {
	Slot     Slot
	Quantity reading.Quantity
	Verdict  check.Verdict
	EventID  int64
	HeardID  int64 // the phrase that gave the value
	At       time.Time
	Then     []Further `json:",omitempty"` // the others; of a Reading always empty
	Doubted  bool      `json:",omitempty"` // it was disputed, corrected or given for several ways, so nothing but "confirm" stores it
}

// MayBeImplied reports whether the next reading alone may put p on the schedule,
// in a session whose habit allows that: every verdict passes and nothing spoke
// against what was heard.
func (p Proposal) MayBeImplied() bool {
	for _, one := range p.Each() {
		if one.Verdict.Result != check.Pass {
			return false
		}
	}
	return !p.Doubted
}

// Each returns the readings of a proposal one by one, in the order in which
// they were said.
func (p Proposal) Each() []Proposal {
	first := p
	first.Then = nil
	all := []Proposal{first}
	for _, f := range p.Then {
		all = append(all, Proposal{Slot: f.Slot, Quantity: f.Quantity, Verdict: f.Verdict, EventID: p.EventID, HeardID: f.HeardID, At: p.At, Doubted: p.Doubted})
	}
	return all
}

// Standing says whether a reading still counts.
type Standing string

// The standings. A reading that no longer stands is kept and reported.
const (
	Stands     Standing = ""            // it is on the schedule
	Replaced   Standing = "replaced"    // a later reading took its place
	TakenOff   Standing = "withdrawn"   // the electrician took it back
	BeforeWork Standing = "before work" // the way was worked on and is tested again
)

// Reading is a confirmed reading.
type Reading struct {
	Proposal          // as it was read back
	ConfirmedID int64 // the Confirmed event
	Confirmed   time.Time
	Implied     bool   // by the next reading, and not said
	Tester      string // initials of who confirmed it
	Standing    Standing
	Ended       int64  // the event that ended its standing; 0 while it stands
	EndReason   string // why, where it was said
}

// Skip is a test that was left out.
type Skip struct {
	Slot    Slot
	How     How
	Reason  string
	EventID int64
	HeardID int64
	At      time.Time
	Ended   int64 // the event after which it counts no more: the test was made, or the way is tested again, or it was taken back
}

// Fold returns the state that the whole log leads to. The error names the
// event at which the log stops making sense.
func Fold(log []Event) (State, error) {
	var s State
	for _, e := range log {
		next, err := s.Apply(e)
		if err != nil {
			return s, err
		}
		s = next
	}
	return s, nil
}

// Latest returns the reading that stands in slot.
func (s State) Latest(slot Slot) (Reading, bool) {
	for _, r := range slices.Backward(s.Readings) {
		if r.Slot == slot && r.Standing == Stands {
			return r, true
		}
	}
	return Reading{}, false
}

// Last returns the last confirmed reading that still stands.
func (s State) Last() (Reading, bool) {
	for _, r := range slices.Backward(s.Readings) {
		if r.Standing == Stands {
			return r, true
		}
	}
	return Reading{}, false
}

// Answered returns the answer that stands for a preparation step of a board.
func (s State) Answered(board int, step string) (Answer, bool) {
	for _, a := range slices.Backward(s.Answers) {
		if a.Board == board && a.Step == step && a.Ended == 0 {
			return a, true
		}
	}
	return Answer{}, false
}

// LeftOut returns the skip that stands for slot.
func (s State) LeftOut(slot Slot) (Skip, bool) {
	for _, k := range slices.Backward(s.Skips) {
		if k.Slot == slot && k.Ended == 0 {
			return k, true
		}
	}
	return Skip{}, false
}

// Apply returns the state after e. s is not modified. An event that cannot
// follow is an error which names it, and the state is then s.
func (s State) Apply(e Event) (State, error) {
	next, err := s.apply(e)
	if err != nil {
		return s, fmt.Errorf("event %d (%s) of the job's log cannot be: %w; the log is damaged or was written by another program, so keep the file and start from a copy", e.ID, e.Kind, err)
	}
	next.LastID, next.LastAt = e.ID, e.At
	return next, nil
}

func (s State) apply(e Event) (State, error) {
	if e.ID != s.LastID+1 {
		return s, fmt.Errorf("it follows event %d", s.LastID)
	}
	if err := s.mayHappen(e.Kind); err != nil {
		return s, err
	}
	switch {
	case e.Kind == Noted || e.Kind == Observed:
		return s.noted(e)
	case e.Kind == Withdrawn && e.Of != 0:
		return s.unnoted(e)
	}
	switch e.Kind {
	case Heard, Said:
		return s, nil
	case Opened:
		return s.opened(e)
	case Prepared:
		return s.prepared(e)
	case Proposed:
		return s.proposed(e)
	case Confirmed:
		return s.confirmed(e)
	case Dropped:
		s.Pending = nil
		return s, nil
	case Paused:
		s.Paused = true
		return s, nil
	case CarriedOn:
		// Said in a pause it ends the pause. Said otherwise it ends the stay at
		// a test that the electrician went to.
		if s.Paused {
			s.Paused, s.Resumed = false, append(slices.Clip(s.Resumed), e.ID)
		} else {
			s.Aim = nil
		}
		return s, nil
	case Finished:
		s.Finished, s.Pending, s.Paused = true, nil, false
		return s, nil
	}
	whole := e.Kind == Retest || e.Kind == Moved && e.Slot != nil && *e.Slot == (Slot{Board: e.Slot.Board})
	if err := s.slot(e.Slot, whole); err != nil {
		return s, err
	}
	switch e.Kind {
	case Withdrawn:
		return s.withdrawn(e)
	case Skipped:
		return s.skipped(e)
	case Moved:
		s.Aim, s.Board, s.Way = nil, e.Slot.Board, e.Slot.Way
		if !whole {
			aim := *e.Slot
			s.Aim = &aim
		}
		return s, nil
	case Retest:
		return s.retest(e), nil
	}
	return s, fmt.Errorf("its kind is unknown")
}

// mayHappen says whether an event of kind k can come now at all.
func (s State) mayHappen(k Kind) error {
	pending := s.Pending != nil
	switch k {
	case Opened:
		return nil
	case Heard, Said:
	case Confirmed, Dropped:
		if !pending {
			return fmt.Errorf("no reading is pending")
		}
	case Finished:
		if pending {
			return fmt.Errorf("a reading is still pending")
		}
	case Prepared, Proposed, Withdrawn, Skipped, Moved, Retest: // a note may be made while a reading waits
		if pending {
			return fmt.Errorf("a reading is still pending")
		}
	}
	switch {
	case s.Sessions == 0:
		return fmt.Errorf("no session was opened")
	case k == Heard || k == Said:
	case s.Finished:
		return fmt.Errorf("the session was finished")
	case k == CarriedOn && !s.Paused && s.Aim == nil:
		return fmt.Errorf("there is nothing to carry on from")
	case k != CarriedOn && s.Paused:
		return fmt.Errorf("the session is paused")
	}
	return nil
}

func (s State) opened(e Event) (State, error) {
	// A log that holds nothing but its opening was set up, not begun: what says who
	// tests, and how, then opens no other session.
	setUp := s.LastID == 1
	switch {
	case e.Job == nil:
		return s, fmt.Errorf("it has no job")
	case len(e.Job.Boards) == 0:
		return s, fmt.Errorf("its job has no boards")
	case s.Sessions == 0:
		s.Job, s.Board = *e.Job, e.Job.Boards[0].Number
		for _, number := range slices.Backward(e.Job.InOrder()) {
			if !e.Job.Board(number).Supply.OnlyIsolated {
				s.Board = number
			}
		}
	case !reflect.DeepEqual(s.Job, *e.Job):
		return s, fmt.Errorf("it describes another job than the log began with")
	case !setUp:
		s.Resumed = append(slices.Clip(s.Resumed), e.ID)
	}
	if e.Habit != Each && e.Habit != Agreed {
		return s, fmt.Errorf("its habit is %q", e.Habit)
	}
	if !setUp {
		s.Sessions++
	}
	s.Habit, s.Tester, s.Finished = e.Habit, cmp.Or(e.Tester, e.Job.Tester), false
	return s, nil
}

func (s State) prepared(e Event) (State, error) {
	if e.Step == "" {
		return s, fmt.Errorf("it names no step")
	}
	if s.Job.Board(e.Board) == nil {
		return s, s.noBoard(e.Board)
	}
	switch e.Answer {
	case Done, NotApplicable, Limitation, TakenBack:
	default:
		return s, fmt.Errorf("its answer is %q", e.Answer)
	}
	if _, ok := s.Answered(e.Board, e.Step); !ok && e.Answer == TakenBack {
		return s, fmt.Errorf("the step has no answer to take back")
	}
	given := Answer{Board: e.Board, Step: e.Step, How: e.Answer, Reason: e.Reason, EventID: e.ID, HeardID: e.HeardID, At: e.At}
	if (e.Quantity == nil) != (e.Verdict == nil) {
		return s, fmt.Errorf("it has a figure without a verdict, or the other way round")
	}
	if e.Quantity != nil {
		if err := e.Quantity.Check(); err != nil {
			return s, err
		}
		if !known(e.Verdict.Result) {
			return s, fmt.Errorf("its verdict is %q", e.Verdict.Result)
		}
		given.Quantity, given.Verdict = *e.Quantity, *e.Verdict
	}
	if s.Board != e.Board {
		s.Board, s.Way = e.Board, 0
	}
	s.Answers = slices.Clone(s.Answers)
	for i := range s.Answers {
		if a := &s.Answers[i]; a.Board == e.Board && a.Step == e.Step && a.Ended == 0 {
			a.Ended = e.ID
		}
	}
	if e.Answer != TakenBack {
		s.Answers = append(s.Answers, given)
	}
	return s, nil
}

func (s State) proposed(e Event) (State, error) {
	if e.Quantity == nil || e.Verdict == nil {
		return s, fmt.Errorf("it has no quantity or no verdict")
	}
	if err := s.slot(e.Slot, false); err != nil {
		return s, err
	}
	p := Proposal{Slot: *e.Slot, Quantity: *e.Quantity, Verdict: *e.Verdict, EventID: e.ID, HeardID: e.HeardID, At: e.At, Then: slices.Clone(e.Then), Doubted: e.Doubted}
	seen := map[Slot]bool{}
	for _, one := range p.Each() {
		if err := s.slot(&one.Slot, false); err != nil {
			return s, err
		}
		switch {
		case seen[one.Slot]:
			return s, fmt.Errorf("it has two readings of one test")
		case one.Slot.Board != p.Slot.Board:
			return s, fmt.Errorf("it has readings of two boards")
		case one.Slot.Way != p.Slot.Way && (one.Slot.Test != p.Slot.Test || one.Quantity.Bound != reading.GreaterThan || !one.Quantity.Equal(p.Quantity)):
			return s, fmt.Errorf("it has readings of two ways that are not the same bound of one test")
		}
		seen[one.Slot] = true
		if err := one.Slot.Test.Fits(one.Quantity); err != nil {
			return s, err
		}
		if !known(one.Verdict.Result) {
			return s, fmt.Errorf("its verdict is %q", one.Verdict.Result)
		}
	}
	s.Pending = &p
	return s, nil
}

func known(r check.Result) bool {
	switch r {
	case check.Pass, check.Investigate, check.Fail, check.CannotSay:
		return true
	}
	return false
}

// confirmed puts all that is pending on the schedule, each reading by itself.
func (s State) confirmed(e Event) (State, error) {
	switch {
	case e.Answer != "" && e.Answer != Accepted:
		return s, fmt.Errorf("its answer is %q", e.Answer)
	case e.Answer == Accepted && (s.Habit != Agreed || !s.Pending.MayBeImplied()):
		return s, fmt.Errorf("it was not said, and nothing else stores that reading")
	}
	all := s.Pending.Each()
	s.Pending = nil
	// Copied once, because a long job has thousands.
	s.Readings = append(make([]Reading, 0, len(s.Readings)+len(all)), s.Readings...)
	for _, p := range all {
		endIn(s.Readings, p.Slot, Replaced, e)
		if _, skipped := s.LeftOut(p.Slot); skipped {
			s = s.endSkips(func(k Skip) bool { return k.Slot == p.Slot }, e.ID)
		}
		s.Readings = append(s.Readings, Reading{Proposal: p, ConfirmedID: e.ID, Confirmed: e.At, Implied: e.Answer == Accepted, Tester: s.Tester})
		s = s.arrived(p.Slot)
	}
	return s, nil
}

func (s State) withdrawn(e Event) (State, error) {
	if _, ok := s.Latest(*e.Slot); !ok {
		return s, fmt.Errorf("no reading stands there")
	}
	s.Board, s.Way = e.Slot.Board, e.Slot.Way
	return s.end(*e.Slot, TakenOff, e), nil
}

func (s State) skipped(e Event) (State, error) {
	switch e.Answer {
	case NotMade, NotApplicable, Limitation:
	case TakenBack:
		if _, ok := s.LeftOut(*e.Slot); !ok {
			return s, fmt.Errorf("the test was not left out")
		}
		slot := *e.Slot
		s.Board, s.Way = slot.Board, slot.Way
		return s.endSkips(func(k Skip) bool { return k.Slot == slot }, e.ID), nil
	case Waived:
		if e.Reason == "" {
			return s, fmt.Errorf("a test is waived without a reason")
		}
		if e.Slot.Test.Live() {
			return s, fmt.Errorf("%s is a live test, and only dead ones are waived", e.Slot.Test)
		}
	default:
		return s, fmt.Errorf("its answer is %q", e.Answer)
	}
	slot := *e.Slot
	s = s.endSkips(func(k Skip) bool { return k.Slot == slot }, e.ID)
	s.Skips = append(slices.Clip(s.Skips), Skip{Slot: slot, How: e.Answer, Reason: e.Reason, EventID: e.ID, HeardID: e.HeardID, At: e.At})
	return s.arrived(slot), nil
}

func (s State) retest(e Event) State {
	board, way := e.Slot.Board, e.Slot.Way
	s.Readings = slices.Clone(s.Readings)
	for i := range s.Readings {
		if r := &s.Readings[i]; r.Slot.Board == board && r.Slot.Way == way && r.Standing == Stands {
			r.Standing, r.Ended, r.EndReason = BeforeWork, e.ID, e.Reason
		}
	}
	s = s.endSkips(func(k Skip) bool { return k.Slot.Board == board && k.Slot.Way == way }, e.ID)
	s.Board, s.Way, s.Aim = board, way, nil
	return s
}

// arrived notes that something was done about slot.
func (s State) arrived(slot Slot) State {
	s.Board, s.Way = slot.Board, slot.Way
	if s.Aim != nil && *s.Aim == slot {
		s.Aim = nil
	}
	return s
}

// end ends the standing of the reading in slot, if there is one.
func (s State) end(slot Slot, how Standing, e Event) State {
	s.Readings = slices.Clone(s.Readings)
	endIn(s.Readings, slot, how, e)
	return s
}

// endIn does the same in readings that nobody else has.
func endIn(readings []Reading, slot Slot, how Standing, e Event) {
	for i := range readings {
		if r := &readings[i]; r.Slot == slot && r.Standing == Stands {
			r.Standing, r.Ended, r.EndReason = how, e.ID, e.Reason
		}
	}
}

func (s State) endSkips(which func(Skip) bool, by int64) State {
	s.Skips = slices.Clone(s.Skips)
	for i := range s.Skips {
		if k := &s.Skips[i]; k.Ended == 0 && which(*k) {
			k.Ended = by
		}
	}
	return s
}

// slot checks that an event's slot is one of this job. whole is for events that
// mean a whole way, or the board itself.
func (s State) slot(slot *Slot, whole bool) error {
	if slot == nil {
		return fmt.Errorf("it names no place on the schedule")
	}
	b := s.Job.Board(slot.Board)
	if b == nil {
		return s.noBoard(slot.Board)
	}
	if whole {
		return inUse(*b, slot.Way)
	}
	return slot.Check(s.Job)
}

func (s State) noBoard(number int) error {
	if number == 0 {
		return fmt.Errorf("it names no board, as logs of early versions do; such a job must be set up anew")
	}
	return fmt.Errorf("there is no board %d in this job", number)
}
