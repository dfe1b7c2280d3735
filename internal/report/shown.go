// This file has what every format shows alike: how a cell, a line, a device or a status
// is written, and what the result of a line is.

package report

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/words"
)

// Service names a bonded service by its position.
func (b Board) Service(position int) string {
	if position >= 1 && position <= len(b.Bonding) {
		return b.Bonding[position-1]
	}
	return ""
}

// AllTesters are the initials of all who tested, the job's tester first.
func (h Header) AllTesters() string {
	return strings.Join(append([]string{h.Tester}, h.Others...), ", ")
}

// InTheirWords stands behind the title of what the tester said freely.
const InTheirWords = ", in the tester's words as they were heard"

// ToldWords says who was told of a danger, after the time of the observation.
func (o Observation) ToldWords() string {
	switch {
	case o.Told != "":
		return ", told " + o.Told
	case o.Code == "C1":
		return ", not said who was told"
	}
	return ""
}

// CodesMean is what the codes of observations mean, with their source.
func CodesMean(edition string) string {
	var all []string
	for _, code := range slices.Sorted(maps.Keys(record.Codes)) {
		all = append(all, code+": "+record.Codes[code])
	}
	judged := board.Job{Edition: board.Edition(edition)}.JudgedBy()
	text := strings.Join(all, "; ") + ". " + judged.Of("BS 7671 Appendix 6, from memory.")
	if judged == board.A4 {
		text += " These are the meanings of " + string(board.A2) + ": Amendment 4 reworked that of FI, and its words could not be read."
	}
	return text
}

// DateOf is the date of a file: that of the last event.
func DateOf(s Schedule) time.Time {
	when := s.Record.LastAt.UTC()
	if when.Year() < 1970 || when.Year() > 9999 { // of an empty log, or a clock out of its mind
		when = time.Unix(0, 0).UTC()
	}
	return when
}

// Shades are the colours of the results, red, green and blue.
var Shades = map[string][3]int{string(check.Fail): {246, 200, 196}, string(check.Investigate): {252, 232, 190}, string(check.CannotSay): {228, 228, 236}}

// WorstOn is the worst result at a board and on its ways.
func WorstOn(b Board, lines []Line) string {
	worst := b.Result
	for _, l := range lines {
		if l.Board == b.Number {
			worst = worse(worst, l.Result)
		}
	}
	if worst == string(check.Pass) {
		return b.only(worst)
	}
	return cmp.Or(worst, "none")
}

// Reviewer is the reviewer, as far as he is known.
func (r *Review) Reviewer() string {
	if r == nil || r.By == "" {
		return "a reviewer"
	}
	return r.By
}

// Name is the test, with the point or the service where there are several on
// one line. The line itself names the switch position.
func (c Cell) Name() string {
	if c.Position > 0 && (words.OfRing(c.Test) || c.Test == reading.Bonding) {
		return words.SlotTest(c.Test, c.Position)
	}
	return string(c.Test)
}

// WithUnit is the reading with its unit, ">999 Mohm", and "correct" for a test without one.
func (c Cell) WithUnit() string { return strings.TrimSpace(c.Text + " " + c.Unit) }

// leftOut reports whether a test that the line needs was skipped, or could not be
// made.
func (t Tested) leftOut() bool {
	return slices.ContainsFunc(t.Cells, func(c Cell) bool {
		return c.Status == Skipped || c.Status == Limitation || c.Status == NotVerified || c.Status == Waived || c.Status == Accepted
	})
}

// Outcome is the result column of text and CSV. A line with a test still to do, or
// one that was left out, is never shown as a pass alone.
func (l Line) Outcome() string {
	if l.Spare {
		return ""
	}
	return l.Tested.Outcome()
}

// Outcome is the worst result in a word, or that something is missing beside what passed.
func (t Tested) Outcome() string {
	switch {
	case t.Result != "" && t.Result != string(check.Pass):
		return t.Result
	case t.Result != "" && !t.Complete:
		return "not complete"
	case t.Result != "" && t.leftOut():
		return t.only("pass in part")
	case t.Result != "":
		return t.only(t.Result)
	case !t.Complete:
		return "to do"
	case t.Outside != "":
		return t.Outside
	case slices.ContainsFunc(t.Cells, func(c Cell) bool { return c.Status == NotVerified }):
		return string(NotVerified)
	}
	return "not tested"
}

// only is a pass with what the job was limited to, which is all that it is one of.
func (t Tested) only(pass string) string {
	if t.Covers != "" {
		return t.Covers + ": " + pass
	}
	return pass
}

// Failing are the readings that fail and stand, "board 1, way 3, Zs: 4.60 ohm", in the
// order of the schedule.
func (s Schedule) Failing() (all []string) {
	add := func(board, way int, t Tested) {
		for _, c := range t.Cells {
			if c.Status == Recorded && c.Result == string(check.Fail) {
				all = append(all, english.Lower(words.At(board, way, true))+", "+c.Name()+": "+c.WithUnit())
			}
		}
	}
	for _, b := range s.Boards {
		add(b.Number, 0, b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				add(l.Board, l.Way, l.Tested)
			}
		}
	}
	return all
}

// Remains says what is left to do: a sentence, and the items below it. That nothing is
// left is never all that is said above what fails.
func (s Schedule) Remains() (sentence string, items []string) {
	failing := s.Failing()
	switch {
	case len(s.ToDo) > 0:
		return "", s.ToDo
	case len(failing) > 0:
		return "No test is left to do. These fail, and were let stand:", failing
	}
	return "Every test was made or left out with a reason.", nil
}

// Standing says whether the record was signed off, and by whom.
func (s Schedule) Standing() string {
	if s.Signed == nil {
		return "draft, not signed off"
	}
	return fmt.Sprintf("signed off by %s (%s), %s, as event %d", s.Signed.Name, s.Signed.Initials, s.Signed.At.UTC().Format("2006-01-02 15:04 UTC"), s.Signed.Event)
}

// Words says how far the record goes, in a line.
func (r Record) Words() string {
	end := "not finished"
	if r.Finished {
		end = "finished"
	}
	return fmt.Sprintf("event %d, %s; %s; %s", r.LastEvent, r.LastAt.Format("2006-01-02 15:04 UTC"), english.Plural(r.Sessions, "1 session", strconv.Itoa(r.Sessions)+" sessions"), end)
}

// Cell returns the cell for a test, or nil; of several points or services the
// one to be shown, which is the highest reading.
func (t Tested) Cell(test reading.Test) *Cell {
	var found *Cell
	for i := range t.Cells {
		c := &t.Cells[i]
		if c.Test == test && (found == nil || c.Value != nil && (found.Value == nil || *c.Value > *found.Value)) {
			found = c
		}
	}
	return found
}

// Shown is a cell of the table. Whatever is not a reading is a word, so that no
// gap or dash can be taken for one.
func (c *Cell) Shown() string {
	if c == nil {
		return ""
	}
	switch c.Status {
	case Recorded, ByBoard:
		return c.Text
	case NotApplicable:
		return "N/A"
	case Limitation:
		return "LIM"
	case NotVerified:
		return "N/V"
	case Waived:
		return "waived"
	case NotAsked:
		return "not made"
	}
	return string(c.Status)
}

// Name is the way, with its switch position where the line is of one.
func (l Line) Name() string {
	return words.Switched(words.At(l.Board, l.Way, false), l.Position)
}

// ZdbSource is Zdb with where it was read: "0.31 ohm, Zs of board 1, way 7".
func (b Board) ZdbSource() string { return b.Zdb + ", Zs of " + words.FedFrom(b.FedFrom, b.FedFromWay) }

// Switch is the switch position, 1 or 2, and nothing where there is none.
func (l Line) Switch() string {
	if l.Position == 0 {
		return ""
	}
	return strconv.Itoa(l.Position)
}

// OnPhase is where the way is connected, where there is more than one phase.
func (l Line) OnPhase() string {
	if l.Phases == 3 {
		return "3"
	}
	return l.Phase
}

// Permitted is the greatest Zs permitted in ohm: "?" where it is not known, nothing on a
// spare way.
func (l Line) Permitted() string {
	switch {
	case l.Spare:
		return ""
	case l.MaxZs == nil:
		return "?"
	}
	return words.Loop(l.MaxZs.Ohm)
}

// TestVolts is the test voltage of the tests: more than one when it was changed
// between the readings.
func (l Line) TestVolts(tests []reading.Test) string {
	var all []string
	for _, c := range l.Cells {
		if v := words.Number(c.Volts); c.Volts != 0 && slices.Contains(tests, c.Test) && !slices.Contains(all, v) {
			all = append(all, v)
		}
	}
	return strings.Join(all, "/")
}

// Long is the device in full, with its RCD; nothing where none is described.
func (d Device) Long() string {
	if d.Standard == "" && d.Rating == 0 {
		return ""
	}
	s := d.Standard
	if d.Type != "" {
		s += " type " + d.Type
	}
	s += ", " + words.Number(d.Rating) + " A"
	if d.Breaking != 0 {
		s += ", " + words.Number(d.Breaking) + " kA"
	}
	if d.Trip != 0 {
		s += ", trips at " + words.Number(d.Trip) + " A"
	}
	if d.RCDRated != 0 {
		s += ", RCD " + words.Number(d.RCDRated) + " mA"
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
