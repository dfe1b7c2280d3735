package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// The ways of a board are joined at its busbar and its neutral bars, so that what is
// read of one with its breaker on and its neutral in is largely all of them. There are
// two honest ways of working, one of which is chosen for each board. The strings are
// stored, so they never change.
const (
	// WholeFirst: breakers in, neutrals as found, one reading for the board. What it
	// shows of each way is enough for those that it covers, see check.BoardCovers;
	// otherwise the board is divided.
	WholeFirst = "whole board first"
	// WayByWay: this way's breaker off, and its neutral out of the bar.
	WayByWay = "way by way"
)

// Neutrals are out of their bars, so that ways can be read one by one.
const Neutrals = "neutrals"

// joinable reports whether a way is among those that are read together at a board: not
// one of other voltage, and not one that may not see the board's.
func joinable(w *board.Way) bool { return !w.Spare && !w.Separated && w.Keep500Off == "" }

// isJoined reports whether a board has two such ways or more.
func isJoined(b *board.Board) bool {
	n := 0
	for i := range b.Ways {
		if joinable(&b.Ways[i]) {
			n++
		}
	}
	return n > 1
}

// readTogether reports whether the ways of a board may be read together: they are
// joined, and the insulation of each is asked for.
func readTogether(job *board.Job, b *board.Board) bool {
	return isJoined(b) && !slices.ContainsFunc(b.Ways, func(w board.Way) bool { return joinable(&w) && !asksInsulation(job, b, &w) })
}

// readApart reports whether those ways of a board that are asked for are read one by
// one, because they are joined to others that are not.
func readApart(job *board.Job, b *board.Board) bool {
	return isJoined(b) && !readTogether(job, b) && hasInsulation(job, b)
}

// mode is how the insulation of a board is read: WholeFirst, WayByWay, or "" where it
// was not chosen. What was said last counts.
func (b *panel) mode() string {
	whole, single := b.answers[WholeFirst], b.answers[WayByWay]
	switch {
	case b.apart:
		return WayByWay
	case whole.EventID > single.EventID:
		return WholeFirst
	case single.EventID > 0:
		return WayByWay
	}
	return ""
}

// Mode returns how the insulation of a board is read: WholeFirst, WayByWay, or "" where
// nothing was chosen, as in logs of early versions.
func Mode(s record.State, number int) string {
	if b := newSite(s).at[number]; b != nil {
		return b.mode()
	}
	return ""
}

// ReadApart reports whether the ways of a board are read one by one without that being
// asked, because not all of them are asked for.
func ReadApart(s record.State, number int) bool {
	b := s.Job.Board(number)
	return b != nil && readApart(&s.Job, b)
}

// ofWhole reports whether a test is made on the whole board first.
func ofWhole(slot record.Slot) bool {
	return slot.Way == 0 && (slot.Test == reading.LNE || slot.Test == reading.LN || slot.Test == reading.LL)
}

// covering returns the readings of the whole board that show of a way's test that it
// meets its limit, or none: those that pass, and are from after the last work on it.
func (p *site) covering(it *item) []*record.Reading {
	b := p.at[it.slot.Board]
	if b == nil || it.way == nil || it.live || !joinable(it.way) || b.mode() != WholeFirst {
		return nil
	}
	tests := []reading.Test{it.slot.Test}
	switch it.slot.Test {
	case reading.LNE, reading.LN:
	case reading.LL:
		if !it.way.NoNeutral {
			tests = append(tests, reading.LN)
		}
	default:
		return nil
	}
	var all []*record.Reading
	limit := p.limit(circuit{job: &p.s.Job, board: b.Board, way: it.way})
	for _, test := range tests {
		r := p.stands[record.Slot{Board: b.Number, Test: test}]
		if r == nil || r.Verdict.Result != check.Pass || !check.BoardCovers(r.Quantity, limit) || r.ConfirmedID < p.worked(b.Number, it.slot.Way) {
			return nil
		}
		all = append(all, r)
	}
	return all
}

// worked returns the event of the last work on a way, or 0.
func (p *site) worked(board, way int) (last int64) {
	for _, w := range p.s.Worked {
		if w.Board == board && w.Way == way {
			last = w.EventID
		}
	}
	return last
}

// Covered returns a function that gives the reading of the whole board by which an
// insulation test of a way is not asked for: of two, the lower one.
func Covered(s record.State) func(record.Slot) (record.Reading, bool) {
	p := newSite(s)
	covered := map[record.Slot]*record.Reading{}
	for _, b := range p.boards {
		for _, it := range b.items {
			for _, r := range p.covering(it) {
				if low := covered[it.slot]; !p.closed(it.slot) && (low == nil || limits.IntervalOf(r.Quantity).Low < limits.IntervalOf(low.Quantity).Low) {
					covered[it.slot] = r
				}
			}
		}
	}
	return func(slot record.Slot) (record.Reading, bool) {
		if r := covered[slot]; r != nil {
			return *r, true
		}
		return record.Reading{}, false
	}
}

// WhichConductors says which breakers and neutrals are where for an insulation test:
// all in but those of the ways that are apart, or this way's alone out. chosen is false
// where no way of working was chosen.
func WhichConductors(s record.State, slot record.Slot) (all bool, apart []int, chosen bool) {
	b := newSite(s).at[slot.Board]
	if b == nil || !slot.Test.Insulation() || b.mode() == "" {
		return false, nil, false
	}
	for i := range b.Ways {
		if w := &b.Ways[i]; !w.Spare && !joinable(w) {
			apart = append(apart, w.Number)
		}
	}
	return slot.Way == 0, apart, true
}
