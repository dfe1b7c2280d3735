// Package plaintext writes a schedule of test results to be read on a screen or on plain
// paper.
package plaintext

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/report/columns"
	"waycall/internal/waymark"
	"waycall/internal/words"
)

// notes writes what the tester found, with what the codes mean, and noted.
func (t *page) notes(s report.Schedule) {
	several := len(s.Boards) > 1
	if len(s.Observations) > 0 {
		t.Line("")
		t.Line("OBSERVATIONS" + report.InTheirWords)
		for _, o := range s.Observations {
			t.Item("- ", fmt.Sprintf("%s, %s: %s (%s)", words.At(o.Board, o.Way, several), o.Code, o.Text, o.At.UTC().Format("15:04 UTC")+o.ToldWords()))
		}
		t.Item("", report.CodesMean(s.Job.Edition))
	}
	if len(s.Notes) > 0 {
		t.Line("")
		t.Line("NOTES MADE ON SITE" + report.InTheirWords)
		for _, n := range s.Notes {
			t.Item("- ", fmt.Sprintf("%s: %s (%s)", words.At(n.Board, n.Way, several), n.Text, n.At.UTC().Format("15:04 UTC")))
		}
	}
}

// Write writes the schedule to be read on a screen or on plain paper: no line is
// longer than 100 characters, and there are no colours. What came from the log
// cannot move the cursor or change the terminal.
func Write(w io.Writer, s report.Schedule) error {
	var t page
	t.Line("SCHEDULE OF TEST RESULTS")
	t.Line("")
	if s.Record.Sessions > 0 {
		t.header(s)
		for _, b := range s.Boards {
			t.board(s, b)
		}
		t.notes(s)
		t.preparation(s)
		t.Line("")
	}
	t.remains(s)
	t.Line("")
	for _, c := range s.Cautions {
		t.Item("", c)
	}
	if g := s.Signed; g != nil && g.Statement != "" {
		t.Line("")
		t.Line("WHAT WAS SIGNED")
		for line := range strings.SplitSeq(g.Statement, "\n") {
			t.Item("", line)
		}
	}
	return t.Print(w)
}

// page is a schedule being written.
type page struct{ columns.Page }

func (t *page) header(s report.Schedule) {
	j := s.Job
	t.Field("Job", "%s, %s, tested by %s", j.Reference, j.Date, j.AllTesters())
	t.Field("Address", "%s", j.Address)
	for _, term := range s.Terms {
		t.Field(term.Name, "%s", term.Text)
	}
	if j.Edition != "" {
		t.Field("Judged by", "%s", j.Edition)
	}
	t.Field("Instrument", "%s, calibration checked %s, scale ends at %s Mohm", j.InstrumentWords(), j.Checked, words.Number(j.OverRange))
	if len(j.Limited) > 0 {
		t.Field("Limited to", "%s", strings.Join(j.Limited, ", "))
	}
	t.Field("Record", "%s", s.Record.Words())
	t.Field("Status", "%s", s.Standing())
	if s.Signed != nil {
		t.Field("Signed sum", "%s", s.Signed.Sum)
	}
}

// board writes one board: what it is, what was tested at it, and its ways in
// several tables, so that none is wider than the page.
func (t *page) board(s report.Schedule, b report.Board) {
	t.Line("")
	t.Item("", fmt.Sprintf("BOARD %d: %s", b.Number, b.Name))
	from := ""
	if b.FedFrom != 0 {
		from = "; from " + words.FedFrom(b.FedFrom, b.FedFromWay)
	}
	surge := "no surge protection"
	if b.SurgeProtection {
		surge = "surge protection fitted"
	}
	t.Field("Supply", "%s; %s V line to earth, %s%s; %s", b.Earthing, words.Number(b.Voltage), english.Plural(b.Phases, "single-phase", "three-phase"), from, surge)
	if b.Zdb != "" {
		t.Field("Zdb", "%s", b.ZdbSource())
	}
	described, missing := b.Described()
	for _, one := range described {
		t.Item("", one.Name+": "+one.Value)
	}
	if missing != "" {
		t.Item("Unknown: ", missing)
	}
	if b.OnlyIsolated {
		t.Item("", "Only isolated: nothing on it was tested.")
		return
	}
	all := 0
	for _, l := range s.Limits {
		if l.Board == b.Number {
			all++
		}
	}
	for _, l := range s.Limits {
		if l.Board != b.Number {
			continue
		}
		ways := ""
		if all > 1 {
			ways = " (" + words.Ways(l.Ways) + ")"
		}
		t.Field("Insulation", "at least %s Mohm, tested at %s V DC%s; %s", words.Number(l.Least), words.Number(l.Volts), ways, l.Source)
	}
	notes := t.atBoard(b)
	var lines []report.Line
	for _, l := range s.Lines {
		if l.Board == b.Number {
			lines = append(lines, l)
		}
	}
	t.circuits(lines, len(notes))
	for _, l := range lines {
		for _, r := range l.Remarks {
			notes = append(notes, l.Name()+", "+r)
		}
	}
	for _, g := range groups {
		t.group(g, lines)
	}
	if len(notes) > 0 {
		t.Line("")
		t.Line("NOTES")
		for i, n := range notes {
			t.Item(fmt.Sprintf("%3d  ", i+1), n)
		}
	}
	t.protection(lines)
}

// atBoard writes the readings of the board itself and returns its notes.
func (t *page) atBoard(b report.Board) []string {
	var notes []string
	if len(b.Cells) > 0 {
		t.Line("")
		t.Line("AT THE BOARD: " + b.Outcome())
		rows := [][]string{}
		for _, c := range b.Cells {
			name := string(c.Test)
			if c.Test == reading.Bonding && c.Position >= 1 && c.Position <= len(b.Bonding) {
				name += ", " + printable.Cut(printable.Words(b.Bonding[c.Position-1]), 40)
			}
			value := c.Shown()
			if c.Status == report.Recorded {
				value = c.WithUnit()
			}
			rows = append(rows, []string{name, value, c.Result, cellVolts(c)})
		}
		t.Rows(rows, 0)
	}
	for _, r := range b.Remarks {
		notes = append(notes, "The board, "+r)
	}
	return notes
}

func cellVolts(c report.Cell) string {
	if c.Volts == 0 {
		return ""
	}
	return "at " + words.Number(c.Volts) + " V"
}

// group is a table of tests that are made one after another.
type group struct {
	title string
	volts bool // it has a column for the test voltage
	tests []reading.Test
	heads []string // of the columns, where the test's own name would not do
	below string
}

var groups = []group{
	{title: "CONTINUITY AND POLARITY", tests: []reading.Test{reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE, reading.R1R2, reading.R2, reading.Polarity},
		below: "Ohm; ring-LN and ring-LE are the highest of the points."},
	{title: "INSULATION", volts: true, tests: []reading.Test{reading.LNE, reading.LN, reading.LE, reading.NE, reading.LL}, below: "Mohm; V is the DC test voltage asked for."},
	{title: "INSULATION, LINE BY LINE", volts: true, tests: []reading.Test{reading.L1E, reading.L2E, reading.L3E, reading.L1L2, reading.L2L3, reading.L1L3, reading.L1N, reading.L2N, reading.L3N},
		below: "Mohm; V is the DC test voltage asked for."},
	{title: "LIVE TESTS", tests: []reading.Test{reading.Zs, reading.PFC, reading.PSC, reading.RCDHalf, reading.RCD1x, reading.RCD5x, reading.RCDRamp, reading.RCDButton, reading.AFDDButton, reading.PENFault, reading.DCFault, reading.PhaseSequence, reading.Functional},
		heads: []string{"Zs", "PFC", "PSC", "RCD half", "RCD 1x", "RCD 5x", "RCD ramp", "RCD button", "AFDD button", "PEN fault", "DC fault", "phases", "functional"},
		below: "Zs in ohm; fault currents in kA; RCD 1x and 5x in ms, its ramp in mA."},
}

// group writes the columns of a group that any line has a cell for.
func (t *page) group(g group, lines []report.Line) {
	var shown []reading.Test
	head := []string{"Way", "Sw"}
	if g.volts {
		head = append(head, "V")
	}
	for i, test := range g.tests {
		if slices.ContainsFunc(lines, func(l report.Line) bool { return l.Cell(test) != nil }) {
			shown = append(shown, test)
			if g.heads != nil {
				head = append(head, g.heads[i])
			} else {
				head = append(head, string(test))
			}
		}
	}
	if len(shown) == 0 {
		return
	}
	rows := [][]string{head}
	for _, l := range lines {
		row := []string{waymark.Print(l.Way), l.Switch()}
		if g.volts {
			row = append(row, l.TestVolts(shown))
		}
		any := false
		for _, test := range shown {
			c := l.Cell(test)
			any = any || c != nil
			row = append(row, c.Shown())
		}
		if any {
			rows = append(rows, row)
		}
	}
	t.Line("")
	t.Line(g.title)
	t.Rows(withoutEmpty(rows, "Sw"), -1)
	t.Item("", g.below)
}

// circuits writes what each way is and how it came out. The notes are numbered
// on from those of the board.
func (t *page) circuits(lines []report.Line, notes int) {
	rows := [][]string{{"Way", "Sw", "Feeds", "Device", "Cable", "Ph", "Max Zs", "Result", "Notes"}}
	for _, l := range lines {
		row := []string{waymark.Print(l.Way), l.Switch(), printable.Words(l.Feeds), printable.Words(short(l.Device)), cable(l), printable.Words(l.OnPhase()), l.Permitted(), l.Outcome(), ""}
		if l.Spare {
			row[2] = strings.TrimSpace("spare " + printable.Words(l.Feeds))
		}
		var marks []string
		for range l.Remarks {
			notes++
			marks = append(marks, strconv.Itoa(notes))
		}
		row[8] = strings.Join(marks, " ")
		rows = append(rows, row)
	}
	t.Line("")
	t.Line("CIRCUITS")
	t.Rows(withoutEmpty(rows, "Sw", "Ph"), slices.Index(withoutEmpty(rows, "Sw", "Ph")[0], "Feeds"))
	t.Item("", "Cable in mm2, line/protective conductor; Max Zs in ohm at operating temperature, ? where it is not known.")
}

// withoutEmpty leaves out the columns of these names that hold nothing.
func withoutEmpty(rows [][]string, names ...string) [][]string {
	var keep []int
	for i, name := range rows[0] {
		if !slices.Contains(names, name) || slices.ContainsFunc(rows[1:], func(row []string) bool { return row[i] != "" }) {
			keep = append(keep, i)
		}
	}
	out := make([][]string, len(rows))
	for r, row := range rows {
		for _, i := range keep {
			out[r] = append(out[r], row[i])
		}
	}
	return out
}

// remains says what is left to do and what is doubtful. The doubtful are not
// left to do: whether a reading that was looked into may stay is not for us.
func (t *page) remains(s report.Schedule) {
	sentence, items := s.Remains()
	if sentence == "" {
		sentence = "LEFT TO DO"
	}
	t.Item("", sentence)
	for _, item := range items {
		t.Item("- ", item)
	}
	doubtful := func(result string) bool {
		return result == string(check.Investigate) || result == string(check.CannotSay)
	}
	var all []string
	for _, b := range s.Boards {
		var ways []int
		for _, l := range s.Lines {
			if l.Board == b.Number && doubtful(l.Result) && !slices.Contains(ways, l.Way) {
				ways = append(ways, l.Way)
			}
		}
		var here []string
		if doubtful(b.Result) {
			here = append(here, "the board itself")
		}
		if len(ways) > 0 {
			here = append(here, words.Ways(ways))
		}
		if len(here) > 0 && len(s.Boards) > 1 {
			here[0] = fmt.Sprintf("on board %d %s", b.Number, here[0])
		}
		all = append(all, strings.Join(here, " and "))
	}
	if all = slices.DeleteFunc(all, func(s string) bool { return s == "" }); len(all) > 0 {
		t.Item("", "To be looked into: "+strings.Join(all, "; ")+".")
	}
}

// protection lists the devices in full, as the table has no room for them.
func (t *page) protection(lines []report.Line) {
	var names []string
	ways := map[string][]int{}
	for _, l := range lines {
		name := l.Device.Long()
		if name == "" || slices.Contains(ways[name], l.Way) {
			continue
		}
		if ways[name] == nil {
			names = append(names, name)
		}
		ways[name] = append(ways[name], l.Way)
	}
	if len(names) == 0 {
		return
	}
	t.Line("")
	t.Line("PROTECTIVE DEVICES")
	for _, name := range names {
		t.Item("- ", fmt.Sprintf("%s: %s", name, words.Ways(ways[name])))
	}
}

func (t *page) preparation(s report.Schedule) {
	if len(s.Preparation) == 0 {
		return
	}
	t.Line("")
	t.Line("PREPARATION, as answered by the tester")
	for _, p := range s.Preparation {
		mark := "- "
		if len(s.Boards) > 1 {
			mark = fmt.Sprintf("- board %d, ", p.Board)
		}
		switch {
		case p.Answer == "":
			t.Item(mark, p.Step+": not answered")
		case p.Reason != "":
			t.Item(mark, fmt.Sprintf("%s: %s, %s. %s", p.Step, p.Answer, p.At.Format("15:04 UTC"), words.Sentence(p.Reason)))
		default:
			t.Item(mark, fmt.Sprintf("%s: %s, %s", p.Step, p.Answer, p.At.Format("15:04 UTC")))
		}
	}
}

// cable is "2.5/1.5 ring"; a size that is not known is a question mark, and a
// steel enclosure as protective conductor is named.
func cable(l report.Line) string {
	if l.Spare {
		return ""
	}
	size := func(mm2 float64) string {
		if mm2 == 0 {
			return "?"
		}
		return words.Number(mm2)
	}
	cpc := size(l.CPC)
	if l.CPCKind == string(board.Steel) || l.CPCKind == string(board.Armour) {
		cpc = l.CPCKind
	}
	s := size(l.Line) + "/" + cpc
	if l.Material == string(board.Aluminium) {
		s += " Al"
	}
	if l.Wiring == "ring" {
		s += " ring"
	}
	return s
}

// short is "B6" where the standard has types, otherwise "30 A".
func short(d report.Device) string {
	switch {
	case d.Rating == 0:
		return ""
	case d.Type != "":
		return d.Type + words.Number(d.Rating)
	}
	return words.Number(d.Rating) + " A"
}
