// Package check judges readings: against the limit, against what the circuit
// should give, and against the readings taken before it.
//
// A verdict is about one reading, never about a circuit: the results have no
// "safe" among them, and a reading that cannot be judged never passes. Every
// verdict names the clause or table it rests on. What is marked "from memory"
// was recalled, not read, and the electrician's own copy decides; what no
// published source backs says so.
package check

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

// severity orders the results: of several verdicts on one reading the most
// severe stands. A result that is not one of the four ranks as CannotSay.
func (r Result) severity() int {
	switch r {
	case Fail:
		return 3
	case Investigate:
		return 2
	case Pass:
		return 0
	}
	return 1
}

// Verdict is a Result with what it rests on.
type Verdict struct {
	Result Result `json:"result"`
	Reason string `json:"reason"` // one sentence, written and spoken
	Source string `json:"source"` // clause, table or "common practice, no published source"
}

// worst returns the most severe verdict, of equals the first, so that what the
// standard says comes before what practice says.
func worst(all []Verdict) Verdict {
	w := all[0]
	for _, v := range all[1:] {
		if v.Result.severity() > w.Result.severity() {
			w = v
		}
	}
	return w
}
