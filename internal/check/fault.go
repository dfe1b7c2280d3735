package check

import (
	"math"

	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// faultCurrent judges PFC and PSC.
func (c *ctx) faultCurrent() []Verdict {
	all := c.breaking()
	declared := c.board.Supply.DeclaredPFC
	if declared > 0 && c.board.Supply.From == 0 && c.is.Low > declared {
		all = append(all, c.numbers(verdict(Investigate, "fault current against the declared one", "the distributor's declaration, BS 7671 regulation 313.1, from memory",
			"More than the declared %s.", said(declared, reading.Kiloamp))).with("declared", declared, reading.Kiloamp).margin(declared, c.is.Low))
	} else if most := limits.Value("supply_most"); declared == 0 && c.is.Low > most {
		all = append(all, c.numbers(verdict(Investigate, "fault current that a supply gives", limits.SourceOf("supply_most"), "More than such a supply gives, so did the point slip?")).with("usual most", most, reading.Kiloamp).margin(most, c.is.Low))
	}
	return append(all, c.loopAgainstCurrent()...)
}

// breaking compares with the breaking capacity of the device, or of every device
// that hangs on the board.
func (c *ctx) breaking() []Verdict {
	const rule, source = "fault current against breaking capacity", "BS 7671 regulation 434.5.1, from memory"
	type named struct {
		name       string
		kA, backed float64
	}
	var devices []named
	add := func(name string, d board.Device) { devices = append(devices, named{name, d.Breaking, d.BackedUp}) }
	if c.way != nil {
		add("way "+waymark.Aloud(c.in.Way), c.way.Device)
	} else {
		for _, w := range c.board.Ways {
			if !w.Spare || w.Device.Standard != "" {
				add("way "+waymark.Aloud(w.Number), w.Device)
			}
		}
		if limits.IsBreaker(c.board.Main) || limits.FuseStandard(c.board.Main) != "" {
			add("the main switch", c.board.Main)
		}
	}
	lowest, unknown := named{kA: math.Inf(1)}, ""
	for _, d := range devices {
		switch {
		case d.kA == 0 && unknown == "":
			unknown = d.name
		case d.kA > 0 && d.kA < lowest.kA:
			lowest = d
		}
	}
	// Between lines there is more than from one line.
	least, most, assumed := c.q, c.q, ""
	if c.board.Phases == 3 && (c.way == nil || c.way.Phases == 3) {
		l, m := limits.ThreePhase(c.q.Value)
		least.Value, most.Value = l, m
		assumed = ", taken as twice for three phases"
	}
	note := func(v Verdict) Verdict {
		v = c.numbers(v).with("breaking capacity", lowest.kA, reading.Kiloamp)
		if assumed != "" {
			v = v.with("root three times", least.Value, reading.Kiloamp).with("twice", most.Value, reading.Kiloamp)
		}
		_, high := most.Interval()
		return v.margin(lowest.kA, high)
	}
	if !math.IsInf(lowest.kA, 1) {
		cap := limits.Exact(lowest.kA)
		var over []Verdict
		for _, d := range devices {
			if d.kA > 0 && atMost(least, limits.Exact(d.kA)) == Fail {
				over = append(over, c.numbers(c.backedUp(least, most, d.name, d.kA, d.backed)).with("breaking capacity", d.kA, reading.Kiloamp))
			}
		}
		if len(over) > 0 && (unknown == "" || worst(over).Result != Pass) {
			return over
		}
		if len(over) == 0 && atMost(most, cap) == Fail {
			return []Verdict{note(verdict(Investigate, rule, source, "More than the %s that %s can break%s.", said(lowest.kA, reading.Kiloamp), lowest.name, assumed)).next("Measure between the lines.")}
		}
		if unknown == "" {
			if atMost(most, cap) == Pass {
				return []Verdict{note(verdict(Pass, rule, source, "Within the %s that %s can break%s.", said(lowest.kA, reading.Kiloamp), lowest.name, assumed))}
			}
			return []Verdict{note(c.wide(rule, source))}
		}
	}
	if unknown == "" {
		return []Verdict{c.numbers(cannot(rule, source, "No device is described that would have to break it."))}
	}
	return []Verdict{note(cannot(rule, source, "What %s can break is not known.", unknown)).next("Read the breaking capacity off the device.")}
}

// backedUp judges a fault current that is more than a device breaks alone: by what
// it breaks with the device upstream, or by the conditional rating of the board.
// Where neither is known it is not said to fail, because a cut-out fuse usually
// limits it.
func (c *ctx) backedUp(low, high reading.Quantity, name string, alone, backed float64) Verdict {
	const rule = "fault current against back-up"
	const source = "BS 7671 regulations 434.5.1 and 536.1, and BS EN 61439-3, from memory"
	most, what := backed, "that "+name+" can break with its back-up"
	if c.board.Conditional > most {
		most, what = c.board.Conditional, "of the board's conditional rating"
	}
	if most == 0 {
		return verdict(Investigate, rule, source, "More than the %s that %s can break alone, so does a fuse upstream back it up?", said(alone, reading.Kiloamp), name).
			next("Find the cut-out fuse and the conditional rating of the board, or change the device.")
	}
	v := verdict(Investigate, rule, source, "It may be more than the %s %s.", said(most, reading.Kiloamp), what).next("Measure between the lines, or read the value itself.")
	switch {
	case atMost(high, limits.Exact(most)) == Pass:
		v = verdict(Pass, rule, source, "Within the %s %s.", said(most, reading.Kiloamp), what).next("Check that the fuse upstream is the one that this rating asks for.")
	case atMost(low, limits.Exact(most)) == Fail:
		v = verdict(Fail, rule, source, "More than the %s %s.", said(most, reading.Kiloamp), what).next("Look for a device upstream that limits it, or change the device.")
	}
	return v.with("with back-up", most, reading.Kiloamp)
}

// loopAgainstCurrent compares the loop impedance of a place with its fault
// current: each gives the other.
func (c *ctx) loopAgainstCurrent() []Verdict {
	const rule = "loop impedance against fault current"
	loop := reading.Ze
	if c.way != nil {
		loop = reading.Zs
	}
	var z, kA limits.Interval
	var ok bool
	switch c.in.Test {
	case reading.PFC:
		kA = c.is
		z, ok = c.gotAt(c.in.Board, c.in.Way, loop)
	case reading.Ze, reading.Zs:
		z = c.is
		kA, ok = c.gotAt(c.in.Board, c.in.Way, reading.PFC)
	}
	if !ok || c.board.Voltage <= 0 || z.Low <= 0 {
		return nil
	}
	low := 0.0
	if !math.IsInf(z.High, 1) {
		low = limits.FaultCurrent(c.board.Voltage, z.High)
	}
	want := limits.Between(low, limits.FaultCurrent(c.board.Voltage, z.Low))
	band := want.Around(limits.Value("loop_uncertainty"), limits.Value("small_ohm"))
	if !kA.Apart(band) {
		return nil
	}
	return []Verdict{c.numbers(verdict(Investigate, rule, limits.SourceOf("loop_uncertainty"), "Fault current and loop impedance do not fit each other.")).
		span("loop impedance", z, reading.Ohm).span("fault current", kA, reading.Kiloamp).span("fault current from the loop", want, reading.Kiloamp).
		next("Measure both again at the same place.")}
}
