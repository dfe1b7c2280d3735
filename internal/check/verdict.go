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

// Verdict is a Result with what it rests on.
type Verdict struct {
	Result Result `json:"result"`
	Reason string `json:"reason"` // one sentence, written and spoken
	Source string `json:"source"` // clause, table or "common practice, no published source"
}
