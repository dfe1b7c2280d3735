package limits

import (
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
)

// RCDTime returns between what an RCD must operate at a multiple (1, 2 or 5) of
// its rated residual current, in ms: general type or, delayed, S type. IEC
// 61008-1 and IEC 61009-1 Table 1, from memory.
func RCDTime(delayed bool, multiple float64) (ms Interval, source string, err error) {
	kind := "general"
	if delayed {
		kind = "delayed"
	}
	r, ok := find("rcd", kind, multiple)
	if !ok {
		return Interval{}, "", advice.Errorf("give 1, 2 or 5", "no operating time for %v times the rated residual current", multiple)
	}
	return Interval{r.number["least"], r.number["most"]}, tableOf("rcd", r.text["rests"]), nil
}

// oldRCD returns the standard before BS EN 61008 that an RCD is made to, whose
// time at the rated current is 200 ms, or "". One that is time-delayed has a time
// of its own.
func oldRCD(r *board.RCD) string {
	for _, s := range [...]string{"BS 4293", "BS 7288"} {
		if strings.HasPrefix(r.Standard, s) && !r.Delayed {
			return s
		}
	}
	return ""
}

// RCDTimeOf is RCDTime of one device, by the standard that it is made to.
func RCDTimeOf(r *board.RCD, multiple float64) (ms Interval, source string, err error) {
	if old, ok := find("rcd", oldRCD(r), multiple); ok {
		return Interval{old.number["least"], old.number["most"]}, cite(oldRCD(r), old.text["rests"]), nil
	}
	return RCDTime(r.Delayed, multiple)
}

// RCDRampA returns the same of a type A device of mA whose tester was set to
// pulsating direct current: 35 to 140 % of the rated one, to 200 % up to 10 mA. IEC
// 61008-1, from memory.
func RCDRampA(mA float64) (Interval, string) {
	most := Value("rcd_ramp_a_most")
	if mA <= 10 {
		most = Value("rcd_ramp_a_most_small")
	}
	return Interval{mA * Value("rcd_ramp_a_least"), mA * most}, SourceOf("rcd_ramp_a_least")
}

// RCDRamp returns between what a slowly rising residual current must make an RCD
// of mA operate, in mA: above half the rated one and no more than it. IEC
// 61008-1, from memory.
func RCDRamp(mA float64) (Interval, string) {
	return Interval{mA * Value("rcd_ramp_least"), mA * Value("rcd_ramp_most")}, SourceOf("rcd_ramp_least")
}
