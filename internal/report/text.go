package report

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"waycall/internal/check"
	"waycall/internal/reading"
)

// width is the most characters that a line of text has.
const width = 100

// Text writes the schedule to be read on a screen or on plain paper: no line is
// longer than 100 characters, and there are no colours. What came from the log
// cannot move the cursor or change the terminal.
func (s Schedule) Text(w io.Writer) error {
	var t text
	t.line("SCHEDULE OF TEST RESULTS: insulation resistance")
	t.line("")
	if s.Record.Sessions > 0 {
		t.header(s)
		t.line("")
		t.table(s)
		t.protection(s.Lines)
		t.preparation(s.Preparation)
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
	t.field("Job", "%s, %s, tested by %s", j.Reference, j.Date, j.Tester)
	t.field("Address", "%s", j.Address)
	surge := "no surge protection"
	if j.SurgeProtection {
		surge = "surge protection fitted"
	}
	t.field("Board", "%s; %s; %s V line to earth; %s", j.Board, j.Earthing, number(j.Voltage), surge)
	t.field("Instrument", "serial %s, calibration checked %s, scale ends at %s Mohm", j.Instrument, j.Checked, number(j.OverRange))
	for _, l := range s.Limits {
		ways := ""
		if len(s.Limits) > 1 {
			ways = " (" + plural(len(l.Ways), "way ", "ways ") + numbers(l.Ways) + ")"
		}
		t.field("Limit", "at least %s Mohm, tested at %s V DC%s; %s", number(l.Least), number(l.Volts), ways, l.Source)
	}
	t.field("Record", "%s", s.Record.text())
}

// remains says what is left to do and which ways are doubtful. These are not
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
	var doubtful []int
	for _, l := range s.Lines {
		if (l.Result == string(check.Investigate) || l.Result == string(check.CannotSay)) && !slices.Contains(doubtful, l.Way) {
			doubtful = append(doubtful, l.Way)
		}
	}
	if len(doubtful) > 0 {
		t.item("", "To be looked into: "+plural(len(doubtful), "way ", "ways ")+numbers(doubtful)+".")
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
type text struct{ b strings.Builder }

func (t *text) line(s string) { t.b.WriteString(strings.TrimRight(s, " ") + "\n") }

// field writes a name and what it is, wrapped beside it.
func (t *text) field(name, format string, args ...any) {
	t.item(fmt.Sprintf("%-12s", name), fmt.Sprintf(format, args...))
}

// item writes s after a mark, with later lines set in as far as the mark.
func (t *text) item(mark, s string) {
	indent := strings.Repeat(" ", len([]rune(mark)))
	for i, l := range wrap(clean(s), width-len(indent)) {
		if i > 0 {
			mark = indent
		}
		t.line(mark + l)
	}
}

// columnGap is between the columns of the table.
const columnGap = "  "

func (t *text) table(s Schedule) {
	head := []string{"Way", "Sw", "Feeds", "Device", "Cable", "V"}
	var shown []reading.Test
	for _, test := range columns {
		made := slices.ContainsFunc(s.Lines, func(l Line) bool { return l.cell(test) != nil })
		if made || test == reading.LNE || test == reading.LN {
			shown = append(shown, test)
			head = append(head, string(test))
		}
	}
	head = append(head, "Result", "Notes")
	feeds := slices.Index(head, "Feeds")
	rows := [][]string{head}
	var notes []string
	for _, l := range s.Lines {
		row := []string{strconv.Itoa(l.Way), "", l.Feeds, l.Device.short(), l.cable(), l.volts()}
		if l.Position > 0 {
			row[1] = strconv.Itoa(l.Position)
		}
		if l.Spare {
			row[2] = strings.TrimSpace("spare " + l.Feeds)
		}
		for _, test := range shown {
			row = append(row, l.cell(test).text())
		}
		var marks []string
		for _, r := range l.Remarks {
			notes = append(notes, l.name()+", "+r)
			marks = append(marks, strconv.Itoa(len(notes)))
		}
		row = append(row, l.outcome(), strings.Join(marks, " "))
		for i := range row {
			row[i] = clean(row[i])
		}
		rows = append(rows, row)
	}
	for i, name := range head {
		if name == "Sw" && !slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Position > 0 }) {
			for r := range rows {
				rows[r] = slices.Delete(rows[r], i, i+1)
			}
			head, feeds = rows[0], feeds-1
			break
		}
	}
	widths := fit(rows, feeds, func(i int) bool { return slices.Contains([]string{"Device", "Cable", "Result", "Notes"}, head[i]) })
	for i, row := range rows {
		t.row(row, widths)
		if i == 0 {
			t.line(strings.Repeat("-", min(width, total(widths))))
		}
	}
	t.line("")
	t.line("Readings in Mohm; cable in mm2, line/protective conductor; V is the DC test voltage asked for.")
	if len(notes) > 0 {
		t.line("")
		for i, n := range notes {
			t.item(fmt.Sprintf("%3d  ", i+1), n)
		}
	}
}

// fit gives each column the width of its widest cell. Where the table is then
// too wide it takes from the feeds first, and next from whichever of the columns
// that may give is widest; a figure is never broken.
func fit(rows [][]string, feeds int, mayGive func(column int) bool) []int {
	widths := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, c := range row {
			widths[i] = max(widths[i], len([]rune(c)))
		}
	}
	for total(widths) > width {
		widest := feeds
		for i, w := range widths {
			if mayGive(i) && widths[feeds] <= 20 && w > widths[widest] {
				widest = i
			}
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
		wrapped[i] = wrap(c, widths[i])
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

func (t *text) preparation(steps []Step) {
	if len(steps) == 0 {
		return
	}
	t.line("")
	t.line("PREPARATION, as answered by the tester")
	for _, p := range steps {
		switch {
		case p.Answer == "":
			t.item("- ", p.Step+": not answered")
		case p.Reason != "":
			t.item("- ", fmt.Sprintf("%s: %s, %s. %s", p.Step, p.Answer, p.At.Format("15:04 UTC"), sentence(p.Reason)))
		default:
			t.item("- ", fmt.Sprintf("%s: %s, %s", p.Step, p.Answer, p.At.Format("15:04 UTC")))
		}
	}
}

// cell returns the line's cell for a test, or nil.
func (l Line) cell(test reading.Test) *Cell {
	for i := range l.Cells {
		if l.Cells[i].Test == test {
			return &l.Cells[i]
		}
	}
	return nil
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

// cable is "2.5/1.5 ring"; a size that is not known is a question mark.
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
	s := size(l.Line) + "/" + size(l.CPC)
	if l.Wiring == "ring" {
		s += " ring"
	}
	return s
}

// volts is the test voltage of the line: more than one when it was changed
// between the readings.
func (l Line) volts() string {
	var all []string
	for _, c := range l.Cells {
		if v := number(c.Volts); c.Volts != 0 && !slices.Contains(all, v) {
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
	if d.RCDRated != 0 {
		s += ", RCD " + number(d.RCDRated) + " mA"
		if d.RCDType != "" {
			s += " type " + d.RCDType
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

// clean makes s one line of visible characters. Control characters and the
// invisible ones that turn the direction of text become a mark.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsGraphic(r):
			return unicode.ReplacementChar
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
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
