// This file says what the record says stands in each cell of paper, written out apart from
// what writes the tables.

package reporttest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/waymark"
)

// Wanted is what the record says stands in each cell, by its key; written out
// here, apart from what writes the tables.
func Wanted(s report.Schedule) map[string]string {
	want := map[string]string{}
	for _, b := range s.Boards {
		if b.OnlyIsolated {
			continue
		}
		for _, c := range b.Cells {
			want[fmt.Sprintf("%d/0/0/%s/%d", b.Number, c.Test, c.Position)] = show(c)
		}
		i := 0
		for _, l := range s.Lines {
			if l.Board == b.Number {
				set := func(name, text string) { want[fmt.Sprintf("%s/%d/%d", name, b.Number, i)] = text }
				wantCircuit(l, set)
				wantTests(want, l, set)
				i++
			}
		}
	}
	wantCorrections(want, s)
	for i, o := range s.Observations {
		want[fmt.Sprintf("observed code/%d", i)], want[fmt.Sprintf("observed text/%d", i)] = o.Code, printable.Words(o.Text)
	}
	for i, n := range s.Notes {
		want[fmt.Sprintf("noted text/%d", i)] = printable.Words(n.Text)
	}
	return want
}

// show is a cell as it stands on paper.
func show(c report.Cell) string {
	if c.Status == report.Recorded {
		return c.Text
	}
	return map[report.Status]string{report.ToDo: "to do", report.Skipped: "skipped", report.Accepted: "missing", report.NotApplicable: "N/A", report.Limitation: "LIM", report.NotVerified: "N/V", report.Waived: "waived", report.NotAsked: "not made", report.Waiting: "waiting"}[c.Status]
}

// plain is a number, and nothing for 0.
func plain(x float64) string {
	if x == 0 {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// wantCircuit sets what stands about a line that is no test.
func wantCircuit(l report.Line, set func(name, text string)) {
	feeds := strings.ReplaceAll(l.Feeds, "\x1b", "\uFFFD")
	if l.Spare {
		feeds = "spare " + feeds
	}
	for _, table := range []string{"details", "dead tests", "live tests and result"} {
		set(table+" way", waymark.Print(l.Way))
		set(table+" feeds", feeds)
	}
	d := l.Device
	phase, cpc, delay, maxZs, cold, result := l.Phase, plain(l.CPC), "", "?", "", l.Outcome()
	if l.Phases == 3 {
		phase = "3"
	}
	if l.CPCKind == "steel" || l.CPCKind == "armour" {
		cpc = l.CPCKind
	}
	if d.RCDDelayed {
		delay = "S"
	}
	two := func(x float64) string {
		if x >= 100 {
			return fmt.Sprintf("%.0f", x)
		}
		return fmt.Sprintf("%.2f", x)
	}
	if l.MaxZs != nil {
		maxZs, cold = two(l.MaxZs.Ohm), two(l.MaxZs.Measured)
	}
	if l.Spare {
		maxZs, result = "", ""
	}
	for name, text := range map[string]string{
		"wiring": l.Wiring, "phase": phase, "points": plain(float64(l.Points)), "length": plain(l.Length), "line": plain(l.Line), "cpc": cpc, "material": l.Material, "neutral": l.Neutral,
		"standard": d.Standard, "type": d.Type, "rating": plain(d.Rating), "trip": plain(d.Trip), "breaking": plain(d.Breaking),
		"RCD standard": d.RCDStandard, "RCD type": d.RCDType, "RCD rated": plain(d.RCDRated), "RCD delay": delay, "max time": plain(l.MaxTime), "max Zs": maxZs, "cold": cold, "result": result,
	} {
		set(name, text)
	}
}

// wantTests sets what stands in the cells of a line's tests.
func wantTests(want map[string]string, l report.Line, set func(name, text string)) {
	var volts []string
	best := map[reading.Test]report.Cell{}
	for _, c := range l.Cells {
		if v := plain(c.Volts); v != "" && !slices.Contains(volts, v) {
			volts = append(volts, v)
		}
		have, ok := best[c.Test]
		if !ok || c.Value != nil && (have.Value == nil || *c.Value > *have.Value) {
			best[c.Test] = c
		}
	}
	set("volts", strings.Join(volts, "/"))
	for test, c := range best {
		want[fmt.Sprintf("%d/%d/%d/%s/%d", l.Board, l.Way, l.Position, test, c.Position)] = show(c)
	}
}

// wantCorrections sets what was corrected, place by place, in the order of the events.
func wantCorrections(want map[string]string, s report.Schedule) {
	type row struct {
		event                             int64
		test, from, to, what, why, by, at string
	}
	var all []row
	place := func(t report.Tested) {
		var here []row
		ends := map[string]bool{}
		name := func(c report.Cell) string {
			if c.Position > 0 && (c.Test == reading.RingLN || c.Test == reading.RingLE || c.Test == reading.Bonding) {
				return fmt.Sprintf("%s (%d)", c.Test, c.Position)
			}
			return string(c.Test)
		}
		ohm := func(s string) string { return strings.ReplaceAll(s, "ohm", "Ω") }
		for _, c := range t.Earlier {
			what, by := map[report.Status]string{report.Replaced: "replaced", report.Withdrawn: "withdrawn", report.BeforeWork: "before work"}[c.Status], c.Ended.By
			if by == "" {
				by = "tester"
			} else if c.Status == report.Replaced {
				what = "corrected"
			}
			ends[fmt.Sprint(c.Test, c.Position, c.Ended.Event)] = true
			here = append(here, row{c.Ended.Event, name(c), ohm(strings.TrimSpace(c.Text + " " + c.Unit)), ohm(c.Ended.To), what, c.Reason, by, c.Ended.At.Format("2006-01-02 15:04 UTC")})
		}
		for _, c := range append(slices.Clone(t.Cells), t.Earlier...) {
			if c.Edited != nil && !ends[fmt.Sprint(c.Test, c.Position, c.Event)] {
				here = append(here, row{c.Event, name(c), "", ohm(strings.TrimSpace(c.Text + " " + c.Unit)), "added", c.Edited.Reason, c.Edited.By, c.Edited.At.Format("2006-01-02 15:04 UTC")})
			}
		}
		slices.SortStableFunc(here, func(a, b row) int { return int(a.event - b.event) })
		all = append(all, here...)
	}
	for _, b := range s.Boards {
		place(b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				place(l.Tested)
			}
		}
	}
	for i, r := range all {
		for name, text := range map[string]string{"test": r.test, "from": r.from, "to": r.to, "what": r.what, "why": r.why, "by": r.by, "at": r.at} {
			want[fmt.Sprintf("corrected %s/%d", name, i)] = text
		}
	}
}
