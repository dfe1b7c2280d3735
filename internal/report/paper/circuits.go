// This file has the tables of a board's circuits: what they are, the dead tests, the live
// tests.

package paper

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/board"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/report/words"
)

// testColumn is a column of test results. Those of the model forms are always
// there, the others where a line has something to say of them.
type testColumn struct {
	test   reading.Test
	group  string
	head   string
	always bool
}

var deadColumns = []testColumn{
	{reading.RingR1, "Ring, end to end Ω", "r1", true}, {reading.RingRn, "Ring, end to end Ω", "rn", true}, {reading.RingR2, "Ring, end to end Ω", "r2", true},
	{reading.RingLN, "At the points Ω", "L-N", false}, {reading.RingLE, "At the points Ω", "L-E", false},
	{reading.R1R2, "Continuity Ω", "R1+R2", true}, {reading.R2, "Continuity Ω", "R2", true},
	{reading.LNE, "Insulation MΩ", "LN-E", true}, {reading.LE, "Insulation MΩ", "L-E", false}, {reading.NE, "Insulation MΩ", "N-E", false},
	{reading.LN, "Insulation MΩ", "L-N", true}, {reading.LL, "Insulation MΩ", "L-L", false},
	{reading.L1E, "Insulation MΩ", "L1-E", false}, {reading.L2E, "Insulation MΩ", "L2-E", false}, {reading.L3E, "Insulation MΩ", "L3-E", false},
	{reading.L1L2, "Insulation MΩ", "L1-L2", false}, {reading.L2L3, "Insulation MΩ", "L2-L3", false}, {reading.L1L3, "Insulation MΩ", "L1-L3", false},
	{reading.L1N, "Insulation MΩ", "L1-N", false}, {reading.L2N, "Insulation MΩ", "L2-N", false}, {reading.L3N, "Insulation MΩ", "L3-N", false},
	{reading.Polarity, "", "Polarity", true},
}

var liveColumns = []testColumn{
	{reading.Zs, "Earth fault loop Ω", "Zs", true},
	{reading.PFC, "Fault current kA", "PFC", false}, {reading.PSC, "Fault current kA", "PSC", false},
	{reading.RCDHalf, "RCD", "at half", false}, {reading.RCD1x, "RCD", "1x ms", true}, {reading.RCD5x, "RCD", "5x ms", false},
	{reading.RCDRamp, "RCD", "ramp mA", false}, {reading.RCDButton, "RCD", "button", true},
	{reading.PhaseSequence, "", "Phase sequence", false}, {reading.Functional, "", "Functional", false},
}

// ways writes the circuits of a board in three tables: what they are, the dead
// tests, the live tests with the outcome.
func (p *pdf) ways(b report.Board, lines []report.Line) {
	marks := make([][]string, len(lines))
	add := func(i int, format string, args ...any) {
		p.note(format, args...)
		marks[i] = append(marks[i], strconv.Itoa(len(p.notes)))
	}
	for i, l := range lines {
		for _, r := range l.Remarks {
			add(i, "%s, %s", l.Name(), r)
		}
		var points []string
		for _, c := range l.Cells {
			if words.OfRing(c.Test) && c.Position > 0 {
				points = append(points, c.Name()+" "+strings.TrimSpace(c.Shown()+" "+unit(c)))
			}
		}
		if len(points) > 0 {
			add(i, "%s, point by point: %s", l.Name(), strings.Join(points, ", "))
		}
	}
	if len(lines) == 0 {
		return
	}
	sw := slices.ContainsFunc(lines, func(l report.Line) bool { return l.Position > 0 })
	begin := func(l report.Line, i int, what string) []entry {
		name := l.Feeds
		if l.Spare {
			name = strings.TrimSpace("spare " + name)
		}
		row := []entry{{text: strconv.Itoa(l.Way), key: fmt.Sprintf("%s way/%d/%d", what, l.Board, i)}}
		if sw {
			row = append(row, entry{text: l.Switch()})
		}
		return append(row, entry{text: name, key: fmt.Sprintf("%s feeds/%d/%d", what, l.Board, i)})
	}
	heads := []column{{group: "Circuit", head: "Way", right: true}}
	if sw {
		heads = append(heads, column{group: "Circuit", head: "Sw", right: true})
	}
	heads = append(heads, column{group: "Circuit", head: "Feeds", grow: true})

	full := func(row int, text string) { add(row, "%s, in full: %s", lines[row].Name(), text) }
	columns := slices.Concat(heads, []column{
		{"Circuit", "Wiring", false, false}, {"Circuit", "Ref. method", false, false}, {"Circuit", "Phase", false, false}, {"Circuit", "Points", false, true}, {"Circuit", "Length m", false, true},
		{"Conductors", "Live mm²", false, true}, {"Conductors", "cpc mm²", false, true}, {"Conductors", "Material", false, false}, {"Conductors", "N bar", false, false},
		{"Protective device", "BS (EN)", false, false}, {"Protective device", "Type", false, false}, {"Protective device", "Rating A", false, true}, {"Protective device", "Trip A", false, true}, {"Protective device", "Breaking kA", false, true},
		{"RCD", "BS (EN)", false, false}, {"RCD", "Type", false, false}, {"RCD", "Rated mA", false, true}, {"RCD", "Delay", false, false},
		{"Limits", "Time s", false, true}, {"Limits", "Zs Ω", false, true},
	})
	var rows [][]entry
	for i, l := range lines {
		d, cpc, delay := l.Device, words.Known(l.CPC), ""
		if l.CPCKind == string(board.Steel) || l.CPCKind == string(board.Armour) {
			cpc = l.CPCKind
		}
		if d.RCDDelayed {
			delay = "S"
		}
		row := begin(l, i, "details")
		for _, f := range []struct{ name, text string }{
			{"wiring", l.Wiring}, {"", ""}, {"phase", l.OnPhase()}, {"points", words.Known(float64(l.Points))}, {"length", words.Known(l.Length)},
			{"line", words.Known(l.Line)}, {"cpc", cpc}, {"material", l.Material}, {"neutral", l.Neutral},
			{"standard", d.Standard}, {"type", d.Type}, {"rating", words.Known(d.Rating)}, {"trip", words.Known(d.Trip)}, {"breaking", words.Known(d.Breaking)},
			{"RCD standard", d.RCDStandard}, {"RCD type", d.RCDType}, {"RCD rated", words.Known(d.RCDRated)}, {"RCD delay", delay}, {"max time", words.Known(l.MaxTime)}, {"max Zs", l.Permitted()},
		} {
			e := entry{text: f.text}
			if f.name != "" {
				e.key = fmt.Sprintf("%s/%d/%d", f.name, l.Board, i)
			}
			row = append(row, e)
		}
		rows = append(rows, row)
	}
	p.table(fmt.Sprintf("Board %d: circuit details", b.Number), columns, rows, full)
	p.item("", "The record does not hold the reference method: to be filled in by hand. Time is the disconnection time that Table 41.1 allows. The limit of Zs is at operating temperature; ? where it is not known.")

	results := func(title string, tests []testColumn, dead bool) {
		var show []testColumn
		for _, t := range tests {
			if t.always || slices.ContainsFunc(lines, func(l report.Line) bool { return l.Cell(t.test) != nil }) {
				show = append(show, t)
			}
		}
		columns, volts := slices.Clone(heads), false
		for _, t := range show {
			if t.test.Insulation() && !volts {
				volts = true
				columns = append(columns, column{t.group, "Test V", false, true})
			}
			columns = append(columns, column{t.group, t.head, false, true})
			if t.test == reading.Zs {
				columns = append(columns, column{t.group, "cold limit", false, true})
			}
		}
		if !dead {
			columns = append(columns, column{head: "AFDD button"}, column{head: "Result"})
		}
		columns = append(columns, column{head: "Notes"})
		var rows [][]entry
		for i, l := range lines {
			row, volts := begin(l, i, title), false
			for _, t := range show {
				if t.test.Insulation() && !volts {
					volts = true
					row = append(row, entry{text: l.TestVolts(columnsOf(show)), key: fmt.Sprintf("volts/%d/%d", l.Board, i)})
				}
				c := l.Cell(t.test)
				e := entry{}
				if c != nil {
					e = cellEntry(c, key(l.Board, l.Way, l.Position, *c))
					e.mark = slices.ContainsFunc(l.Earlier, func(old report.Cell) bool { return old.Test == t.test }) ||
						slices.ContainsFunc(l.Cells, func(c report.Cell) bool { return c.Test == t.test && c.Edited != nil })
				}
				row = append(row, e)
				if t.test == reading.Zs {
					cold := ""
					if l.MaxZs != nil {
						cold = words.Loop(l.MaxZs.Measured)
					}
					row = append(row, entry{text: cold, key: fmt.Sprintf("cold/%d/%d", l.Board, i)})
				}
			}
			if !dead {
				row = append(row, entry{}, entry{text: l.Outcome(), key: fmt.Sprintf("result/%d/%d", l.Board, i), style: l.Result})
			}
			rows = append(rows, append(row, entry{text: strings.Join(marks[i], " "), key: fmt.Sprintf("%s notes/%d/%d", title, l.Board, i)}))
		}
		p.table(fmt.Sprintf("Board %d: %s", b.Number, title), columns, rows, nil)
	}
	results("dead tests", deadColumns, true)
	p.item("", "Of several points of a ring the highest stands here, the rest in the notes. A corner mark: the figure was corrected, see the notes. LIM: limitation. N/A: not applicable.")
	results("live tests and result", liveColumns, false)
	p.item("", "The cold limit is what Zs was held against. The record does not hold tests of arc fault devices: to be filled in by hand.")
}

func columnsOf(show []testColumn) []reading.Test {
	var all []reading.Test
	for _, t := range show {
		all = append(all, t.test)
	}
	return all
}
