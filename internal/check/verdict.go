// Package check judges readings: against the limit, against what the circuit
// should give, and against the readings taken before it.
//
// Judge is the one entry: it takes a reading with what is known of its board
// and the readings before it, and gives a Verdict. The figures that the rules
// rest on, with their sources, and what follows from them alone are in package
// limits.
//
// A verdict is about one reading, never about a circuit: the results have no
// "safe" among them, and a reading that cannot be judged never passes. Every
// verdict names the clause or table it rests on. What is marked "from memory"
// was recalled, not read, and the electrician's own copy decides; what no
// published source backs says so.
package check

import (
	"fmt"
	"math"
	"slices"

	"waycall/internal/limits"
	"waycall/internal/reading"
)

// Result is the outcome of checking one reading.
type Result string

// The results. There is no "safe": a pass says only that one reading meets one
// limit.
const (
	Pass        Result = "pass"
	Investigate Result = "investigate" // meets the limit but is not what this circuit should give
	Fail        Result = "fail"
	CannotSay   Result = "cannot say" // an input is missing or a bound is too wide
)

// bySeverity is the results from the least severe to the most.
var bySeverity = []Result{Pass, CannotSay, Investigate, Fail}

// Results returns the results from the least severe to the most.
func Results() []Result { return slices.Clone(bySeverity) }

// Known reports whether r is a result.
func (r Result) Known() bool { return slices.Contains(bySeverity, r) }

// Severity orders the results: of several verdicts on one reading the most
// severe stands. A result that is not one of the four ranks as CannotSay, and none at
// all, "", below them.
func (r Result) Severity() int {
	if at := slices.Index(bySeverity, r); at >= 0 || r == "" {
		return at
	}
	return slices.Index(bySeverity, CannotSay)
}

// Verdict is a Result with what it rests on.
type Verdict struct {
	Result  Result   `json:"result"`
	Reason  string   `json:"reason"`            // one sentence, written and spoken
	Source  string   `json:"source"`            // clause, table or "common practice, no published source"
	Rule    string   `json:"rule,omitempty"`    // the rule in a few words, such as "r1 against rn"
	Numbers []Number `json:"numbers,omitempty"` // what went in, the reading first
	Margin  float64  `json:"margin,omitempty"`  // how many times better than the limit: above 1 is within it; 0 when it cannot be told
	Next    string   `json:"next,omitempty"`    // what to look at next
}

// Number is one figure that a verdict rests on. Value is always finite.
type Number struct {
	Name  string  `json:"name"`           // such as "limit"
	Value float64 `json:"value"`          // in Unit
	Unit  string  `json:"unit,omitempty"` // as written, such as "ohm"; "" for a ratio
}

// worst returns the most severe verdict, of equals the first, so that what the
// standard says comes before what practice says.
func worst(all []Verdict) Verdict {
	w := all[0]
	for _, v := range all[1:] {
		if v.Result.Severity() > w.Result.Severity() {
			w = v
		}
	}
	return w
}

// verdict makes a Verdict with a formatted reason.
func verdict(r Result, rule, source, format string, args ...any) Verdict {
	return Verdict{Result: r, Reason: fmt.Sprintf(format, args...), Source: source, Rule: rule}
}

func cannot(rule, source, format string, args ...any) Verdict {
	return verdict(CannotSay, rule, source, format, args...)
}

// with adds a figure, unless it is not one: an open end has none.
func (v Verdict) with(name string, x float64, unit reading.Unit) Verdict {
	if !math.IsNaN(x) && !math.IsInf(x, 0) {
		v.Numbers = append(v.Numbers, Number{name, x, string(unit)})
	}
	return v
}

// span adds an interval, as one figure where both ends are the same.
func (v Verdict) span(name string, i limits.Interval, unit reading.Unit) Verdict {
	if i.High-i.Low <= 1e-9*i.High {
		return v.with(name, i.High, unit)
	}
	return v.with(name+" at least", i.Low, unit).with(name+" at most", i.High, unit)
}

// margin sets limit over reading, or what else says how many times better.
func (v Verdict) margin(better, worse float64) Verdict {
	if m := better / worse; better > 0 && worse > 0 && !math.IsInf(m, 0) && !math.IsNaN(m) {
		v.Margin = m
	}
	return v
}

func (v Verdict) next(format string, args ...any) Verdict {
	v.Next = fmt.Sprintf(format, args...)
	return v
}

// said says a figure that was reckoned, to three significant figures, with its
// unit: "nought point eight six ohms".
func said(x float64, unit reading.Unit) string {
	if x > 0 && x < 1e5 {
		places := max(0, min(3, 2-int(math.Floor(math.Log10(x)))))
		p := math.Pow(10, float64(places))
		x = math.Round(x*p) / p
	}
	one, many := unitWords(unit)
	switch {
	case many == "":
		return spokenNumber(x)
	case x == 1:
		return spokenNumber(x) + " " + one
	}
	return spokenNumber(x) + " " + many
}

func unitWords(u reading.Unit) (one, many string) {
	switch u {
	case reading.Ohm:
		return "ohm", "ohms"
	case reading.Megohm:
		return "megohm", "megohms"
	case reading.Millisec:
		return "millisecond", "milliseconds"
	case reading.Milliamp:
		return "milliamp", "milliamps"
	case reading.Kiloamp:
		return "kiloamp", "kiloamps"
	case reading.Volt:
		return "volt", "volts"
	}
	return "", ""
}
