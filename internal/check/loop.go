package check

import (
	"math"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// zsLimit is the limit of the Zs of the way being judged.
func (c *ctx) zsLimit() (limits.Interval, []float64, string, error) {
	return limits.ZsLimit(c.board, c.way)
}

// zsRCD judges by 50 V over the rated residual current alone.
func (c *ctx) zsRCD(rcd *board.RCD) []Verdict {
	const rule = "R A times the residual current"
	most, source, err := limits.RCDZsMax(rcd.Rated)
	if err != nil {
		return []Verdict{c.numbers(cannot(rule, limits.Practice, "%s: %s.", c.where(), advice.What(err)))}
	}
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("residual current", rcd.Rated, reading.Milliamp).with("touch voltage", limits.Value("touch"), reading.Volt).
			with("limit", most, reading.Ohm).margin(most, c.is.High)
	}
	allowed, stable := atMost(c.q, limits.Exact(most)), atMost(c.q, limits.Exact(limits.Value("stable")))
	switch {
	case allowed == Fail:
		return []Verdict{note(verdict(Fail, rule, source, "More than the %s that fifty volts allow.", said(most, reading.Ohm))).next("Look at the electrode and its conductor.")}
	case stable == Fail: // of a bound, too, that may be more than fifty volts allow
		return []Verdict{note(verdict(Investigate, rule, limits.SourceOf("stable"), "Above two hundred ohms, so the electrode may not stay stable.")).next("Look at the electrode, or measure again in dry weather.")}
	case allowed != Pass || stable != Pass:
		return []Verdict{note(c.wide(rule, source))}
	}
	return []Verdict{note(verdict(Pass, rule, source, "Within the %s that fifty volts allow.", said(most, reading.Ohm)))}
}

// zs judges the earth fault loop impedance of a way.
func (c *ctx) zs() []Verdict {
	var all []Verdict
	if rcd := c.rcdOf(); c.board.Earthing == board.TT && rcd != nil {
		all = c.zsRCD(rcd)
	} else {
		all = c.zsDevice()
	}
	all = append(all, c.zsParts()...)
	all = append(all, c.thermal()...)
	return append(all, c.again()...)
}

func (c *ctx) zsDevice() []Verdict {
	const rule = "Zs against the protective device"
	lim, seconds, source, err := c.zsLimit()
	if err != nil {
		return []Verdict{c.numbers(cannot(rule, limits.SourceOf("cmin"), "%s: %s.", c.where(), advice.What(err))).next("Read the device again.")}
	}
	cool := lim.Times(limits.Value("cold_share"))
	if lim.Low == lim.High {
		cool = limits.Exact(lim.Low * limits.Value("cold_share"))
	}
	note := func(v Verdict) Verdict {
		v = c.numbers(v).span("limit at working temperature", lim, reading.Ohm).span("limit as measured", cool, reading.Ohm)
		for _, s := range seconds {
			v = v.with("disconnection time", s, "s")
		}
		return v.margin(cool.Low, c.is.High)
	}
	if atMost(c.q, cool) == Pass {
		return []Verdict{note(verdict(Pass, rule, source, "Within %s, eighty per cent of the limit.", said(cool.Low, reading.Ohm)))}
	}
	if atMost(c.q, lim) == Fail {
		if rcd := c.rcdOf(); rcd != nil {
			most, from, err := limits.RCDZsMax(rcd.Rated)
			// A bound that may lie within the limit of the RCD does not fail by it.
			if err == nil && atMost(c.q, limits.Exact(most)) != Fail {
				return []Verdict{note(verdict(Investigate, rule, from, "Above the device's limit of %s, so only the r c d would disconnect in time.", said(lim.High, reading.Ohm))).
					with("limit of the RCD", most, reading.Ohm).next("Find out whether the circuit was designed so.")}
			}
		}
		return []Verdict{note(verdict(Fail, rule, source, "Above the limit of %s.", said(lim.High, reading.Ohm))).next("Compare with Ze plus R1+R2, and check each joint.")}
	}
	if hot, ok := c.hot(); ok {
		switch {
		case hot.High <= lim.Low:
			return []Verdict{note(verdict(Pass, rule, limits.SourceOf("operating_constant"), "Within the limit at working temperature, where it is %s.", said(hot.High, reading.Ohm))).
				with("at working temperature", hot.High, reading.Ohm).margin(lim.Low, hot.High)}
		case hot.Low > lim.High:
			return []Verdict{note(verdict(Investigate, rule, limits.SourceOf("operating_constant"), "At working temperature it may be %s, above the limit.", said(hot.Low, reading.Ohm))).
				with("at working temperature", hot.Low, reading.Ohm).margin(lim.High, hot.Low).next("Check the temperature at the test, and each joint.")}
		}
	}
	if c.is.Low >= cool.High {
		return []Verdict{note(verdict(Investigate, rule, limits.SourceOf("cold_share"), "Above %s, eighty per cent of the limit.", said(cool.High, reading.Ohm))).next("Reckon it at working temperature from Ze and R1+R2.")}
	}
	return []Verdict{note(c.wide(rule, source))}
}

// hot is the reading at operating temperature, once it is known how much of it
// lies in the circuit and so warms.
func (c *ctx) hot() (limits.Interval, bool) {
	warm, ok := c.r1r2()
	if !ok {
		return limits.Interval{}, false
	}
	// Parallel paths may make the loop less than its circuit part; then all of
	// it is taken as warm.
	part := limits.Between(math.Min(warm.Low, c.is.Low), math.Min(warm.High, c.is.High))
	return c.is.Plus(part.Times(limits.OperatingFactor(limits.ColdTemperature(c.board), limits.Value("operating")) - 1)), true
}

// r1r2 is the R1+R2 of the way from the dead tests: of a ring the highest
// cross-connected reading.
func (c *ctx) r1r2() (limits.Interval, bool) {
	if i, ok := c.gotAt(c.in.Board, c.in.Way, reading.R1R2); ok {
		return i, true
	}
	var most limits.Interval
	found := false
	for _, e := range c.past.series[series{c.in.Board, reading.RingLE}] {
		if e.Way == c.in.Way {
			i := limits.IntervalOf(e.Quantity)
			most, found = limits.Between(math.Max(most.Low, i.Low), math.Max(most.High, i.High)), true
		}
	}
	return most, found
}

// measuredZe is the loop impedance at the board: measured there, or at the way
// that feeds it.
func (c *ctx) measuredZe() (limits.Interval, bool) { return c.measuredZeOf(c.board) }

func (c *ctx) measuredZeOf(b *board.Board) (limits.Interval, bool) {
	for _, t := range [...]reading.Test{reading.Ze, reading.RA} {
		if i, ok := c.gotAt(b.Number, 0, t); ok {
			return i, true
		}
	}
	if b.Supply.From != 0 {
		return c.gotAt(b.Supply.From, b.Supply.FromWay, reading.Zs)
	}
	return limits.Interval{}, false
}

// zeAtMost is the measured Ze or, before it is measured, up to what the
// distributor declares.
func (c *ctx) zeAtMost() (limits.Interval, bool) {
	if i, ok := c.measuredZe(); ok {
		return i, true
	}
	if c.board.Supply.DeclaredZe > 0 {
		return limits.Between(0, c.board.Supply.DeclaredZe), true
	}
	return limits.Interval{}, false
}

// zsParts compares Zs with Ze and R1+R2.
func (c *ctx) zsParts() []Verdict {
	const rule = "Zs against Ze plus R1+R2"
	source := "BS 7671 regulation 643.7.3, from memory; " + limits.SourceOf("loop_uncertainty")
	ze, ok := c.measuredZe()
	if !ok {
		return nil
	}
	u, small := limits.Value("loop_uncertainty"), limits.Value("loop_small")
	sum, whole := ze, false
	if r, ok := c.r1r2(); ok {
		sum, whole = ze.Plus(r), true
	}
	band := sum.Around(u, small)
	least := ze.Around(u, small).Low
	note := func(v Verdict) Verdict {
		return c.numbers(v).span("Ze", ze, reading.Ohm).span("Ze plus R1+R2", sum, reading.Ohm).margin(band.High, c.is.High)
	}
	if whole && c.is.Apart(band) {
		if v, ok := c.slipped(sum, band, "Ze plus R1+R2"); ok {
			return []Verdict{note(v)}
		}
	}
	switch {
	case whole && c.is.Low > band.High:
		return []Verdict{note(verdict(Investigate, rule, source, "More than the %s of Ze plus R one plus R two.", said(sum.High, reading.Ohm))).
			next("Look for a loose joint, or for readings of another way.")}
	case c.is.High < least:
		return []Verdict{note(verdict(Investigate, rule, source, "Less than Ze, which no circuit can be.")).next("Measure Ze again with the earthing conductor disconnected, and this again.")}
	}
	return nil
}

// halfCycle is half a cycle of 50 Hz, s, in which a circuit-breaker interrupts a
// fault well above its instantaneous current: common practice, no published source.
const halfCycle = 0.01

// thermal advises on the protective conductor in the fault that this Zs makes.
func (c *ctx) thermal() []Verdict {
	w := c.way
	if w.CPC == 0 || w.Line == 0 || w.CPCKind == board.Steel || w.CPCKind == board.Armour || w.CPC >= limits.MinCPC(w.Line) || c.is.Low <= 0 || c.board.Voltage <= 0 {
		return nil
	}
	amps := c.board.Voltage / c.is.Low
	energy, source, err := limits.Energy(w.Device, amps)
	if err != nil {
		return nil
	}
	k, from, err := limits.KTable("core", string(limits.OrCopper(w.Material)), "thermoplastic 70 small")
	if err != nil {
		return nil
	}
	least := limits.Adiabatic(energy, k)
	if least <= w.CPC {
		return nil
	}
	// The energy is the most that the device may let through, and just above its
	// instantaneous current a circuit-breaker lets through far less. Advice on it
	// is worth giving only where half a cycle of the fault is too much already.
	if limits.IsBreaker(w.Device) && limits.Adiabatic(amps*amps*halfCycle, k) <= w.CPC {
		return nil
	}
	return []Verdict{c.numbers(verdict(Investigate, "adiabatic equation", "BS 7671 regulation 543.1.3, "+from+"; "+source,
		"The protective conductor may need %s square millimetres for this fault current.", spokenNumber(math.Ceil(least*10)/10))).
		with("fault current", amps, "A").with("energy", energy, "A2 s").with("k", k, "").with("least", least, "mm2").with("cpc", w.CPC, "mm2").margin(w.CPC, least).
		next("Look up the energy that the device lets through.")}
}

// ze judges the external loop impedance, or what a board fed from another has.
func (c *ctx) ze() []Verdict {
	const rule = "Ze"
	if c.board.Earthing == board.TT {
		return c.electrode()
	}
	var all []Verdict
	declared := c.board.Supply.DeclaredZe
	note := func(v Verdict, most float64) Verdict {
		return c.numbers(v).with("limit", most, reading.Ohm).margin(most, c.is.High)
	}
	if declared > 0 && c.board.Supply.From == 0 {
		switch atMost(c.q, limits.Exact(declared)) {
		case Pass:
			all = append(all, note(verdict(Pass, rule, "the distributor's declaration, BS 7671 regulation 313.1, from memory", "Within the declared %s.", said(declared, reading.Ohm)), declared))
		case Fail:
			v := note(verdict(Investigate, rule, "the distributor's declaration, BS 7671 regulation 313.1, from memory", "More than the declared %s.", said(declared, reading.Ohm)), declared)
			all = append(all, v.next("Check the earthing conductor, and ask the distributor."))
		default:
			all = append(all, note(c.wide(rule, limits.Practice), declared))
		}
	}
	if usual := map[board.Earthing]string{board.TNS: "ze_tns", board.TNCS: "ze_tncs"}[c.board.Earthing]; declared == 0 && c.board.Supply.From == 0 && usual != "" {
		all = append(all, c.zeUsually(limits.Value(usual), limits.SourceOf(usual)))
	}
	if upstream, ok := c.gotAt(c.board.Supply.From, c.board.Supply.FromWay, reading.Zs); ok && c.board.Supply.From != 0 {
		band := upstream.Around(limits.Value("loop_uncertainty"), limits.Value("loop_small"))
		v := verdict(Pass, "Ze against the feeding way", limits.SourceOf("loop_uncertainty"), "Fits the feeding way.")
		if c.is.Apart(band) {
			v = verdict(Investigate, "Ze against the feeding way", limits.SourceOf("loop_uncertainty"), "Does not fit the %s of the feeding way.", said(upstream.High, reading.Ohm)).next("Measure both again.")
		}
		all = append(all, c.numbers(v).span("Zs of the feeding way", upstream, reading.Ohm))
	}
	// Whatever the circuits add, Zs is more than Ze.
	lowest, at := math.Inf(1), 0
	for i := range c.board.Ways {
		w := &c.board.Ways[i]
		if w.Spare || c.rcdFor(w) != nil {
			continue
		}
		if lim, _, _, err := limits.ZsLimit(c.board, w); err == nil && lim.High < lowest {
			lowest, at = lim.High, w.Number
		}
	}
	if at != 0 && atMost(c.q, limits.Exact(lowest)) == Fail {
		v := verdict(Investigate, rule, limits.SourceOf("cmin"), "Alone more than the limit of way %s, which is %s.", waymark.Aloud(at), said(lowest, reading.Ohm))
		all = append(all, note(v, lowest).next("Check the earthing of the board, and the device of that way."))
	}
	if len(all) == 0 {
		return []Verdict{c.numbers(cannot(rule, limits.Practice, "What Ze may be here is not known, so give what the distributor declares."))}
	}
	return append(all, c.loopAgainstCurrent()...)
}

// zeUsually judges Ze where the distributor's declaration is not known, by what is
// usual at most for such a supply.
func (c *ctx) zeUsually(most float64, source string) Verdict {
	const rule = "Ze"
	note := func(v Verdict) Verdict { return c.numbers(v).with("limit", most, reading.Ohm).margin(most, c.is.High) }
	switch atMost(c.q, limits.Exact(most)) {
	case Pass:
		return note(verdict(Pass, rule, source, "Within the %s that is usual at most for such a supply.", said(most, reading.Ohm)))
	case Fail:
		return note(verdict(Investigate, rule, source, "More than the %s that is usual at most for such a supply.", said(most, reading.Ohm))).
			next("Check the earthing conductor, and ask the distributor.")
	}
	return note(c.wide(rule, source))
}

// electrode judges RA by the RCD with the greatest rated residual current that
// it serves.
func (c *ctx) electrode() []Verdict {
	worstRCD := c.board.Main.RCD
	bare := 0
	for i := range c.board.Ways {
		w := &c.board.Ways[i]
		r := w.Device.RCD
		switch {
		case w.Spare:
		case r == nil && c.board.Main.RCD == nil && bare == 0 && !c.board.AllBonded:
			bare = w.Number
		case r != nil && (worstRCD == nil || c.board.Main.RCD == nil && r.Rated > worstRCD.Rated):
			worstRCD = r
		}
	}
	if worstRCD == nil {
		return []Verdict{c.numbers(cannot("R A times the residual current", limits.SourceOf("touch"), "No r c d is described, so nothing says what R A may be.")).next("Describe the r c d of each way.")}
	}
	all := c.zsRCD(worstRCD)
	if bare != 0 {
		all = append(all, c.numbers(cannot("R A times the residual current", limits.SourceOf("touch"), "Way %s has no r c d described, so R A cannot be judged for it.", waymark.Aloud(bare))).next("Describe the r c d of each way."))
	}
	return append(all, c.loopAgainstCurrent()...)
}
