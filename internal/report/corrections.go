// This file lists the readings that were corrected.

package report

import (
	"slices"
	"time"

	"waycall/internal/reading"
)

// Correction is one row of the table of corrections: a reading that no longer
// stands, or one that a reviewer put where none was.
type Correction struct {
	Board, Way, Line int // Line is the switch position of the line it stands on
	Test             reading.Test
	Position         int
	From, To         string // with their units; empty for none
	What             string // corrected, replaced, withdrawn, before work or added
	Why              string
	By               string // the initials of the reviewer, else "tester"
	At               time.Time
	Event            int64
}

// Corrections returns what was corrected, place by place, in the order in which it
// was.
func (s Schedule) Corrections() []Correction {
	var all []Correction
	add := func(board, way, line int, t Tested) {
		var here []Correction
		for _, c := range t.Earlier {
			if c.Status == AtFull {
				continue // it was not corrected
			}
			one := Correction{Board: board, Way: way, Line: line, Test: c.Test, Position: c.Position, From: c.WithUnit(), What: string(c.Status), Why: c.Reason, By: "tester"}
			if e := c.Ended; e != nil {
				one.To, one.At, one.Event = e.To, e.At, e.Event
				if e.By != "" {
					one.By = e.By
				}
				if e.By != "" && c.Status == Replaced {
					one.What = "corrected"
				}
			}
			here = append(here, one)
		}
		for _, c := range slices.Concat(t.Cells, t.Earlier) {
			if e := c.Edited; e != nil && !slices.ContainsFunc(here, func(x Correction) bool { return x.Event == e.Event && x.Test == c.Test && x.Position == c.Position }) {
				here = append(here, Correction{Board: board, Way: way, Line: line, Test: c.Test, Position: c.Position, To: c.WithUnit(), What: "added", Why: e.Reason, By: e.Reviewer(), At: e.At, Event: e.Event})
			}
		}
		slices.SortStableFunc(here, func(a, b Correction) int { return int(a.Event - b.Event) })
		all = append(all, here...)
	}
	for _, b := range s.Boards {
		add(b.Number, 0, 0, b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				add(l.Board, l.Way, l.Position, l.Tested)
			}
		}
	}
	return all
}
