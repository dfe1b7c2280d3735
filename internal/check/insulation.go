package check

import (
	"math"
	"slices"

	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

const (
	gn3Source   = "IET Guidance Note 3, insulation resistance, from a public print"
	comboSource = "resistances in parallel, each reading within the 30 % operating uncertainty of IEC 61557-2, from a public print"
)

// testVoltage names the figure of a verdict on insulation that says what it was
// measured with.
const testVoltage = "test voltage"

// TestVoltage returns what an insulation reading was measured with, V DC, as far as
// its verdict says so: those of early versions did not always.
func (v Verdict) TestVoltage() (float64, bool) {
	for _, n := range v.Numbers {
		if n.Name == testVoltage {
			return n.Value, true
		}
	}
	return 0, false
}

func (c *ctx) insulation() []Verdict {
	way := board.Way{Phases: c.board.Phases}
	if c.way != nil {
		way = *c.way
	}
	least := limits.InsulationLimit(way, c.board.Voltage, c.in.SurgeConnected)
	first := againstLimit(c.q, least)
	// Many new circuits in parallel give less than one.
	if fresh := limits.Value("insulation_new"); first.Result == Pass && c.way != nil && c.is.High < fresh && c.in.Job.Work != board.PeriodicInspection {
		// A remark, not a doubt.
		first = first.next("Of new work at least %s megohms is expected.", spokenNumber(fresh)).with("expected of new work", fresh, reading.Megohm)
	}
	if first.Result == Fail || first.Result == Investigate {
		first = c.suggest(first)
	}
	all := []Verdict{c.numbers(first)}
	for _, rule := range []func(*ctx, limits.Insulation) (Verdict, bool){againstSeparate, againstWhole, againstScale, againstPosition, sameAgain, slippedPoint} {
		if v, ok := rule(c, least); ok {
			all = append(all, c.numbers(v.with(testVoltage, least.TestVoltage, reading.Volt)))
		}
	}
	return all
}

// againstLimit judges q by the limit and by what is doubtful. Let the truth lie
// from low to high: it fails when even high does, passes when even low is no
// longer doubtful, and is looked into when even high is. Between, nothing can be
// said. A higher low or high never makes this worse.
func againstLimit(q reading.Quantity, l limits.Insulation) Verdict {
	doubtful := limits.Value("insulation_doubtful")
	low, high := q.Interval()
	below := func(x float64) bool { // the truth is surely below x
		return high < x || high == x && q.Bound == reading.LessThan
	}
	least := spokenNumber(l.Least)
	if l.Least == 1 {
		least += " megohm"
	} else {
		least += " megohms"
	}
	const rule = "insulation against its limit"
	v := func(r Result, source, format string, args ...any) Verdict {
		return verdict(r, rule, source, format, args...).with("limit", l.Least, reading.Megohm).with(testVoltage, l.TestVoltage, reading.Volt).margin(low, l.Least)
	}
	switch {
	case below(l.Least):
		return v(Fail, l.Source, "Below the limit of %s.", least).margin(high, l.Least)
	case below(doubtful):
		return v(Investigate, gn3Source, "Under two megohms, so look for the cause.")
	case low >= doubtful:
		return v(Pass, l.Source, "Meets the limit of %s.", least)
	case q.Bound == reading.GreaterThan:
		return v(CannotSay, l.Source, "Known only to be %s, so use a higher range.", q.Spoken())
	}
	return v(CannotSay, l.Source, "Known only to be %s, so read the value itself.", q.Spoken())
}

// spokenNumber says a number that came from a file or a table, with no more
// decimal places than it has.
func spokenNumber(x float64) string {
	return reading.Number(x)
}

// againstSeparate compares the live conductors together to earth with line to
// earth and neutral to earth, once all three are known.
//
// Measured alone, line to earth is its own path in parallel with the way round
// through the neutral. So the reading together is at least the two separate
// ones in parallel (no path between line and neutral) and at most the smaller
// of them (line and neutral joined, as by a load left in).
func againstSeparate(c *ctx, _ limits.Insulation) (Verdict, bool) {
	together, t := c.inPlace(reading.LNE)
	line, l := c.inPlace(reading.LE)
	neutral, n := c.inPlace(reading.NE)
	if !t || !l || !n || c.in.Test != reading.LNE && c.in.Test != reading.LE && c.in.Test != reading.NE {
		return Verdict{}, false
	}
	uncertainty := limits.Value("insulation_uncertainty")
	together, line, neutral = together.Widen(uncertainty), line.Widen(uncertainty), neutral.Widen(uncertainty)
	want := limits.Between(limits.Parallel(line, neutral).Low, math.Min(line.High, neutral.High))
	if !together.Apart(want) {
		return Verdict{}, false
	}
	return verdict(Investigate, "together against separate", comboSource, "The readings together and separate do not fit, so one of them is wrong.").
		span("together", together, reading.Megohm).span("line", line, reading.Megohm).span("neutral", neutral, reading.Megohm).next("Read all three again."), true
}

// againstScale finds an over-range reading that lost its "greater than" or one
// of its figures on the way, where the end of the scale at this test voltage is known.
func againstScale(c *ctx, l limits.Insulation) (Verdict, bool) {
	end, known := c.in.Job.Instrument.ScaleEnd(l.TestVoltage)
	q := c.q
	if !known {
		return Verdict{}, false
	}
	scale := spokenNumber(end)
	switch {
	case q.Bound == reading.Exactly && q.Value >= end:
		return verdict(Investigate, "end of the scale", limits.Practice, "The scale ends at %s, so was it over range?", scale).with("end of the scale", end, reading.Megohm), true
	case q.Bound == reading.GreaterThan && q.Value != end:
		return verdict(Investigate, "end of the scale", limits.Practice, "This instrument is over range at %s.", scale).with("end of the scale", end, reading.Megohm), true
	}
	return Verdict{}, false
}

// againstPosition compares the two positions of a two-way switch. Most of the
// cable is the same in both, so a great difference lies in the strappers or in
// one of the readings.
func againstPosition(c *ctx, _ limits.Insulation) (Verdict, bool) {
	if c.way == nil {
		return Verdict{}, false
	}
	jump := limits.Value("slip")
	for position := range 4 {
		other := c.in.Slot
		other.Position = position
		q, ok := c.past.at[other]
		if !ok || position == c.in.Position {
			continue
		}
		here, there := c.is, limits.IntervalOf(q)
		switch {
		case here.High*jump <= there.Low:
			return verdict(Investigate, "switch positions", limits.Practice, "Far lower than in the other switch position.").span("other position", there, reading.Megohm).next("Look at the strappers."), true
		case there.High*jump <= here.Low:
			return verdict(Investigate, "switch positions", limits.Practice, "Far higher than in the other switch position.").span("other position", there, reading.Megohm).next("Look at the strappers."), true
		}
	}
	return Verdict{}, false
}

// BoardCovers reports whether the reading of a whole board shows for each of its ways
// that it meets a limit. Resistances in parallel give less than the least of them, so
// that none of the ways can be below what the board reads (practice apart: under two
// megohms the cause is looked for, way by way).
func BoardCovers(board reading.Quantity, l limits.Insulation) bool {
	return board.Bound != reading.LessThan && limits.IntervalOf(board).Low >= max(l.Least, limits.Value("insulation_doubtful"))
}

// sameAgain finds the figure of the way before, or of the whole board. Over-range readings are alike
// on every good way, so only values count.
func sameAgain(c *ctx, _ limits.Insulation) (Verdict, bool) {
	if c.way == nil {
		return Verdict{}, false
	}
	if whole, ok := c.past.at[board.Slot{Board: c.in.Board, Test: c.in.Test}]; ok && c.q.Bound == reading.Exactly && whole.Equal(c.q) {
		return verdict(Investigate, "the same figure as the board", comboSource, "The same as the whole board, so were all breakers in?").next("Switch its breaker off, take its neutral out of the bar, and read again."), true
	}
	for _, e := range slices.Backward(c.past.series[series{c.in.Board, c.in.Test}]) {
		if e.Way == c.in.Way || e.Way == 0 {
			continue
		}
		if c.q.Bound != reading.Exactly || !e.Quantity.Equal(c.q) {
			break
		}
		return verdict(Investigate, "the same figure again", limits.Practice, "The same as way %s, so was it read again or carried over?", waymark.Aloud(e.Way)).next("Read the display again."), true
	}
	return Verdict{}, false
}

// slippedPoint compares with the other ways where these are alike: at least
// three values, all within three times of the middle one. Where they scatter,
// ten times more or less means nothing.
func slippedPoint(c *ctx, _ limits.Insulation) (Verdict, bool) {
	if c.way == nil || c.q.Bound != reading.Exactly || c.q.Value <= 0 {
		return Verdict{}, false
	}
	var others []float64
	for _, e := range c.past.series[series{c.in.Board, c.in.Test}] {
		if e.Way != c.in.Way && e.Way != 0 && e.Quantity.Bound == reading.Exactly {
			others = append(others, e.Quantity.Value)
		}
	}
	if len(others) < 3 {
		return Verdict{}, false
	}
	slices.Sort(others)
	middle := others[len(others)/2]
	if middle <= 0 || others[0]*3 < middle || others[len(others)-1] > 3*middle {
		return Verdict{}, false
	}
	ratio, side := c.q.Value/middle, "higher"
	if ratio < 1 {
		ratio, side = 1/ratio, "lower"
	}
	if ratio < limits.Value("slip") {
		return Verdict{}, false
	}
	times := [...]string{"ten", "ten", "a hundred", "a thousand"}[min(3, int(math.Round(math.Log10(ratio))))]
	return verdict(Investigate, "a slipped point", limits.Practice, "About %s times %s than the other ways, so did the point slip?", times, side).with("middle of the others", middle, reading.Megohm).next("Read the display again."), true
}

// againstWhole compares the reading of the whole board with its ways: the whole
// is their parallel combination, so it is never more than any of them.
func againstWhole(c *ctx, l limits.Insulation) (Verdict, bool) {
	if c.in.Test != reading.LNE {
		return Verdict{}, false
	}
	const rule = "whole board against its ways"
	u := limits.Value("insulation_uncertainty")
	whole, known := c.is, true
	if c.way != nil {
		var q reading.Quantity
		q, known = c.past.at[board.Slot{Board: c.in.Board, Test: reading.LNE}]
		whole = limits.IntervalOf(q)
	}
	if !known {
		return Verdict{}, false
	}
	var ways []limits.Interval
	var numbers []int
	missing, last := 0, 0
	for i := range c.board.Ways {
		w := &c.board.Ways[i]
		if w.Spare {
			continue
		}
		var got limits.Interval
		var ok bool
		if w.Number == c.in.Way {
			got, ok = c.is, true
		} else {
			got, ok = c.gotAt(c.in.Board, w.Number, reading.LNE)
		}
		if !ok {
			missing, last = missing+1, w.Number
			continue
		}
		ways, numbers = append(ways, got), append(numbers, w.Number)
	}
	if len(ways) == 0 {
		return Verdict{}, false
	}
	reckoned := limits.WholeBoard(ways)
	most := reckoned.Widen(u)
	is := whole.Widen(u)
	note := func(v Verdict) Verdict {
		return v.span("whole board", whole, reading.Megohm).span("ways in parallel", reckoned, reading.Megohm)
	}
	switch {
	case is.Low > most.High:
		return note(verdict(Investigate, rule, comboSource, "The whole board reads more than its ways allow, so a way may have been off.")).next("Read the whole board again with every device on."), true
	case missing == 0 && is.High < most.Low:
		return note(verdict(Investigate, rule, comboSource, "The whole board reads less than its ways give, so something else may be connected.")).next("Look at spare ways, surge protection and what hangs on the bars."), true
	case whole.High >= l.Least:
		return Verdict{}, false
	}
	if i, ok := limits.PullsDown(ways, l.Least); ok {
		return note(verdict(Investigate, rule, comboSource, "By elimination way %s pulls the board down.", waymark.Aloud(numbers[i]))).next("Take way %s off and read the whole board again.", waymark.Aloud(numbers[i])), true
	}
	if missing == 1 && most.Low >= l.Least {
		rest := limits.Rest(whole, reckoned)
		return note(verdict(Investigate, rule, comboSource, "By elimination way %s pulls the board down.", waymark.Aloud(last))).span("way by elimination", rest, reading.Megohm).
			next("Read way %s.", waymark.Aloud(last)), true
	}
	return Verdict{}, false
}

// inPlace is the reading of test t in the place that is judged: the one that is judged, or an
// earlier one.
func (c *ctx) inPlace(t reading.Test) (limits.Interval, bool) {
	if t == c.in.Test {
		return c.is, true
	}
	at := c.in.Slot
	at.Test = t
	q, ok := c.past.at[at]
	return limits.IntervalOf(q), ok
}

// suggest says what a low reading may come from, by the readings beside it. It
// never says that it is so.
func (c *ctx) suggest(v Verdict) Verdict {
	if c.way == nil {
		return v.next("Switch the ways off one by one until it rises.")
	}
	doubtful, sound := limits.Value("insulation_doubtful"), limits.Value("insulation_new")
	le, haveL := c.inPlace(reading.LE)
	ne, haveN := c.inPlace(reading.NE)
	ln, haveLN := c.inPlace(reading.LN)
	switch {
	case haveLN && ln.High < doubtful && (c.in.Test == reading.LN || haveL && le.Low >= sound):
		return v.next("A load or a lamp may still be connected between line and neutral.")
	case haveL && haveN && le.High < sound && ne.High < sound && near(le, ne):
		return v.next("A load may join line and neutral: take loads out and read again.")
	case haveL && haveN && le.High < sound && ne.High < sound:
		return v.next("Moisture may be in a joint or a fitting: let it dry and read again.")
	case c.in.Test == reading.LNE:
		return v.next("Read line to earth and neutral to earth alone, then divide the circuit.")
	}
	return v.next("Divide the circuit and read each half.")
}

// near reports whether two readings may be the same within the uncertainty of
// the instrument.
func near(a, b limits.Interval) bool {
	u := limits.Value("insulation_uncertainty")
	return !a.Widen(u).Apart(b.Widen(u))
}
