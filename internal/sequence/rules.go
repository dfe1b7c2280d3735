package sequence

import (
	"slices"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/waymark"
)

// Requirement says whether a test is made. The strings are exported, so they
// never change.
type Requirement string

// The requirements.
const (
	Needed      Requirement = "required"
	NotNeeded   Requirement = "not required" // may be made, and its reading is taken
	NotPossible Requirement = "not possible"
	Unknown     Requirement = "unknown" // what it hangs on is not described, so it is not known whether it is made
)

// Need is one test of a board or a way with what is asked of it.
type Need struct {
	Slot   record.Slot
	Need   Requirement
	Why    string // one sentence
	Source string // of Why
}

// Sources that several rules share.
const (
	practice    = limits.Practice
	gn3         = "IET Guidance Note 3, insulation resistance, from memory"
	joined      = "BS 7671 regulation 643.3.3, from memory"
	protective  = "BS 7671 regulation 643.2.1 and IET Guidance Note 3, from memory"
	ringSource  = "BS 7671 regulation 643.2.1 and IET Guidance Note 3, ring final circuits, from memory"
	insulation  = "BS 7671 regulation 643.3.2 and IET Guidance Note 3, from memory"
	separation  = "BS 7671 regulations 414.1 and 643.4, from memory"
	polaritySrc = "BS 7671 regulation 643.6 and IET Guidance Note 3, from memory"
	loopSource  = "BS 7671 regulation 643.7.3 and IET Guidance Note 3, from memory"
	electrode   = "BS 7671 regulations 411.5.3 and 643.7.2, from memory"
	arcSource   = "BS 7671 regulations 421.1.7 and 643.10, from memory"
	faultSource = "BS 7671 regulation 643.7.3.201, from memory"
	rcdSource   = "BS 7671 regulations 643.7.1 and 643.8, from memory"
	phaseSource = "BS 7671 regulation 643.9, from memory"
	works       = "BS 7671 regulation 643.10, from memory"
)

// rule is one line of the rule set: a test, the leads and links it is made
// with, and what asks for it of the board itself and of a way. A nil function
// means that there is no such test there.
type rule struct {
	test  reading.Test
	setup Setup
	board func(c circuit) ruling
	way   func(c circuit) ruling
	// after is the test that must have failed before this one is asked for; of
	// R2 the one that could not be made. Empty for the others.
	after reading.Test
}

// rules is the rule set. Its order is the order of testing on one way, and of
// one set-up the order in which the tests are made. Where BS 7671 wants
// polarity after insulation, Guidance Note 3 has it read with the links of the
// continuity test, and so it is here.
var rules = []rule{
	// Dead. BS 7671 regulations 643.2 to 643.6, from memory.
	{test: reading.Earthing, setup: LongLead, board: earthingConductor},
	{test: reading.Bonding, setup: LongLead, board: bonding},
	{test: reading.R2, setup: LongLead, way: longLead, after: reading.R1R2},
	{test: reading.R1R2, setup: Linked, way: r1r2},
	{test: reading.RingR1, setup: RingOpen, way: ringEnds},
	{test: reading.RingRn, setup: RingOpen, way: neutral(ringEnds)},
	{test: reading.RingR2, setup: RingOpen, way: ringEnds},
	{test: reading.RingLN, setup: RingOpen, way: neutral(ringCrossed)},
	{test: reading.RingLE, setup: RingOpen, way: ringCrossed},
	{test: reading.Polarity, setup: Linked, way: polarity},
	{test: reading.LNE, setup: Megohms, board: wholeBoard, way: toEarth},
	{test: reading.LE, setup: Megohms, way: single(apart), after: reading.LNE},
	{test: reading.L1E, setup: Megohms, way: lines(apart), after: reading.LNE},
	{test: reading.L2E, setup: Megohms, way: lines(apart), after: reading.LNE},
	{test: reading.L3E, setup: Megohms, way: lines(apart), after: reading.LNE},
	{test: reading.NE, setup: Megohms, way: neutral(apart), after: reading.LNE},
	{test: reading.LL, setup: Megohms, board: wholeLines, way: lines(between)},
	{test: reading.L1L2, setup: Megohms, way: lines(pairs), after: reading.LL},
	{test: reading.L2L3, setup: Megohms, way: lines(pairs), after: reading.LL},
	{test: reading.L1L3, setup: Megohms, way: lines(pairs), after: reading.LL},
	{test: reading.LN, setup: Megohms, board: wholeBoard, way: neutral(between)},
	{test: reading.L1N, setup: Megohms, way: lines(neutral(pairs)), after: reading.LN},
	{test: reading.L2N, setup: Megohms, way: lines(neutral(pairs)), after: reading.LN},
	{test: reading.L3N, setup: Megohms, way: lines(neutral(pairs)), after: reading.LN},

	// Live. Regulations 643.7 to 643.10, with the polarity of the supply, 643.6.
	{test: reading.Polarity, setup: Incoming, board: supply},
	{test: reading.Ze, setup: Incoming, board: ze},
	{test: reading.RA, setup: Incoming, board: ra},
	{test: reading.PFC, setup: Incoming, board: faultCurrent, way: faultCurrentOfWay},
	{test: reading.PSC, setup: Incoming, board: shortCircuit, way: faultCurrentOfWay},
	{test: reading.PhaseSequence, setup: Incoming, board: sequenceOfBoard},
	{test: reading.Zs, setup: AtPoint, way: zs},
	{test: reading.RCD1x, setup: Outgoing, board: rcdMain(rated), way: rcdOfWay(rated)},
	{test: reading.RCDHalf, setup: Outgoing, board: rcdMain(half), way: rcdOfWay(half)},
	{test: reading.RCD5x, setup: Outgoing, board: rcdMain(five), way: rcdOfWay(five)},
	{test: reading.RCDRamp, setup: Outgoing, board: rcdMain(ramp), way: rcdOfWay(ramp)},
	{test: reading.RCDButton, setup: Outgoing, board: rcdMain(button), way: rcdOfWay(button)},
	{test: reading.AFDDButton, setup: Outgoing, way: arcFault},
	{test: reading.PENFault, setup: Outgoing, way: penFault},
	{test: reading.DCFault, setup: Outgoing, way: dcFault},
	{test: reading.PhaseSequence, setup: AtPoint, way: lines(sequenceOfWay)},
	{test: reading.Functional, setup: Outgoing, board: mainSwitch, way: functional},
}

// circuit is what a rule looks at.
type circuit struct {
	job    *board.Job
	board  *board.Board
	up     *board.Board // what feeds it, nil at the origin
	way    *board.Way   // nil for the board itself
	groups map[string]int
}

// ruling is what a rule says of one place.
type ruling struct {
	need        Requirement
	why, source string
}

func needed(why, source string) ruling    { return ruling{Needed, why, source} }
func notNeeded(why, source string) ruling { return ruling{NotNeeded, why, source} }
func notPossible(why string) ruling       { return ruling{NotPossible, why, practice} }
func unknown(why, source string) ruling   { return ruling{Unknown, why, source} }

// single and lines make a rule for single-phase and for three-phase ways only.
func single(f func(circuit) ruling) func(circuit) ruling {
	return func(c circuit) ruling {
		if c.way.Phases == 3 {
			return notPossible("A three-phase way is taken apart line by line.")
		}
		return f(c)
	}
}

func lines(f func(circuit) ruling) func(circuit) ruling {
	return func(c circuit) ruling {
		if c.way.Phases != 3 {
			return notPossible("The way has a single phase.")
		}
		return f(c)
	}
}

// neutral makes a rule for ways that have a neutral only.
func neutral(f func(circuit) ruling) func(circuit) ruling {
	return func(c circuit) ruling {
		if c.way.NoNeutral {
			return notPossible("The way has no neutral.")
		}
		return f(c)
	}
}

// The board itself, dead.

// ownEarth reports whether the board has an earthing conductor of its own, and
// not only what comes with the circuit that feeds it.
func (c circuit) ownEarth() bool { return c.up == nil || c.ownElectrode() }

// ownElectrode reports whether an earth electrode belongs to the board: TT, and
// not fed from a board that is TT as well.
func (c circuit) ownElectrode() bool {
	return c.board.Earthing == board.TT && (c.up == nil || c.up.Earthing != board.TT)
}

func earthingConductor(c circuit) ruling {
	if !c.ownEarth() {
		return notNeeded("Its protective conductor comes with the circuit that feeds it, and is tested there.", protective)
	}
	return needed("The earthing conductor is what every protective conductor ends at.", protective)
}

func bonding(c circuit) ruling {
	switch {
	case len(c.board.Bonding) > 0:
	case c.board.NoBonding:
		return notPossible("There is no service to bond, as it is described.")
	case !c.ownEarth():
		return notPossible("Services are bonded where the installation is earthed.")
	default:
		return unknown("It is not described which services are bonded, or that there is none.", protective)
	}
	return needed("Each main bonding conductor is tested from the main earthing terminal to the service.", protective)
}

func wholeBoard(circuit) ruling {
	return notNeeded("Every way is tested by itself, or all of them together first.", insulation)
}

func wholeLines(c circuit) ruling {
	if c.board.Phases != 3 {
		return notPossible("The board has a single phase.")
	}
	return wholeBoard(c)
}

// Ways, dead.

func r1r2(c circuit) ruling {
	switch {
	case c.way.Separated:
		return notNeeded("SELV has no protective conductor, and PELV does not rely on one.", separation)
	case c.way.Wiring == board.Ring:
		return notNeeded("On a ring the cross-connected line to earth shows it.", ringSource)
	}
	return needed("It shows that the protective conductor reaches the last point, and serves for the loop impedance.", protective)
}

func longLead(c circuit) ruling {
	if c.way.Wiring == board.Ring {
		return notNeeded("On a ring the protective conductor is tested end to end.", ringSource)
	}
	if r := r1r2(c); r.need != Needed {
		return r
	}
	return notNeeded("R1+R2 includes it; R2 by the long lead where R1+R2 cannot be had.", protective)
}

const noRing = "The circuit is a radial, so it has no ring to test."

func ringEnds(c circuit) ruling {
	if c.way.Wiring != board.Ring {
		return notPossible(noRing)
	}
	return needed("Each conductor of a ring is measured end to end, to show that it is whole.", ringSource)
}

func ringCrossed(c circuit) ruling {
	if c.way.Wiring != board.Ring {
		return notPossible(noRing)
	}
	return needed("Cross-connected, every point on a whole ring gives much the same; the highest is recorded.", ringSource)
}

func polarity(c circuit) ruling {
	if c.way.Separated {
		return notNeeded("At extra-low voltage no single-pole device has to be in the line.", practice)
	}
	return needed("Single-pole devices must be in the line only; read with the links of the continuity test.", polaritySrc)
}

func toEarth(c circuit) ruling {
	switch {
	case c.way.Separated:
		return needed("SELV and PELV are insulated from earth and from other circuits, at their own voltage.", separation)
	case c.way.Keep500Off != "":
		return needed("Only live conductors together to earth, because of what stays connected: "+c.way.Keep500Off+".", joined)
	}
	return needed("Live conductors together to earth come first on each way.", gn3)
}

func between(c circuit) ruling {
	switch {
	case c.way.Keep500Off != "":
		return stays(c)
	case c.way.NoNeutral:
		return needed("Lines to each other follow where nothing stays connected.", gn3)
	case c.way.Phases == 3:
		return needed("Lines to each other and to neutral follow where nothing stays connected.", gn3)
	}
	return needed("Line to neutral follows where nothing stays connected.", gn3)
}

func stays(c circuit) ruling {
	return ruling{NotPossible, "Equipment stays connected: " + c.way.Keep500Off + ".", joined}
}

// apart is for the conductors one by one to earth.
func apart(c circuit) ruling {
	if c.way.Keep500Off != "" {
		return stays(c)
	}
	return notNeeded("Live conductors together to earth come first; each alone when they fail, to find the conductor.", practice)
}

// pairs is for the lines one by one to each other or to neutral.
func pairs(c circuit) ruling {
	if c.way.Keep500Off != "" {
		return stays(c)
	}
	return notNeeded("The lines together come first; each alone when they fail, to find the conductor.", practice)
}

// The board itself, live.

func supply(c circuit) ruling {
	return needed("Nothing is measured live before the supply was found the right way round.", polaritySrc)
}

func ze(c circuit) ruling {
	switch {
	case c.ownElectrode():
		return notNeeded("On T T the earth electrode is measured in its place.", electrode)
	case c.up != nil && !c.up.Supply.OnlyIsolated:
		return notNeeded("The loop impedance of the way that feeds the board is the same.", loopSource)
	case c.up != nil:
		return needed("What feeds the board is not tested, so the loop impedance is measured at the board.", loopSource)
	}
	return needed("Measured with the main switch off and the earthing conductor off the terminal, and put back after.", loopSource)
}

func ra(c circuit) ruling {
	switch {
	case c.board.Earthing != board.TT:
		return notPossible("An earth electrode is measured where the earthing is T T.")
	case !c.ownElectrode():
		return notNeeded("The electrode belongs to the board that feeds this one.", electrode)
	}
	return needed("On T T the electrode decides whether the residual current device disconnects.", electrode)
}

func faultCurrent(circuit) ruling {
	return needed("Determined at the origin and at each board, for the breaking capacity of its devices.", faultSource)
}

func shortCircuit(circuit) ruling {
	return notNeeded("The fault current recorded is the greater of those to earth and between live conductors; this one may be given beside it.", faultSource)
}

func faultCurrentOfWay(circuit) ruling {
	return notNeeded("It is less than at the board, where it is measured.", faultSource)
}

func sequenceOfBoard(c circuit) ruling {
	if c.board.Phases != 3 {
		return notPossible("A single phase has no sequence.")
	}
	return needed("The sequence of the phases is verified on a three-phase board.", phaseSource)
}

func mainSwitch(circuit) ruling {
	return notNeeded("The main switch works with every isolation; a reading may be given.", practice)
}

// Ways, live.

func zs(c circuit) ruling {
	if c.way.Separated {
		return notNeeded("Extra-low voltage protects without disconnection.", separation)
	}
	return needed("It shows that the device disconnects in time; Ze with R1+R2 may stand for it where it cannot be measured.", loopSource)
}

func sequenceOfWay(c circuit) ruling {
	return needed("The sequence of the phases must be kept to the last point.", phaseSource)
}

func functional(circuit) ruling {
	return needed("Switchgear, controls and interlocks are worked to see that they do what they should.", works)
}

// rcdTest is what one test of a residual current device is for.
type rcdTest func(*board.RCD) ruling

func rated(*board.RCD) ruling {
	return needed("The test at rated residual current is what shows that it disconnects in time.", rcdSource)
}

func half(*board.RCD) ruling {
	return notNeeded("Amendment 2 asks for the test at rated current only; this shows that it does not trip too soon.", rcdSource)
}

func five(*board.RCD) ruling {
	return notNeeded("Amendment 2 asks for the test at rated current only; this one was asked for before it.", rcdSource)
}

func ramp(*board.RCD) ruling {
	return notNeeded("It helps to find a device that trips for no known cause.", practice)
}

func button(*board.RCD) ruling {
	return needed("The test button works the mechanism; it is pressed after the measured test.", works)
}

func rcdMain(f rcdTest) func(circuit) ruling {
	return func(c circuit) ruling {
		if c.board.Main.RCD == nil {
			return notPossible("The main switch is no residual current device.")
		}
		return f(c.board.Main.RCD)
	}
}

func rcdOfWay(f rcdTest) func(circuit) ruling {
	return func(c circuit) ruling {
		rcd := c.way.Device.RCD
		switch {
		case rcd == nil && c.board.Main.RCD != nil:
			return notNeeded("Its residual current device is the main switch, which is tested once.", practice)
		case rcd == nil:
			return notPossible("No residual current device is described for this way.")
		}
		if first := c.groups[rcd.Group]; rcd.Group != "" && first != c.way.Number {
			return notNeeded("It shares its residual current device with way "+waymark.Aloud(first)+", and one device is tested once.", practice)
		}
		return f(rcd)
	}
}

// What belongs to one kind of way.

func arcFault(c circuit) ruling {
	if !c.way.AFDD {
		return notPossible("No arc fault detection device is described for this way.")
	}
	return needed("The test button works the mechanism of the arc fault detection device.", arcSource)
}

func penFault(c circuit) ruling {
	switch {
	case c.way.Kind != board.EVCharging:
		return notPossible("The way charges no electric vehicle.")
	case c.way.PEN == board.PENDevice:
		return needed("What disconnects on a broken P E N conductor is worked as its maker says.", check.PENSource)
	case c.board.Earthing != board.TNCS:
		return notNeeded("The board is not earthed by a P E N conductor.", check.PENSource)
	case c.way.PEN == "":
		return unknown("It is not described what protects when the P E N conductor breaks.", check.PENSource)
	}
	return notNeeded("No device that is described disconnects on a broken P E N conductor.", check.PENSource)
}

func dcFault(c circuit) ruling {
	switch {
	case c.way.Kind != board.EVCharging:
		return notPossible("The way charges no electric vehicle.")
	case c.way.DC == board.DCDevice:
		return needed("The charging point has no protection against direct current of its own, so its device is worked as its maker says.", check.EVSource)
	case c.way.DC == "":
		return unknown("It is not described what protects against a direct residual current.", check.EVSource)
	case c.way.DC == board.DCInCharger:
		return notNeeded("It is in the charging point, and is tested and recorded with that.", practice)
	}
	return notNeeded("No separate device against direct current is described.", check.EVSource)
}

// Live reports whether a test is made with the supply on. Polarity is a dead
// test of a way and a live one of the board, where it means the supply.
func Live(slot record.Slot) bool {
	return slot.Test.Live() || slot.Test == reading.Polarity && slot.Way == 0
}

// kindOf returns the kind by which a job may be limited.
func kindOf(slot record.Slot) board.Kind {
	switch {
	case Live(slot):
		return board.Live
	case slot.Test.Insulation():
		return board.Insulation
	case slot.Test == reading.Polarity:
		return board.Polarity
	}
	return board.Continuity
}

// limited is the ruling on a test of a kind that the job does not ask for.
func limited(job *board.Job) ruling {
	var kinds []string
	for _, k := range job.Tests {
		kinds = append(kinds, string(k))
	}
	return ruling{NotNeeded, "This job is limited to " + strings.Join(kinds, ", ") + ".", "the board file of the job"}
}

// Needs returns every test of a board or a way, in the order of the rule set,
// with whether it is made and why. Way 0 is the board itself. There are none
// for what does not exist, a spare way, or a board that is only isolated. The
// bonding of a board without bonded services has no position.
//
// What a test depends on beside the board, such as a failure, is not looked at
// here: see Blocked and NotAsked.
func Needs(job board.Job, board, way int) []Need {
	c, ok := place(&job, board, way)
	if !ok {
		return nil
	}
	var all []Need
	for i := range rules {
		slot := record.Slot{Board: board, Way: way, Test: rules[i].test}
		r, ok := rules[i].at(c)
		if !ok {
			continue
		}
		if r.need != NotPossible && r.need != Unknown && !job.Asks(kindOf(slot)) {
			r = limited(&job)
		}
		for _, slot.Position = range positions(c, slot.Test) {
			all = append(all, Need{slot, r.need, r.why, job.JudgedBy().Of(r.source)})
		}
	}
	return all
}

// at returns the ruling on a place, and false where there is no such test.
func (r *rule) at(c circuit) (ruling, bool) {
	f := r.way
	if c.way == nil {
		f = r.board
	}
	if f == nil {
		return ruling{}, false
	}
	is := f(c)
	if is.need == NotPossible {
		return is, true
	}
	slot := record.Slot{Board: c.board.Number, Test: r.test}
	if c.way != nil {
		slot.Way = c.way.Number
	}
	if out, outside := c.outside(slot); outside {
		return out, true
	}
	return is, true
}

// place returns what the rules look at, and false where nothing is tested.
func place(job *board.Job, number, way int) (circuit, bool) {
	c := circuit{job: job, board: job.Board(number)}
	if c.board == nil || c.board.Supply.OnlyIsolated {
		return c, false
	}
	if c.board.Supply.From != 0 {
		c.up = job.Board(c.board.Supply.From)
	}
	c.groups = groups(job, c.board)
	if way == 0 {
		return c, true
	}
	c.way = c.board.Way(way)
	return c, c.way != nil && !c.way.Spare
}

// groups returns for each group of ways that share a residual current device
// the way on which it is tested: the first in the order of testing that the kind of
// work does not leave out.
func groups(job *board.Job, b *board.Board) map[string]int {
	first := map[string]int{}
	for _, w := range order(b) {
		c := circuit{job: job, board: b, way: w}
		if _, out := c.outside(record.Slot{Board: b.Number, Way: w.Number, Test: reading.RCD1x}); out {
			continue
		}
		if r := w.Device.RCD; r != nil && r.Group != "" && first[r.Group] == 0 {
			first[r.Group] = w.Number
		}
	}
	return first
}

func positions(c circuit, test reading.Test) []int {
	switch {
	case test == reading.Bonding && len(c.board.Bonding) > 0:
		all := make([]int, len(c.board.Bonding))
		for i := range all {
			all[i] = i + 1
		}
		return all
	case c.way != nil && test.Insulation():
		return Positions(*c.way)
	}
	return []int{0}
}

// Positions returns the switch positions in which the insulation of a way is
// tested: 1 and 2 for two-way switching, otherwise 0 alone.
func Positions(w board.Way) []int {
	if w.TwoWay {
		return []int{1, 2}
	}
	return []int{0}
}

// Allowed returns the tests that a reading may be taken for on a way, and for
// way 0 on the board itself: those that are possible and belong to the job.
func Allowed(job board.Job, board, way int) []reading.Test {
	var tests []reading.Test
	for _, n := range Needs(job, board, way) {
		noPlace := n.Need == Unknown && n.Slot.Test == reading.Bonding // a reading is of one service
		if n.Need != NotPossible && !noPlace && job.Asks(kindOf(n.Slot)) && !slices.Contains(tests, n.Slot.Test) {
			tests = append(tests, n.Slot.Test)
		}
	}
	return tests
}

// Required returns the readings that the schedule needs of a way, or for way 0
// of the board itself, when nothing fails, in the order in which they are
// taken.
func Required(job board.Job, board, way int) []record.Slot {
	var slots []record.Slot
	if b := newPanel(&job, board, false); b != nil {
		for _, it := range b.items {
			if it.slot.Way == way && it.need == Needed {
				slots = append(slots, it.slot)
			}
		}
	}
	return slots
}

// Boards returns the numbers of the boards that are tested, in the order of
// work: a board that feeds others comes before those it feeds, and those that
// are only isolated are left out.
func Boards(job board.Job) []int {
	return slices.DeleteFunc(job.InOrder(), func(n int) bool { return job.Board(n).Supply.OnlyIsolated })
}

// Order returns the numbers of the ways of a board that are tested, in the order
// in which they are: neutral bars in the order in which they first appear on the
// board, in each the ways in the order of their numbers.
func Order(job board.Job, number int) []int {
	b := job.Board(number)
	if b == nil || b.Supply.OnlyIsolated {
		return nil
	}
	var all []int
	for _, w := range order(b) {
		all = append(all, w.Number)
	}
	return all
}

func order(b *board.Board) []*board.Way {
	var bars []string
	for i := range b.Ways {
		if w := &b.Ways[i]; !w.Spare && !slices.Contains(bars, w.NeutralBar) {
			bars = append(bars, w.NeutralBar)
		}
	}
	all := make([]*board.Way, 0, len(b.Ways))
	for _, bar := range bars {
		for i := range b.Ways {
			if w := &b.Ways[i]; !w.Spare && w.NeutralBar == bar {
				all = append(all, w)
			}
		}
	}
	return all
}
