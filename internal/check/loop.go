package check

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/printable"
	"waycall/internal/reading"
)

// described names a device as in a sentence.
func described(d board.Device) string {
	if d.Standard == "" {
		return "the device"
	}
	return strings.Join(strings.Fields(fmt.Sprintf("%s %s %v A", printable.Cut(d.Standard, 40), printable.Cut(d.Type, 40), d.Rating)), " ")
}

func isBreaker(d board.Device) bool {
	return strings.HasPrefix(d.Standard, "BS EN 60898") || strings.HasPrefix(d.Standard, "BS EN 61009") || strings.HasPrefix(d.Standard, board.MCBBefore) || strings.HasPrefix(d.Standard, "BS EN 60947-2")
}

// TripCurrent returns Ia, the current in A that makes a device operate within
// seconds, with its source. A circuit-breaker to BS EN 60898 or 61009 operates
// at 5, 10 or 20 times its rating by type, type D within 5 s at 10 times; one to
// BS 3871 at 4, 7, 10 or 50 times; one to BS EN 60947-2 at its magnetic
// setting and the 20 % that it may be out; a fuse by its curve. What is not
// tabled is an error.
func TripCurrent(d board.Device, seconds float64) (amps float64, source string, err error) {
	switch {
	case d.Standard == "":
		return 0, "", advice.New("the protective device is not known", "read it off the device")
	case !positive(d.Rating):
		return 0, "", advice.New("the rating of the device is not known", "read it off the device")
	case strings.HasPrefix(d.Standard, "BS EN 60947-2"):
		if !positive(d.Trip) {
			return 0, "", advice.New("the magnetic setting of the device is not known", "give trip in A")
		}
		return d.Trip * (1 + limit("release_tolerance")), sourceOf("release_tolerance"), nil
	case isBreaker(d):
		r, ok := find("breakers", d.Type)
		if !ok {
			return 0, "", advice.New("the type of the circuit-breaker is not known", "give B, C or D, or 1 to 4 of BS 3871")
		}
		if seconds >= 5 {
			return d.Rating * r.number["within_5"], tableOf("breakers", r.text["rests"]), nil
		}
		return d.Rating * r.number["upper"], tableOf("breakers", r.text["rests"]), nil
	}
	if standard := fuseStandard(d); standard != "" {
		if a, ok := data.fuses[ratedKey{standard, d.Rating, seconds}]; ok {
			return a.value, tableOf("fuses", a.rests), nil
		}
	}
	return 0, "", advice.Errorf("see its time-current curve", "what makes %s operate within %v s is not known", described(d), seconds)
}

func fuseStandard(d board.Device) string {
	for _, s := range [...]string{"BS 88-2", "BS 88-3", "BS 3036", "BS 1361", "BS 1362"} {
		if strings.HasPrefix(d.Standard, s) {
			return s
		}
	}
	return ""
}

// ZsMax returns the greatest earth fault loop impedance in ohm, at operating
// temperature, at which a device operates within seconds: uo Cmin/Ia, uo in V
// line to earth. BS 7671 regulation 411.4.4 with Cmin 0.95, from
// memory.
func ZsMax(d board.Device, uo, seconds float64) (ohm float64, source string, err error) {
	if !positive(uo) {
		return 0, "", advice.Errorf("give it line to earth, such as 230", "voltage is %v V", uo)
	}
	ia, from, err := TripCurrent(d, seconds)
	if err != nil {
		return 0, "", err
	}
	return uo * limit("cmin") / ia, sourceOf("cmin") + "; " + from, nil
}

// ZsTable returns the same as Tables 41.2 to 41.4 of BS 7671 print
// it for 230 V, from memory, for 0.4 and 5 s. A device that they do not list is
// not found.
func ZsTable(d board.Device, seconds float64) (ohm float64, source string, ok bool) {
	k, table := ratedKey{fuseStandard(d), d.Rating, seconds}, "41.2"
	switch {
	case k.kind != "" && seconds == 5:
		table = "41.4"
	case k.kind == "" && isBreaker(d) && !strings.HasPrefix(d.Standard, "BS EN 60947-2") && !strings.HasPrefix(d.Standard, board.MCBBefore):
		k, table = ratedKey{d.Type, d.Rating, 0.4}, "41.3"
		if at5 := (ratedKey{d.Type, d.Rating, 5}); seconds >= 5 && data.loops41[at5].value != 0 {
			k = at5
		}
	case k.kind == "":
		return 0, "", false
	}
	z, ok := data.loops41[k]
	return z.value, tableOf(table, z.rests), ok
}

// DisconnectionTime returns within what a fault to earth must be cut off, in s.
// final says that the circuit is one of regulation 411.3.2.2: final, with
// socket-outlets up to 63 A or only fixed equipment up to 32 A. uo is in V, AC,
// line to earth. BS 7671 Table 41.1, 411.3.2.3 and 411.3.2.4, from
// memory.
func DisconnectionTime(e board.Earthing, uo float64, final bool) (seconds float64, source string, err error) {
	if e != board.TNS && e != board.TNCS && e != board.TT {
		return 0, "", advice.New("the earthing is not known", "give TN-S, TN-C-S or TT")
	}
	for _, r := range data.rows["disconnection"].list {
		n := r.number
		if uo > n["volts_over"] && uo <= n["volts_to"] {
			column := "other_"
			if final {
				column = "final_"
			}
			if e == board.TT {
				return n[column+"tt"], tableOf("disconnection", r.text["rests"]), nil
			}
			return n[column+"tn"], tableOf("disconnection", r.text["rests"]), nil
		}
	}
	return 0, "", advice.Errorf("give more than 50 V, line to earth", "no disconnection time for %v V", uo)
}

// times returns the disconnection times that the overcurrent device of a way may
// have to keep: two where its use is not known and decides. Where the earthing is
// TT and all extraneous-conductive-parts are bonded a final circuit has that of TN: BS 7671
// Table 41.1, the note below it, read in a public copy of the 2008 edition.
func times(b *board.Board, w *board.Way) ([]float64, error) {
	finals := []bool{true}
	switch sockets, fixed := limit("socket_rating"), limit("fixed_rating"); {
	case w.Use == board.Distribution || w.Supplies != 0 || w.Device.Rating > sockets:
		finals = []bool{false}
	case w.Device.Rating > fixed && w.Use == "":
		finals = []bool{true, false}
	case w.Device.Rating > fixed && w.Use != board.Socket:
		finals = []bool{false}
	}
	var out []float64
	for _, final := range finals {
		earthing := b.Earthing
		if final && earthing == board.TT && b.AllBonded {
			earthing = board.TNS // the note to Table 41.1, for an overcurrent device
		}
		s, _, err := DisconnectionTime(earthing, b.Voltage, final)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// MaxTime returns within what a fault to earth on a way of b must be cut off, in s, by
// the device that MaxZsOf goes by. Where what the circuit is for is not known and
// decides, it is the lesser. The error says what is not known.
func MaxTime(b *board.Board, w *board.Way) (seconds float64, source string, err error) {
	alone := *b
	if w.Device.RCD != nil || b.Main.RCD != nil {
		alone.AllBonded = false // the note to Table 41.1 is for overcurrent devices
	}
	all, err := times(&alone, w)
	if err != nil {
		return 0, "", err
	}
	_, source, err = DisconnectionTime(b.Earthing, b.Voltage, true)
	return slices.Min(all), source, err
}

// RCDZsMax returns the greatest earth fault loop impedance in ohm with an RCD of
// mA rated residual current, and the greatest RA: 50 V over that current. BS
// 7671 regulation 411.5.3 and Table 41.5, from memory.
func RCDZsMax(mA float64) (ohm float64, source string, err error) {
	if !positive(mA) {
		return 0, "", advice.New("the rated residual current is not known", "read it off the device")
	}
	return limit("touch") / (mA / 1000), sourceOf("touch"), nil
}

// zsLimit returns the limit of a way's Zs at operating temperature by its
// overcurrent device: at 230 V as the tables print it, otherwise reckoned.
func (c *ctx) zsLimit() (Interval, []float64, string, error) { return zsLimitOf(c.board, c.way) }

func zsLimitOf(b *board.Board, w *board.Way) (lim Interval, seconds []float64, source string, err error) {
	seconds, err = times(b, w)
	if err != nil {
		return lim, nil, "", err
	}
	for i, s := range seconds {
		z, from, err := ZsMax(w.Device, b.Voltage, s)
		if err != nil {
			return lim, nil, "", err
		}
		if b.Voltage == 230 {
			if table, where, ok := ZsTable(w.Device, s); ok {
				z, from = table, where
			}
		}
		if i == 0 {
			lim, source = exact(z), from
		} else {
			lim = lim.hull(exact(z))
		}
	}
	return lim, seconds, source, nil
}

// zsRCD judges by 50 V over the rated residual current alone.
func (c *ctx) zsRCD(rcd *board.RCD) []Verdict {
	const rule = "R A times the residual current"
	most, source, err := RCDZsMax(rcd.Rated)
	if err != nil {
		return []Verdict{c.numbers(cannot(rule, practice, "%s: %s.", c.where(), advice.What(err)))}
	}
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("residual current", rcd.Rated, reading.Milliamp).with("touch voltage", limit("touch"), reading.Volt).
			with("limit", most, reading.Ohm).margin(most, c.is.High)
	}
	allowed, stable := atMost(c.q, exact(most)), atMost(c.q, exact(limit("stable")))
	switch {
	case allowed == Fail:
		return []Verdict{note(verdict(Fail, rule, source, "More than the %s that fifty volts allow.", said(most, reading.Ohm))).next("Look at the electrode and its conductor.")}
	case stable == Fail: // of a bound, too, that may be more than fifty volts allow
		return []Verdict{note(verdict(Investigate, rule, sourceOf("stable"), "Above two hundred ohms, so the electrode may not stay stable.")).next("Look at the electrode, or measure again in dry weather.")}
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
		return []Verdict{c.numbers(cannot(rule, sourceOf("cmin"), "%s: %s.", c.where(), advice.What(err))).next("Read the device again.")}
	}
	cool := lim.Times(limit("cold_share"))
	if lim.Low == lim.High {
		cool = exact(lim.Low * limit("cold_share"))
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
			most, from, err := RCDZsMax(rcd.Rated)
			// A bound that may lie within the limit of the RCD does not fail by it.
			if err == nil && atMost(c.q, exact(most)) != Fail {
				return []Verdict{note(verdict(Investigate, rule, from, "Above the device's limit of %s, so only the r c d would disconnect in time.", said(lim.High, reading.Ohm))).
					with("limit of the RCD", most, reading.Ohm).next("Find out whether the circuit was designed so.")}
			}
		}
		return []Verdict{note(verdict(Fail, rule, source, "Above the limit of %s.", said(lim.High, reading.Ohm))).next("Compare with Ze plus R1+R2, and check each joint.")}
	}
	if hot, ok := c.hot(); ok {
		switch {
		case hot.High <= lim.Low:
			return []Verdict{note(verdict(Pass, rule, sourceOf("operating_constant"), "Within the limit at working temperature, where it is %s.", said(hot.High, reading.Ohm))).
				with("at working temperature", hot.High, reading.Ohm).margin(lim.Low, hot.High)}
		case hot.Low > lim.High:
			return []Verdict{note(verdict(Investigate, rule, sourceOf("operating_constant"), "At working temperature it may be %s, above the limit.", said(hot.Low, reading.Ohm))).
				with("at working temperature", hot.Low, reading.Ohm).margin(lim.High, hot.Low).next("Check the temperature at the test, and each joint.")}
		}
	}
	if c.is.Low >= cool.High {
		return []Verdict{note(verdict(Investigate, rule, sourceOf("cold_share"), "Above %s, eighty per cent of the limit.", said(cool.High, reading.Ohm))).next("Reckon it at working temperature from Ze and R1+R2.")}
	}
	return []Verdict{note(c.wide(rule, source))}
}

// hot is the reading at operating temperature, once it is known how much of it
// lies in the circuit and so warms.
func (c *ctx) hot() (Interval, bool) {
	warm, ok := c.r1r2()
	if !ok {
		return Interval{}, false
	}
	// Parallel paths may make the loop less than its circuit part; then all of
	// it is taken as warm.
	part := Interval{math.Min(warm.Low, c.is.Low), math.Min(warm.High, c.is.High)}
	return c.is.Plus(part.Times(OperatingFactor(cold(c.board), limit("operating")) - 1)), true
}

// r1r2 is the R1+R2 of the way from the dead tests: of a ring the highest
// cross-connected reading.
func (c *ctx) r1r2() (Interval, bool) {
	if i, ok := c.gotAt(c.in.Board, c.in.Way, reading.R1R2); ok {
		return i, true
	}
	var most Interval
	found := false
	for _, e := range c.past.series[series{c.in.Board, reading.RingLE}] {
		if e.Way == c.in.Way {
			i := Of(e.Quantity)
			most, found = Interval{math.Max(most.Low, i.Low), math.Max(most.High, i.High)}, true
		}
	}
	return most, found
}

// measuredZe is the loop impedance at the board: measured there, or at the way
// that feeds it.
func (c *ctx) measuredZe() (Interval, bool) { return c.measuredZeOf(c.board) }

func (c *ctx) measuredZeOf(b *board.Board) (Interval, bool) {
	for _, t := range [...]reading.Test{reading.Ze, reading.RA} {
		if i, ok := c.gotAt(b.Number, 0, t); ok {
			return i, true
		}
	}
	if b.Supply.From != 0 {
		return c.gotAt(b.Supply.From, b.Supply.FromWay, reading.Zs)
	}
	return Interval{}, false
}

// zeAtMost is the measured Ze or, before it is measured, up to what the
// distributor declares.
func (c *ctx) zeAtMost() (Interval, bool) {
	if i, ok := c.measuredZe(); ok {
		return i, true
	}
	if c.board.Supply.DeclaredZe > 0 {
		return Interval{0, c.board.Supply.DeclaredZe}, true
	}
	return Interval{}, false
}

// zsParts compares Zs with Ze and R1+R2.
func (c *ctx) zsParts() []Verdict {
	const rule = "Zs against Ze plus R1+R2"
	source := "BS 7671 regulation 643.7.3, from memory; " + sourceOf("loop_uncertainty")
	ze, ok := c.measuredZe()
	if !ok {
		return nil
	}
	u, small := limit("loop_uncertainty"), limit("loop_small")
	sum, whole := ze, false
	if r, ok := c.r1r2(); ok {
		sum, whole = ze.Plus(r), true
	}
	band := sum.around(u, small)
	least := ze.around(u, small).Low
	note := func(v Verdict) Verdict {
		return c.numbers(v).span("Ze", ze, reading.Ohm).span("Ze plus R1+R2", sum, reading.Ohm).margin(band.High, c.is.High)
	}
	if whole && c.is.apart(band) {
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
	if w.CPC == 0 || w.Line == 0 || w.CPCKind == board.Steel || w.CPCKind == board.Armour || w.CPC >= MinCPC(w.Line) || c.is.Low <= 0 || c.board.Voltage <= 0 {
		return nil
	}
	amps := c.board.Voltage / c.is.Low
	energy, source, err := Energy(w.Device, amps)
	if err != nil {
		return nil
	}
	k, from, err := KTable("core", string(orCopper(w.Material)), "thermoplastic 70 small")
	if err != nil {
		return nil
	}
	least := Adiabatic(energy, k)
	if least <= w.CPC {
		return nil
	}
	// The energy is the most that the device may let through, and just above its
	// instantaneous current a circuit-breaker lets through far less. Advice on it
	// is worth giving only where half a cycle of the fault is too much already.
	if isBreaker(w.Device) && Adiabatic(amps*amps*halfCycle, k) <= w.CPC {
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
		switch atMost(c.q, exact(declared)) {
		case Pass:
			all = append(all, note(verdict(Pass, rule, "the distributor's declaration, BS 7671 regulation 313.1, from memory", "Within the declared %s.", said(declared, reading.Ohm)), declared))
		case Fail:
			v := note(verdict(Investigate, rule, "the distributor's declaration, BS 7671 regulation 313.1, from memory", "More than the declared %s.", said(declared, reading.Ohm)), declared)
			all = append(all, v.next("Check the earthing conductor, and ask the distributor."))
		default:
			all = append(all, note(c.wide(rule, practice), declared))
		}
	}
	if usual := map[board.Earthing]string{board.TNS: "ze_tns", board.TNCS: "ze_tncs"}[c.board.Earthing]; declared == 0 && c.board.Supply.From == 0 && usual != "" {
		all = append(all, c.zeUsually(limit(usual), sourceOf(usual)))
	}
	if upstream, ok := c.gotAt(c.board.Supply.From, c.board.Supply.FromWay, reading.Zs); ok && c.board.Supply.From != 0 {
		band := upstream.around(limit("loop_uncertainty"), limit("loop_small"))
		v := verdict(Pass, "Ze against the feeding way", sourceOf("loop_uncertainty"), "Fits the feeding way.")
		if c.is.apart(band) {
			v = verdict(Investigate, "Ze against the feeding way", sourceOf("loop_uncertainty"), "Does not fit the %s of the feeding way.", said(upstream.High, reading.Ohm)).next("Measure both again.")
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
		if lim, _, _, err := zsLimitOf(c.board, w); err == nil && lim.High < lowest {
			lowest, at = lim.High, w.Number
		}
	}
	if at != 0 && atMost(c.q, exact(lowest)) == Fail {
		v := verdict(Investigate, rule, sourceOf("cmin"), "Alone more than the limit of way %s, which is %s.", reading.Cardinal(at), said(lowest, reading.Ohm))
		all = append(all, note(v, lowest).next("Check the earthing of the board, and the device of that way."))
	}
	if len(all) == 0 {
		return []Verdict{c.numbers(cannot(rule, practice, "What Ze may be here is not known, so give what the distributor declares."))}
	}
	return append(all, c.loopAgainstCurrent()...)
}

// zeUsually judges Ze where the distributor's declaration is not known, by what is
// usual at most for such a supply.
func (c *ctx) zeUsually(most float64, source string) Verdict {
	const rule = "Ze"
	note := func(v Verdict) Verdict { return c.numbers(v).with("limit", most, reading.Ohm).margin(most, c.is.High) }
	switch atMost(c.q, exact(most)) {
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
		return []Verdict{c.numbers(cannot("R A times the residual current", sourceOf("touch"), "No r c d is described, so nothing says what R A may be.")).next("Describe the r c d of each way.")}
	}
	all := c.zsRCD(worstRCD)
	if bare != 0 {
		all = append(all, c.numbers(cannot("R A times the residual current", sourceOf("touch"), "Way %s has no r c d described, so R A cannot be judged for it.", reading.Cardinal(bare))).next("Describe the r c d of each way."))
	}
	return append(all, c.loopAgainstCurrent()...)
}
