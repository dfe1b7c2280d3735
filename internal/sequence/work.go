// This file has what the kind of work leaves out of a job: what an addition or
// alteration does not touch, and what was not agreed for a periodic inspection. It also
// says when live tests come first.

package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/reading"
	"waycall/internal/record"
)

const (
	additionSrc = "BS 7671 regulations 132.16 and 641.5, from memory"
	sampleSrc   = "BS 7671 regulation 653.2 and IET Guidance Note 3, extent, limitations and sampling, from memory"
)

// Why something is not asked for.
const (
	untouched   = "The way is neither new nor altered."
	otherBoard  = "No way of this board is new or altered, and it feeds none that is."
	feedsChange = "What is new or altered is fed by this way, so its loop impedance is asked for, and nothing else of it."
	noSample    = "The way is not in the sample that was agreed"
	noDead      = "No dead test of it was agreed"
)

// outside returns the ruling on a test that the kind of work leaves out, and false for
// one that it does not.
func (c circuit) outside(slot record.Slot) (ruling, bool) {
	switch {
	case c.job.Changes():
		return c.leftAsItWas(slot)
	case c.job.Periodic != nil:
		return c.notAgreed(slot)
	}
	return ruling{}, false
}

// leftAsItWas is outside of an addition or alteration. What it needs of the supply is
// asked for: that of its board, and of each board that feeds it.
func (c circuit) leftAsItWas(slot record.Slot) (ruling, bool) {
	switch {
	case !concerned(c.job, c.board):
		return notNeeded(otherBoard, additionSrc), true
	case c.way == nil || c.way.Work != "":
		return ruling{}, false
	case c.way.Supplies != 0 && concerned(c.job, c.job.Board(c.way.Supplies)):
		return notNeeded(feedsChange, additionSrc), slot.Test != reading.Zs
	}
	return notNeeded(untouched, additionSrc), true
}

// concerned reports whether a way of a board is new or altered, or one of a board that
// it feeds, itself or through others.
func concerned(job *board.Job, b *board.Board) bool {
	return b != nil && (slices.ContainsFunc(b.Ways, func(w board.Way) bool { return w.Work != "" }) ||
		slices.ContainsFunc(job.Boards, func(down board.Board) bool {
			return slices.ContainsFunc(down.Ways, func(w board.Way) bool { return w.Work != "" }) && feeds(job, b.Number, &down)
		}))
}

// feeds reports whether a board feeds another, itself or through others.
func feeds(job *board.Job, number int, b *board.Board) bool {
	for range job.Boards {
		if b == nil || b.Supply.From == 0 {
			return false
		}
		if b.Supply.From == number {
			return true
		}
		b = job.Board(b.Supply.From)
	}
	return false
}

// notAgreed is outside of a periodic inspection.
func (c circuit) notAgreed(slot record.Slot) (ruling, bool) {
	with := "."
	if who := c.job.Periodic.AgreedWith; who != "" {
		with = " with " + who + "."
	}
	switch {
	case c.way != nil && c.way.Tested == board.NotTested:
		return notNeeded(noSample+with, sampleSrc), true
	case Live(slot) || c.way == nil && deadAgreed(c.job, c.board) || c.way != nil && c.job.DeadAgreed(c.way):
		return ruling{}, false
	}
	return notNeeded(noDead+with, sampleSrc), true
}

// deadAgreed reports whether a dead test of any way of a board was agreed.
func deadAgreed(job *board.Job, b *board.Board) bool {
	return slices.ContainsFunc(b.Ways, func(w board.Way) bool { return !w.Spare && job.DeadAgreed(&w) })
}

// hasDead reports whether a job asks for dead tests on a board, or for its isolation
// because of those on another.
func hasDead(job *board.Job, b *board.Board) bool {
	if b.Supply.OnlyIsolated {
		return slices.ContainsFunc(job.Boards, func(x board.Board) bool { return !x.Supply.OnlyIsolated && hasDead(job, &x) })
	}
	return (job.Asks(board.Continuity) || job.Asks(board.Insulation) || job.Asks(board.Polarity)) && asksOn(job, b) && deadAgreed(job, b)
}

// hasInsulation reports whether the insulation of any way of a board is asked for.
func hasInsulation(job *board.Job, b *board.Board) bool {
	return !b.Supply.OnlyIsolated && slices.ContainsFunc(b.Ways, func(w board.Way) bool { return asksInsulation(job, b, &w) })
}

// asksOn reports whether the kind of work asks for anything on a board.
func asksOn(job *board.Job, b *board.Board) bool { return !job.Changes() || concerned(job, b) }

// asksInsulation reports whether the insulation of a way is asked for.
func asksInsulation(job *board.Job, b *board.Board, w *board.Way) bool {
	c := circuit{job: job, board: b, way: w}
	_, out := c.outside(record.Slot{Board: b.Number, Way: w.Number, Test: reading.LNE})
	return !w.Spare && job.Asks(board.Insulation) && !out
}

// LeftOut says why the kind of work leaves tests of a way out, or with way 0 of the board
// itself, in a sentence with its source; all when it leaves out all of them. It is false
// where nothing is left out.
func LeftOut(job board.Job, number, way int) (why, source string, all, out bool) {
	c, ok := place(&job, number, way)
	if !ok || !job.Changes() && job.Periodic == nil {
		return "", "", false, false
	}
	dead, live := record.Slot{Board: number, Way: way, Test: reading.Earthing}, record.Slot{Board: number, Way: way, Test: reading.Zs}
	r, out := c.outside(dead)
	if _, also := c.outside(live); also {
		return r.why, job.JudgedBy().Of(r.source), true, out
	}
	return r.why, job.JudgedBy().Of(r.source), false, out
}

// liveFirst reports whether a job stays on and has live tests, which then come first.
func liveFirst(job *board.Job) bool { return job.LiveFirst() && job.Asks(board.Live) }

// stillOn reports whether a board is tested live before it is isolated: it stays on, and
// nobody isolated it yet, or what feeds it, which took its supply away as well.
func (p *site) stillOn(b *panel) bool {
	if !liveFirst(&p.s.Job) {
		return false
	}
	for at := b; at != nil; at = at.up {
		if at.answers[Isolated].EventID != 0 {
			return false
		}
	}
	return true
}

// stillOnOf returns those of boards that are.
func (p *site) stillOnOf(boards []*panel) []*panel {
	return slices.DeleteFunc(slices.Clone(boards), func(b *panel) bool { return !p.stillOn(b) })
}

// StillOn reports whether the live tests of a board come first: the installation stays
// on, and neither the board nor what feeds it was isolated in this job.
func StillOn(s record.State, number int) bool {
	if !liveFirst(&s.Job) {
		return false // most jobs, and a site is much work
	}
	p := newSite(s)
	b := p.at[number]
	return b != nil && p.stillOn(b)
}
