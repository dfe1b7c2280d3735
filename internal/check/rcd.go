package check

import (
	"fmt"
	"math"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/reading"
)

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
	if !limits.Positive(r.Rated) {
		return []Verdict{c.numbers(cannot("RCD", limits.Practice, "%s: the rated residual current is not known.", c.where())).next("Read it off the device.")}
	}
	if c.in.Test == reading.RCDRamp {
		return c.ramp(r)
	}
	multiple, words := 1.0, "rated current"
	if c.in.Test == reading.RCD5x {
		multiple, words = 5, "five times rated current"
	}
	rule := "operating time at " + words
	band, source, err := limits.RCDTimeOf(r, multiple)
	if err != nil {
		return []Verdict{c.numbers(cannot(rule, limits.Practice, "%s: %s.", c.where(), advice.What(err)))}
	}
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("at most", band.High, reading.Millisec).with("at least", band.Low, reading.Millisec).
			with("rated", r.Rated, reading.Milliamp).margin(band.High, c.is.High)
	}
	var all []Verdict
	switch {
	case atMost(c.q, limits.Exact(band.High)) == Fail:
		all = append(all, note(verdict(Fail, rule, source, "Slower than the %s allowed.", said(band.High, reading.Millisec))).next("Test again with the loads off, then replace the device."))
	case band.Low > 0 && atLeast(c.q, limits.Exact(band.Low)) == Fail:
		all = append(all, note(verdict(Fail, rule, source, "Faster than the %s that a time delayed one must wait.", said(band.Low, reading.Millisec))).next("Check that the device is marked S."))
	case within(c.q, band) != Pass:
		all = append(all, note(c.wide(rule, source)))
	default:
		reason := fmt.Sprintf("Within the %s allowed.", said(band.High, reading.Millisec))
		if multiple == 5 && r.Rated > limits.Value("rcd_additional") {
			reason = fmt.Sprintf("Within the %s allowed, though this test is for thirty milliamps and less.", said(band.High, reading.Millisec))
		}
		pass := note(verdict(Pass, rule, source, "%s", reason))
		if remarks := Remarks(c.in.Job, c.in.Board, c.in.Way); len(remarks) > 0 {
			pass = pass.next("%s", remarks[0].Text)
		}
		all = append(all, pass)
	}
	if c.is.High < limits.Value("rcd_quickest") {
		all = append(all, c.numbers(verdict(Investigate, rule, limits.SourceOf("rcd_quickest"), "Quicker than a mechanism moves, so was another figure read?")).with("quickest", limits.Value("rcd_quickest"), reading.Millisec))
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
	return []Verdict{c.numbers(verdict(Investigate, "five times against rated current", limits.Practice, "Slower at five times than at rated current, so were they changed round?")).
		span("rated", one, reading.Millisec).span("five times", five, reading.Millisec).next("Test both again.")}
}

func (c *ctx) ramp(r *board.RCD) []Verdict {
	const rule = "residual operating current"
	band, source := limits.RCDRamp(r.Rated)
	note := func(v Verdict) Verdict {
		return c.numbers(v).with("at most", band.High, reading.Milliamp).with("more than", band.Low, reading.Milliamp).margin(band.High, c.is.High)
	}
	// Nothing says with which current the tester was set. What only a pulsating
	// one explains is asked about.
	if wide, from := limits.RCDRampA(r.Rated); r.Type != "AC" && r.Type != "" && within(c.q, band) == Fail && within(c.q, wide) != Fail {
		reason := "Right with pulsating direct current alone, so which was the tester set to?"
		if within(c.q, wide) != Pass { // of a bound, some values
			reason = "Right at most with pulsating direct current, so which was the tester set to?"
		}
		return []Verdict{note(verdict(Investigate, rule, from, "%s", reason)).
			with("at most, pulsating", wide.High, reading.Milliamp).with("at least, pulsating", wide.Low, reading.Milliamp).next("Test again with alternating current.")}
	}
	switch {
	case atMost(c.q, limits.Exact(band.High)) == Fail:
		return []Verdict{note(verdict(Fail, rule, source, "Needs more than its rated %s.", said(r.Rated, reading.Milliamp))).next("Test again with the loads off, then replace the device.")}
	case atMost(c.q, limits.Exact(band.Low)) == Pass:
		// At just half it must not operate.
		return []Verdict{note(verdict(Fail, rule, source, "Operates at half its rated %s or less.", said(r.Rated, reading.Milliamp))).next("Test again with the loads off: they may leak.")}
	case within(c.q, limits.Between(math.Nextafter(band.Low, 0), band.High)) == Pass:
		return []Verdict{note(verdict(Pass, rule, source, "Between half and all of its rated %s.", said(r.Rated, reading.Milliamp)))}
	}
	return []Verdict{note(c.wide(rule, source))}
}
