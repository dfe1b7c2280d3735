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
	"waycall/internal/waymark"
	"waycall/internal/words"
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
	{reading.RCDRamp, "RCD", "ramp mA", false}, {reading.RCDButton, "RCD", "button", true}, {reading.AFDDButton, "AFDD", "button", false},
	{reading.PENFault, "EV", "PEN fault", false}, {reading.DCFault, "EV", "DC fault", false},
	{reading.PhaseSequence, "", "Phase sequence", false}, {reading.Functional, "", "Functional", false},
}

// circuit is a line of the schedule with the marks of its notes.
type circuit struct {
	report.Line
	marks []string
}

// ways writes the circuits of a board in three tables: what they are, the dead
// tests, the live tests with the outcome.
func (p *pdf) ways(b report.Board, lines []report.Line) {
	circuits := make([]*circuit, len(lines))
	for i, l := range lines {
		circuits[i] = &circuit{Line: l}
		p.remark(circuits[i])
	}
	if len(lines) == 0 {
		return
	}
	sw := slices.ContainsFunc(lines, func(l report.Line) bool { return l.Position > 0 })
	full := func(row int, text string) { p.mark(circuits[row], "%s, in full: %s", lines[row].Name(), text) }
	table(p, fmt.Sprintf("Board %d: circuit details", b.Number), details(sw), circuits, full)
	p.item("", "Time is the disconnection time that Table 41.1 allows. The limit of Zs is at operating temperature; ? where it is not known.")

	notes := plain("", "Notes", func(c *circuit) string { return strings.Join(c.marks, " ") })
	dead := slices.Concat(begin(sw), tests(lines, deadColumns), []column[*circuit]{notes})
	table(p, fmt.Sprintf("Board %d: dead tests", b.Number), dead, circuits, nil)
	p.item("", "Of several points of a ring the highest stands here, the rest in the notes. A corner mark: the figure was corrected, see the notes. LIM: limitation. N/V: not verified. N/A: not applicable.")

	result := column[*circuit]{head{name: "Result"}, func(c *circuit) entry { return entry{text: c.Outcome(), style: c.Result} }}
	live := slices.Concat(begin(sw), tests(lines, liveColumns), []column[*circuit]{result, notes})
	table(p, fmt.Sprintf("Board %d: live tests and result", b.Number), live, circuits, nil)
	p.item("", "The cold limit is what Zs was held against.")
}

// mark writes a note about a circuit and gives the circuit its number.
func (p *pdf) mark(c *circuit, format string, args ...any) {
	p.note(format, args...)
	c.marks = append(c.marks, strconv.Itoa(len(p.notes)))
}

// remark writes the notes about a circuit that its columns have no room for.
func (p *pdf) remark(c *circuit) {
	for _, r := range c.Remarks {
		p.mark(c, "%s, %s", c.Name(), r)
	}
	var points []string
	for _, one := range c.Cells {
		if words.OfRing(one.Test) && one.Position > 0 {
			points = append(points, one.Name()+" "+strings.TrimSpace(one.Shown()+" "+unit(one)))
		}
	}
	if len(points) > 0 {
		p.mark(c, "%s, point by point: %s", c.Name(), strings.Join(points, ", "))
	}
}

// begin are the columns with which each table of circuits begins; sw where there are
// switch positions.
func begin(sw bool) []column[*circuit] {
	columns := []column[*circuit]{figures("Circuit", "Way", func(c *circuit) string { return waymark.Print(c.Way) })}
	if sw {
		columns = append(columns, figures("Circuit", "Sw", func(c *circuit) string { return c.Switch() }))
	}
	return append(columns, growing("Circuit", "Feeds", func(c *circuit) string {
		if c.Spare {
			return strings.TrimSpace("spare " + c.Feeds)
		}
		return c.Feeds
	}))
}

// details are the columns of what the circuits are.
func details(sw bool) []column[*circuit] {
	return append(begin(sw),
		plain("Circuit", "Wiring", func(c *circuit) string { return c.Wiring }),
		plain("Circuit", "Ref. method", func(c *circuit) string { return c.MethodWords() }),
		plain("Circuit", "Phase", func(c *circuit) string { return c.OnPhase() }),
		figures("Circuit", "Points", func(c *circuit) string { return words.Known(float64(c.Points)) }),
		figures("Circuit", "Length m", func(c *circuit) string { return words.Known(c.Length) }),
		figures("Conductors", "Live mm²", func(c *circuit) string { return words.Known(c.Line.Line) }),
		figures("Conductors", "cpc mm²", func(c *circuit) string {
			if c.CPCKind == string(board.Steel) || c.CPCKind == string(board.Armour) {
				return c.CPCKind
			}
			return words.Known(c.CPC)
		}),
		plain("Conductors", "Material", func(c *circuit) string { return c.Material }),
		plain("Conductors", "N bar", func(c *circuit) string { return c.Neutral }),
		plain("Protective device", "BS (EN)", func(c *circuit) string { return c.Device.Standard }),
		plain("Protective device", "Type", func(c *circuit) string { return c.Device.Type }),
		figures("Protective device", "Rating A", func(c *circuit) string { return words.Known(c.Device.Rating) }),
		figures("Protective device", "Trip A", func(c *circuit) string { return words.Known(c.Device.Trip) }),
		figures("Protective device", "Breaking kA", func(c *circuit) string { return words.Known(c.Device.Breaking) }),
		plain("RCD", "BS (EN)", func(c *circuit) string { return c.Device.RCDStandard }),
		plain("RCD", "Type", func(c *circuit) string { return c.Device.RCDType }),
		figures("RCD", "Rated mA", func(c *circuit) string { return words.Known(c.Device.RCDRated) }),
		plain("RCD", "Delay", func(c *circuit) string {
			if c.Device.RCDDelayed {
				return "S"
			}
			return ""
		}),
		figures("Limits", "Time s", func(c *circuit) string { return words.Known(c.MaxTime) }),
		figures("Limits", "Zs Ω", func(c *circuit) string { return c.Permitted() }),
	)
}

// tests are the columns of test results that are shown of these lines: the test voltage
// before the first test of insulation, what Zs was held against after it.
func tests(lines []report.Line, all []testColumn) []column[*circuit] {
	var show []testColumn
	var which []reading.Test
	for _, t := range all {
		if t.always || slices.ContainsFunc(lines, func(l report.Line) bool { return l.Cell(t.test) != nil }) {
			show, which = append(show, t), append(which, t.test)
		}
	}
	var columns []column[*circuit]
	volts := false
	for _, t := range show {
		if t.test.Insulation() && !volts {
			volts = true
			columns = append(columns, figures(t.group, "Test V", func(c *circuit) string { return c.TestVolts(which) }))
		}
		columns = append(columns, column[*circuit]{head{group: t.group, name: t.head, right: true}, func(c *circuit) entry { return c.entry(t.test) }})
		if t.test == reading.Zs {
			columns = append(columns, figures(t.group, "cold limit", func(c *circuit) string {
				if c.MaxZs == nil {
					return ""
				}
				return words.Loop(c.MaxZs.Measured)
			}))
		}
	}
	return columns
}

// entry is the cell of a test, marked where its figure was corrected.
func (c *circuit) entry(test reading.Test) entry {
	cell := c.Cell(test)
	if cell == nil {
		return entry{}
	}
	e := cellEntry(cell)
	e.mark = slices.ContainsFunc(c.Earlier, func(old report.Cell) bool { return old.Test == test }) ||
		slices.ContainsFunc(c.Cells, func(now report.Cell) bool { return now.Test == test && now.Edited != nil })
	return e
}
