package check

import (
	"fmt"
	"slices"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/limits"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// Earlier is a reading that was recorded before the one being checked.
type Earlier struct {
	board.Slot
	Quantity reading.Quantity
}

// Input is everything that the verdict on one reading rests on.
type Input struct {
	Job            board.Job
	board.Slot     // one that the job has not gives CannotSay
	Quantity       reading.Quantity
	SurgeConnected bool // surge protection could not be taken out for insulation tests
	// Earlier holds the readings on all boards of the job that still stand, in
	// the order they were recorded, at most one for each board, way, test and
	// position, and not the one that Quantity is to replace.
	Earlier []Earlier
}

type series struct {
	board int
	test  reading.Test
}

// ledger holds the readings taken before, found by place and by test.
type ledger struct {
	at     map[board.Slot]reading.Quantity
	series map[series][]Earlier // in the order they were recorded
}

func newLedger(earlier []Earlier) *ledger {
	l := &ledger{make(map[board.Slot]reading.Quantity, len(earlier)), map[series][]Earlier{}}
	for _, e := range earlier {
		l.add(e)
	}
	return l
}

// add takes in a reading that can be one; what cannot is no help to another.
func (l *ledger) add(e Earlier) {
	if e.Test.Fits(e.Quantity) != nil {
		return
	}
	at, s := e.Slot, series{e.Board, e.Test}
	if _, again := l.at[at]; again {
		l.forget(e)
	}
	l.at[at] = e.Quantity
	l.series[s] = append(l.series[s], e)
}

// forget takes out a reading that another replaces.
func (l *ledger) forget(e Earlier) {
	delete(l.at, e.Slot)
	s := series{e.Board, e.Test}
	l.series[s] = slices.DeleteFunc(l.series[s], func(x Earlier) bool { return x.Way == e.Way && x.Position == e.Position })
}

// ctx is a reading being judged, with what is known of its place.
type ctx struct {
	in    Input
	board *board.Board
	way   *board.Way // nil for the board itself
	q     reading.Quantity
	is    limits.Interval
	past  *ledger
}

// Judge gives the verdict on one reading of any test. It never panics: what
// cannot be judged, or contradicts what the board is, gives CannotSay and names
// the way and the test.
//
// The verdict names the edition of BS 7671 that the job is judged by.
func Judge(in Input) Verdict { return newLedger(in.Earlier).judge(&in) }

// JudgeAll judges the readings of a job one after another, each against those
// before it, as a conversation does. surge lists the boards whose surge
// protection stayed connected.
func JudgeAll(job board.Job, readings []Earlier, surge map[int]bool) []Verdict {
	l, out := newLedger(nil), make([]Verdict, 0, len(readings))
	for _, r := range readings {
		in := Input{Job: job, Slot: r.Slot, Quantity: r.Quantity, SurgeConnected: surge[r.Board]}
		// A reading given again does not stand in its own way.
		if _, again := l.at[r.Slot]; again {
			l.forget(r)
		}
		out = append(out, l.judge(&in))
		l.add(r)
	}
	return out
}

func (l *ledger) judge(in *Input) Verdict {
	v := l.verdict(in)
	v.Source = in.Job.JudgedBy().Of(v.Source)
	return v
}

func (l *ledger) verdict(in *Input) Verdict {
	c := &ctx{in: *in, q: in.Quantity, past: l}
	if v, refused := c.refuse(); refused {
		return v
	}
	c.is = limits.IntervalOf(c.q)
	all := c.rules()
	if len(all) == 0 {
		return c.numbers(cannot("no rule", limits.Practice, "There is no rule for %s.", in.Test.Spoken()))
	}
	return worst(all)
}

func (c *ctx) rules() []Verdict {
	switch t := c.in.Test; {
	case t.Insulation():
		return c.insulation()
	case t == reading.R1R2 || t == reading.R2:
		return c.continuity()
	case t == reading.Earthing || t == reading.Bonding:
		return c.conductorToEarth()
	case t == reading.RingR1 || t == reading.RingRn || t == reading.RingR2 || t == reading.RingLN || t == reading.RingLE:
		return c.ring()
	case t.Judged():
		return c.answered()
	case t == reading.Ze:
		return c.ze()
	case t == reading.RA:
		return c.electrode()
	case t == reading.Zs:
		return c.zs()
	case t == reading.PFC || t == reading.PSC:
		return c.faultCurrent()
	}
	return c.rcd()
}

// where names the place as it is said: "Way three, zed s".
func (c *ctx) where() string {
	place := english.Capital(board.Slot{Board: c.in.Board, Way: c.in.Way}.Place(waymark.Aloud))
	if s := c.in.Test.Spoken(); s != "" {
		return place + ", " + s
	}
	return fmt.Sprintf("%s, %q", place, printable.Cut(string(c.in.Test), 40))
}

// refuse finds what cannot be judged or cannot be: no such place, no such test
// there, no such reading.
func (c *ctx) refuse() (Verdict, bool) {
	const rule = "what can be"
	no := func(format string, args ...any) (Verdict, bool) {
		return cannot(rule, limits.Practice, "%s: %s.", c.where(), fmt.Sprintf(format, args...)).next("Correct the reading, or what is said of the board."), true
	}
	t := c.in.Test
	if c.board = c.in.Job.Board(c.in.Board); c.board == nil {
		return no("there is no board %s in this job", reading.Cardinal(c.in.Board))
	}
	if c.in.Way != 0 {
		if c.way = c.board.Way(c.in.Way); c.way == nil {
			return cannot(rule, limits.Practice, "There is no way %s on this board.", waymark.Print(c.in.Way)), true
		}
	}
	switch {
	case !t.Known():
		return no("there is no such test")
	case c.q.Bound == "":
		return no("there is no reading to judge")
	case c.q.Check() == nil && c.q.Unit != t.Unit() && !t.Judged():
		_, many := unitWords(t.Unit())
		return no("it is read in %s", many)
	case t.Fits(c.q) != nil:
		return no("%s", advice.What(t.Fits(c.q)))
	case c.board.Supply.OnlyIsolated:
		return no("this board is only isolated, so nothing on it is tested")
	case c.way == nil:
		return c.refuseBoard(no)
	}
	return c.refuseWay(no)
}

func (c *ctx) refuseBoard(no func(string, ...any) (Verdict, bool)) (Verdict, bool) {
	switch t := c.in.Test; {
	case t == reading.R1R2 || t == reading.R2 || t == reading.Zs || t == reading.AFDDButton || t == reading.PENFault || t == reading.DCFault || ringTest(t):
		return no("this is a test of a way, so name the way")
	case t == reading.RA && c.board.Earthing != "" && c.board.Earthing != board.TT:
		return no("an earth electrode is measured where the earthing is T T")
	case t == reading.PhaseSequence && c.board.Phases != 3:
		return no("a single phase has no sequence")
	case ofLines(t) && c.board.Phases != 3:
		return no("this board has a single phase")
	case ofRCD(t) && c.board.Main.RCD == nil:
		return no("no r c d is described as the main switch")
	case t == reading.Bonding && (c.in.Position < 1 || c.in.Position > len(c.board.Bonding)):
		return no("there is no bonded service number %s", reading.Cardinal(c.in.Position))
	}
	return Verdict{}, false
}

func (c *ctx) refuseWay(no func(string, ...any) (Verdict, bool)) (Verdict, bool) {
	switch t := c.in.Test; {
	case c.way.Spare:
		return no("the way is spare")
	case t == reading.Ze || t == reading.RA || t == reading.Earthing || t == reading.Bonding:
		return no("this is a test of the board, not of a way")
	case ringTest(t) && c.way.Wiring != board.Ring:
		return no("the circuit is a radial, so it has no ring to test")
	case ofRCD(t) && c.rcdOf() == nil:
		return no("no r c d is described for this way")
	case t == reading.AFDDButton && !c.way.AFDD:
		return no("no arc fault detection device is described for this way")
	case (t == reading.PENFault || t == reading.DCFault) && c.way.Kind != board.EVCharging:
		return no("the way charges no electric vehicle")
	case c.way.NoNeutral && toNeutral(t):
		return no("the circuit has no neutral")
	case (t == reading.PhaseSequence || ofLines(t)) && c.way.Phases != 3:
		return no("the circuit has a single phase")
	}
	return Verdict{}, false
}

func ringTest(t reading.Test) bool {
	switch t {
	case reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE:
		return true
	}
	return false
}

func ofRCD(t reading.Test) bool {
	switch t {
	case reading.RCD1x, reading.RCD5x, reading.RCDHalf, reading.RCDRamp, reading.RCDButton:
		return true
	}
	return false
}

// ofLines reports whether t needs more than one line conductor.
func ofLines(t reading.Test) bool {
	switch t {
	case reading.LL, reading.L1E, reading.L2E, reading.L3E, reading.L1L2, reading.L2L3, reading.L1L3, reading.L1N, reading.L2N, reading.L3N:
		return true
	}
	return false
}

// toNeutral reports whether t needs a neutral conductor.
func toNeutral(t reading.Test) bool {
	switch t {
	case reading.LN, reading.NE, reading.L1N, reading.L2N, reading.L3N, reading.RingRn, reading.RingLN:
		return true
	}
	return false
}

// numbers puts the reading first among the figures of a verdict.
func (c *ctx) numbers(v Verdict) Verdict {
	name := c.in.Test.Spoken()
	switch c.q.Bound {
	case reading.GreaterThan:
		name += " greater than"
	case reading.LessThan:
		name += " less than"
	}
	v.Numbers = append([]Number{{name, c.q.Value, string(c.q.Unit)}}, v.Numbers...)
	return v
}

// wide is the verdict on a bound that lies on both sides of a limit, or on a
// limit that is known only to lie between.
func (c *ctx) wide(rule, source string) Verdict {
	switch c.q.Bound {
	case reading.GreaterThan:
		return c.numbers(cannot(rule, source, "Known only to be %s, so use a higher range.", c.q.Spoken()))
	case reading.LessThan:
		return c.numbers(cannot(rule, source, "Known only to be %s, so read the value itself.", c.q.Spoken()))
	}
	return c.numbers(cannot(rule, source, "The limit depends on what is not known of this circuit."))
}

// got returns what an earlier test of the same place gave, at the same position
// or else at any.
func (c *ctx) got(t reading.Test) (limits.Interval, bool) { return c.gotAt(c.in.Board, c.in.Way, t) }

func (c *ctx) gotAt(number, way int, t reading.Test) (limits.Interval, bool) {
	at := board.Slot{Board: number, Way: way, Test: t, Position: c.in.Position}
	if q, ok := c.past.at[at]; ok {
		return limits.IntervalOf(q), true
	}
	for at.Position = range 3 {
		if q, ok := c.past.at[at]; ok {
			return limits.IntervalOf(q), true
		}
	}
	return limits.Interval{}, false
}
