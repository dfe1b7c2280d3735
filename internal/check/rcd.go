package check

import (
	"fmt"
	"math"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/reading"
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

// rcdTime is RCDTime of one device, by the standard that it is made to.
func rcdTime(r *board.RCD, multiple float64) (ms Interval, source string, err error) {
	if old, ok := find("rcd", oldRCD(r), multiple); ok {
		return Interval{old.number["least"], old.number["most"]}, cite(oldRCD(r), old.text["rests"]), nil
	}
	return RCDTime(r.Delayed, multiple)
}

// RCDRampA returns the same of a type A device of mA whose tester was set to
// pulsating direct current: 35 to 140 % of the rated one, to 200 % up to 10 mA. IEC
// 61008-1, from memory.
func RCDRampA(mA float64) (Interval, string) {
	most := limit("rcd_ramp_a_most")
	if mA <= 10 {
		most = limit("rcd_ramp_a_most_small")
	}
	return Interval{mA * limit("rcd_ramp_a_least"), mA * most}, sourceOf("rcd_ramp_a_least")
}

// RCDRamp returns between what a slowly rising residual current must make an RCD
// of mA operate, in mA: above half the rated one and no more than it. IEC
// 61008-1, from memory.
func RCDRamp(mA float64) (Interval, string) {
	return Interval{mA * limit("rcd_ramp_least"), mA * limit("rcd_ramp_most")}, sourceOf("rcd_ramp_least")
}

// rcdOf is the RCD that serves the place being judged, nil when none is known.
func (c *ctx) rcdOf() *board.RCD {
	if c.way == nil {
		return c.board.Main.RCD
	}
	return c.rcdFor(c.way)
}

func (c *ctx) rcdFor(w *board.Way) *board.RCD {
	if w.Device.RCD != nil {
		return w.Device.RCD
	}
	return c.board.Main.RCD
}

// rcd judges operating times and the ramp.
func (c *ctx) rcd() []Verdict {
	r := c.rcdOf()
	if !positive(r.Rated) {
		return []Verdict{c.numbers(cannot("RCD", practice, "%s: the rated residual current is not known.", c.where())).next("Read it off the device.")}
	}
	if c.in.Test == reading.RCDRamp {
		return c.ramp(r)
	}
	multiple, words := 1.0, "rated current"
	if c.in.Test == reading.RCD5x {
		multiple, words = 5, "five times rated current"
	}
	rule := "operating time at " + words
	band, source, err := rcdTime(r, multiple)
	if err != nil {
		return []Verdict{c.numbers(cannot(rule, practice, "%s: %s.", c.where(), advice.What(err)))}
	}
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("at most", band.High, reading.Millisec).with("at least", band.Low, reading.Millisec).
			with("rated", r.Rated, reading.Milliamp).margin(band.High, c.is.High)
	}
	var all []Verdict
	switch {
	case atMost(c.q, exact(band.High)) == Fail:
		all = append(all, note(verdict(Fail, rule, source, "Slower than the %s allowed.", said(band.High, reading.Millisec))).next("Test again with the loads off, then replace the device."))
	case band.Low > 0 && atLeast(c.q, exact(band.Low)) == Fail:
		all = append(all, note(verdict(Fail, rule, source, "Faster than the %s that a time delayed one must wait.", said(band.Low, reading.Millisec))).next("Check that the device is marked S."))
	case within(c.q, band) != Pass:
		all = append(all, note(c.wide(rule, source)))
	default:
		reason := fmt.Sprintf("Within the %s allowed.", said(band.High, reading.Millisec))
		if multiple == 5 && r.Rated > limit("rcd_additional") {
			reason = fmt.Sprintf("Within the %s allowed, though this test is for thirty milliamps and less.", said(band.High, reading.Millisec))
		}
		pass := note(verdict(Pass, rule, source, "%s", reason))
		if remarks := Remarks(c.in.Job, c.in.Board, c.in.Way); len(remarks) > 0 {
			pass = pass.next("%s", remarks[0].Text)
		}
		all = append(all, pass)
	}
	if c.is.High < limit("rcd_quickest") {
		all = append(all, c.numbers(verdict(Investigate, rule, sourceOf("rcd_quickest"), "Quicker than a mechanism moves, so was another figure read?")).with("quickest", limit("rcd_quickest"), reading.Millisec))
	}
	return append(all, c.quicker()...)
}

// quicker compares the times at rated and at five times rated current: with
// more current an RCD takes no longer.
func (c *ctx) quicker() []Verdict {
	one, five := c.is, c.is
	var ok bool
	if c.in.Test == reading.RCD1x {
		five, ok = c.got(reading.RCD5x)
	} else {
		one, ok = c.got(reading.RCD1x)
	}
	if !ok || five.Low <= one.High {
		return nil
	}
	return []Verdict{c.numbers(verdict(Investigate, "five times against rated current", practice, "Slower at five times than at rated current, so were they changed round?")).
		span("rated", one, reading.Millisec).span("five times", five, reading.Millisec).next("Test both again.")}
}

func (c *ctx) ramp(r *board.RCD) []Verdict {
	const rule = "residual operating current"
	band, source := RCDRamp(r.Rated)
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("at most", band.High, reading.Milliamp).with("more than", band.Low, reading.Milliamp).margin(band.High, c.is.High)
	}
	// Nothing says with which current the tester was set. What only a pulsating
	// one explains is asked about.
	if wide, from := RCDRampA(r.Rated); r.Type != "AC" && r.Type != "" && within(c.q, band) == Fail && within(c.q, wide) == Pass {
		return []Verdict{note(verdict(Investigate, rule, from, "Right with pulsating direct current alone, so which was the tester set to?")).
			with("at most, pulsating", wide.High, reading.Milliamp).with("at least, pulsating", wide.Low, reading.Milliamp).next("Test again with alternating current.")}
	}
	switch {
	case atMost(c.q, exact(band.High)) == Fail:
		return []Verdict{note(verdict(Fail, rule, source, "Needs more than its rated %s.", said(r.Rated, reading.Milliamp))).next("Test again with the loads off, then replace the device.")}
	case atMost(c.q, exact(band.Low)) == Pass:
		// At just half it must not operate.
		return []Verdict{note(verdict(Fail, rule, source, "Operates at half its rated %s or less.", said(r.Rated, reading.Milliamp))).next("Test again with the loads off: they may leak.")}
	case within(c.q, Interval{math.Nextafter(band.Low, 0), band.High}) == Pass:
		return []Verdict{note(verdict(Pass, rule, source, "Between half and all of its rated %s.", said(r.Rated, reading.Milliamp)))}
	}
	return []Verdict{note(c.wide(rule, source))}
}
