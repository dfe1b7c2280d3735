// Package findings is what is said of readings, one after another: the verdict on each
// with its reason and source, as waycall check prints it.
package findings

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report/columns"
	"waycall/internal/words"
)

// Format is the version of the JSON layout, in Findings.Format.
const Format = 2

// Findings is what package check says of the readings of a job, one after
// another. Its JSON form is the layout for other programs; lists are never null.
type Findings struct {
	Format    int       `json:"format"`
	Reference string    `json:"reference"` // of the job
	Readings  int       `json:"readings"`
	Counts    Counts    `json:"counts"`
	Findings  []Finding `json:"findings"` // in the order in which the readings were taken
	Cautions  []string  `json:"cautions"`

	names map[int]string // of the boards
}

// Counts is how many readings had each result.
type Counts struct {
	Pass        int `json:"pass"`
	Investigate int `json:"investigate"`
	Fail        int `json:"fail"`
	CannotSay   int `json:"cannot_say"`
}

// Finding is the verdict on one reading.
type Finding struct {
	record.Slot
	Reading string `json:"reading"` // with its unit: ">999 Mohm"
	check.Verdict
	Line int `json:"line,omitempty"` // of the sheet that it came from

	// The result when it was recorded, where that was another: later readings
	// and a corrected description may change what is said of it.
	Recorded string `json:"recorded,omitempty"`
}

// Judged is a reading to be found on, with what is only known of some.
type Judged struct {
	record.Slot
	Quantity reading.Quantity
	Line     int          // 0 where it came from no sheet
	Recorded check.Result // "" where it was never judged before
}

// Of judges readings in their order, each against those before it. surge are
// the boards whose surge protection stayed connected.
func Of(job board.Job, readings []Judged, surge map[int]bool) Findings {
	f := Findings{Format: Format, Reference: job.Reference, Readings: len(readings), Findings: []Finding{}, Cautions: slices.Clone(findCautions), names: map[int]string{}}
	for _, b := range job.Boards {
		f.names[b.Number] = b.Name
	}
	plain := make([]check.Earlier, len(readings))
	for i, r := range readings {
		plain[i] = check.Earlier{Slot: r.Slot, Quantity: r.Quantity}
	}
	for i, v := range check.JudgeAll(job, plain, surge) {
		r := readings[i]
		one := Finding{Slot: r.Slot, Reading: r.Quantity.String(), Verdict: v, Line: r.Line}
		if r.Recorded != "" && r.Recorded != v.Result {
			one.Recorded = string(r.Recorded)
		}
		switch v.Result {
		case check.Pass:
			f.Counts.Pass++
		case check.Fail:
			f.Counts.Fail++
		case check.Investigate:
			f.Counts.Investigate++
		default:
			f.Counts.CannotSay++
		}
		f.Findings = append(f.Findings, one)
	}
	return f
}

var findCautions = []string{
	"These are verdicts on readings as they were written down, for a competent person to judge.",
	"A pass says only that one reading meets one limit; nothing here says whether a circuit may be used or touched.",
	"Sources marked \"from a public print\" were read in public pages or books, which print older editions, and those marked \"from memory\" were not read: check them against the published text.",
}

// Worst returns the most severe result of all; CannotSay when there are no
// readings.
func (f Findings) Worst() check.Result {
	switch c := f.Counts; {
	case c.Fail > 0:
		return check.Fail
	case c.Investigate > 0:
		return check.Investigate
	case c.CannotSay > 0 || f.Readings == 0:
		return check.CannotSay
	}
	return check.Pass
}

// JSON writes the findings for other programs.
func (f Findings) JSON(w io.Writer) error { return printable.WriteJSON(w, f) }

// Text writes the findings as a table for each board, in colour where colour
// says so; a colour adds nothing that is not in words. A reading that did not
// pass has its reason, its figures and what to look at next below it. Sources
// are numbered and listed once.
func (f Findings) Text(w io.Writer, colour bool) error {
	t := columns.Page{Colour: colour}
	t.Line("FINDINGS, job " + printable.Words(f.Reference))
	var sources []string
	cite := func(source string) string {
		i := slices.Index(sources, source)
		if i < 0 {
			sources, i = append(sources, source), len(sources)
		}
		return strconv.Itoa(i + 1)
	}
	for _, number := range boardsOf(f.Findings) {
		var rows [][]string
		var below [][]string
		rows = append(rows, []string{"Way", "Test", "Reading", "Verdict", "Margin", "Rule", "Source"})
		for _, one := range f.Findings {
			if one.Board != number {
				continue
			}
			rows = append(rows, []string{words.WayName(one.Way), words.SlotTest(one.Test, one.Position), one.Reading, string(one.Result), margin(one.Margin), one.rule(), cite(one.Source)})
			below = append(below, one.below())
		}
		t.Line("")
		t.Line("BOARD " + strings.TrimSpace(fmt.Sprintf("%d, %s", number, printable.Cut(printable.Words(f.names[number]), 80))))
		widths := columns.Fit(rows, 5, func(int) bool { return false })
		for i, row := range rows {
			if i == 0 {
				t.Row(row, widths)
				t.Rule(widths)
				continue
			}
			t.Style = row[3]
			t.Row(row, widths)
			t.Style = ""
			for _, s := range below[i-1] {
				t.Item("       ", s)
			}
		}
	}
	if len(sources) > 0 {
		t.Line("")
		t.Line("Margin: how many times better than the limit; above 1 is within it.")
		t.Line("")
		t.Line("SOURCES")
		for i, s := range sources {
			t.Item(fmt.Sprintf("%3d  ", i+1), words.OrNone(s))
		}
	}
	t.Line("")
	t.Item("", f.summary())
	if doubtful := f.places(check.CannotSay); len(doubtful) > 0 {
		t.Item("", "Could not be judged: "+strings.Join(doubtful, "; ")+".")
	}
	t.Line("")
	for _, c := range f.Cautions {
		t.Item("", c)
	}
	return t.Print(w)
}

func (f Findings) summary() string {
	c := f.Counts
	return fmt.Sprintf("%d %s: %d pass, %d investigate, %d fail, %d cannot say.", f.Readings, english.Plural(f.Readings, "reading", "readings"), c.Pass, c.Investigate, c.Fail, c.CannotSay)
}

// places names the readings with a result.
func (f Findings) places(r check.Result) []string {
	var out []string
	for _, one := range f.Findings {
		if one.Result == r {
			out = append(out, words.Place(one.Slot, len(f.names) > 1))
		}
	}
	return out
}

// rule is the rule in writing: one that is named after its test as it is spoken
// has the test's own name.
func (one Finding) rule() string {
	if one.Rule == one.Test.Spoken() {
		return string(one.Test)
	}
	return printable.Words(one.Rule)
}

// below is what stands under the row of a finding.
func (one Finding) below() []string {
	var out []string
	if one.Result != check.Pass {
		out = append(out, words.Sentence(one.Reason))
		var figures []string
		for _, n := range one.Numbers[min(1, len(one.Numbers)):] { // the first is the reading itself
			figures = append(figures, strings.TrimSpace(fmt.Sprintf("%s %s %s", n.Name, significant(n.Value), n.Unit)))
		}
		if len(figures) > 0 {
			out = append(out, "With: "+strings.Join(figures, ", ")+".")
		}
	}
	if one.Next != "" {
		out = append(out, "Next: "+words.Sentence(one.Next))
	}
	if one.Recorded != "" {
		out = append(out, "When it was recorded: "+one.Recorded+".")
	}
	return out
}

func boardsOf(all []Finding) []int {
	var out []int
	for _, one := range all {
		if !slices.Contains(out, one.Board) {
			out = append(out, one.Board)
		}
	}
	slices.Sort(out)
	return out
}

// margin is a margin with two figures after the point, as far as that says
// something.
func margin(m float64) string {
	switch {
	case m == 0:
		return ""
	case m >= 100:
		return ">100"
	case m < 0.01:
		return "<0.01"
	case m < 1 && m > 0.99: // not 1.00 for what is beyond its limit
		return "0.99"
	}
	return strconv.FormatFloat(m, 'f', 2, 64)
}

// significant is a number to four significant figures, without an exponent.
func significant(x float64) string {
	if x == 0 {
		return "0"
	}
	places := 3 - int(math.Floor(math.Log10(math.Abs(x))))
	s := strconv.FormatFloat(x, 'f', min(9, max(0, places)), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
