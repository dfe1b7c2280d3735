package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/words"
)

// Kind says why something needs a human. The strings are exported, so they never
// change.
type Kind string

// The kinds, the most pressing first.
const (
	Failed      Kind = "fail"          // a reading fails
	Disputed    Kind = "disputed"      // the witnesses did not agree on the phrase
	Implausible Kind = "implausible"   // a reading looks like a slip: of the point, of the way, or read twice
	Investigate Kind = "investigate"   // a reading meets its limit but is not what the circuit should give
	CannotSay   Kind = "cannot say"    // a reading could not be judged
	Unconfirmed Kind = "not confirmed" // a reading was read back, and the session was cut off before the answer
	Corrected   Kind = "corrected"     // the electrician gave another figure first
	Missing     Kind = "missing"       // a test that is asked for was not made
	LeftOut     Kind = "left out"      // a test was left out by the electrician
	Unfinished  Kind = "not finished"  // the session was never ended; see Finish
)

var kinds = []Kind{Failed, Disputed, Implausible, Investigate, CannotSay, Unconfirmed, Corrected, Missing, LeftOut, Unfinished}

// Severity is where a kind stands among the kinds, 0 the most pressing.
func (k Kind) Severity() int { return slices.Index(kinds, k) }

// Item is one thing that needs a human: a place of the schedule with all that is
// doubtful about it, or the session as a whole.
type Item struct {
	Kind    Kind              // the most pressing of what is open
	Also    []Kind            // the others
	Slot    record.Slot       // the zero Slot of Unfinished
	Reading *record.Reading   // that stands there; nil when none does
	Waits   *record.Proposal  // of Unconfirmed: what was read back
	Skip    *record.Skip      // of LeftOut
	Due     *sequence.Due     // of Missing: what asks for it; nil where it waits for something else
	Now     *check.Verdict    // what is said of the reading today, where that is worse than when it was confirmed
	Why     string            // one sentence or two
	Source  string            // of Why, where it rests on one
	Next    string            // what to look at, where that is known
	Heard   []Heard           // the phrases it rests on, in order, those of figures that were given first included
	Before  []record.Proposal // the figures that were given first, in order
}

// Of is what the Replaces of a Change about the item has to be, as it was shown.
func (it Item) Of() int64 {
	if it.Reading == nil {
		return 0
	}
	return it.Reading.ConfirmedID
}

// Is reports whether k is among what is open.
func (it Item) Is(k Kind) bool { return it.Kind == k || slices.Contains(it.Also, k) }

// String names the place and the kind: "board 1, way 3, LN-E: disputed".
func (it Item) String() string {
	if it.Kind == Unfinished {
		return "the session: " + string(it.Kind)
	}
	return placeOf(it.Slot) + ": " + string(it.Kind)
}

// placeOf names a place of the schedule: "board 1, way 3, LN-E, switch position 2".
func placeOf(slot record.Slot) string { return english.Lower(words.Place(slot, true)) }

// Heard is a phrase with what each witness heard. Its sound is kept under ID.
type Heard struct {
	ID int64
	At time.Time
	record.Phrase
}

// Queue returns what needs a human, the most pressing first, then by board and
// way. events is the log that s was folded from; of phrases that it lacks nothing
// is known. What a reviewer settled is not in it, and neither is that a reading
// which he put there was disputed or corrected; the verdict on it is.
//
// A reading is also judged anew, against all that stand now. Where that makes it
// worse than it was when it was confirmed (another reading was edited, say), it
// is in the queue again, even if it was settled before the change.
func Queue(s record.State, events []record.Event) []Item {
	if s.Sessions == 0 {
		return nil
	}
	q := newQueue(s, events)
	q.readings()
	q.waiting()
	q.skips()
	q.missing()
	var all []Item
	for _, at := range q.order {
		all = append(all, *q.items[at])
	}
	if !s.Finished {
		all = append(all, Item{Kind: Unfinished, Why: "The session was not ended, so there may be more to come."})
	}
	slices.SortStableFunc(all, func(a, b Item) int {
		return cmp.Or(cmp.Compare(a.Kind.Severity(), b.Kind.Severity()), cmp.Compare(a.Slot.Board, b.Slot.Board), cmp.Compare(a.Slot.Way, b.Slot.Way))
	})
	return all
}

// queue gathers the items place by place.
type queue struct {
	record.State
	settled map[record.Slot]record.Settlement
	phrases map[int64]Heard
	before  map[reached][]record.Proposal // the figures given before a reading
	items   map[record.Slot]*Item
	order   []record.Slot // in which the places came up
}

// reached is a reading: one event may confirm several.
type reached struct {
	slot      record.Slot
	confirmed int64
}

func newQueue(s record.State, events []record.Event) *queue {
	q := &queue{s, s.AllSettled(), map[int64]Heard{}, map[reached][]record.Proposal{}, map[record.Slot]*Item{}, nil}
	var pending *record.Proposal
	dropped := map[record.Slot][]record.Proposal{}
	for i := range events {
		e := &events[i]
		switch e.Kind {
		case record.Heard:
			if e.Phrase != nil {
				q.phrases[e.ID] = Heard{e.ID, e.At, *e.Phrase}
			}
		case record.Proposed:
			if e.Slot != nil && e.Quantity != nil && e.Verdict != nil {
				pending = &record.Proposal{Slot: *e.Slot, Quantity: *e.Quantity, Verdict: *e.Verdict, EventID: e.ID, HeardID: e.HeardID, At: e.At, Then: e.Then}
			}
		case record.Dropped:
			if pending != nil {
				for _, p := range pending.Each() {
					dropped[p.Slot] = append(dropped[p.Slot], p)
				}
			}
			pending = nil
		case record.Confirmed:
			if pending != nil {
				for _, p := range pending.Each() {
					q.before[reached{p.Slot, e.ID}] = dropped[p.Slot]
					delete(dropped, p.Slot)
				}
			}
			pending = nil
		case record.Finished:
			pending = nil
		}
	}
	return q
}

// at returns the item of a place, which is made when it is first asked for.
func (q *queue) at(slot record.Slot) *Item {
	it := q.items[slot]
	if it == nil {
		it = &Item{Slot: slot}
		q.items[slot], q.order = it, append(q.order, slot)
	}
	return it
}

// open notes something doubtful of a place. The most pressing gives the item its
// kind; each gives it a sentence.
func (it *Item) open(k Kind, why string) {
	switch {
	case it.Kind == "":
		it.Kind, it.Why = k, why
		return
	case k.Severity() < it.Kind.Severity():
		it.Also, it.Kind, it.Why = append(it.Also, it.Kind), k, why+" "+it.Why
	default:
		it.Also, it.Why = append(it.Also, k), it.Why+" "+why
	}
	slices.SortFunc(it.Also, func(a, b Kind) int { return cmp.Compare(a.Severity(), b.Severity()) })
}

func (q *queue) readings() {
	now := q.judgeAgain()
	earlier := map[record.Slot][]*record.Reading{}
	changed := map[int]int64{} // board -> the last event that put a reading on it or took one off
	for i := range q.Readings {
		r := q.Readings[i]
		changed[r.Slot.Board] = max(changed[r.Slot.Board], r.ConfirmedID, r.Ended)
	}
	for i := range q.Readings {
		r := q.Readings[i]
		if r.Standing != record.Stands {
			earlier[r.Slot] = append(earlier[r.Slot], r)
			continue
		}
		v := r.Verdict
		worse := now[i].Result.Severity() > check.CannotSay.Severity() && now[i].Result.Severity() > v.Result.Severity()
		if t, ok := q.settled[r.Slot]; ok && !(worse && changed[r.Slot.Board] > t.EventID) {
			continue
		}
		it := Item{Slot: r.Slot, Reading: r}
		if worse {
			v, it.Now = now[i], &now[i]
		}
		switch {
		case v.Result == check.Fail:
			it.open(Failed, v.Reason)
		case v.Result == check.Investigate && v.Implausible():
			it.open(Implausible, v.Reason)
		case v.Result == check.Investigate:
			it.open(Investigate, v.Reason)
		case v.Result != check.Pass:
			it.open(CannotSay, v.Reason)
		}
		if it.Kind != "" {
			it.Source, it.Next = v.Source, v.Next
		}
		if !r.Edited {
			q.spoken(&it, r, earlier[r.Slot])
		}
		if it.Kind != "" {
			*q.at(r.Slot) = it
		}
	}
}

// spoken says what is doubtful about how a reading was given.
func (q *queue) spoken(it *Item, r *record.Reading, earlier []*record.Reading) {
	if h, ok := q.phrases[r.HeardID]; ok && h.Disputed() {
		why := "The witnesses did not agree on what was said."
		if len(h.Others) > 0 {
			why = fmt.Sprintf("The witnesses did not agree on what was said; it may also have been %q.", strings.Join(h.Others, `" or "`))
		}
		it.open(Disputed, why)
	}
	for _, e := range earlier {
		if !e.Edited && (e.Standing == record.Replaced || e.Standing == record.TakenOff) {
			it.Before = append(it.Before, e.Proposal)
		}
	}
	it.Before = append(it.Before, q.before[reached{r.Slot, r.ConfirmedID}]...)
	// The same figure said twice is no correction.
	first := slices.IndexFunc(it.Before, func(p record.Proposal) bool { return !p.Quantity.Equal(r.Quantity) })
	if first >= 0 {
		it.open(Corrected, fmt.Sprintf("It was given as %s before.", it.Before[first].Quantity))
	}
	for _, p := range append(slices.Clone(it.Before), r.Proposal) {
		if h, ok := q.phrases[p.HeardID]; ok && !slices.ContainsFunc(it.Heard, func(x Heard) bool { return x.ID == h.ID }) {
			it.Heard = append(it.Heard, h)
		}
	}
	slices.SortFunc(it.Heard, func(a, b Heard) int { return cmp.Compare(a.ID, b.ID) })
}

// judgeAgain judges the readings that stand as they stand now, in the order in
// which their places were read first, so that what replaced a reading is judged
// and judges as that one. The verdicts are by index into Readings, those of
// readings that do not stand empty.
func (q *queue) judgeAgain() []check.Verdict {
	surge := map[int]bool{}
	for i := range q.Job.Boards {
		n := q.Job.Boards[i].Number
		surge[n] = sequence.SurgeConnected(q.State, n)
	}
	var index []int
	first := map[record.Slot]int{}
	for i := range q.Readings {
		r := q.Readings[i]
		if _, ok := first[r.Slot]; !ok {
			first[r.Slot] = i
		}
		if r.Standing == record.Stands {
			index = append(index, i)
		}
	}
	slices.SortFunc(index, func(a, b int) int { return cmp.Compare(first[q.Readings[a].Slot], first[q.Readings[b].Slot]) })
	plain := make([]check.Earlier, len(index))
	for i, at := range index {
		r := q.Readings[at]
		plain[i] = check.Earlier{Slot: r.Slot, Quantity: r.Quantity}
	}
	all := make([]check.Verdict, len(q.Readings))
	for i, v := range check.JudgeAll(q.Job, plain, surge) {
		all[index[i]] = v
	}
	return all
}

// waiting are the readings that were read back when the session was cut off.
func (q *queue) waiting() {
	if q.Pending == nil {
		return
	}
	for _, p := range q.Pending.Each() {
		it := q.at(p.Slot)
		it.Waits = &p
		if it.Reading == nil {
			if r, ok := q.Latest(p.Slot); ok {
				it.Reading = &r
			}
		}
		if h, ok := q.phrases[p.HeardID]; ok {
			it.Heard = append(it.Heard, h)
		}
		it.open(Unconfirmed, fmt.Sprintf("%s was read back, and the session was cut off before it was confirmed.", p.Quantity))
	}
}

func (q *queue) skips() {
	for i := range q.Skips {
		k := &q.Skips[i]
		if _, settled := q.settled[k.Slot]; k.Ended != 0 || settled {
			continue
		}
		why := "It was left out"
		switch k.How {
		case record.NotApplicable:
			why = "It was said not to apply"
		case record.Limitation:
			why = "It could not be made"
		case record.NotVerified:
			why = "It was not verified"
		case record.Waived:
			why = "It was waived"
		}
		if k.Reason == "" {
			why += ", and no reason is recorded."
		} else {
			why += ": " + strings.TrimRight(k.Reason, ". ") + "."
		}
		it := q.at(k.Slot)
		it.Skip = k
		if r, ok := q.Latest(k.Slot); ok && it.Reading == nil {
			it.Reading = &r // it was left out when it was to be made again
		}
		if h, ok := q.phrases[k.HeardID]; ok {
			it.Heard = append(it.Heard, h)
		}
		it.open(LeftOut, why)
	}
}

func (q *queue) missing() {
	for _, d := range sequence.Remaining(q.State) {
		if _, settled := q.settled[d.Slot]; d.Step == nil && !settled {
			it := q.at(d.Slot)
			it.Due = &d
			if it.Source == "" {
				it.Source = d.Source
			}
			it.open(Missing, d.Why)
		}
	}
	for _, o := range sequence.NotAsked(q.State) {
		if _, settled := q.settled[o.Slot]; o.Waiting && !settled {
			it := q.at(o.Slot)
			if it.Source == "" {
				it.Source = o.Source
			}
			it.open(Missing, o.Reason)
		}
	}
}

// lacking reports whether a test at slot is asked for or was left out, and has no
// reading.
func lacking(s record.State, slot record.Slot) bool {
	if _, out := s.LeftOut(slot); out {
		return true
	}
	return slices.ContainsFunc(sequence.Remaining(s), func(d sequence.Due) bool { return d.Step == nil && d.Slot == slot }) ||
		slices.ContainsFunc(sequence.NotAsked(s), func(o sequence.Omitted) bool { return o.Slot == slot })
}
