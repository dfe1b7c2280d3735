package check

import (
	"strings"

	"waycall/internal/limits"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// The rules that find a reading which is likely another than the instrument showed.
const (
	ruleSlip  = "a slipped point"
	ruleSwap  = "ways changed round"
	ruleAgain = "the same figure again"
)

// Implausible reports whether v says that the reading looks like a slip: of the
// point, of the way, or of reading one display twice.
func (v Verdict) Implausible() bool {
	return v.Rule == ruleSlip || v.Rule == ruleSwap || v.Rule == ruleAgain
}

// slipped finds a reading that would fit if its point stood one or two places
// elsewhere. want is what it should be about, band what it may be.
func (c *ctx) slipped(want, band limits.Interval, what string) (Verdict, bool) {
	if c.q.Bound != reading.Exactly || c.q.Value <= 0 || c.q.Value < limits.Value("slip")*want.High && c.q.Value*limits.Value("slip") > want.Low {
		return Verdict{}, false
	}
	for _, times := range [...]float64{10, 100} {
		words := map[float64]string{10: "ten", 100: "a hundred"}[times]
		for _, s := range [...]struct {
			value float64
			side  string
		}{{c.q.Value / times, "more"}, {c.q.Value * times, "less"}} {
			if s.value >= band.Low && s.value <= band.High {
				return verdict(Investigate, ruleSlip, limits.Practice, "About %s times %s than %s give, so did the point slip?", words, s.side, what).
					next("Read the display again."), true
			}
		}
	}
	return Verdict{}, false
}

// swapped finds two ways whose readings would each fit the other: the cables or
// the numbers may be changed round.
func (c *ctx) swapped(own limits.Interval) (Verdict, bool) {
	for _, e := range c.past.series[series{c.in.Board, c.in.Test}] {
		theirs := limits.IntervalOf(e.Quantity)
		if e.Way == c.in.Way || !theirs.Inside(own) {
			continue
		}
		other := c.board.Way(e.Way)
		if other == nil || other.Spare {
			continue
		}
		x, err := c.expected(other, c.in.Test)
		if err != nil {
			continue
		}
		if band := allowed(x); c.is.Inside(band) && !theirs.Inside(band) {
			return verdict(Investigate, ruleSwap, limits.Practice, "It fits way %s and that fits this one, so are the two changed round?", waymark.Aloud(e.Way)).
				next("Check which cable is in which way."), true
		}
	}
	return Verdict{}, false
}

// again finds the very figure of the way before. Two figures are often alike by
// chance, three seldom.
func (c *ctx) again() []Verdict {
	if c.q.Bound != reading.Exactly || len(strings.TrimLeft(strings.ReplaceAll(c.q.Figure(), ".", ""), "0")) < 3 {
		return nil
	}
	all := c.past.series[series{c.in.Board, c.in.Test}]
	for i := len(all) - 1; i >= 0; i-- {
		e := all[i]
		if e.Way == c.in.Way {
			continue
		}
		if !e.Quantity.Equal(c.q) {
			return nil
		}
		return []Verdict{c.numbers(verdict(Investigate, ruleAgain, limits.Practice, "The same as way %s, so was it read again or carried over?", waymark.Aloud(e.Way))).next("Read the display again.")}
	}
	return nil
}
