// Package reading holds what a test instrument shows: which test was made and
// the quantity it gave.
//
// A quantity is never just a number. An instrument that runs off the end of
// its scale says "greater than 999 megohms", and that is a bound, not a value:
// it can be compared with a limit but never averaged, and it must never be
// written down as 999. Quantity keeps the two apart everywhere in waycall.
package reading

import (
	"math"
	"strconv"
	"strings"

	"waycall/internal/advice"
)

// Test names one test of an installation. The strings are stored and exported,
// so they never change.
type Test string

// The tests, by the letters the trade writes for them.
const (
	R1R2          Test = "R1+R2"          // line and protective conductor in series, ohm
	R2            Test = "R2"             // protective conductor alone (long lead), ohm
	RingR1        Test = "r1"             // ring line conductor, end to end, ohm
	RingRn        Test = "rn"             // ring neutral conductor, end to end, ohm
	RingR2        Test = "r2"             // ring protective conductor, end to end, ohm
	RingLN        Test = "ring-LN"        // ring, cross-connected line to neutral, ohm
	RingLE        Test = "ring-LE"        // ring, cross-connected line to earth, ohm
	LNE           Test = "LN-E"           // insulation, live conductors together to earth, Mohm
	LE            Test = "L-E"            // insulation, line to earth, Mohm
	NE            Test = "N-E"            // insulation, neutral to earth, Mohm
	LN            Test = "L-N"            // insulation, line to neutral, Mohm
	LL            Test = "L-L"            // insulation, lines to each other together (the lowest), Mohm
	L1E           Test = "L1-E"           // insulation, three-phase, line 1 to earth, Mohm
	L2E           Test = "L2-E"           // insulation, three-phase, line 2 to earth, Mohm
	L3E           Test = "L3-E"           // insulation, three-phase, line 3 to earth, Mohm
	L1L2          Test = "L1-L2"          // insulation, line 1 to line 2, Mohm
	L2L3          Test = "L2-L3"          // insulation, line 2 to line 3, Mohm
	L1L3          Test = "L1-L3"          // insulation, line 1 to line 3, Mohm
	L1N           Test = "L1-N"           // insulation, line 1 to neutral, Mohm
	L2N           Test = "L2-N"           // insulation, line 2 to neutral, Mohm
	L3N           Test = "L3-N"           // insulation, line 3 to neutral, Mohm
	Earthing      Test = "earthing"       // main earthing conductor, end to end, ohm
	Bonding       Test = "bonding"        // a main protective bonding conductor, end to end, ohm
	RA            Test = "RA"             // earth electrode, to the mass of earth, ohm
	Polarity      Test = "polarity"       // by continuity, before the supply is on; correct or wrong
	Ze            Test = "Ze"             // external earth fault loop impedance, ohm
	Zs            Test = "Zs"             // earth fault loop impedance, ohm
	PFC           Test = "PFC"            // prospective fault current, line to earth, kA
	PSC           Test = "PSC"            // prospective short-circuit current, line to neutral or between lines, kA
	RCD1x         Test = "RCD-1x"         // operating time at rated residual current, ms
	RCD5x         Test = "RCD-5x"         // operating time at five times rated, ms
	RCDHalf       Test = "RCD-half"       // half the rated residual current; correct is no trip
	RCDRamp       Test = "RCD-ramp"       // residual current at which it operates, slowly raised, mA
	RCDButton     Test = "RCD-button"     // test button; correct is a trip
	AFDDButton    Test = "AFDD-button"    // test button of an arc fault detection device; correct is a trip
	PENFault      Test = "PEN-fault"      // protection of an electric vehicle charging point against a broken PEN conductor, by its maker's test; correct or wrong
	DCFault       Test = "DC-fault"       // its protection against a direct residual current, by its maker's test; correct or wrong
	PhaseSequence Test = "phase-sequence" // correct or wrong
	Functional    Test = "functional"     // correct or wrong
)

// Unit is the unit a quantity is given in.
type Unit string

// Units of measured quantities.
const (
	Megohm   Unit = "Mohm"
	Ohm      Unit = "ohm"
	Millisec Unit = "ms"
	Kiloamp  Unit = "kA"
	Milliamp Unit = "mA"
	Volt     Unit = "V"
	NoUnit   Unit = "" // tests answered by correct or wrong
)

var tests = map[Test]struct {
	unit   Unit
	spoken string
}{
	R1R2: {Ohm, "r one plus r two"}, R2: {Ohm, "r two"},
	RingR1: {Ohm, "ring r one"}, RingRn: {Ohm, "ring r n"}, RingR2: {Ohm, "ring r two"},
	RingLN: {Ohm, "ring line to neutral"}, RingLE: {Ohm, "ring line to earth"},
	LNE: {Megohm, "live and neutral to earth"}, LE: {Megohm, "live to earth"},
	NE: {Megohm, "neutral to earth"}, LN: {Megohm, "live to neutral"}, LL: {Megohm, "line to line"},
	// Lines by the colours of their conductors, BS 7671 Table 51,
	// from memory: L1 brown, L2 black, L3 grey.
	L1E: {Megohm, "brown to earth"}, L2E: {Megohm, "black to earth"}, L3E: {Megohm, "grey to earth"},
	L1L2: {Megohm, "brown to black"}, L2L3: {Megohm, "black to grey"}, L1L3: {Megohm, "brown to grey"},
	L1N: {Megohm, "brown to neutral"}, L2N: {Megohm, "black to neutral"}, L3N: {Megohm, "grey to neutral"},
	Earthing: {Ohm, "main earth"}, Bonding: {Ohm, "bonding"}, RA: {Ohm, "earth electrode"},
	Polarity: {NoUnit, "polarity"}, Ze: {Ohm, "zed e"}, Zs: {Ohm, "zed s"},
	PFC: {Kiloamp, "fault current"}, PSC: {Kiloamp, "p s c c"},
	RCDHalf: {NoUnit, "r c d half times"}, RCDRamp: {Milliamp, "r c d ramp"},
	RCD1x: {Millisec, "r c d one times"}, RCD5x: {Millisec, "r c d five times"},
	AFDDButton: {NoUnit, "a f d d button"}, PENFault: {NoUnit, "p e n fault"}, DCFault: {NoUnit, "d c protection"},
	RCDButton: {NoUnit, "test button"}, PhaseSequence: {NoUnit, "phase sequence"}, Functional: {NoUnit, "functional"},
}

// Known reports whether t is one of the tests above.
func (t Test) Known() bool { _, ok := tests[t]; return ok }

// Unit returns the unit in which t is measured, or NoUnit.
func (t Test) Unit() Unit { return tests[t].unit }

// Spoken returns the test as an electrician says it: "live and neutral to
// earth" for LN-E.
func (t Test) Spoken() string { return tests[t].spoken }

// Insulation reports whether t is an insulation resistance test.
func (t Test) Insulation() bool { return tests[t].unit == Megohm }

// Judged reports whether t is answered by correct or wrong and not by a value.
func (t Test) Judged() bool { return t.Known() && tests[t].unit == NoUnit }

// Live reports whether t is made with the supply on. Polarity is not: it is
// made by continuity before the supply comes on. An earth electrode is taken
// as live, because at a house it is measured with a loop tester; with a
// separate electrode tester it may come sooner (BS 7671
// regulation 643.7.2, from memory).
func (t Test) Live() bool {
	switch t {
	case Ze, Zs, PFC, PSC, RA, RCD1x, RCD5x, RCDHalf, RCDRamp, RCDButton, AFDDButton, PENFault, DCFault, PhaseSequence, Functional:
		return true
	}
	return false
}

// ParseTest returns the test with the given identity, such as "LN-E". Case
// matters: R2 is a circuit's protective conductor, r2 a ring's.
func ParseTest(s string) (Test, error) {
	if t := Test(s); t.Known() {
		return t, nil
	}
	return "", advice.Errorf("use an identity such as LN-E, L-N or R1+R2", "unknown test %q", s)
}

// Bound says how a quantity's value is to be read.
type Bound string

// The bounds.
const (
	Exactly     Bound = "=" // the instrument showed this value
	GreaterThan Bound = ">" // the instrument's scale ends here: the truth lies above
	LessThan    Bound = "<" // the truth lies below
)

// Quantity is a measured value with its bound and unit. The zero Quantity
// means that nothing was measured.
type Quantity struct {
	Value  float64 `json:"value"`            // in Unit; finite, zero or more
	Places int     `json:"places,omitempty"` // decimal places as said: 3.10 has two
	Bound  Bound   `json:"bound"`
	Unit   Unit    `json:"unit,omitempty"`
}

// What a test without a unit is answered with. No other quantity fits such a
// test.
var (
	Correct = Quantity{Value: 1, Bound: Exactly}
	Wrong   = Quantity{Value: 0, Bound: Exactly}
)

// judgement returns the word for Correct and Wrong, and "" for all others.
func (q Quantity) judgement() string {
	switch q {
	case Correct:
		return "correct"
	case Wrong:
		return "wrong"
	}
	return ""
}

// Fits returns an error that says why q cannot be the answer to t, or nil: it
// must pass Check, be in t's unit, and be Correct or Wrong where t has none.
func (t Test) Fits(q Quantity) error {
	if err := q.Check(); err != nil {
		return err
	}
	switch {
	case !t.Known():
		return advice.Errorf("use an identity such as LN-E, L-N or R1+R2", "unknown test %q", t)
	case t.Judged() && q != Correct && q != Wrong:
		return advice.Errorf("say which", "%s is answered by correct or wrong, not by %s", t, q)
	case q.Unit != t.Unit():
		return advice.Errorf("give it in "+string(t.Unit()), "%s is read in %s, not in %q", t, t.Unit(), string(q.Unit))
	}
	return nil
}

// MaxValue is the largest value that any quantity may have; more is a slip.
const MaxValue = 99999

// Check returns an error that names what is wrong with q, or nil.
func (q Quantity) Check() error {
	switch {
	case math.IsNaN(q.Value) || math.IsInf(q.Value, 0):
		return advice.New("value is not a number", "give a figure such as 0.47")
	case q.Value < 0:
		return advice.Errorf("a resistance, time or current cannot be", "value %v is negative", q.Value)
	case q.Value > MaxValue:
		return advice.Errorf("check the unit", "value %v is above %d", q.Value, MaxValue)
	case q.Places < 0 || q.Places > 4:
		return advice.Errorf("give 0 to 4", "value has %d decimal places", q.Places)
	case mustRound(q):
		return advice.Errorf("give the places that were said", "value %v does not fit in %d decimal places", q.Value, q.Places)
	case q.Bound != Exactly && q.Bound != GreaterThan && q.Bound != LessThan:
		return advice.Errorf("use =, > or <", "unknown bound %q", q.Bound)
	}
	return nil
}

// mustRound reports whether writing q with its places would change its value,
// so that a schedule would show something nobody read out.
func mustRound(q Quantity) bool {
	v, err := strconv.ParseFloat(q.Figure(), 64)
	return err != nil || v != q.Value
}

// Interval returns the lowest and highest true value that q allows, before any
// allowance for the instrument: (v, v) for a value, (v, +Inf) for "greater
// than", (0, v) for "less than".
func (q Quantity) Interval() (low, high float64) {
	switch q.Bound {
	case GreaterThan:
		return q.Value, math.Inf(1)
	case LessThan:
		return 0, q.Value
	}
	return q.Value, q.Value
}

// Figure returns the value as digits with the places that were said: "3.10".
func (q Quantity) Figure() string { return strconv.FormatFloat(q.Value, 'f', q.Places, 64) }

// String returns the quantity as written on a schedule: ">999 Mohm", "0.47
// ohm", and "correct" or "wrong" for what has no unit and is one or nought.
func (q Quantity) String() string {
	if word := q.judgement(); word != "" {
		return word
	}
	s := q.Figure()
	if q.Bound != Exactly {
		s = string(q.Bound) + s
	}
	if q.Unit != NoUnit {
		s += " " + string(q.Unit)
	}
	return s
}

// Equal reports whether q and r say the same: 0.30 equals 0.3, >999 does not
// equal 999.
func (q Quantity) Equal(r Quantity) bool {
	return q.Bound == r.Bound && q.Unit == r.Unit && q.Value == r.Value
}

// ForSeveral reports whether one breath may give q for several places: that it is
// greater than something in each, or that each is correct. A figure is read in one place.
func (q Quantity) ForSeveral() bool { return q.Bound == GreaterThan || q == Correct }

// Nothing reports whether q is a bound that says nothing: greater than nought, which every
// reading is, or less than nought, which none is.
func (q Quantity) Nothing() bool {
	return q.Value == 0 && (q.Bound == GreaterThan || q.Bound == LessThan)
}

// ParseQuantity reads the written form of a quantity without its unit: "0.47",
// ">999", "<0.05", and where there is no unit "correct" and "wrong" as well.
func ParseQuantity(s string, unit Unit) (Quantity, error) {
	q := Quantity{Bound: Exactly, Unit: unit}
	t := strings.TrimSpace(s)
	if len(t) > 32 {
		return Quantity{}, advice.Errorf("write a figure such as 0.47 or >999", "%.32q... is not a reading", t)
	}
	switch {
	case unit == NoUnit && t == Correct.String():
		return Correct, nil
	case unit == NoUnit && t == Wrong.String():
		return Wrong, nil
	}
	if strings.HasPrefix(t, ">") || strings.HasPrefix(t, "<") {
		q.Bound, t = Bound(t[:1]), strings.TrimSpace(t[1:])
	}
	whole, frac, point := strings.Cut(t, ".")
	if whole == "" && frac == "" || strings.Trim(whole+frac, "0123456789") != "" || point && frac == "" {
		return Quantity{}, advice.Errorf("write a figure such as 0.47 or >999", "%q is not a reading", s)
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil {
		return Quantity{}, advice.Errorf("write a figure such as 0.47 or >999", "%q is not a reading", s)
	}
	q.Value, q.Places = v, len(frac)
	if err := q.Check(); err != nil {
		return Quantity{}, err
	}
	return q, nil
}
