package check

import (
	"fmt"
	"math"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
)

const continuitySource = "BS 7671 regulation 643.2.1, from a public print"

// expected returns what a continuity test of a way should give, in ohm.
func (c *ctx) expected(w *board.Way, test reading.Test) (float64, error) {
	t := limits.ColdTemperature(c.board)
	switch {
	case w.CPCKind == board.Steel && test != reading.RingR1 && test != reading.RingRn && test != reading.RingLN:
		return 0, advice.New("the resistance of a steel enclosure is not known", "give its cpc a size if it has one")
	case w.Length == 0:
		return 0, advice.New("the length is not known", "give it in m")
	}
	switch test {
	case reading.R1R2, reading.RingLE:
		return limits.ExpectedR1R2(w, t)
	case reading.RingLN:
		r, err := limits.CoreResistance(w, w.Line, t)
		return r / 2, err
	case reading.R2, reading.RingR2:
		r, err := limits.CPCResistance(w, t)
		if test == reading.R2 && w.Wiring == board.Ring {
			r /= 4 // both halves of the ring in parallel, at the point in the middle
		}
		return r, err
	case reading.RingR1, reading.RingRn:
		return limits.CoreResistance(w, w.Line, t)
	}
	return 0, fmt.Errorf("%s does not follow from a length", test)
}

// allowed is what a reading may be where e ohm follow from length and size: the
// length is seldom exact and the leads have a resistance of their own.
func allowed(e float64) limits.Interval {
	return limits.Exact(e).Around(limits.Value("length_tolerance"), limits.Value("small_ohm"))
}

// continuity judges R1+R2 and R2 of a way.
func (c *ctx) continuity() []Verdict {
	if v, open := c.open(); open {
		return []Verdict{v}
	}
	all := c.againstLength()
	room := c.leavesRoom(len(all) > 0)
	if len(all) == 0 && len(room) == 0 {
		all = c.unbroken(1, continuitySource, "Continuous; how much it may be is judged with Zs.")
	}
	all = append(all, room...)
	if c.in.Test == reading.R1R2 {
		for i := range all {
			all[i] = c.advise(all[i])
		}
	}
	return append(all, c.again()...)
}

// unbroken judges a reading of which nobody knows what it should be, as the length
// is not known and neither is Ze: it shows that the conductors are not broken, and
// how much it may be is judged when Zs is there. Of a bound, and where not even the
// limit of Zs is known, nothing can be said. times is how many times the limit of Zs
// it may be, reason what is said when it passes.
func (c *ctx) unbroken(times float64, source, reason string) []Verdict {
	const rule = "continuity"
	lim, _, _, err := c.zsLimit()
	if c.board.Earthing == board.TT && c.rcdFor(c.way) != nil {
		lim, err = limits.Exact(limits.Value("ring_open")), nil // its Zs is judged by the residual current
	}
	switch {
	case err != nil:
		return []Verdict{c.numbers(cannot(rule, source, "%s: %s.", c.where(), advice.What(err))).next("Read the device again.")}
	case atMost(c.q, limits.Exact(min(times*lim.Low, limits.Value("ring_open")))) != Pass:
		return []Verdict{c.wide(rule, source)}
	}
	return []Verdict{c.numbers(verdict(Pass, rule, source, "%s", reason))}
}

// advise adds an estimate of the volt drop where the length is not known: the
// line's share of R1+R2 by the sizes, at the full rating of the device. It is
// advice, and never changes the result.
func (c *ctx) advise(v Verdict) Verdict {
	w := c.way
	if w.Length != 0 || !limits.Positive(w.Line) || !limits.Positive(w.CPC) || w.CPCKind != board.Conductor && w.CPCKind != "" || !limits.Positive(w.Device.Rating) || !limits.Positive(c.board.Voltage) || math.IsInf(c.is.High, 1) {
		return v
	}
	r1 := c.is.High * w.CPC / (w.Line + w.CPC)
	// R1+R2 of a ring is a quarter of its two conductors already.
	drop, most := limits.VoltDrop(r1, w.Device.Rating, limits.ColdTemperature(c.board), false), limits.VoltDropLimit(w.Use, c.board.Voltage)
	v = v.with("volt drop at full rating, estimated", drop, reading.Volt).with("limit of volt drop", most, reading.Volt)
	if drop > most && v.Next == "" {
		return v.next("At its full rating it may drop %s, so reckon with the real load.", said(drop, reading.Volt))
	}
	return v
}

// open finds a conductor that has no end: an instrument that shows more than
// any circuit has.
func (c *ctx) open() (Verdict, bool) {
	if c.is.Low < limits.Value("ring_open") {
		return Verdict{}, false
	}
	what := map[reading.Test]string{reading.R1R2: "line or protective conductor", reading.R2: "protective conductor", reading.RingR1: "line of the ring",
		reading.RingRn: "neutral of the ring", reading.RingR2: "protective conductor of the ring", reading.Earthing: "earthing conductor",
		reading.Bonding: "bonding conductor", reading.RingLN: "ring", reading.RingLE: "ring"}[c.in.Test]
	return c.numbers(verdict(Fail, "continuity", continuitySource, "Reads open, so the %s may be broken or the wrong one.", what)).
		with("open from", limits.Value("ring_open"), reading.Ohm).margin(limits.Value("ring_open"), c.is.Low).
		next("Check the leads, then each joint from the board outward."), true
}

// againstLength compares with what length and size give; nothing where these are
// not known.
func (c *ctx) againstLength() []Verdict {
	const rule, source = "resistance from length and size", "IEC 60228 at the conductor's temperature, from a public print; the tolerance is common practice, no published source"
	e, err := c.expected(c.way, c.in.Test)
	if err != nil {
		return nil
	}
	band := allowed(e)
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("from length and size", e, reading.Ohm).with("length", c.way.Length, "m").
			with("temperature", limits.ColdTemperature(c.board), "degC").margin(band.High, c.is.High)
	}
	switch within(c.q, band) {
	case Pass:
		return []Verdict{note(verdict(Pass, rule, source, "About what its length and size give."))}
	case CannotSay:
		return []Verdict{note(c.wide(rule, source))}
	}
	if v, ok := c.slipped(limits.Exact(e), band, "length and size"); ok {
		return []Verdict{note(v)}
	}
	if v, ok := c.swapped(band); ok {
		return []Verdict{note(v)}
	}
	if c.is.Low > band.High {
		return []Verdict{note(verdict(Investigate, rule, source, "More than the %s that its length and size give.", said(e, reading.Ohm))).
			next("Look for a loose joint, and check length and size.")}
	}
	return []Verdict{note(verdict(Investigate, rule, source, "Less than copper of its length and size can have, which is %s.", said(e, reading.Ohm))).
		next("Check length and size, the null of the leads, and for a path beside the cable.")}
}

// leavesRoom looks whether Ze and this R1+R2 keep Zs within its limit. Where
// nothing else judged the reading, keeping within is a pass.
func (c *ctx) leavesRoom(judged bool) []Verdict {
	const rule = "Ze and R1+R2 against the limit of Zs"
	lim, _, source, err := c.zsLimit()
	ze, known := c.zeAtMost()
	if err != nil || c.board.Earthing == board.TT {
		return nil
	}
	if c.in.Test == reading.R2 {
		known = false // without R1 it says only how much Zs is at least
	}
	if !known {
		ze = limits.Between(0, 0) // Zs is never less than its part R1+R2
	}
	warm := c.is.Times(limits.OperatingFactor(limits.ColdTemperature(c.board), limits.Value("operating")))
	hot := warm.Plus(ze)
	q := reading.Quantity{Value: hot.High, Bound: reading.Exactly}
	var v Verdict
	switch {
	case hot.Low > lim.High && (!known || c.is.Low > lim.High):
		v = verdict(Investigate, rule, source, "Alone more than the %s that Zs may be.", said(lim.High, reading.Ohm)).next("Check the reading, the device and the length.")
	case known && atMost(q, lim) == Pass:
		if judged {
			return nil
		}
		v = verdict(Pass, rule, source, "With Ze it keeps Zs within %s.", said(lim.Low, reading.Ohm))
	case known && limits.Exact(warm.Low).Plus(ze).High > lim.High: // whatever value of it is the true one
		v = verdict(Investigate, rule, source, "With Ze it may bring Zs above the limit of %s.", said(lim.High, reading.Ohm)).next("Measure Zs, and check the device.")
	default:
		return nil
	}
	return []Verdict{c.numbers(v).span("Ze", ze, reading.Ohm).span("limit of Zs", lim, reading.Ohm).margin(lim.Low, hot.High)}
}

// conductorToEarth judges the main earthing conductor and main bonding: by length
// and size where both are known, otherwise by what Guidance Note 3 takes without
// more, saying what length the reading would be of the size.
func (c *ctx) conductorToEarth() []Verdict {
	const rule = "earthing and bonding conductors"
	if v, open := c.open(); open {
		return []Verdict{v}
	}
	size, length := c.board.EarthingConductor, c.board.EarthingLength
	if c.in.Test == reading.Bonding {
		size, length = c.board.BondingSize, 0
		if n := c.in.Position - 1; n >= 0 && n < len(c.board.BondingLengths) {
			length = c.board.BondingLengths[n]
		}
	}
	var all []Verdict
	if e, err := limits.Resistance(board.Copper, size, length, limits.ColdTemperature(c.board)); err == nil {
		all = append(all, c.bondOfLength(e, size, length))
	} else {
		all = append(all, c.bondUnmeasured(rule, size))
	}
	if c.in.Test == reading.Bonding && c.board.BondingSize > 0 {
		// The supply neutral is not known, so only the least of Table 54.8 or
		// half the earthing conductor can be asked for.
		least, s, err := limits.MinBonding(c.board.Earthing == board.TNCS, 1, c.board.EarthingConductor)
		if err == nil && c.board.BondingSize < least {
			all = append(all, c.numbers(verdict(Investigate, "size of main bonding", s, "The bonding conductor is smaller than %s square millimetres.", spokenNumber(least))).
				with("size", c.board.BondingSize, "mm2").with("least", least, "mm2").margin(c.board.BondingSize, least))
		}
	}
	return all
}

// bondOfLength judges by the e ohm that length and size give.
func (c *ctx) bondOfLength(e, size, length float64) Verdict {
	const rule, source = "resistance from length and size", "IEC 60228 at the conductor's temperature, from a public print; the tolerance is common practice, no published source"
	band := allowed(e)
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("from length and size", e, reading.Ohm).with("length", length, "m").with("size", size, "mm2").margin(band.High, c.is.High)
	}
	switch within(c.q, band) {
	case Pass:
		return note(verdict(Pass, rule, source, "About what its length and size give."))
	case CannotSay:
		return note(c.wide(rule, source))
	}
	if v, ok := c.slipped(limits.Exact(e), band, "length and size"); ok {
		return note(v)
	}
	if c.is.Low > band.High {
		return note(verdict(Investigate, rule, source, "More than the %s that its length and size give.", said(e, reading.Ohm))).
			next("Check the clamp and its contact, and the length.")
	}
	return note(verdict(Investigate, rule, source, "Less than copper of its length and size can have, which is %s.", said(e, reading.Ohm))).
		next("Check length and size, the null of the leads, and for a path beside the conductor.")
}

// bondUnmeasured judges a conductor whose length or size is not known.
func (c *ctx) bondUnmeasured(rule string, size float64) Verdict {
	most, source := limits.Value("bonding"), limits.SourceOf("bonding")
	would, about := "", 0.0
	if per, err := limits.Resistance(board.Copper, size, 1, limits.ColdTemperature(c.board)); err == nil && !math.IsInf(c.is.High, 1) {
		about = math.Round(c.is.High / per)
		would = fmt.Sprintf("as much as %s metres of %s square millimetres have", spokenNumber(about), spokenNumber(size))
	}
	note := func(v Verdict) Verdict {
		if about > 0 {
			v = v.with("length that it would be", about, "m").with("size", size, "mm2")
		}
		return c.numbers(v).with("taken without its length", most, reading.Ohm).margin(most, c.is.High)
	}
	switch atMost(c.q, limits.Exact(most)) {
	case Pass:
		return note(verdict(Pass, rule, source, "Within the %s that is taken without its length.", said(most, reading.Ohm)))
	case Fail:
		v := note(verdict(Investigate, rule, source, "More than %s, so its length must account for it.", said(most, reading.Ohm)))
		if would != "" {
			v.Reason = fmt.Sprintf("More than %s: %s.", said(most, reading.Ohm), would)
		}
		return v.next("Compare with its length, and check the clamp and its contact.")
	}
	return note(c.wide(rule, source))
}
