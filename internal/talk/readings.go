package talk

import (
	"fmt"
	"slices"
	"strconv"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// part is a reading with its place, possible on this board.
type part struct {
	slot     record.Slot
	quantity reading.Quantity
	heardID  int64 // the phrase whose sound it rests on
}

// choice is what one breath may have given: one reading, or the ends of a ring.
type choice []part

func (c choice) same(d choice) bool {
	return slices.EqualFunc(c, d, func(a, b part) bool { return a.slot == b.slot && a.quantity.Equal(b.quantity) })
}

// offers is what there is to choose from, for the record.
func (t *turn) offers() (all [][]record.Offer) {
	for _, c := range t.s.offer {
		var one []record.Offer
		for _, p := range c {
			one = append(one, record.Offer{Slot: p.slot, Quantity: p.quantity})
		}
		all = append(all, one)
	}
	return all
}

func (c choice) has(slot record.Slot) bool {
	return slices.ContainsFunc(c, func(p part) bool { return p.slot == slot })
}

// gives reports whether a phrase gives a reading: a value, or the answer to a
// test that has none.
func gives(m phrase.Meaning) bool {
	return m.HasValue() || m.Command == phrase.Correct || m.Command == phrase.Incorrect
}

// reading takes a phrase that gives a reading. It is doubted when it answers a
// question about one that was disputed, or when it is for several ways.
func (t *turn) reading(m phrase.Meaning, doubted bool) {
	if m.Command != phrase.No {
		t.accept(m)
	}
	t.placed = [2]bool{m.Way != 0, m.Test != ""}
	c, why, goes := t.find(m)
	if goes != nil {
		t.say(why, notStored)
		if t.s.Record.Pending == nil {
			t.move(*goes)
		} else {
			t.remindPending()
		}
		return
	}
	if why == greaterThan && m.Command == "" && t.s.Record.Pending == nil {
		if slot, no := t.place(m.Way, m.Test); no == "" && slot.Test.Unit() == reading.Megohm {
			t.s.greater, why = &slot, greaterThanWhat
		}
	}
	if why != "" {
		t.say(why)
		t.remindPending()
		return
	}
	if t.outstanding(c) {
		t.firstThis()
		return
	}
	t.propose(c, doubted || m.Near || len(c) > 1 && c[0].slot.Way != c[len(c)-1].slot.Way)
}

// outstanding reports whether something else waits that must be confirmed or
// dropped first: in a session where the next reading mostly confirms the one
// before, none may be lost by going on.
func (t *turn) outstanding(c choice) bool {
	r := t.s.Record
	return r.Habit == record.Agreed && r.Pending != nil && !slices.ContainsFunc(r.Pending.Each(), func(one record.Proposal) bool { return c.has(one.Slot) })
}

// propose checks what a breath gave, makes it pending in place of what was, and
// reads it back: figure by figure when it was doubted, or corrects what was
// misheard. One of several readings that wait is corrected by itself, and all
// of them are read back again.
func (t *turn) propose(c choice, doubted bool) {
	if p := t.s.Record.Pending; p != nil {
		merged, changed := corrected(*p, c)
		if changed {
			doubted = true
			t.say("Changed to:")
			t.follows(record.Event{Kind: record.Dropped, Reason: "changed to " + written(c)})
		} else {
			t.sayf("%s %s not confirmed and %s dropped.", english.Capital(t.pendingName()), were(len(p.Then)), are(len(p.Then)))
			t.follows(record.Event{Kind: record.Dropped, Reason: "another reading was given instead"})
		}
		c = merged
	}
	t.put(c, doubted)
}

// put makes what a breath gave pending and reads it back.
func (t *turn) put(c choice, doubted bool) {
	verdicts := t.judge(c)
	e := record.Event{Kind: record.Proposed, Slot: &c[0].slot, Quantity: &c[0].quantity, Verdict: &verdicts[0], HeardID: c[0].heardID, Doubted: doubted}
	for i, p := range c[1:] {
		e.Then = append(e.Then, record.Further{Slot: p.slot, Quantity: p.quantity, Verdict: verdicts[i+1], HeardID: p.heardID})
	}
	t.fact(e)
	if t.err == nil {
		t.say(t.readBack(true))
	}
}

// corrected sets what was said against what waits, and reports whether it is
// about that.
func corrected(p record.Proposal, c choice) (choice, bool) {
	var all choice
	for _, one := range p.Each() {
		all = append(all, part{one.Slot, one.Quantity, one.HeardID})
	}
	if !slices.ContainsFunc(c, func(x part) bool { return all.has(x.slot) }) {
		return c, false
	}
	if len(c) > 1 || len(all) == 1 {
		return c, true
	}
	if manyWays(p.Each()) {
		return c, false // one of several ways is another reading, and the others are given again
	}
	for i := range all {
		if all[i].slot == c[0].slot {
			all[i] = c[0]
		}
	}
	return all, true
}

// judge gives the verdict on each reading of a breath, with everything that
// stands on all boards and what the breath gave before it. The first, which
// may have nothing to be compared with, is then held against those after it.
func (t *turn) judge(c choice) []check.Verdict {
	r := t.s.Record
	var before []check.Earlier
	for _, e := range r.Readings {
		if e.Standing == record.Stands && !c.has(e.Slot) {
			before = append(before, check.Earlier{Slot: e.Slot, Quantity: e.Quantity})
		}
	}
	one := func(p part, before []check.Earlier) check.Verdict {
		return check.Judge(check.Input{
			Job: r.Job, Slot: p.slot, Quantity: p.quantity,
			SurgeConnected: sequence.SurgeConnected(r, p.slot.Board), Earlier: before,
		})
	}
	var verdicts []check.Verdict
	for _, p := range c {
		verdicts = append(verdicts, one(p, before))
		before = append(before, check.Earlier{Slot: p.slot, Quantity: p.quantity})
	}
	if len(c) > 1 && verdicts[0].Result == check.CannotSay {
		first := check.Earlier{Slot: c[0].slot, Quantity: c[0].quantity}
		verdicts[0] = one(c[0], slices.DeleteFunc(before, func(e check.Earlier) bool { return e == first }))
	}
	return verdicts
}

// resolve finds the place and the quantity that a phrase with a reading means
// now. When it cannot mean any, the reason is returned to be said; nothing is
// changed. goes is a test that can be made once the steps before it are
// answered, though they are not what is due now.
func (t *turn) resolve(m phrase.Meaning) (c choice, why string, goes *record.Slot) {
	if m.Command == phrase.No && t.s.Record.Pending == nil {
		return nil, "Nothing waits to be corrected. Say scratch that to take back the last reading. " + notStored, nil
	}
	slot, why := t.place(m.Way, m.Test)
	if why != "" {
		return nil, why, nil
	}
	if m.Service != "" {
		if slot.Position, why = t.service(slot, m.Service); why != "" {
			return nil, why, nil
		}
	} else if m.Command == phrase.Replace {
		slot = t.replaced(slot)
	}
	q := m.Quantity
	switch m.Command {
	case phrase.Correct:
		q = reading.Correct
	case phrase.Incorrect:
		q = reading.Wrong
	}
	q, why = t.quantity(q, m.OverRange, slot)
	if why != "" {
		return nil, why, nil
	}
	c = choice{{slot, q, t.heardID}}
	if m.Command == phrase.Correct || m.Command == phrase.Incorrect {
		if c, why = t.oneForAll(c[0], m); why != "" {
			return nil, why, nil
		}
	}
	for _, p := range m.Then {
		if p.Test == "" {
			break
		}
		at := record.Slot{Board: slot.Board, Way: slot.Way, Test: p.Test}
		if why = t.noTest(at); why != "" {
			return nil, why, nil
		}
		at.Position = t.position(at)
		if q, why = t.quantity(p.Quantity, false, at); why != "" {
			return nil, why, nil
		}
		c = append(c, part{at, q, t.heardID})
	}
	if why, goes = t.notYet(slot, m.Command == phrase.Replace); why != "" {
		return nil, why, goes
	}
	return c, "", nil
}

// oneForAll is what an answer without a way gives where one question asks of several:
// that it is correct holds for all of them, and which is wrong is to be said.
func (t *turn) oneForAll(p part, m phrase.Meaning) (c choice, why string) {
	d, due := t.due()
	pending := t.s.Record.Pending
	if !due || m.Way != 0 || pending != nil && !manyWays(pending.Each()) {
		return choice{p}, ""
	}
	all := sequence.Together(t.s.Record, d)
	switch {
	case !slices.Contains(all, p.slot):
		return choice{p}, ""
	case m.Command == phrase.Incorrect:
		return nil, "Say which way. " + notStored
	}
	for _, at := range all {
		c = append(c, part{at, p.quantity, p.heardID})
	}
	return c, ""
}

// replaced is the place of the reading that is to be replaced: where there is
// none in the position that would be next, that which was measured last.
func (t *turn) replaced(slot record.Slot) record.Slot {
	if _, ok := t.s.Record.Latest(slot); ok {
		return slot
	}
	for _, x := range slices.Backward(t.s.Record.Readings) {
		at := x.Slot
		if at.Position = slot.Position; x.Standing == record.Stands && at == slot {
			return x.Slot
		}
	}
	return slot
}

// notYet says why a test cannot be made now, or nothing: a live test that is
// blocked, or a test on a board whose preparation for it is not answered. Such
// a test is asked about as though the electrician had gone to it. replaces says that
// a reading is to be put right by name.
func (t *turn) notYet(slot record.Slot, replaces bool) (why string, goes *record.Slot) {
	r := t.s.Record
	if o, no := sequence.Blocked(r, slot); no {
		return "Not yet. " + o.Reason + " " + notStored, nil
	}
	there := r
	there.Aim, there.Board, there.Way = &slot, slot.Board, slot.Way
	d, ok := sequence.Next(there)
	if !ok || d.Step == nil {
		return "", nil
	}
	if _, stands := r.Latest(slot); replaces && stands && d.Step.Alone {
		return "", nil // what was read is put right, and not read again
	}
	if now, due := t.due(); due && now.Step != nil && now.Board == d.Board && now.Step.ID == d.Step.ID {
		return "Not yet. " + d.Step.Brief, nil
	}
	if !sequence.Live(slot) && sequence.StillOn(r, slot.Board) {
		return "Not yet. The installation is on.", &slot
	}
	if !sequence.Live(slot) && d.Step.Back == "" {
		return "Not yet. The supply was put on since the dead tests.", &slot
	}
	return "Not yet.", &slot
}

// hand returns the test in hand: the one that waits to be confirmed, or the one
// that is due on the board in hand.
func (t *turn) hand() (record.Slot, bool) {
	if p := t.s.Record.Pending; p != nil {
		return p.Slot, true
	}
	if d, ok := t.due(); ok && d.Step == nil && d.Board == t.board() {
		return d.Slot, true
	}
	return record.Slot{}, false
}

// place finds the slot: the test in hand fills in what the phrase leaves out.
func (t *turn) place(n int, test reading.Test) (slot record.Slot, why string) {
	r := t.s.Record
	hand, inHand := t.hand()
	slot = record.Slot{Board: t.board(), Way: n, Test: test}
	if n == 0 && !inHand {
		if d, ok := t.due(); ok && d.Step != nil && d.Board == slot.Board {
			return slot, "Not yet. " + d.Step.Brief
		}
	}
	switch {
	case test == "" && (!inHand || n != 0 && n != hand.Way):
		return slot, "Say which way and which test. " + notStored
	case test == "" && r.Pending != nil && len(r.Pending.Then) > 0:
		return slot, manyWait + notStored
	case test == "":
		slot = hand
		return slot, ""
	case n == 0:
		if slot.Way, why = t.wayOf(slot, hand, inHand); why != "" {
			return slot, why
		}
	}
	return t.checked(slot)
}

// checked says why there can be no reading in a place, or completes it: which end
// of a ring is meant, and which position.
func (t *turn) checked(slot record.Slot) (_ record.Slot, why string) {
	r := t.s.Record
	if slot.Way != 0 {
		if why := t.noWay(slot.Board, slot.Way); why != "" {
			return slot, why
		}
		// On a ring "r two" is its end, and not the long lead's R2.
		if slot.Test == reading.R2 && r.Job.Way(slot.Board, slot.Way).Wiring == board.Ring {
			slot.Test = reading.RingR2
		}
	}
	if why := t.noTest(slot); why != "" {
		return slot, why
	}
	slot.Position = t.position(slot)
	return slot, ""
}

// wayOf finds the way of a test that was named without one: the way in hand if
// it has such a test, or else the board itself.
func (t *turn) wayOf(slot, hand record.Slot, inHand bool) (way int, why string) {
	r := t.s.Record
	here := hand.Way
	if !inHand && r.Board == slot.Board {
		here = r.Way
	}
	for _, way := range [...]int{here, 0} {
		if slices.Contains(sequence.Allowed(r.Job, slot.Board, way), slot.Test) {
			return way, ""
		}
	}
	if here == 0 {
		return 0, "Say which way. " + notStored
	}
	return here, ""
}

// position finds the switch position, the service or the point of a reading.
// The test in hand says it. On another way the first position without a reading
// is meant, or else the one measured last. A ring is asked for its highest
// point; its test named again means the next point.
func (t *turn) position(slot record.Slot) int {
	r := t.s.Record
	hand, inHand := t.hand()
	here := inHand && hand.Board == slot.Board && hand.Way == slot.Way
	var positions []int
	switch b := r.Job.Board(slot.Board); {
	case slot.Test == reading.Bonding:
		for i := range b.Bonding {
			positions = append(positions, i+1)
		}
		here = here && hand.Test == slot.Test
	case slot.Test == reading.RingLN || slot.Test == reading.RingLE:
		most := b.Way(slot.Way).Points
		if most == 0 {
			most = len(r.Readings) + 1 // always one that is free
		}
		for i := range most + 1 {
			positions = append(positions, i)
		}
		here = here && hand.Test == slot.Test
	case slot.Way != 0 && slot.Test.Insulation():
		positions = sequence.Positions(*b.Way(slot.Way))
	default:
		return 0
	}
	if here && slices.Contains(positions, hand.Position) {
		return hand.Position
	}
	for _, p := range positions {
		slot.Position = p
		if _, ok := r.Latest(slot); !ok {
			return p
		}
	}
	return positions[len(positions)-1]
}

// noWay says why there can be no reading for a way, or nothing.
func (t *turn) noWay(board, n int) string {
	switch w := t.s.Record.Job.Way(board, n); {
	case w == nil:
		return fmt.Sprintf("There is no %s on this board. %s", way(n), notStored)
	case w.Spare:
		return fmt.Sprintf("%s is spare. %s", english.Capital(way(n)), notStored)
	}
	return ""
}

// noTest says why a place cannot have a test, or nothing.
func (t *turn) noTest(slot record.Slot) string {
	job := t.s.Record.Job
	if slices.Contains(sequence.Allowed(job, slot.Board, slot.Way), slot.Test) {
		return ""
	}
	place := way(slot.Way)
	if slot.Way == 0 {
		place = "the board itself"
	}
	for _, n := range sequence.Needs(job, slot.Board, slot.Way) {
		switch {
		case n.Slot.Test != slot.Test:
		case slot.Way != 0 && job.Way(slot.Board, slot.Way).Keep500Off != "" && slot.Test.Insulation():
			return fmt.Sprintf("%s is tested together to earth only, because of %s. %s", english.Capital(place), job.Way(slot.Board, slot.Way).Keep500Off, notStored)
		default:
			return fmt.Sprintf("No %s for %s. %s %s", slot.Test.Spoken(), place, n.Why, notStored)
		}
	}
	if slot.Way != 0 && slices.Contains(sequence.Allowed(job, slot.Board, 0), slot.Test) {
		return fmt.Sprintf("%s is a test of the board, so say it without a way. %s", english.Capital(slot.Test.Spoken()), notStored)
	}
	return fmt.Sprintf("%s has no test %s. %s", english.Capital(place), slot.Test.Spoken(), notStored)
}

// quantity makes what was said a quantity of the test.
func (t *turn) quantity(q reading.Quantity, overRange bool, slot record.Slot) (reading.Quantity, string) {
	test := slot.Test
	said := english.Capital(test.Spoken())
	if test.Judged() {
		if test.Fits(q) != nil {
			return q, fmt.Sprintf("%s has no figure. Say %s. %s", said, answers(test), notStored)
		}
		return q, ""
	}
	scale, known := t.scale(slot)
	if overRange {
		if !known {
			return q, greaterThan
		}
		q = beyond(scale)
	}
	if q.Unit == reading.NoUnit {
		q.Unit = test.Unit()
	}
	switch {
	case q.Unit != test.Unit():
		return q, fmt.Sprintf("%s is read in %s. %s", said, unit(reading.Quantity{Value: 2, Bound: reading.Exactly, Unit: test.Unit()}), notStored)
	case test.Fits(q) != nil:
		return q, "That is no reading. " + notStored
	case q.Nothing():
		return q, ofNothing + notStored
	case known && q.Value > scale.Value:
		return q, fmt.Sprintf("The instrument's scale ends at %s, so it cannot show that. %s", scale.Spoken(), notStored)
	}
	return q, ""
}

// What asks for the bound of "over range" where the end of the scale is not known. The
// reading stays open until it is given: of insulation a figure alone will do.
const (
	greaterThan     = "Where the instrument's scale ends for that is not known. Say greater than, and the figure. " + notStored
	greaterThanWhat = "Where the instrument's scale ends at this voltage is not known. Greater than what? " + notStored
)

// ofNothing answers a bound of nought, which every reading meets, or none.
const ofNothing = "That bound says nothing. Say the figure that the instrument shows. "

// bounded takes the answer to "greater than what?", for the test that it was asked of:
// a figure, which is then a bound. It reports false when the phrase is something else.
func (t *turn) bounded(m phrase.Meaning) bool {
	at := t.asked
	if at == nil || m.Command != "" || m.Way != 0 || m.Test != "" || m.OverRange || m.Quantity.Bound == reading.LessThan || t.s.Record.Pending != nil {
		return false
	}
	m.Way, m.Test, m.Quantity.Bound = at.Way, at.Test, reading.GreaterThan
	t.reading(m, false)
	return true
}

// scale returns where the instrument's scale ends for a test, as far as the job knows:
// that of insulation, at the voltage that it is tested with.
func (t *turn) scale(slot record.Slot) (reading.Quantity, bool) {
	if slot.Test.Unit() != reading.Megohm {
		return reading.Quantity{}, false
	}
	end, known := t.s.Record.Job.Instrument.ScaleEnd(sequence.Volts(t.s.Record, slot))
	if !known {
		return reading.Quantity{}, false
	}
	q, err := reading.ParseQuantity(strconv.FormatFloat(end, 'f', -1, 64), reading.Megohm)
	return q, err == nil
}

// beyond is what an instrument shows past the end of its scale.
func beyond(scale reading.Quantity) reading.Quantity {
	scale.Bound = reading.GreaterThan
	return scale
}

// disputed deals with a phrase whose witnesses do not agree. Readings are
// offered to choose from; a single possible one is read back, which asks as
// well. A command that changes anything is never acted on.
func (t *turn) disputed(e Heard) {
	all := slices.DeleteFunc(append([]phrase.Meaning{e.Meaning}, e.Candidates...), func(m phrase.Meaning) bool { return m == phrase.Meaning{} })
	var choices []choice
	why := ""
	if len(all) == 0 {
		t.unsure(e.Meaning)
		return
	}
	for _, m := range all {
		if !gives(m) || m.HasValue() && m.Command != "" && m.Command != phrase.No && m.Command != phrase.Replace {
			t.unsure(e.Meaning)
			return
		}
	}
	if !slices.ContainsFunc(all, func(m phrase.Meaning) bool { return m.Command == phrase.No }) {
		t.accept(all...)
	}
	for _, m := range all {
		c, no, _ := t.resolve(m)
		switch {
		case no != "":
			if why == "" {
				why = no
			}
		case !slices.ContainsFunc(choices, c.same):
			choices = append(choices, c)
		}
	}
	if t.s.reason != nil {
		t.say(notLeftOut)
	}
	t.s.offer, t.s.reason = nil, nil
	switch len(choices) {
	case 0:
		t.say(why)
		t.remindPending()
	case 1:
		if t.outstanding(choices[0]) {
			t.firstThis()
			return
		}
		t.propose(choices[0], true)
	default:
		t.s.offer = choices[:2]
		t.say(t.offerText())
	}
}

// unsure answers a disputed command. Asking what is next, or to hear something
// again, does no harm when it was meant otherwise.
func (t *turn) unsure(m phrase.Meaning) {
	switch m.Command {
	case phrase.SayAgain, phrase.SayAgainSlow, phrase.WhatsNext, phrase.WhatsLeft:
		t.meaning(m)
		return
	}
	t.say("I am not sure what you said, and did nothing.")
	t.remind()
}

// liveJob reports whether the job has live tests.
func liveJob(job board.Job) bool { return job.Asks(board.Live) }
