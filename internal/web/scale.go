package web

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

// scale draws a reading on a logarithmic axis, with its limit and what was
// expected. A bound is drawn as one: from its figure to the end of the axis, with an
// arrow. Lengths are in the units of its viewBox, scaleWidth wide.
type scale struct {
	Class string // of the mark of the reading
	Text  string // all that it shows, in words
	Ticks []tick
	X     float64 // of the reading
	Bound string  // ">", "<" or "" for a value
	Arrow string  // points of the head of the arrow
	To    float64 // where the arrow ends
	Label label
	Zone  *zone // where a reading fails
	Lines []scaleLine
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

// scaleLine is a limit or what was expected, drawn across the axis.
type scaleLine struct {
	Class string // limit, hot or expected
	X, Y  float64
	Label label
}

const (
	scaleWidth  = 340.0
	scaleLeft   = 14.0
	scaleRight  = scaleWidth - 14
	scaleDepth  = 8 // decades at most
	scaleLabels = 80.0
)

// guide is a figure that a reading is held against.
type guide struct {
	class string
	value float64
	words string
	least bool // a reading below it fails
	most  bool // a reading above it fails
}

// scaleOf draws a cell, or returns nil for one that has no figure on an axis.
func scaleOf(c report.Cell, v *check.Verdict, guides []guide) *scale {
	if c.Value == nil || c.Unit == "" || math.IsNaN(*c.Value) || math.IsInf(*c.Value, 0) || *c.Value < 0 {
		return nil
	}
	if v != nil {
		guides = append(slices.Clip(guides), numbersOf(*v, guides)...)
	}
	value, unit := *c.Value, shownUnit(c.Unit)
	low, high := math.Inf(1), math.Inf(-1)
	see := func(x float64) {
		if x > 0 {
			low, high = min(low, x), max(high, x)
		}
	}
	see(value)
	for _, g := range guides {
		see(g.value)
	}
	if low > high { // a value of nought and nothing to hold it against
		return nil
	}
	from, to := math.Floor(math.Log10(low*0.7)), math.Ceil(math.Log10(high*1.4))
	if to-from > scaleDepth { // hostile figures
		from = to - scaleDepth
	}
	to = max(to, from+2)
	at := func(x float64) float64 {
		if x <= 0 {
			return scaleLeft
		}
		share := (math.Log10(x) - from) / (to - from)
		return round(scaleLeft + min(1, max(0, share))*(scaleRight-scaleLeft))
	}
	s := &scale{Class: markOf(c.Result).Class, X: at(value)}
	for d := from; d <= to; d++ {
		anchor := "middle"
		switch d {
		case from:
			anchor = "start"
		case to:
			anchor = "end"
		}
		s.Ticks = append(s.Ticks, tick{at(math.Pow(10, d)), anchor, figureOf(math.Pow(10, d))})
	}
	words := c.Text + " " + unit
	switch reading.Bound(c.Bound) {
	case reading.GreaterThan:
		words = "more than " + strings.TrimPrefix(c.Text, ">") + " " + unit
		s.Bound, s.To = ">", scaleWidth-3
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
		if g.value <= 0 {
			continue
		}
		x := at(g.value)
		text := g.words + " " + figureOf(g.value) + " " + unit
		s.Lines = append(s.Lines, scaleLine{g.class, x, y, place(x, text)})
		said = append(said, text)
		y += 14
		switch {
		case g.least:
			s.Zone = &zone{scaleLeft, round(x - scaleLeft)}
		case g.most:
			s.Zone = &zone{x, round(scaleRight - x)}
		}
	}
	s.Text = "On a logarithmic scale: " + strings.Join(said, "; ")
	return s
}

// Height is that of the viewBox: each line has its words below the axis.
func (s *scale) Height() float64 { return 62 + 14*float64(len(s.Lines)) }

// Width is that of the viewBox.
func (s *scale) Width() float64 { return scaleWidth }

// numbersOf finds among the figures of a verdict those that the reading was held
// against, where the schedule does not have them.
func numbersOf(v check.Verdict, known []guide) []guide {
	if len(known) > 0 {
		return nil
	}
	var all []guide
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
			all = append(all, guide{class: "limit", value: n.Value, words: "at most", most: true})
		case "at least", "more than":
			all = append(all, guide{class: "limit", value: n.Value, words: n.Name, least: true})
		case "from length and size", "Ze plus R1+R2":
			all = append(all, guide{class: "expected", value: n.Value, words: n.Name})
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
	case x < scaleLabels:
		return label{max(2, x-8), "start", text}
	case x > scaleWidth-scaleLabels:
		return label{min(scaleWidth-2, x+8), "end", text}
	}
	return label{x, "middle", text}
}

// figureOf writes a figure with three significant ones.
func figureOf(x float64) string {
	if x == 0 {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(x))))
	return strconv.FormatFloat(math.Round(x*math.Pow(10, float64(digits)))/math.Pow(10, float64(digits)), 'f', -1, 64)
}

func round(x float64) float64 { return math.Round(x*10) / 10 }

// Foot is where the line of a limit ends, below the axis.
func (l scaleLine) Foot() float64 { return 44 }

// Stop is where the bar of a bound ends, within the head of its arrow.
func (s *scale) Stop() float64 {
	if s.Bound == "<" {
		return s.To + 8
	}
	return s.To - 8
}
