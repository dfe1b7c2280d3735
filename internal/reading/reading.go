// Package reading holds what a test instrument shows: which test was made and
// the quantity it gave.
//
// A quantity is never just a number. An instrument that runs off the end of
// its scale says "greater than 999 megohms", and that is a bound, not a value:
// it can be compared with a limit but never averaged, and it must never be
// written down as 999. Quantity keeps the two apart everywhere in waycall.
package reading

import (
	"fmt"
	"math"
	"strconv"
	"strings"
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
	LL            Test = "L-L"            // insulation, line to line, Mohm
	Polarity      Test = "polarity"       // correct or not, no unit
	Ze            Test = "Ze"             // external earth fault loop impedance, ohm
	Zs            Test = "Zs"             // earth fault loop impedance, ohm
	PFC           Test = "PFC"            // prospective fault current, kA
	RCD1x         Test = "RCD-1x"         // operating time at rated residual current, ms
	RCD5x         Test = "RCD-5x"         // operating time at five times rated, ms
	RCDButton     Test = "RCD-button"     // test button, works or not
	PhaseSequence Test = "phase-sequence" // correct or not
	Functional    Test = "functional"     // correct or not
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
	NoUnit   Unit = "" // tests answered by correct or not
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
	Polarity: {NoUnit, "polarity"}, Ze: {Ohm, "zed e"}, Zs: {Ohm, "zed s"},
	PFC: {Kiloamp, "fault current"}, RCD1x: {Millisec, "r c d one times"}, RCD5x: {Millisec, "r c d five times"},
	RCDButton: {NoUnit, "r c d button"}, PhaseSequence: {NoUnit, "phase sequence"}, Functional: {NoUnit, "functional"},
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

// ParseTest returns the test with the given identity, such as "LN-E". Case
// matters: R2 is a circuit's protective conductor, r2 a ring's.
func ParseTest(s string) (Test, error) {
	if t := Test(s); t.Known() {
		return t, nil
	}
	return "", fmt.Errorf("unknown test %q; use an identity such as LN-E, L-N or R1+R2", s)
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

// MaxValue is the largest value that any quantity may have; more is a slip.
const MaxValue = 99999

// Check returns an error that names what is wrong with q, or nil.
func (q Quantity) Check() error {
	switch {
	case math.IsNaN(q.Value) || math.IsInf(q.Value, 0):
		return fmt.Errorf("value is not a number; give a figure such as 0.47")
	case q.Value < 0:
		return fmt.Errorf("value %v is negative; a resistance, time or current cannot be", q.Value)
	case q.Value > MaxValue:
		return fmt.Errorf("value %v is above %d; check the unit", q.Value, MaxValue)
	case q.Places < 0 || q.Places > 4:
		return fmt.Errorf("value has %d decimal places; give 0 to 4", q.Places)
	case mustRound(q):
		return fmt.Errorf("value %v does not fit in %d decimal places; give the places that were said", q.Value, q.Places)
	case q.Bound != Exactly && q.Bound != GreaterThan && q.Bound != LessThan:
		return fmt.Errorf("unknown bound %q; use =, > or <", q.Bound)
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

// String returns the quantity as written on a schedule: ">999 Mohm", "0.47 ohm".
func (q Quantity) String() string {
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

// ParseQuantity reads the written form of a quantity without its unit: "0.47",
// ">999", "<0.05".
func ParseQuantity(s string, unit Unit) (Quantity, error) {
	q := Quantity{Bound: Exactly, Unit: unit}
	t := strings.TrimSpace(s)
	if len(t) > 32 {
		return Quantity{}, fmt.Errorf("%.32q... is not a reading; write a figure such as 0.47 or >999", t)
	}
	if strings.HasPrefix(t, ">") || strings.HasPrefix(t, "<") {
		q.Bound, t = Bound(t[:1]), strings.TrimSpace(t[1:])
	}
	whole, frac, point := strings.Cut(t, ".")
	if whole == "" && frac == "" || strings.Trim(whole+frac, "0123456789") != "" || point && frac == "" {
		return Quantity{}, fmt.Errorf("%q is not a reading; write a figure such as 0.47 or >999", s)
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil {
		return Quantity{}, fmt.Errorf("%q is not a reading; write a figure such as 0.47 or >999", s)
	}
	q.Value, q.Places = v, len(frac)
	if err := q.Check(); err != nil {
		return Quantity{}, err
	}
	return q, nil
}
