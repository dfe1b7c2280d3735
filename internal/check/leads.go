package check

import (
	"waycall/internal/limits"
	"waycall/internal/reading"
)

// The leads of an instrument are checked before they are relied on: what they
// read joined is in every resistance measured with them, and what they read
// apart bounds every insulation resistance. No published source gives figures.

// LeadsJoined judges what test leads read with their ends joined, in ohm. A
// failure means that no reading made with them would be worth anything.
func LeadsJoined(q reading.Quantity) Verdict {
	is := limits.IntervalOf(q)
	v := func(r Result, format string, args ...any) Verdict {
		return verdict(r, "leads joined", limits.Practice, format, args...).span("leads joined", is, reading.Ohm)
	}
	usual, open := limits.Value("leads_joined"), limits.Value("leads_open")
	switch {
	case is.Low > open || q.Bound == reading.GreaterThan && is.Low >= open:
		return v(Fail, "The leads are not joined, or one is open.").next("Check the clips, the plugs and the fuses.")
	case is.High <= usual:
		return v(Pass, "Within the %s that leads may have.", said(usual, reading.Ohm))
	case q.Bound == reading.GreaterThan:
		return v(CannotSay, "That leaves open what the leads have.").next("Read the display.")
	}
	return v(Investigate, "More than the %s that leads mostly have.", said(usual, reading.Ohm)).next("Check the clips and the plugs, or null the leads.")
}

// LeadsApart judges what test leads read with their ends apart at the test
// voltage, in Mohm. A failure means that every circuit would seem to fail.
func LeadsApart(q reading.Quantity) Verdict {
	is := limits.IntervalOf(q)
	v := func(r Result, format string, args ...any) Verdict {
		return verdict(r, "leads apart", limits.Practice, format, args...).span("leads apart", is, reading.Megohm)
	}
	usual, touching := limits.Value("leads_apart"), limits.Value("leads_touch")
	switch {
	case is.Low >= usual:
		return v(Pass, "The leads are apart.")
	case is.High < touching || q.Bound == reading.LessThan && is.High <= touching:
		return v(Fail, "The leads touch, or one leaks.").next("Hold them apart, dry and clean.")
	}
	return v(Investigate, "Less than the %s that leads mostly have, and no circuit can read more.", said(usual, reading.Megohm)).next("Clean and dry the leads.")
}
