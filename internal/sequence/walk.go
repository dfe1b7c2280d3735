package sequence

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// Setup is a state of leads, links and instrument in which several tests are
// made. The text says what is prepared and is exported, so it never changes.
type Setup string

// The set-ups, in the order of the walk round a board.
const (
	LongLead Setup = "long lead from the main earthing terminal"
	Linked   Setup = "line linked to the protective conductor at the board"
	RingOpen Setup = "ends of the ring out of their terminals"
	Megohms  Setup = "insulation tester at the board"
	Incoming Setup = "at the incoming terminals, main switch off"
	Outgoing Setup = "at the outgoing side of the main switch"
	Supply   Setup = "at the incoming terminals" // of an installation that stays on
	AtPoint  Setup = "at the last point of the circuit"
)

var walk = map[Setup]int{LongLead: 0, Linked: 1, RingOpen: 2, Megohms: 3, Incoming: 4, Supply: 4, Outgoing: 5, AtPoint: 6}

// setupOf returns the set-up of a rule's test on a place. Polarity of a ring is
// read at its points while they are cross-connected, and what is measured live
// of a way is measured at its last point, all of it in one visit.
func setupOf(r *rule, c circuit) Setup {
	switch {
	case c.way == nil && r.setup == Incoming && c.job.LiveFirst() && r.test != reading.Ze && r.test != reading.RA:
		return Supply
	case c.way == nil:
		return r.setup
	case r.setup == Linked && c.way.Wiring == board.Ring:
		return RingOpen
	case r.setup == Incoming || r.setup == Outgoing:
		return AtPoint
	}
	return r.setup
}

// setupAt is the setup of a test there, or "" where no rule is about it there.
func setupAt(c circuit, test reading.Test) Setup {
	for i := range rules {
		if r := &rules[i]; r.test == test {
			if _, has := r.at(c); has {
				return setupOf(r, c)
			}
		}
	}
	return ""
}

// item is one test of a board that is asked for, always or when another fails,
// or that is left out because of what stays connected.
type item struct {
	slot  record.Slot
	rule  *rule
	way   *board.Way // nil for the board itself
	order int        // of the way in the order of testing, from 1; 0 for the board itself
	rank  int        // of the rule
	round int        // 0 for what is measured way by way; then what is done in one round of the board, test by test
	key   int        // of the order of the walk
	open  bool       // to be asked for: now, or once what must precede it was made; filled in by newSite
	setup Setup
	stays bool    // the installation stays on, so that live tests come first
	volts float64 // of an insulation test, otherwise 0
	least float64 // Mohm, likewise
	live  bool
	ruling
}

// walkKey is where a test stands in the walk: by set-up, then by test voltage,
// the higher first, then by round, way, switch position and rule. There are at most 99
// ways and 20 positions, and test voltages end at 1000 V.
func (it *item) walkKey() int {
	key := walk[it.setup]
	if it.stays && it.setup == Incoming {
		key = len(walk) // the installation goes off for it, so it comes last
	}
	key = key<<10 + 1000 - int(it.volts)
	key = key<<8 + it.round
	key = key<<8 + it.order
	key = key<<8 + it.slot.Position
	return key<<8 + it.rank
}

// panel is a board with its tests in the order of the walk, the dead ones
// first.
type panel struct {
	*board.Board
	up     *panel // what feeds it, nil at the origin
	items  []*item
	joined bool // its ways can be read together, see readTogether
	apart  bool // they cannot, see readApart

	// What the readings say, filled in by newSite.
	answers  map[string]record.Answer
	failed   map[int]record.Slot // way, 0 for the board itself -> a dead test of it that fails
	skipped  map[int]record.Slot // the same -> a dead test of it that was left out without more
	deadOpen bool                // dead tests are to be asked for
	liveOpen bool
	last     record.Slot // where the last thing was done that still stands
	lastID   int64       // when; 0 for nothing yet
}

// newPanel lays out the tests of a board, or returns nil for none that is
// there. surge says that surge protection stayed connected.
//
// The walk: by set-up, of insulation by test voltage, then by way, then by
// switch position, then as the rules stand; what is done in one round of the board
// comes last in its set-up. A set-up is therefore made once and
// no way is visited twice in it, and no order that keeps the tests of a set-up
// together can have fewer changes.
func newPanel(job *board.Job, number int, surge bool) *panel {
	c := circuit{job: job, board: job.Board(number)}
	if c.board == nil {
		return nil
	}
	b := &panel{Board: c.board, joined: readTogether(job, c.board), apart: readApart(job, c.board)}
	if b.Supply.OnlyIsolated {
		return b
	}
	if b.Supply.From != 0 {
		c.up = job.Board(b.Supply.From)
	}
	c.groups = groups(job, c.board)
	ways := order(c.board)
	b.items = make([]*item, 0, 10*(len(ways)+1))
	together := limits.InsulationLimit(board.Way{Phases: b.Phases}, b.Voltage, surge)
	separated := limits.InsulationLimit(board.Way{Separated: true}, b.Voltage, surge)
	b.place(c, 0, together)
	for i, w := range ways {
		c.way = w
		limit := together
		switch {
		case w.Separated:
			limit = separated
		case w.Keep500Off != "":
			limit = limits.InsulationLimit(*w, b.Voltage, surge)
		}
		b.place(c, i+1, limit)
	}
	slices.SortFunc(b.items, func(x, y *item) int { return x.key - y.key })
	return b
}

// place adds the tests of one way, or of the board itself.
func (b *panel) place(c circuit, order int, limit limits.Insulation) {
	for i := range rules {
		r, ok := rules[i].at(c)
		if !ok {
			continue
		}
		it := item{stays: c.job.LiveFirst(), slot: record.Slot{Board: b.Number, Test: rules[i].test}, rule: &rules[i], way: c.way, order: order, rank: i, setup: setupOf(&rules[i], c), ruling: r}
		if c.way != nil {
			it.slot.Way = c.way.Number
		}
		kept := r.need == NotPossible && c.way != nil && c.way.Keep500Off != "" && (it.slot.Test == reading.LN && !c.way.NoNeutral || it.slot.Test == reading.LL && c.way.Phases == 3)
		whole := ofWhole(it.slot) && r.need == NotNeeded && b.joined
		if r.need != Needed && !kept && !whole && (r.need == NotPossible || it.rule.after == "") {
			continue
		}
		it.live = Live(it.slot)
		if inOneRound(it.slot) {
			it.round = 1 + i
		}
		if !c.job.Asks(kindOf(it.slot)) {
			continue
		}
		// R2 is asked for only on a way that wants R1+R2.
		if it.slot.Test == reading.R2 && r1r2(c).need != Needed {
			continue
		}
		if it.slot.Test.Insulation() {
			it.volts, it.least = limit.TestVoltage, limit.Least
		}
		for _, it.slot.Position = range positions(c, it.slot.Test) {
			one := it
			one.key = one.walkKey()
			b.items = append(b.items, &one)
		}
	}
}
