// Package scale works out the picture of a reading on a logarithmic axis, beside what it is
// held against. The pages draw it.
package scale

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/report"
)

// Scale is a reading on a logarithmic axis, with its limit and what was
// expected. A bound is drawn as one: from its figure to the end of the axis, with an
// arrow. Lengths are in the units of its viewBox, wide wide.
type Scale struct {
	Class string // of the mark of the reading
	Text  string // all that it shows, in words
	Ticks []tick
	X     float64 // of the reading
	Bound string  // ">", "<" or "" for a value
	Arrow string  // points of the head of the arrow
	To    float64 // where the arrow ends
	Label label
	Zone  *zone // where a reading fails
	Lines []line
}

type tick struct {
	X      float64
	Anchor string
	Text   string
}

// label is text that stays within the picture.
type label struct {
	X      float64
	Anchor string // start, middle or end
	Text   string
}

type zone struct{ X, Width float64 }

// line is a limit or what was expected, drawn across the axis.
type line struct {
	Class string // limit, hot or expected
	X, Y  float64
	Label label
}

const (
	wide   = 340.0
	left   = 14.0
	right  = wide - 14
	depth  = 8 // decades at most
	labels = 80.0
)

// Guide is a figure that a reading is held against.
type Guide struct {
	Class string  // limit, hot or expected
	Value float64 // in the unit of the reading
	Words string  // before its figure
	Least bool    // a reading below it fails
	Most  bool    // a reading above it fails
}

// Of draws a cell whose unit is shown as unit, in the class of its mark, or returns nil for
// one that has no figure on an axis. v may be nil.
func Of(c report.Cell, unit, class string, v *check.Verdict, guides []Guide) *Scale {
	if c.Value == nil || c.Unit == "" || math.IsNaN(*c.Value) || math.IsInf(*c.Value, 0) || *c.Value < 0 {
		return nil
	}
	if v != nil {
		guides = append(slices.Clip(guides), numbersOf(*v, guides)...)
	}
	value := *c.Value
	low, high := math.Inf(1), math.Inf(-1)
	see := func(x float64) {
		if x > 0 {
			low, high = min(low, x), max(high, x)
		}
	}
	see(value)
	for _, g := range guides {
		see(g.Value)
	}
	if low > high { // a value of nought and nothing to hold it against
		return nil
	}
	from, to := math.Floor(math.Log10(low*0.7)), math.Ceil(math.Log10(high*1.4))
	if to-from > depth { // hostile figures
		from = to - depth
	}
	to = max(to, from+2)
	at := func(x float64) float64 {
		if x <= 0 {
			return left
		}
		share := (math.Log10(x) - from) / (to - from)
		return Round(left + min(1, max(0, share))*(right-left))
	}
	s := &Scale{Class: class, X: at(value)}
	for d := from; d <= to; d++ {
		anchor := "middle"
		switch d {
		case from:
			anchor = "start"
		case to:
			anchor = "end"
		}
		s.Ticks = append(s.Ticks, tick{at(math.Pow(10, d)), anchor, Figure(math.Pow(10, d))})
	}
	words := c.Text + " " + unit
	switch reading.Bound(c.Bound) {
	case reading.GreaterThan:
		words = "more than " + strings.TrimPrefix(c.Text, ">") + " " + unit
		s.Bound, s.To = ">", wide-3
		s.Arrow = fmt.Sprintf("%g,23 %g,30 %g,37", s.To-11, s.To, s.To-11)
	case reading.LessThan:
		words = "less than " + strings.TrimPrefix(c.Text, "<") + " " + unit
		s.Bound, s.To = "<", 3
		s.Arrow = fmt.Sprintf("%g,23 %g,30 %g,37", s.To+11, s.To, s.To+11)
	}
	s.Label = place(s.X, words)
	said := []string{"measured " + words}
	y := 72.0
	for _, g := range guides {
		if g.Value <= 0 {
			continue
		}
		x := at(g.Value)
		text := g.Words + " " + Figure(g.Value) + " " + unit
		s.Lines = append(s.Lines, line{g.Class, x, y, place(x, text)})
		said = append(said, text)
		y += 14
		switch {
		case g.Least:
			s.Zone = &zone{left, Round(x - left)}
		case g.Most:
			s.Zone = &zone{x, Round(right - x)}
		}
	}
	s.Text = "On a logarithmic scale: " + strings.Join(said, "; ")
	return s
}

// Height is that of the viewBox: each line has its words below the axis.
func (s *Scale) Height() float64 { return 62 + 14*float64(len(s.Lines)) }

// Width is that of the viewBox.
func (s *Scale) Width() float64 { return wide }

// numbersOf finds among the figures of a verdict those that the reading was held
// against, where the schedule does not have them.
func numbersOf(v check.Verdict, known []Guide) []Guide {
	if len(known) > 0 {
		return nil
	}
	var all []Guide
	unit := ""
	if len(v.Numbers) > 0 {
		unit = v.Numbers[0].Unit
	}
	for i, n := range v.Numbers {
		if i == 0 || n.Unit != unit {
			continue
		}
		switch n.Name {
		case "limit", "at most", "limit as measured":
			all = append(all, Guide{Class: "limit", Value: n.Value, Words: "at most", Most: true})
		case "at least", "more than":
			all = append(all, Guide{Class: "limit", Value: n.Value, Words: n.Name, Least: true})
		case "from length and size", "Ze plus R1+R2":
			all = append(all, Guide{Class: "expected", Value: n.Value, Words: n.Name})
		}
	}
	if len(all) > 3 {
		all = all[:3]
	}
	return all
}

// place keeps words at x within the picture.
func place(x float64, text string) label {
	switch {
	case x < labels:
		return label{max(2, x-8), "start", text}
	case x > wide-labels:
		return label{min(wide-2, x+8), "end", text}
	}
	return label{x, "middle", text}
}

// Figure writes a figure with three significant ones.
func Figure(x float64) string {
	if x == 0 {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(x))))
	return strconv.FormatFloat(math.Round(x*math.Pow(10, float64(digits)))/math.Pow(10, float64(digits)), 'f', -1, 64)
}

// Round is a length of a picture to a tenth of its units.
func Round(x float64) float64 { return math.Round(x*10) / 10 }

// Foot is where the line of a limit ends, below the axis.
func (l line) Foot() float64 { return 44 }

// Stop is where the bar of a bound ends, within the head of its arrow.
func (s *Scale) Stop() float64 {
	if s.Bound == "<" {
		return s.To + 8
	}
	return s.To - 8
}
