package report

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
)

// width is the most characters that a line of text has.
const width = 100

// Text writes the schedule to be read on a screen or on plain paper: no line is
// longer than 100 characters, and there are no colours. What came from the log
// cannot move the cursor or change the terminal.
func (s Schedule) Text(w io.Writer) error {
	var t text
	t.line("SCHEDULE OF TEST RESULTS")
	t.line("")
	if s.Record.Sessions > 0 {
		t.header(s)
		for _, b := range s.Boards {
			t.board(s, b)
		}
		t.notes(s)
		t.preparation(s)
		t.line("")
	}
	t.remains(s)
	t.line("")
	for _, c := range s.Cautions {
		t.item("", c)
	}
	_, err := io.WriteString(w, t.b.String())
	return err
}

func (t *text) header(s Schedule) {
	j := s.Job
	t.field("Job", "%s, %s, tested by %s", j.Reference, j.Date, j.testers())
	t.field("Address", "%s", j.Address)
	if j.Edition != "" {
		t.field("Judged by", "%s", j.Edition)
	}
	t.field("Instrument", "serial %s, calibration checked %s, scale ends at %s Mohm", j.Instrument, j.Checked, number(j.OverRange))
	if len(j.Limited) > 0 {
		t.field("Limited to", "%s", strings.Join(j.Limited, ", "))
	}
	t.field("Record", "%s", s.Record.text())
	t.field("Status", "%s", s.status())
	if s.Signed != nil {
		t.field("Signed sum", "%s", s.Signed.Sum)
	}
}

// status says whether the record was signed off, and by whom.
func (s Schedule) status() string {
	if s.Signed == nil {
		return "draft, not signed off"
	}
	return fmt.Sprintf("signed off by %s (%s), %s, as event %d", s.Signed.Name, s.Signed.Initials, s.Signed.At.UTC().Format("2006-01-02 15:04 UTC"), s.Signed.Event)
}

// allBonded goes on from the bonded services.
func (b Board) allBonded() string {
	if b.AllBonded {
		return "; every extraneous-conductive-part is said to be bonded"
	}
	return ""
}

// board writes one board: what it is, what was tested at it, and its ways in
// several tables, so that none is wider than the page.
func (t *text) board(s Schedule, b Board) {
	t.line("")
	t.item("", fmt.Sprintf("BOARD %d: %s", b.Number, b.Name))
	from := ""
	if b.FedFrom != 0 {
		from = fmt.Sprintf("; from board %d, way %d", b.FedFrom, b.FedFromWay)
	}
	surge := "no surge protection"
	if b.SurgeProtection {
		surge = "surge protection fitted"
	}
	t.field("Supply", "%s; %s V line to earth, %s%s; %s", b.Earthing, number(b.Voltage), plural(b.Phases, "single-phase", "three-phase"), from, surge)
	if b.DeclaredZe != 0 || b.DeclaredPFC != 0 || b.Conditional != 0 {
		t.field("Declared", "%s", given(", ", "Ze", b.DeclaredZe, "ohm", "fault current", b.DeclaredPFC, "kA", "conditional rating of the board", b.Conditional, "kA"))
	}
	if b.Zdb != "" {
		t.field("Zdb", "%s, Zs of way %d of board %d", b.Zdb, b.FedFromWay, b.FedFrom)
	}
	if name := b.Main.long(); name != "" {
		t.field("Main switch", "%s", name)
	}
	if b.EarthingConductor != 0 || len(b.Bonding) > 0 || b.AllBonded {
		text := given(", ", "earthing", b.EarthingConductor, "mm2", "bonding", b.BondingSize, "mm2")
		if len(b.Bonding) > 0 {
			text = strings.TrimPrefix(text+"; bonded: "+strings.Join(b.Bonding, ", "), "; ")
		}
		text = strings.TrimPrefix(text+b.allBonded(), "; ")
		t.field("Conductors", "%s", text)
	}
	if b.OnlyIsolated {
		t.item("", "Only isolated: nothing on it was tested.")
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
			ways = " (" + plural(len(l.Ways), "way ", "ways ") + numbers(l.Ways) + ")"
		}
		t.field("Insulation", "at least %s Mohm, tested at %s V DC%s; %s", number(l.Least), number(l.Volts), ways, l.Source)
	}
	notes := t.atBoard(b)
	var lines []Line
	for _, l := range s.Lines {
		if l.Board == b.Number {
			lines = append(lines, l)
		}
	}
	t.circuits(lines, len(notes))
	for _, l := range lines {
		for _, r := range l.Remarks {
			notes = append(notes, l.name()+", "+r)
		}
	}
	for _, g := range groups {
		t.group(g, lines)
	}
	if len(notes) > 0 {
		t.line("")
		t.line("NOTES")
		for i, n := range notes {
			t.item(fmt.Sprintf("%3d  ", i+1), n)
		}
	}
	t.protection(lines)
}

// given is "Ze 0.35 ohm, fault current 16 kA" without what is not known.
func given(between string, parts ...any) string {
	var out []string
	for i := 0; i+2 < len(parts); i += 3 {
		if x := parts[i+1].(float64); x != 0 {
			out = append(out, fmt.Sprintf("%s %s %s", parts[i], number(x), parts[i+2]))
		}
	}
	return strings.Join(out, between)
}

// atBoard writes the readings of the board itself and returns its notes.
func (t *text) atBoard(b Board) []string {
	var notes []string
	if len(b.Cells) > 0 {
		t.line("")
		t.line("AT THE BOARD: " + b.outcome())
		rows := [][]string{}
		for _, c := range b.Cells {
			name := string(c.Test)
			if c.Test == reading.Bonding && c.Position >= 1 && c.Position <= len(b.Bonding) {
				name += ", " + printable.Cut(printable.Words(b.Bonding[c.Position-1]), 40)
			}
			value := c.text()
			if c.Status == Recorded {
				value = c.withUnit()
			}
			rows = append(rows, []string{name, value, c.Result, c.volts()})
		}
		t.rows(rows, 0)
	}
	for _, r := range b.Remarks {
		notes = append(notes, "The board, "+r)
	}
	return notes
}

func (c Cell) volts() string {
	if c.Volts == 0 {
		return ""
	}
	return "at " + number(c.Volts) + " V"
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
	{title: "LIVE TESTS", tests: []reading.Test{reading.Zs, reading.PFC, reading.PSC, reading.RCDHalf, reading.RCD1x, reading.RCD5x, reading.RCDRamp, reading.RCDButton, reading.PhaseSequence, reading.Functional},
		heads: []string{"Zs", "PFC", "PSC", "RCD half", "RCD 1x", "RCD 5x", "RCD ramp", "RCD button", "phases", "functional"},
		below: "Zs in ohm; fault currents in kA; RCD 1x and 5x in ms, its ramp in mA."},
}

// group writes the columns of a group that any line has a cell for.
func (t *text) group(g group, lines []Line) {
	var shown []reading.Test
	head := []string{"Way", "Sw"}
	if g.volts {
		head = append(head, "V")
	}
	for i, test := range g.tests {
		if slices.ContainsFunc(lines, func(l Line) bool { return l.cell(test) != nil }) {
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
		row := []string{strconv.Itoa(l.Way), l.sw()}
		if g.volts {
			row = append(row, l.volts(shown))
		}
		any := false
		for _, test := range shown {
			c := l.cell(test)
			any = any || c != nil
			row = append(row, c.text())
		}
		if any {
			rows = append(rows, row)
		}
	}
	t.line("")
	t.line(g.title)
	t.rows(withoutEmpty(rows, "Sw"), -1)
	t.item("", g.below)
}

// circuits writes what each way is and how it came out. The notes are numbered
// on from those of the board.
func (t *text) circuits(lines []Line, notes int) {
	rows := [][]string{{"Way", "Sw", "Feeds", "Device", "Cable", "Ph", "Max Zs", "Result", "Notes"}}
	for _, l := range lines {
		row := []string{strconv.Itoa(l.Way), l.sw(), printable.Words(l.Feeds), printable.Words(l.Device.short()), l.cable(), printable.Words(l.phase()), l.maxZs(), l.outcome(), ""}
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
	t.line("")
	t.line("CIRCUITS")
	t.rows(withoutEmpty(rows, "Sw", "Ph"), slices.Index(withoutEmpty(rows, "Sw", "Ph")[0], "Feeds"))
	t.item("", "Cable in mm2, line/protective conductor; Max Zs in ohm at operating temperature, ? where it is not known.")
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
func (t *text) remains(s Schedule) {
	if len(s.ToDo) > 0 {
		t.line("LEFT TO DO")
		for _, item := range s.ToDo {
			t.item("- ", item)
		}
	} else {
		t.line("Every test was made or left out with a reason.")
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
			here = append(here, plural(len(ways), "way ", "ways ")+numbers(ways))
		}
		if len(here) > 0 && len(s.Boards) > 1 {
			here[0] = fmt.Sprintf("on board %d %s", b.Number, here[0])
		}
		all = append(all, strings.Join(here, " and "))
	}
	if all = slices.DeleteFunc(all, func(s string) bool { return s == "" }); len(all) > 0 {
		t.item("", "To be looked into: "+strings.Join(all, "; ")+".")
	}
}

func (r Record) text() string {
	end := "not finished"
	if r.Finished {
		end = "finished"
	}
	return fmt.Sprintf("event %d, %s; %s; %s", r.LastEvent, r.LastAt.Format("2006-01-02 15:04 UTC"), plural(r.Sessions, "1 session", strconv.Itoa(r.Sessions)+" sessions"), end)
}

// text collects lines.
type text struct {
	b      strings.Builder
	colour bool
	style  string // the result that the lines are about, while there is one
}

// colours are the terminal's for the results. What they say stands in words, too.
var colours = map[string]string{
	string(check.Fail): "\x1b[31m", string(check.Investigate): "\x1b[33m", string(check.CannotSay): "\x1b[33m",
}

func (t *text) line(s string) {
	s = strings.TrimRight(s, " ")
	if code := colours[t.style]; t.colour && code != "" && s != "" {
		s = code + s + "\x1b[0m"
	}
	t.b.WriteString(s + "\n")
}

// field writes a name and what it is, wrapped beside it.
func (t *text) field(name, format string, args ...any) {
	t.item(fmt.Sprintf("%-12s", name), fmt.Sprintf(format, args...))
}

// item writes s after a mark, with later lines set in as far as the mark.
func (t *text) item(mark, s string) {
	indent := strings.Repeat(" ", len([]rune(mark)))
	for i, l := range wrap(printable.Words(s), width-len(indent)) {
		if i > 0 {
			mark = indent
		}
		t.line(mark + l)
	}
}

// columnGap is between the columns of the table.
const columnGap = "  "

// rows writes a table; the first row is its head unless the table has none,
// which is so where feeds is 0. feeds is the column that gives first where it is
// too wide, -1 where there is none.
func (t *text) rows(rows [][]string, feeds int) {
	widths := fit(rows, max(0, feeds), func(int) bool { return true })
	for i, row := range rows {
		t.row(row, widths)
		if i == 0 && feeds != 0 {
			t.line(strings.Repeat("-", min(width, total(widths))))
		}
	}
}

// fit gives each column the width of its widest cell. Where the table is then
// too wide it takes from the column feeds first, and next from whichever of the
// columns that may give is widest. A column is not made narrower than its longest
// word, so that a figure is never broken, unless nothing else is left to give.
func fit(rows [][]string, feeds int, mayGive func(column int) bool) []int {
	widths, least := make([]int, len(rows[0])), make([]int, len(rows[0]))
	for _, row := range rows {
		for i, c := range row {
			widths[i] = max(widths[i], len([]rune(c)))
			for _, word := range strings.Fields(c) {
				least[i] = max(least[i], len([]rune(word)))
			}
		}
	}
	least[feeds] = min(least[feeds], 20)
	for total(widths) > width {
		widest := -1
		for i, w := range widths {
			if i != feeds && mayGive(i) && w > least[i] && (widest < 0 || w > widths[widest]) {
				widest = i
			}
		}
		switch {
		case widths[feeds] > max(20, least[feeds]) || widest < 0 && widths[feeds] > least[feeds]:
			widest = feeds
		case widest < 0: // words of a hostile length
			for i, w := range widths {
				if widest < 0 || w > widths[widest] {
					widest = i
				}
			}
			least[widest] = widths[widest] - 1
		}
		widths[widest]--
	}
	return widths
}

func total(widths []int) int {
	n := -len(columnGap)
	for _, w := range widths {
		n += w + len(columnGap)
	}
	return n
}

// row writes one row of the table, on as many lines as its fullest cell needs.
func (t *text) row(cells []string, widths []int) {
	wrapped := make([][]string, len(cells))
	high := 1
	for i, c := range cells {
		wrapped[i] = wrap(printable.Words(c), widths[i])
		high = max(high, len(wrapped[i]))
	}
	for n := range high {
		parts := make([]string, len(cells))
		for i, w := range wrapped {
			c := ""
			if n < len(w) {
				c = w[n]
			}
			parts[i] = c + strings.Repeat(" ", widths[i]-len([]rune(c)))
		}
		t.line(strings.Join(parts, columnGap))
	}
}

// protection lists the devices in full, as the table has no room for them.
func (t *text) protection(lines []Line) {
	var names []string
	ways := map[string][]int{}
	for _, l := range lines {
		name := l.Device.long()
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
	t.line("")
	t.line("PROTECTIVE DEVICES")
	for _, name := range names {
		t.item("- ", fmt.Sprintf("%s: %s", name, plural(len(ways[name]), "way ", "ways ")+numbers(ways[name])))
	}
}

func (t *text) preparation(s Schedule) {
	if len(s.Preparation) == 0 {
		return
	}
	t.line("")
	t.line("PREPARATION, as answered by the tester")
	for _, p := range s.Preparation {
		mark := "- "
		if len(s.Boards) > 1 {
			mark = fmt.Sprintf("- board %d, ", p.Board)
		}
		switch {
		case p.Answer == "":
			t.item(mark, p.Step+": not answered")
		case p.Reason != "":
			t.item(mark, fmt.Sprintf("%s: %s, %s. %s", p.Step, p.Answer, p.At.Format("15:04 UTC"), sentence(p.Reason)))
		default:
			t.item(mark, fmt.Sprintf("%s: %s, %s", p.Step, p.Answer, p.At.Format("15:04 UTC")))
		}
	}
}

// cell returns the cell for a test, or nil; of several points or services the
// one to be shown, which is the highest reading.
func (t Tested) cell(test reading.Test) *Cell {
	var found *Cell
	for i := range t.Cells {
		c := &t.Cells[i]
		if c.Test == test && (found == nil || c.Value != nil && (found.Value == nil || *c.Value > *found.Value)) {
			found = c
		}
	}
	return found
}

// text is a cell of the table. Whatever is not a reading is a word, so that no
// gap or dash can be taken for one.
func (c *Cell) text() string {
	if c == nil {
		return ""
	}
	switch c.Status {
	case Recorded:
		return c.Text
	case NotApplicable:
		return "N/A"
	case Limitation:
		return "LIM"
	case Waived:
		return "waived"
	case NotAsked:
		return "not made"
	}
	return string(c.Status)
}

func (l Line) name() string {
	if l.Position > 0 {
		return fmt.Sprintf("Way %d, switch position %d", l.Way, l.Position)
	}
	return fmt.Sprintf("Way %d", l.Way)
}

func (l Line) sw() string {
	if l.Position == 0 {
		return ""
	}
	return strconv.Itoa(l.Position)
}

// phase is where the way is connected, where there is more than one phase.
func (l Line) phase() string {
	if l.Phases == 3 {
		return "3"
	}
	return l.Phase
}

func (l Line) maxZs() string {
	switch {
	case l.Spare:
		return ""
	case l.MaxZs == nil:
		return "?"
	}
	return significant3(l.MaxZs.Ohm)
}

// significant3 is a limit of loop impedance to the two places of the tables.
func significant3(ohm float64) string {
	if ohm >= 100 {
		return strconv.FormatFloat(ohm, 'f', 0, 64)
	}
	return strconv.FormatFloat(ohm, 'f', 2, 64)
}

// cable is "2.5/1.5 ring"; a size that is not known is a question mark, and a
// steel enclosure as protective conductor is named.
func (l Line) cable() string {
	if l.Spare {
		return ""
	}
	size := func(mm2 float64) string {
		if mm2 == 0 {
			return "?"
		}
		return number(mm2)
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

// volts is the test voltage of the tests: more than one when it was changed
// between the readings.
func (l Line) volts(tests []reading.Test) string {
	var all []string
	for _, c := range l.Cells {
		if v := number(c.Volts); c.Volts != 0 && slices.Contains(tests, c.Test) && !slices.Contains(all, v) {
			all = append(all, v)
		}
	}
	return strings.Join(all, "/")
}

// short is "B6" where the standard has types, otherwise "30 A".
func (d Device) short() string {
	switch {
	case d.Rating == 0:
		return ""
	case d.Type != "":
		return d.Type + number(d.Rating)
	}
	return number(d.Rating) + " A"
}

func (d Device) long() string {
	if d.Standard == "" && d.Rating == 0 {
		return ""
	}
	s := d.Standard
	if d.Type != "" {
		s += " type " + d.Type
	}
	s += ", " + number(d.Rating) + " A"
	if d.Breaking != 0 {
		s += ", " + number(d.Breaking) + " kA"
	}
	if d.Trip != 0 {
		s += ", trips at " + number(d.Trip) + " A"
	}
	if d.RCDRated != 0 {
		s += ", RCD " + number(d.RCDRated) + " mA"
		if d.RCDType != "" {
			s += " type " + d.RCDType
		}
		if d.RCDDelayed {
			s += " S"
		}
		if d.RCDStandard != "" {
			s += " to " + d.RCDStandard
		}
		if d.RCDGroup != "" {
			s += ", group " + d.RCDGroup
		}
	}
	return strings.TrimPrefix(s, ", ")
}

// number writes a number with no more decimal places than it needs.
func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func numbers(ways []int) string {
	all := make([]string, len(ways))
	for i, w := range ways {
		all[i] = strconv.Itoa(w)
	}
	return strings.Join(all, ", ")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// wrap breaks s, which is clean, into lines of at most n characters, between
// words where it can. There is always at least one line.
func wrap(s string, n int) []string {
	var lines []string
	line := []rune{}
	for _, word := range strings.Fields(s) {
		w := []rune(word)
		if len(line) > 0 && len(line)+1+len(w) > n {
			lines, line = append(lines, string(line)), nil
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		for len(line)+len(w) > n { // a word longer than a whole line
			room := n - len(line)
			lines, line, w = append(lines, string(append(line, w[:room]...))), nil, w[room:]
		}
		line = append(line, w...)
	}
	return append(lines, string(line))
}
