package sequence

import (
	"fmt"
	"slices"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/waymark"
)

const (
	deadFirst   = "BS 7671 regulation 643.1: the dead tests before the supply is put on, from memory"
	repeatSrc   = "BS 7671 regulation 643.1: a test that fails is repeated after the fault is put right, and so are those it may have influenced, from memory"
	loopFirst   = "IET Guidance Note 3: the loop impedance before the tests of residual current devices, from memory"
	deadWork    = "Electricity at Work Regulations 1989 regulations 12 to 14, from memory"
	withoutZero = "IET Guidance Note 3, ring final circuits, from memory"
)

// site is a state looked up once: the boards in the order of work, and what
// stands in each place.
type site struct {
	s      record.State
	boards []*panel
	at     map[int]*panel
	stands map[record.Slot]*record.Reading
	left   map[record.Slot]*record.Skip
	shared map[shared]int // residual current tests that stand: group -> the way on which they were made
}

// shared is a test of a device that a group of ways has in common.
type shared struct {
	board int
	group string
	test  reading.Test
}

func newSite(s record.State) *site {
	p := &site{s: s, at: map[int]*panel{}, stands: map[record.Slot]*record.Reading{}, left: map[record.Slot]*record.Skip{}, shared: map[shared]int{}}
	for _, n := range s.Job.InOrder() {
		b := newPanel(&s.Job, n, SurgeConnected(s, n))
		b.up, b.answers, b.failed, b.skipped = p.at[b.Supply.From], map[string]record.Answer{}, map[int]record.Slot{}, map[int]record.Slot{}
		p.boards, p.at[n] = append(p.boards, b), b
	}
	for _, a := range s.Answers {
		if b := p.at[a.Board]; b != nil && a.Ended == 0 {
			b.answers[a.Step] = a
		}
	}
	for i := range s.Readings {
		if r := s.Readings[i]; r.Standing == record.Stands {
			p.stand(r)
		}
	}
	for i := range s.Skips {
		if k := &s.Skips[i]; k.Ended == 0 {
			p.left[k.Slot] = k
			if b := p.at[k.Slot.Board]; b != nil && k.EventID > b.lastID {
				b.last, b.lastID = k.Slot, k.EventID
			}
		}
	}
	for _, b := range p.boards {
		for _, it := range b.items {
			k, skipped := p.left[it.slot]
			if _, ok := p.stands[it.slot]; !it.live && !ok && skipped && k.How == record.NotMade && p.active(it) {
				b.skipped[it.slot.Way] = it.slot
			}
		}
		for _, it := range b.items {
			if it.open = p.active(it) && !p.closed(it.slot) && p.waits(it).need == ""; it.open {
				b.deadOpen, b.liveOpen = b.deadOpen || !it.live, b.liveOpen || it.live
			}
		}
	}
	return p
}

func (p *site) stand(r *record.Reading) {
	if !p.beforeConnected(r) {
		p.stands[r.Slot] = r
	}
	b := p.at[r.Slot.Board]
	if b == nil {
		return
	}
	// A reviewer at his desk moved no leads. Of several ways in one breath the last is
	// where the electrician is.
	if r.ConfirmedID >= b.lastID && !r.Edited {
		b.last, b.lastID = r.Slot, r.ConfirmedID
	}
	if _, already := b.failed[r.Slot.Way]; !already && !Live(r.Slot) && r.Verdict.Result == check.Fail {
		b.failed[r.Slot.Way] = r.Slot
	}
	if w := b.Way(r.Slot.Way); w != nil && w.Device.RCD != nil && w.Device.RCD.Group != "" {
		p.shared[shared{b.Number, w.Device.RCD.Group, r.Slot.Test}] = r.Slot.Way
	}
}

// beforeConnected reports whether an insulation reading is that at full voltage, before
// the equipment was connected that was then said to stay so: the one at 250 V is still
// to come (BS 7671 regulation 643.3.3, from memory).
func (p *site) beforeConnected(r *record.Reading) bool {
	volts, known := r.Verdict.TestVoltage()
	w := p.s.Job.Way(r.Slot.Board, r.Slot.Way)
	return r.Slot.Test == reading.LNE && known && volts > 250 && r.Verdict.Result == check.Pass && w != nil && w.Keep500Off != "" && slices.ContainsFunc(p.s.Answers, func(a record.Answer) bool {
		return a.Step == record.StaysConnected && a.Ended == 0 && a.Board == r.Slot.Board && (a.Way == 0 || a.Way == r.Slot.Way) && a.EventID > r.ConfirmedID
	})
}

// fails reports whether the reading that stands in slot fails.
func (p *site) fails(slot record.Slot) bool {
	r := p.stands[slot]
	return r != nil && r.Verdict.Result == check.Fail
}

// closed reports whether slot has a reading or was left out.
func (p *site) closed(slot record.Slot) bool { return p.stands[slot] != nil || p.left[slot] != nil }

// active reports whether a test is asked for as things are: those that are
// required, and of the others what a failure or a limitation calls for.
func (p *site) active(it *item) bool {
	other := it.slot
	switch {
	case it.need == NotPossible:
		return false
	case ofWhole(it.slot):
		return p.at[it.slot.Board].mode() == WholeFirst
	case !p.closed(it.slot) && len(p.covering(it)) > 0:
		return false
	case it.slot.Test == reading.R1R2:
		// R2 that was taken instead is enough.
		other.Test = reading.R2
		return p.stands[other] == nil || p.closed(it.slot)
	case it.slot.Test == reading.R2:
		other.Test = reading.R1R2
		k := p.left[other]
		return p.stands[other] == nil && (p.stands[it.slot] != nil || k != nil && (k.How == record.Limitation || k.How == record.NotApplicable))
	case it.rule.after != "":
		other.Test = it.rule.after
		return p.fails(other)
	case it.way != nil && it.way.Device.RCD != nil && it.way.Device.RCD.Group != "":
		// One device, one test, whichever way it was made on.
		at, made := p.shared[shared{it.slot.Board, it.way.Device.RCD.Group, it.slot.Test}]
		return !made || at == it.slot.Way || !ofRCD(it.slot.Test)
	}
	return true
}

func ofRCD(t reading.Test) bool {
	switch t {
	case reading.RCD1x, reading.RCD5x, reading.RCDHalf, reading.RCDRamp, reading.RCDButton:
		return true
	}
	return false
}

func ringEnd(slot record.Slot, t reading.Test) record.Slot {
	return record.Slot{Board: slot.Board, Way: slot.Way, Test: t}
}

// waiting is the ruling on a test that must wait, and its zero value one that
// need not.
func waiting(source, format string, args ...any) ruling {
	return ruling{NotPossible, fmt.Sprintf(format, args...), source}
}

// waits says for what a test must wait until there is work on the fault or the
// test that was skipped is made: what a failed or a skipped test blocks. It is
// the zero ruling when nothing stands in the way, or only tests that are still
// to be asked for.
func (p *site) waits(it *item) ruling {
	slot := it.slot
	if it.live {
		return p.waitsLive(p.at[slot.Board], slot)
	}
	switch slot.Test {
	case reading.LN, reading.LL:
		// A fault to earth stands in the way of what is between the conductors.
		if p.fails(record.Slot{Board: slot.Board, Way: slot.Way, Test: reading.LNE, Position: slot.Position}) {
			return waiting(practice, "Its insulation to earth fails; it waits for work.")
		}
	case reading.RingLN, reading.RingLE:
		for _, end := range [...]reading.Test{reading.RingR1, reading.RingRn, reading.RingR2} {
			if p.fails(ringEnd(slot, end)) {
				return waiting(withoutZero, "Its %s fails, so the ring is not whole; it waits for work.", end.Spoken())
			}
		}
	}
	return ruling{}
}

func (p *site) waitsLive(b *panel, slot record.Slot) ruling {
	// Its own way, then the way that feeds the board, and so on to the origin:
	// what is not fit to carry the supply stops everything behind it.
	for at, way := b, slot.Way; at != nil && !at.Supply.OnlyIsolated; way, at = at.Supply.FromWay, at.up {
		for _, n := range [...]int{0, way} {
			if bad, ok := at.failed[n]; ok {
				return waiting(repeatSrc, "%s fails in %s; no live test before it is put right and tested again.", whose(b, at, n), bad.Test.Spoken())
			}
			if left, ok := at.skipped[n]; ok {
				return waiting(deadFirst, "%s was not tested for %s; no live test before that is made, or waived with a reason.", whose(b, at, n), left.Test.Spoken())
			}
		}
		polarity := record.Slot{Board: at.Number, Test: reading.Polarity}
		if slot != polarity && p.fails(polarity) {
			return waiting(polaritySrc, "The supply of board %s is the wrong way round; nothing is measured before that is put right.", reading.Cardinal(at.Number))
		}
		if slot != polarity && p.notMade(polarity) {
			return waiting(polaritySrc, "The polarity of the supply of board %s was skipped; nothing is measured live before it.", reading.Cardinal(at.Number))
		}
	}
	if first, ok := p.loopBefore(b, slot); ok && (p.fails(first) || p.notMade(first)) {
		return waiting(loopFirst, "Its %s fails or was skipped; the residual current device waits for it.", first.Test.Spoken())
	}
	return ruling{}
}

// whose names the way of at, or at itself, that holds up a test on b.
func whose(b, at *panel, way int) string {
	its := "Way " + waymark.Aloud(way)
	if way == 0 {
		its = "The board"
	}
	if at != b {
		return "Board " + reading.Cardinal(at.Number) + ", which feeds it: " + english.Lower(its)
	}
	return its
}

// notMade reports whether a test was left out without being closed for good.
func (p *site) notMade(slot record.Slot) bool {
	k := p.left[slot]
	return k != nil && k.How == record.NotMade && p.stands[slot] == nil
}

// loopBefore returns the loop impedance that must be known before a residual
// current device is made to trip, because its test current lifts what is
// earthed.
func (p *site) loopBefore(b *panel, slot record.Slot) (record.Slot, bool) {
	if !ofRCD(slot.Test) {
		return slot, false
	}
	first := record.Slot{Board: slot.Board, Way: slot.Way, Test: reading.Zs}
	if slot.Way == 0 {
		first.Test = reading.Ze
		if b.Earthing == board.TT {
			first.Test = reading.RA
		}
	}
	return first, true
}

// before says what is still to be asked for before a live test, and is the zero
// ruling when nothing is.
func (p *site) before(b *panel, slot record.Slot) ruling {
	for at := b; at != nil && !at.Supply.OnlyIsolated; at = at.up {
		if p.stillOn(at) {
			continue
		}
		if len(p.unanswered(at)) > 0 {
			return waiting(deadWork, "The dead preparation of board %s is not answered, so the board is not put on.", reading.Cardinal(at.Number))
		}
		if at.deadOpen {
			return waiting(deadFirst, "Dead tests are left on board %s; they come first, or are waived with a reason.", reading.Cardinal(at.Number))
		}
	}
	for _, down := range p.boards {
		for up := down.up; up != nil; up = up.up {
			if up == b && !p.stillOn(down) && len(p.unanswered(down)) > 0 {
				return waiting(deadWork, "Board %s is fed from here and its dead preparation is not answered.", reading.Cardinal(down.Number))
			}
		}
	}
	first := record.Slot{Board: slot.Board, Test: reading.Polarity}
	if slot != first && !p.closed(first) {
		return waiting(polaritySrc, "The polarity of the supply comes first.")
	}
	if first, ok := p.loopBefore(b, slot); ok && !p.closed(first) && p.asked(b, first) {
		return waiting(loopFirst, "The %s comes first.", first.Test.Spoken())
	}
	return ruling{}
}

// asked reports whether a place is among the tests of a board.
func (p *site) asked(b *panel, slot record.Slot) bool {
	return slices.ContainsFunc(b.items, func(it *item) bool { return it.slot == slot })
}

// blocked says why a live test cannot be made now.
func (p *site) blocked(slot record.Slot) ruling {
	b := p.at[slot.Board]
	switch {
	case b == nil || b.Supply.OnlyIsolated:
		return waiting(practice, "Nothing is tested on that board.")
	case !p.s.Job.Asks(board.Live):
		return limited(&p.s.Job)
	}
	if r := p.waitsLive(b, slot); r.need != "" {
		return r
	}
	return p.before(b, slot)
}

// Blocked says why a live test cannot be made now: what comes before it is not
// made, failed, or was skipped. False means that nothing stands in its way but
// the answers to the steps before live tests. Dead tests are never blocked: the
// electrician may make them in any order.
func Blocked(s record.State, slot record.Slot) (Omitted, bool) {
	if !Live(slot) {
		return Omitted{}, false
	}
	p := newSite(s)
	r := p.blocked(slot)
	return Omitted{slot, r.why, p.cite(r.source), true}, r.need != ""
}

// Left returns the dead tests of a board that have neither a reading nor a
// reason that closes them, in the order of testing: those still to be asked for
// and those that were skipped. Waived with a reason, they no longer hold up the
// live tests. Failed tests are not among them: a failure is not waived.
func Left(s record.State, board int) []record.Slot {
	p := newSite(s)
	b := p.at[board]
	if b == nil {
		return nil
	}
	var slots []record.Slot
	for _, it := range b.items {
		if !it.live && (it.open || p.active(it) && p.notMade(it.slot)) {
			slots = append(slots, it.slot)
		}
	}
	return slots
}

func (p *site) limit(c circuit) limits.Insulation {
	w := board.Way{Phases: c.board.Phases}
	if c.way != nil {
		w = *c.way
	}
	return limits.InsulationLimit(w, c.board.Voltage, SurgeConnected(p.s, c.board.Number))
}
