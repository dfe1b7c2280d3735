package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// What is taken off, out or linked for a test. It is off from the fact that says so
// (record.Event.Off) until the step that says that it is back, whatever happens in
// between. The strings are stored, so they never change.
const (
	EarthingConductor = "earthing conductor" // off the main earthing terminal; on TT that of the electrode
	SurgeProtection   = "surge protection"
	Conductors        = "links and ends" // test links put in, and ends of rings out of their terminals
	MainSwitch        = "main switch"    // off, for what is measured at its incoming terminals
)

// mustBeBack reports whether a test must not be made while a thing is off: no live
// test, but for the loop and the electrode that are measured without the earthing
// conductor; and no insulation test with ends out or links in, which would be a
// reading of something else.
func mustBeBack(what string, c circuit, slot record.Slot) bool {
	switch what {
	case EarthingConductor:
		return Live(slot) && !withoutEarth(c, slot)
	case Conductors:
		return Live(slot) || slot.Test.Insulation()
	case MainSwitch:
		return Live(slot) && !atIncoming(c, slot)
	}
	return Live(slot)
}

// atIncoming reports whether a test of a board is measured at the incoming terminals of
// its main switch, with that off.
func atIncoming(c circuit, slot record.Slot) bool {
	return slot.Way == 0 && Live(slot) && setupAt(c, slot.Test) == Incoming
}

// withoutEarth reports whether a test is made with the earthing conductor off: the
// external loop impedance and the electrode, so that neither parallel paths nor the
// bonding are measured with them.
func withoutEarth(c circuit, slot record.Slot) bool {
	return slot.Way == 0 && (slot.Test == reading.Ze || slot.Test == reading.RA) && c.board != nil && c.ownEarth()
}

// Out returns which of lamps, loads and electronics a board had taken out for its tests
// and is not ready for live tests since. That answer says that everything is connected
// again; a job without live tests never asks for it.
func Out(s record.State, board int) (out []string) {
	back, _ := s.Answered(board, ReadyForLive)
	for _, x := range []struct{ step, what string }{{LampsOut, "lamps"}, {LoadsOut, "loads"}, {ElectronicsOut, "electronics"}} {
		if a, ok := s.Answered(board, x.step); ok && a.How == record.Done && a.EventID > back.EventID {
			out = append(out, x.what)
		}
	}
	return out
}

// Leaves returns what is off, out or linked at a test while it is made, or "".
func Leaves(s record.State, slot record.Slot) string {
	if all, apart, chosen := WhichConductors(s, slot); chosen && (!all || len(apart) > 0) {
		return Neutrals
	}
	if c, ok := place(&s.Job, slot.Board, slot.Way); ok && atIncoming(c, slot) {
		return MainSwitch
	}
	switch slot.Test {
	case reading.R1R2, reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE:
		return Conductors
	}
	return ""
}

// Answer is the fact that answers a step of a board: with what it takes off or says
// is back, if it was carried out.
func (s Step) Answer(board int, how record.How, reason string) record.Event {
	e := record.Event{Kind: record.Prepared, Board: board, Step: s.ID, Answer: how, Reason: reason}
	if how == record.Done {
		e.Off, e.Back = s.Off, s.Back
	}
	return e
}

// TakeBack is the fact that takes that answer back. What was said to be back is then
// off again; what was said to be off stays so, because nobody said that it is back.
func (s Step) TakeBack(board int, reason string) record.Event {
	return record.Event{Kind: record.Prepared, Board: board, Step: s.ID, Answer: record.TakenBack, Reason: reason, Off: s.Back}
}

// backStep returns the step that says that a thing is back, or nil for a name of a
// later version.
func backStep(what string) *Step {
	if i := slices.IndexFunc(steps, func(s Step) bool { return s.Back == what }); i >= 0 {
		return &steps[i]
	}
	return nil
}

// backs returns the steps that say that what is off on a board is back, as far as it
// must be for slot. The earthing conductor is not among it: backFirst is for that; nor
// is the main switch, see switchedOff.
func (p *site) backs(b *panel, slot record.Slot) (due []boardStep) {
	c, _ := place(&p.s.Job, b.Number, 0)
	for i := range steps {
		if what := steps[i].Back; what != "" && what != EarthingConductor && what != MainSwitch {
			if _, off := p.s.OffLast(b.Number, what); off && mustBeBack(what, c, slot) {
				due = append(due, boardStep{b.Number, &steps[i]})
			}
		}
	}
	return due
}

// anyLive stands for any live test of a board that the earthing conductor is on for.
func anyLive(b *panel) record.Slot { return record.Slot{Board: b.Number, Test: reading.PFC} }

// around returns the boards that a live test of b has to do with: those that get their
// supply from the same origin. What feeds b is on for it, and so is all else that this
// feeds.
func (p *site) around(b *panel) (all []*panel) {
	for _, x := range p.boards {
		if origin(x) == origin(b) {
			all = append(all, x)
		}
	}
	return all
}

// origin returns the board at the start of what feeds a board, or that itself.
func origin(b *panel) *panel {
	for b.up != nil {
		b = b.up
	}
	return b
}

// backFirst returns what is due while an earthing conductor is off: the test that it
// was taken off for, as long as the electrician is at it, and then, or after any
// interruption or once that answer was taken back, nothing but that it is put back.
func (p *site) backFirst() (Due, bool) {
	for _, b := range p.boards {
		r, off := p.s.OffLast(b.Number, EarthingConductor)
		if !off {
			continue
		}
		if n := len(p.s.Resumed); (n == 0 || p.s.Resumed[n-1] < r.EventID) && b.answers[EarthOff].EventID == r.EventID {
			c, _ := place(&p.s.Job, b.Number, 0)
			went := false
			if p.s.Aim != nil {
				var d Due
				d, went = p.aimed(*p.s.Aim)
				if went && d.Step == nil && d.Board == b.Number && withoutEarth(c, d.Slot) {
					return d, true
				}
			}
			i := slices.IndexFunc(b.items, func(it *item) bool {
				return it.open && withoutEarth(c, it.slot) && p.before(b, it.slot).need == ""
			})
			if i >= 0 && !went && len(p.liveSteps(b)) == 0 {
				return p.testDue(b.items[i]), true
			}
		}
		return p.stepDue(b.Number, backStep(EarthingConductor)), true
	}
	return Due{}, false
}

// stepsFor returns the steps that come before one test alone: the main switch locked
// off and the earthing conductor off, for what is measured without it. Once that is
// back both are due again, and so they are after an interruption. Before what needs the
// main switch it is that this is on again.
func (p *site) stepsFor(b *panel, slot record.Slot) (due []boardStep) {
	c, ok := place(&p.s.Job, slot.Board, slot.Way)
	if !ok || !withoutEarth(c, slot) {
		return p.switchedOff(b, c, slot)
	}
	if _, off := p.s.OffLast(b.Number, EarthingConductor); off {
		return nil
	}
	since := max(b.answers[ReadyForLive].EventID, b.answers[EarthBack].EventID, energised(b))
	if n := len(p.s.Resumed); n > 0 {
		since = max(since, p.s.Resumed[n-1])
	}
	for i := range steps {
		if step := &steps[i]; step.Alone && (step.Off == EarthingConductor || b.answers[step.ID].EventID <= since) {
			due = append(due, boardStep{b.Number, step})
		}
	}
	return due
}

// switchedOff returns the steps that say that a main switch is on again, of those
// through which the supply comes to a live test: first that of the board nearest to the
// origin.
func (p *site) switchedOff(b *panel, c circuit, slot record.Slot) (due []boardStep) {
	if !Live(slot) {
		return nil
	}
	for at := b; at != nil && !at.Supply.OnlyIsolated; at = at.up {
		if _, off := p.s.OffLast(at.Number, MainSwitch); off && (at != b || mustBeBack(MainSwitch, c, slot)) {
			due = append([]boardStep{{at.Number, backStep(MainSwitch)}}, due...)
		}
	}
	return due
}

// stillSwitchedOff returns the steps that say that a main switch is on again which nothing
// else asks for: at the end of the work the installation is to be used again. It is not
// asked while anything fails or waits, because whether it goes on then is for the
// competent person.
func (p *site) stillSwitchedOff() (due []boardStep) {
	for _, b := range p.boards {
		if _, off := p.s.OffLast(b.Number, MainSwitch); off {
			due = append(due, boardStep{b.Number, backStep(MainSwitch)})
		}
	}
	if due == nil {
		return nil // as it mostly is, and looking through all tests takes time
	}
	for _, b := range p.boards {
		for _, it := range b.items {
			if p.fails(it.slot) || p.active(it) && !p.closed(it.slot) && p.waits(it).need != "" {
				return nil
			}
		}
	}
	return due
}

// measuredWithoutEarth reports whether a board has a test for which its earthing
// conductor is taken off.
func measuredWithoutEarth(job *board.Job, b *board.Board) bool {
	return slices.ContainsFunc(Needs(*job, b.Number, 0), func(n Need) bool {
		c, ok := place(job, b.Number, 0)
		return ok && n.Need == Needed && withoutEarth(c, n.Slot)
	})
}

// counts reports whether a step belongs to the work as it is known now: that something
// is back, once it was off; what comes before one test, as long as that is asked for.
func (p *site) counts(b *panel, step *Step) bool {
	_, answered := b.answers[step.ID]
	switch {
	case step.Back != "":
		_, off := p.s.OffLast(b.Number, step.Back)
		return off || answered
	case step.ID == DeadComplete && p.s.Job.LiveFirst():
		return answered // asked only when live tests turn up after the dead ones
	case step.Alone:
		return answered || slices.ContainsFunc(b.items, func(it *item) bool { return it.open && len(p.stepsFor(b, it.slot)) > 0 })
	}
	return true
}

// Concerns reports whether a step belongs to a record: one that says that something is
// back does once it was off, and one before a single test once it was answered.
func Concerns(s record.State, board int, step Step) bool {
	_, off := s.OffLast(board, step.Back)
	_, answered := Answered(s, board, step)
	always := step.Back == "" && !step.Alone && !(step.ID == DeadComplete && s.Job.LiveFirst())
	return always || off || answered
}

// Off returns what is off on the boards of a job and must be said to be back, by the
// board, each thing once.
func Off(s record.State) map[int][]string {
	all := map[int][]string{}
	for _, n := range s.Job.InOrder() {
		for _, r := range s.Off(n) {
			if !slices.Contains(all[n], r.What) {
				all[n] = append(all[n], r.What)
			}
		}
	}
	return all
}
