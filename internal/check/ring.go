package check

import (
	"math"
	"slices"

	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
)

const ringSource = "IET Guidance Note 3, continuity of ring final circuit conductors, and BS 7671 regulation 643.2.1, from a public print"

// RingReadings is what the ring test of one circuit gave, in ohm. What was not
// read is nil.
type RingReadings struct {
	R1, Rn, R2 *limits.Interval // end to end
	// Cross-connected, one reading for each point in the order round the ring.
	LN, LE    []limits.Interval
	Line, CPC float64 // sizes in mm2; 0 when unknown
	Length    float64 // m all the way round; 0 when unknown
	Celsius   float64 // of the conductors
	Material  board.Material
	Spurs     int // spurs that are known
}

// RingFault is one thing that a pattern of ring readings suggests. It is a
// suggestion: only opening the circuit shows what it is.
type RingFault string

// The faults that leave a pattern.
const (
	OpenLine       RingFault = "open line"
	OpenNeutral    RingFault = "open neutral"
	OpenCPC        RingFault = "open protective conductor"
	NotARing       RingFault = "not a ring"         // all three read open
	SwappedEnds    RingFault = "swapped conductors" // neutral and protective conductor changed round
	LooseJoint     RingFault = "loose joint"        // line and neutral end to end differ
	LooseCPC       RingFault = "loose cpc joint"    // protective conductor higher than its size accounts for
	Bridged        RingFault = "bridged"            // all shorter than the length
	EndsNotCrossed RingFault = "ends not crossed"   // linked to their own other end: low near the board, a quarter in the middle
	SpurFound      RingFault = "spur"               // some points above the others
	Interconnected RingFault = "interconnected"     // points differ and nothing above explains it
)

// RingDiagnosis names what the pattern of readings suggests, most telling first.
// It is empty for a pattern without a fault and for one that says nothing yet.
func RingDiagnosis(r RingReadings) []RingFault {
	match, open := limits.Value("ring_match"), limits.Value("ring_open")
	isOpen := func(i *limits.Interval) bool { return i != nil && i.Low >= open }
	if isOpen(r.R1) && isOpen(r.Rn) && isOpen(r.R2) {
		return []RingFault{NotARing}
	}
	var out []RingFault
	for _, e := range []struct {
		is    *limits.Interval
		fault RingFault
	}{{r.R1, OpenLine}, {r.Rn, OpenNeutral}, {r.R2, OpenCPC}} {
		if isOpen(e.is) {
			out = append(out, e.fault)
		}
	}
	if len(out) > 0 {
		return out
	}
	ratio, sized := limits.RingRatio(r.Material, r.Line, r.CPC)
	near := func(a, b limits.Interval) bool { return !a.Apart(b.Around(0, match)) }
	lineFits := r.R1 == nil || r.Rn == nil || near(*r.Rn, *r.R1)
	cpcFits := r.R1 == nil || r.R2 == nil || !sized || near(*r.R2, scaled(*r.R1, ratio))
	switch {
	case !lineFits && !cpcFits && near(*r.R2, *r.R1) && near(*r.Rn, scaled(*r.R1, ratio)):
		out = append(out, SwappedEnds)
	case !lineFits:
		out = append(out, LooseJoint)
	case !cpcFits && r.R2.Low > scaled(*r.R1, ratio).High:
		out = append(out, LooseCPC)
	}
	if lineFits && r.R1 != nil && r.Rn != nil && r.Length > 0 {
		if e, err := limits.Resistance(r.Material, r.Line, r.Length, r.Celsius); err == nil && r.R1.High < allowed(e).Low && r.Rn.High < allowed(e).Low {
			out = append(out, Bridged)
		}
	}
	if f := points(r.R1, r.Rn, r.LN, r.Spurs); f != "" {
		out = append(out, f)
	} else if f := points(r.R1, r.R2, r.LE, r.Spurs); f != "" {
		out = append(out, f)
	}
	return out
}

// scaled is every product of a value of i and a ratio in k.
func scaled(i, k limits.Interval) limits.Interval {
	return limits.Between(i.Times(k.Low).Low, i.Times(k.High).High)
}

// points reads the pattern of the cross-connected readings at the points.
//
// On a sound ring all are a quarter of the two conductors. Where the ends were
// linked to their own other end instead of crossed, the reading at the share x
// of the way round is (a + b) x (1 - x). A spur adds its own length to its
// points and leaves the others. Anything else that differs suggests that the
// ring is interconnected.
func points(a, b *limits.Interval, at []limits.Interval, spurs int) RingFault {
	match := limits.Value("ring_match")
	var v []float64
	for _, i := range at {
		if i.High-i.Low > match || math.IsInf(i.High, 1) {
			return "" // a bound says too little for a pattern
		}
		v = append(v, (i.Low+i.High)/2)
	}
	if len(v) < 3 {
		return ""
	}
	low, high := slices.Min(v), slices.Max(v)
	quarter := median(v)
	known := a != nil && b != nil && !math.IsInf(a.High+b.High, 1)
	if known {
		q := limits.CrossConnected(*a, *b)
		quarter = (q.Low + q.High) / 2
	}
	if high-low <= match {
		if known && low > quarter+match {
			return "" // all alike: the leads, or the end to end readings
		}
		return ""
	}
	// Ends that are not crossed give a quarter at most, in the middle; inside a
	// bridge points read more than the quarter that the ends then give.
	if EndsLinked(v) && !(known && high > quarter+match) {
		return EndsNotCrossed
	}
	ordinary, above := 0, 0
	for _, x := range v {
		switch {
		case math.Abs(x-quarter) <= match:
			ordinary++
		case x > quarter:
			above++
		}
	}
	switch {
	case ordinary+above == len(v) && (2*ordinary >= len(v) || above <= spurs):
		return SpurFound
	}
	return Interconnected
}

// EndsLinked reports whether points evenly spaced round a ring follow c x (1-x)
// clearly better than they follow one level: by least squares, with less than a
// quarter of the squared misfit. Fewer than four points say nothing.
func EndsLinked(v []float64) bool {
	if len(v) < 4 {
		return false
	}
	var sum, pv, pp float64
	for i, y := range v {
		x := float64(i+1) / float64(len(v)+1)
		p := x * (1 - x)
		sum, pv, pp = sum+y, pv+p*y, pp+p*p
	}
	mean, c := sum/float64(len(v)), pv/pp
	var flat, bent float64
	for i, y := range v {
		x := float64(i+1) / float64(len(v)+1)
		flat += (y - mean) * (y - mean)
		bent += (y - c*x*(1-x)) * (y - c*x*(1-x))
	}
	return bent < flat/4
}

func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return s[len(s)/2]
}

// ring judges one reading of the ring test.
func (c *ctx) ring() []Verdict {
	if v, open := c.open(); open {
		return []Verdict{c.diagnosed(v)}
	}
	var all []Verdict
	match := limits.Value("ring_match")
	other := func(t reading.Test) (limits.Interval, bool) {
		i, ok := c.got(t)
		return i, ok && i.Low < limits.Value("ring_open")
	}
	r1, have1 := other(reading.RingR1)
	rn, haveN := other(reading.RingRn)
	r2, have2 := other(reading.RingR2)
	compare := func(rule, than string, want limits.Interval) {
		band := want.Around(0, match)
		note := func(v Verdict) Verdict {
			return c.numbers(v).span(than, want, reading.Ohm).with("within", match, reading.Ohm).margin(band.High, c.is.High)
		}
		switch {
		case c.is.Inside(band):
			all = append(all, note(verdict(Pass, rule, ringSource, "Agrees with %s.", than)))
		case c.is.Apart(band):
			if v, ok := c.slipped(want, band, than); ok {
				all = append(all, note(v))
				return
			}
			if v, ok := c.onSpur(want, rule); ok {
				all = append(all, note(v))
				return
			}
			side := "More"
			if c.is.High < band.Low {
				side = "Less"
			}
			all = append(all, c.diagnosed(note(verdict(Investigate, rule, ringSource, "%s than the %s from %s.", side, said((want.Low+want.High)/2, reading.Ohm), than))))
		default:
			all = append(all, note(c.wide(rule, ringSource)))
		}
	}
	ratio, sized := limits.RingRatio(c.way.Material, c.way.Line, c.way.CPC)
	if c.way.CPCKind == board.Steel || c.way.CPCKind == board.Armour {
		sized = false
	}
	switch c.in.Test {
	case reading.RingR1:
		if haveN {
			compare("r1 against rn", "r n", rn)
		}
		if have2 && sized {
			compare("r1 against r2", "r two and the sizes", limits.Between(r2.Times(1/ratio.High).Low, r2.Times(1/ratio.Low).High))
		}
	case reading.RingRn:
		if have1 {
			compare("r1 against rn", "r one", r1)
		}
	case reading.RingR2:
		if have1 && sized {
			compare("r2 against r1", "r one and the sizes", scaled(r1, ratio))
		}
	case reading.RingLN:
		if have1 && haveN {
			compare("cross-connected line to neutral", "a quarter of r one and r n", limits.CrossConnected(r1, rn))
		}
	case reading.RingLE:
		if have1 && have2 {
			compare("cross-connected line to earth", "a quarter of r one and r two", limits.CrossConnected(r1, r2))
		}
	}
	if !c.spurred(all) { // the length of the ring says nothing of its spurs
		all = append(all, c.againstLength()...)
	}
	if t := c.in.Test; len(all) == 0 && (t == reading.RingR1 || t == reading.RingRn || t == reading.RingR2) {
		// Quiet until there is another to compare it with. A quarter of it is in Zs.
		return c.unbroken(4, ringSource, "Continuous; how much it may be is judged with the other ends and with Zs.")
	}
	if len(all) == 0 {
		return []Verdict{c.numbers(cannot("ring", ringSource, "Nothing is known yet to compare it with."))}
	}
	return all
}

const onSpurRule = "a spur of the ring"

// spurred reports whether a reading was put down to a spur.
func (c *ctx) spurred(all []Verdict) bool {
	return slices.ContainsFunc(all, func(v Verdict) bool { return v.Rule == onSpurRule })
}

// onSpur passes a cross-connected reading above that of the ring where the way is
// described with spurs and what is more than the ring's may be the conductors of a
// short one: the reading at a spur's end is that of the ring and of the spur itself.
func (c *ctx) onSpur(want limits.Interval, _ string) (Verdict, bool) {
	w := c.way
	other := w.CPC
	if c.in.Test == reading.RingLN {
		other = w.Line
	}
	per, err := limits.R1R2(w.Material, w.Line, other, 1, limits.ColdTemperature(c.board))
	if w.Spurs == 0 || err != nil || c.in.Test != reading.RingLN && c.in.Test != reading.RingLE || math.IsInf(c.is.High, 1) {
		return Verdict{}, false
	}
	metres, most := (c.is.High-want.Low)/per, limits.Value("spur_most")
	if c.is.Low <= want.High || metres > most+limits.Value("ring_match")/per {
		return Verdict{}, false
	}
	return verdict(Pass, onSpurRule, ringSource, "Above the ring by what a spur of about %s metres gives, and spurs are described.", spokenNumber(math.Max(1, math.Round((c.is.High-want.High)/per)))).
		with("spur at most", most, "m").next("If this point is on the ring itself, look for a loose joint."), true
}

// ringReadings gathers what the ring test of this way has given, with the
// reading being judged.
func (c *ctx) ringReadings() RingReadings {
	w := c.way
	r := RingReadings{Line: w.Line, CPC: w.CPC, Length: w.Length, Celsius: limits.ColdTemperature(c.board), Material: w.Material, Spurs: w.Spurs}
	for _, e := range []struct {
		test reading.Test
		to   **limits.Interval
	}{{reading.RingR1, &r.R1}, {reading.RingRn, &r.Rn}, {reading.RingR2, &r.R2}} {
		i, ok := c.got(e.test)
		if c.in.Test == e.test {
			i, ok = c.is, true
		}
		if ok {
			*e.to = &i
		}
	}
	for _, e := range []struct {
		test reading.Test
		to   *[]limits.Interval
	}{{reading.RingLN, &r.LN}, {reading.RingLE, &r.LE}} {
		type point struct {
			position int
			is       limits.Interval
		}
		var all []point
		for _, x := range c.past.series[series{c.in.Board, e.test}] {
			if x.Way == c.in.Way && (x.Test != c.in.Test || x.Position != c.in.Position) {
				all = append(all, point{x.Position, limits.IntervalOf(x.Quantity)})
			}
		}
		if c.in.Test == e.test {
			all = append(all, point{c.in.Position, c.is})
		}
		slices.SortStableFunc(all, func(a, b point) int { return a.position - b.position })
		for _, p := range all {
			*e.to = append(*e.to, p.is)
		}
	}
	return r
}

// diagnosed says where to look, from the pattern of all ring readings so far.
func (c *ctx) diagnosed(v Verdict) Verdict {
	faults := RingDiagnosis(c.ringReadings())
	if len(faults) == 0 {
		return v.next("Read the rest of the ring: the pattern may tell more.")
	}
	switch faults[0] {
	case NotARing:
		v.Reason = "All three read open, so this may be a radial or the wrong cable ends."
		return v.next("Check that both ends are those of this circuit.")
	case OpenLine:
		return v.next("Look for the break in the line: halve the ring and read from the middle.")
	case OpenNeutral:
		return v.next("Look for the break in the neutral: halve the ring and read from the middle.")
	case OpenCPC:
		return v.next("Look for the break in the protective conductor: halve the ring and read from the middle.")
	case SwappedEnds:
		v.Reason = "R n and r two look changed round."
		return v.next("Check which end is neutral and which is the protective conductor.")
	case LooseJoint, LooseCPC:
		return v.next("A joint may be loose in the conductor that reads more, so check the terminals of each point.")
	case Bridged:
		v.Reason = "Shorter than its length on both, so the ring may be bridged."
		return v.next("Look for a second connection between two points.")
	case EndsNotCrossed:
		v.Reason = "Low near the board and higher in the middle, so the ends may not be crossed."
		return v.next("Link line to the neutral of the other end, and read again.")
	case SpurFound:
		v.Reason = "Above the other points, so it may be a spur."
		return v.next("Find out what each spur feeds.")
	case Interconnected:
		v.Reason = "The points differ round the ring, so it may be interconnected."
		return v.next("Look for a second connection between two points.")
	}
	return v
}
