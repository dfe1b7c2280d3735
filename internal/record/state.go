package record

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
)

// State is what the log says up to one event. The zero State is an empty log.
// Its slices and readings are shared between states and must not be changed. The
// readings are pointers because with 100,000 events in the log there are some 16,000,
// and a step copies the slice when one of them stands no more.
type State struct {
	Job      board.Job // as it is known now: with what was said of its ways, see StaysConnected
	Given    board.Job // as the log began with it
	Sessions int       // how often a session was opened; 0 for an empty log
	Habit    Habit     // of the last session
	Tester   string    // initials of who tests in the last session
	Manner   Manner    // how he had waycall speak; that of another tester is forgotten
	LastID   int64     // of the last event, 0 for an empty log
	LastAt   time.Time // of the last event

	Answers  []Answer   // every answer to a preparation step, in order
	Readings []*Reading // every reading ever confirmed, in order, whether or not it still stands
	Skips    []Skip     // every test ever left out, in order
	Notes    []Note     // every note and observation ever made, in order, whether or not it still stands

	Worked  []Work    // every time that a way, or the board itself, was worked on, in order
	Removed []Removed // everything ever taken off for a test, in order, whether or not it is back

	Settlements []Settlement // everything that a reviewer ever let stand, in order
	Signed      *SignOff     // what the record is signed off by; nil while it is a draft, and again after any later fact

	Pending  *Proposal // read back and waiting to be confirmed
	Offers   [][]Offer // what was asked to choose from last, while no answer was given
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
	Way     int // the way that the answer is for; 0 for the whole board
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

	// AtFull is of an insulation reading at full voltage that meets its limit: a later
	// one, at 250 V with the equipment connected, stands in its place, and both count
	// (BS 7671 regulation 643.3.3).
	AtFull Standing = "at full voltage"
)

// Reading is a confirmed reading.
type Reading struct {
	Proposal          // as it was read back
	ConfirmedID int64 // the Confirmed event
	Confirmed   time.Time
	Implied     bool   // by the next reading, and not said
	ByKey       bool   // by a tap
	Tester      string // initials of who confirmed it
	Standing    Standing
	Ended       int64     // the event that ended its standing; 0 while it stands
	EndedAt     time.Time // when that was
	EndReason   string    // why, where it was said
	EndedBy     string    // the initials of the reviewer who ended it; "" when the electrician did

	// Of a reading that a reviewer put here, which was neither heard nor read
	// back: his initials and his reason. Its ConfirmedID and EventID are both the
	// Edited event, and Replaces is the ConfirmedID of the one before it, 0 for none.
	Edited   bool
	By       string
	Reason   string
	Replaces int64
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

// Settlement is that a reviewer looked at something doubtful and lets it stand.
type Settlement struct {
	Slot    Slot
	Of      int64 // ConfirmedID of the reading that stands; 0 when it is the lack of one
	Reason  string
	By      string // initials
	EventID int64
	At      time.Time
	Ended   int64 // the event after which it counts no more, because something else became known of the place
}

// SignOff is that somebody signed the record off as it was then.
type SignOff struct {
	Name    string // in full
	By      string // initials
	Sum     string // of the last event before it, in hexadecimal
	EventID int64
	At      time.Time

	Statement string // what was signed, in lines; "" where it was not kept
}

// Fold returns the state that the whole log leads to. The error names the
// event at which the log stops making sense.
//
// It takes time in proportion to the log, as nobody else sees the states between:
// a slice with room to spare is theirs alone, and is changed and added to where it
// lies. Apply takes the room away first, so that it copies.
func Fold(log []Event) (State, error) {
	var s State
	for _, e := range log {
		next, err := s.Follow(e)
		if err != nil {
			return s, err
		}
		s = next
	}
	return s, nil
}

// own returns a slice that may be changed: all itself where it has room to spare,
// see Fold, else a copy.
func own[T any](all []T) []T {
	if cap(all) > len(all) {
		return all
	}
	return slices.Clone(all)
}

// Latest returns the reading that stands in slot.
func (s State) Latest(slot Slot) (Reading, bool) {
	for _, r := range slices.Backward(s.Readings) {
		if r.Slot == slot && r.Standing == Stands {
			return *r, true
		}
	}
	return Reading{}, false
}

// Last returns the last confirmed reading that still stands.
func (s State) Last() (Reading, bool) {
	for _, r := range slices.Backward(s.Readings) {
		if r.Standing == Stands {
			return *r, true
		}
	}
	return Reading{}, false
}

// Answered returns the answer that stands for a preparation step of a board.
func (s State) Answered(board int, step string) (Answer, bool) {
	for _, a := range slices.Backward(s.Answers) {
		if a.Board == board && a.Way == 0 && a.Step == step && a.Ended == 0 {
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

// SettledAt returns the settlement that counts for slot.
func (s State) SettledAt(slot Slot) (Settlement, bool) {
	for _, t := range slices.Backward(s.Settlements) {
		if t.Slot == slot && t.Ended == 0 {
			return t, true
		}
	}
	return Settlement{}, false
}

// AllSettled returns the settlements that count, by their places.
func (s State) AllSettled() map[Slot]Settlement {
	all := map[Slot]Settlement{}
	for _, t := range s.Settlements {
		if t.Ended == 0 {
			all[t.Slot] = t
		}
	}
	return all
}

// Apply returns the state after e. s is not modified. An event that cannot
// follow is an error which names it, and the state is then s.
func (s State) Apply(e Event) (State, error) {
	given := s
	s.Answers, s.Readings, s.Skips = slices.Clip(s.Answers), slices.Clip(s.Readings), slices.Clip(s.Skips)
	s.Notes, s.Settlements, s.Resumed = slices.Clip(s.Notes), slices.Clip(s.Settlements), slices.Clip(s.Resumed)
	s.Removed, s.Worked = slices.Clip(s.Removed), slices.Clip(s.Worked)
	next, err := s.Follow(e)
	if err != nil {
		return given, err
	}
	return next, nil
}

// Follow is Apply for who keeps no other state than the next: the slices of s are
// changed where they lie, so that a log takes time in proportion to it, see Fold. After
// an error s still stands.
func (s State) Follow(e Event) (State, error) {
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
	if err := s.mayHappen(e); err != nil {
		return s, err
	}
	switch e.Kind {
	case Heard:
		s.Manner = s.Manner.after(e.Phrase)
		return s, nil
	case Tapped:
		return s, nil
	case Said:
		s.Offers = e.Offers
		return s, nil
	case Signed:
		return s.signed(e)
	}
	s.Signed, s.Offers = nil, nil
	switch e.Kind {
	case Noted, Observed:
		return s.noted(e)
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
			s.Paused, s.Resumed = false, append(s.Resumed, e.ID)
		} else {
			s.Aim = nil
		}
		return s, nil
	case Finished:
		s.Finished, s.Pending, s.Paused = true, nil, false
		return s, nil
	}
	if e.Kind == Withdrawn && e.Of != 0 {
		return s.unnoted(e)
	}
	whole := e.whole()
	if err := s.slot(e.Slot, whole); err != nil {
		return s, err
	}
	switch e.Kind {
	case Edited:
		return s.edited(e)
	case Settled:
		return s.settled(e)
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

// mayHappen says whether e can come now at all.
func (s State) mayHappen(e Event) error {
	if e.ofReview() {
		return s.mayReview(e)
	}
	k, pending := e.Kind, s.Pending != nil
	switch k {
	case Opened:
		return nil
	case Heard, Tapped, Said:
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
	case k == Heard || k == Tapped || k == Said:
	case s.Finished:
		return fmt.Errorf("the session was finished")
	case k == CarriedOn && !s.Paused && s.Aim == nil:
		return fmt.Errorf("there is nothing to carry on from")
	case k != CarriedOn && s.Paused:
		return fmt.Errorf("the session is paused")
	}
	return nil
}

// mayReview says whether an event of a review can come now. What is pending is
// that of a session that was cut off, and it will be read back again: a review
// keeps off its places unless it drops it.
func (s State) mayReview(e Event) error {
	if err := board.CheckInitials(e.By); err != nil {
		return err
	}
	switch {
	case s.Sessions == 0:
		return fmt.Errorf("no session was opened")
	case e.Kind == Dropped && s.Pending == nil:
		return fmt.Errorf("no reading is pending")
	case e.Kind == Finished && s.Finished:
		return fmt.Errorf("the session was finished")
	case e.Kind == Signed && s.Signed != nil:
		return fmt.Errorf("it is signed off already")
	case e.Reason == "" && e.Kind != Signed && e.Kind != Finished:
		return fmt.Errorf("a review gives its reason")
	}
	switch e.Kind {
	case Dropped:
		return nil
	case Finished, Signed:
		if s.Pending != nil {
			return fmt.Errorf("a reading is still pending")
		}
		return nil
	case Edited, Settled, Withdrawn:
		if e.Of != 0 {
			return fmt.Errorf("a note or an observation is taken back where it was made")
		}
		if s.Pending != nil && e.Slot != nil && slices.ContainsFunc(s.Pending.Each(), func(p Proposal) bool { return p.Slot == *e.Slot }) {
			return fmt.Errorf("a reading of this place is still pending")
		}
		return nil
	}
	return fmt.Errorf("a review has no such event")
}

// edited puts a reviewer's reading on the schedule.
func (s State) edited(e Event) (State, error) {
	if e.Quantity == nil || e.Verdict == nil {
		return s, fmt.Errorf("it has no quantity or no verdict")
	}
	if err := s.about(e); err != nil {
		return s, err
	}
	p := Proposal{Slot: *e.Slot, Quantity: *e.Quantity, Verdict: *e.Verdict, EventID: e.ID, HeardID: e.HeardID, At: e.At}
	if err := p.check(); err != nil {
		return s, err
	}
	s = s.end(p.Slot, Replaced, e)
	s = s.endSkips(func(k Skip) bool { return k.Slot == p.Slot }, e.ID)
	s.Readings = append(s.Readings, &Reading{
		Proposal: p, ConfirmedID: e.ID, Confirmed: e.At, Edited: true, By: e.By, Reason: e.Reason, Replaces: e.Replaces,
	})
	if s.Aim != nil && *s.Aim == p.Slot {
		s.Aim = nil
	}
	return s, nil
}

// settled lets what stands at a place, or that nothing does, be as it is.
func (s State) settled(e Event) (State, error) {
	if err := s.about(e); err != nil {
		return s, err
	}
	slot := *e.Slot
	s = s.endSettlements(func(t Slot) bool { return t == slot }, e.ID)
	s.Settlements = append(s.Settlements, Settlement{Slot: slot, Of: e.Replaces, Reason: e.Reason, By: e.By, EventID: e.ID, At: e.At})
	return s, nil
}

// about checks that the reading a review's event is about is the one that stands.
func (s State) about(e Event) error {
	r, ok := s.Latest(*e.Slot)
	switch {
	case !ok && e.Replaces != 0:
		return fmt.Errorf("it is about the reading of event %d, and none stands there", e.Replaces)
	case ok && e.Replaces != r.ConfirmedID:
		return fmt.Errorf("it is about the reading of event %d, and that of event %d stands there", e.Replaces, r.ConfirmedID)
	}
	return nil
}

func (s State) signed(e Event) (State, error) {
	if strings.TrimSpace(e.Text) == "" {
		return s, fmt.Errorf("it has no name")
	}
	if sum, err := hex.DecodeString(e.Sum); err != nil || len(sum) != sha256.Size || e.Sum != strings.ToLower(e.Sum) {
		return s, fmt.Errorf("its sum is not one")
	}
	s.Signed = &SignOff{Name: e.Text, By: e.By, Sum: e.Sum, EventID: e.ID, At: e.At, Statement: e.Statement}
	return s, nil
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
		s.Job, s.Given, s.Board = *e.Job, *e.Job, e.Job.Boards[0].Number
		for _, number := range slices.Backward(e.Job.InOrder()) {
			if !e.Job.Board(number).Supply.OnlyIsolated {
				s.Board = number
			}
		}
	case !reflect.DeepEqual(s.Given, *e.Job):
		return s, fmt.Errorf("it describes another job than the log began with")
	case !setUp:
		s.Resumed = append(s.Resumed, e.ID)
	}
	if e.Habit != Each && e.Habit != Agreed {
		return s, fmt.Errorf("its habit is %q", e.Habit)
	}
	if !setUp {
		s.Sessions++
	}
	tester := cmp.Or(e.Tester, e.Job.Tester)
	if tester != s.Tester {
		s.Manner = Manner{}
	}
	s.Habit, s.Tester, s.Finished = e.Habit, tester, false
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
	way := 0
	if e.Slot != nil {
		if err := s.slot(e.Slot, true); err != nil {
			return s, err
		}
		if e.Slot.Board != e.Board || e.Step != StaysConnected {
			return s, fmt.Errorf("its place is not that of its step")
		}
		way = e.Slot.Way
	}
	if e.Answer == TakenBack && !slices.ContainsFunc(s.Answers, func(a Answer) bool { return a.is(e.Board, way, e.Step) }) {
		return s, fmt.Errorf("the step has no answer to take back")
	}
	given := Answer{Board: e.Board, Way: way, Step: e.Step, How: e.Answer, Reason: e.Reason, EventID: e.ID, HeardID: e.HeardID, At: e.At}
	if (e.Quantity == nil) != (e.Verdict == nil) {
		return s, fmt.Errorf("it has a figure without a verdict, or the other way round")
	}
	if e.Quantity != nil {
		if err := e.Quantity.Check(); err != nil {
			return s, err
		}
		if err := checkVerdict(*e.Verdict); err != nil {
			return s, err
		}
		given.Quantity, given.Verdict = *e.Quantity, *e.Verdict
	}
	if s.Board != e.Board {
		s.Board, s.Way = e.Board, 0
	}
	s.Answers = own(s.Answers)
	for i := range s.Answers {
		if a := &s.Answers[i]; a.is(e.Board, way, e.Step) {
			a.Ended = e.ID
		}
	}
	if e.Answer != TakenBack {
		s.Answers = append(s.Answers, given)
	}
	if e.Step == StaysConnected {
		s.Job = s.staysConnected()
	}
	return s.putBack(e.Board, e.Back, e.ID).takenOff(Slot{Board: e.Board}, e.Off, e), nil
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
		case one.Slot.Way != p.Slot.Way && (one.Slot.Test != p.Slot.Test || !one.Quantity.ForSeveral() || !one.Quantity.Equal(p.Quantity)):
			return s, fmt.Errorf("it has readings of two ways that are not the same bound or answer of one test")
		}
		seen[one.Slot] = true
		if err := one.check(); err != nil {
			return s, err
		}
	}
	s.Pending = &p
	return s, nil
}

// check says what is wrong with the quantity or the verdict of one reading.
func (p Proposal) check() error {
	if err := p.Slot.Test.Fits(p.Quantity); err != nil {
		return err
	}
	return checkVerdict(p.Verdict)
}

// checkVerdict says what is wrong with a verdict.
func checkVerdict(v check.Verdict) error {
	if !v.Result.Known() {
		return fmt.Errorf("its verdict is %q", v.Result)
	}
	return nil
}

// confirmed puts all that is pending on the schedule, each reading by itself.
func (s State) confirmed(e Event) (State, error) {
	switch {
	case e.Answer != "" && e.Answer != Accepted && e.Answer != ByKey:
		return s, fmt.Errorf("its answer is %q", e.Answer)
	case e.Answer == Accepted && (s.Habit != Agreed || !s.Pending.MayBeImplied()):
		return s, fmt.Errorf("it was not said, and nothing else stores that reading")
	}
	all := s.Pending.Each()
	s.Pending = nil
	for _, p := range all {
		s = s.end(p.Slot, s.Gives(p), e)
		s = s.endSkips(func(k Skip) bool { return k.Slot == p.Slot }, e.ID)
		s.Readings = append(s.Readings, &Reading{Proposal: p, ConfirmedID: e.ID, Confirmed: e.At, Implied: e.Answer == Accepted, ByKey: e.Answer == ByKey, Tester: s.Tester})
		s = s.arrived(p.Slot).takenOff(p.Slot, e.Off, e)
	}
	return s, nil
}

// connected is the test voltage of the insulation of equipment that is connected, V DC.
const connected = 250

// Gives is the standing of the reading whose place p takes, if there is one: AtFull or
// Replaced.
func (s State) Gives(p Proposal) Standing {
	old, ok := s.Latest(p.Slot)
	was, known := old.Verdict.TestVoltage()
	is, also := p.Verdict.TestVoltage()
	if ok && known && also && p.Slot.Test.Insulation() && is == connected && was > is && old.Verdict.Result == check.Pass {
		return AtFull
	}
	return Replaced
}

func (s State) withdrawn(e Event) (State, error) {
	if _, ok := s.Latest(*e.Slot); !ok {
		return s, fmt.Errorf("no reading stands there")
	}
	if e.By == "" {
		s.Board, s.Way = e.Slot.Board, e.Slot.Way
	} else if err := s.about(e); err != nil {
		return s, err
	}
	return s.end(*e.Slot, TakenOff, e), nil
}

func (s State) skipped(e Event) (State, error) {
	switch e.Answer {
	case NotMade, NotApplicable, Limitation:
	case NotVerified:
		if s.Job.Work != board.PeriodicInspection || e.Reason == "" {
			return s, fmt.Errorf("a test is not verified in work that is no periodic inspection, or without a reason")
		}
	case TakenBack:
		if _, ok := s.LeftOut(*e.Slot); !ok {
			return s, fmt.Errorf("the test was not left out")
		}
		slot := *e.Slot
		s.Board, s.Way = slot.Board, slot.Way
		s = s.endSettlements(func(t Slot) bool { return t == slot }, e.ID)
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
	s = s.endSettlements(func(t Slot) bool { return t == slot }, e.ID)
	s.Skips = append(s.Skips, Skip{Slot: slot, How: e.Answer, Reason: e.Reason, EventID: e.ID, HeardID: e.HeardID, At: e.At})
	return s.arrived(slot), nil
}

func (s State) retest(e Event) State {
	board, way := e.Slot.Board, e.Slot.Way
	s.Readings = own(s.Readings)
	for i := range s.Readings {
		if r := s.Readings[i]; r.Slot.Board == board && r.Slot.Way == way && (r.Standing == Stands || r.Standing == AtFull) {
			s.Readings[i] = r.ended(BeforeWork, e)
		}
	}
	s = s.endSettlements(func(t Slot) bool { return t.Board == board && t.Way == way }, e.ID)
	s = s.endSkips(func(k Skip) bool { return k.Slot.Board == board && k.Slot.Way == way }, e.ID)
	s.Worked = append(s.Worked, Work{board, way, e.ID})
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
	for i := len(s.Readings) - 1; i >= 0; i-- {
		if r := s.Readings[i]; r.Slot == slot && r.Standing == Stands {
			s.Readings = own(s.Readings)
			s.Readings[i] = r.ended(how, e)
			break // at most one stands
		}
	}
	return s.endSettlements(func(t Slot) bool { return t == slot }, e.ID)
}

// ended is r as it is once e has ended its standing; other states keep r as it was.
func (r Reading) ended(how Standing, e Event) *Reading {
	r.Standing, r.Ended, r.EndedAt, r.EndReason, r.EndedBy = how, e.ID, e.At, e.Reason, e.By
	return &r
}

// endSettlements is for what was settled at places of which more is known now.
func (s State) endSettlements(where func(Slot) bool, by int64) State {
	for i := range s.Settlements {
		if t := s.Settlements[i]; t.Ended == 0 && where(t.Slot) {
			s.Settlements = own(s.Settlements)
			s.Settlements[i].Ended = by
		}
	}
	return s
}

func (s State) endSkips(which func(Skip) bool, by int64) State {
	for i := range s.Skips {
		if k := s.Skips[i]; k.Ended == 0 && which(k) {
			s.Skips = own(s.Skips)
			s.Skips[i].Ended = by
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
		return b.InUse(slot.Way)
	}
	return slot.Check(s.Job)
}

func (s State) noBoard(number int) error {
	if number == 0 {
		return fmt.Errorf("it names no board, as logs of early versions do; such a job must be set up anew")
	}
	return fmt.Errorf("there is no board %d in this job", number)
}
