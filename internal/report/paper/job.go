// This file is the first page: the job, its boards, the cautions, and the statement to be
// signed.

package paper

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"waycall/internal/check"
	"waycall/internal/report"
	"waycall/internal/words"
)

// --- what is on the pages

func (p *pdf) front() {
	s, j := p.s, p.s.Job
	p.heading("The job")
	p.field("Reference", j.Reference)
	p.field("Address", j.Address)
	p.field("Date", j.Date)
	p.field("Tested by", j.AllTesters())
	for _, t := range s.Terms {
		p.field(t.Name, t.Text)
	}
	if j.Edition != "" {
		p.field("Judged by", j.Edition)
	}
	p.field("Instrument", fmt.Sprintf("%s, calibration checked %s, insulation scale ends at %s M%s", j.InstrumentWords(), j.Checked, words.Number(j.OverRange), ohmSign))
	if len(j.Limited) > 0 {
		p.field("Limited to", strings.Join(j.Limited, ", "))
	}
	p.field("Record", s.Record.Words())
	if s.Record.Sum != "" {
		p.field("Sum of the record", s.Record.Sum)
		p.item("", "The sum stands for every event of the record up to the last one named here. While that event is the last, waycall verify prints the same sum of the record that this paper was made from.")
	}
	if len(s.Boards) > 0 {
		table(p, "Boards", boardColumns(s), s.Boards, nil)
	}
	p.heading("Cautions")
	for _, c := range s.Cautions {
		p.item("•", c)
	}
	p.statement()
}

// boardColumns are the columns of the list of boards.
func boardColumns(s report.Schedule) []column[report.Board] {
	return []column[report.Board]{
		plain("", "Board", func(b report.Board) string { return strconv.Itoa(b.Number) }),
		growing("", "Name", func(b report.Board) string { return b.Name }),
		plain("", "Fed from", func(b report.Board) string {
			if b.FedFrom == 0 {
				return "origin"
			}
			return words.FedFrom(b.FedFrom, b.FedFromWay)
		}),
		figures("", "Ways in use", func(b report.Board) string {
			ways, _ := inUse(s, b)
			return strconv.Itoa(ways)
		}),
		plain("", "Tests on its ways", func(b report.Board) string {
			_, left := inUse(s, b)
			switch {
			case b.OnlyIsolated:
				return "only isolated, not tested"
			case left == 0 && report.WorstOn(b, s.Lines) == string(check.Fail):
				return "none to do; some fail"
			case left == 0:
				return "all made or left out with a reason"
			}
			return fmt.Sprintf("%d to do", left)
		}),
		{head{name: "Worst result"}, func(b report.Board) entry {
			worst := report.WorstOn(b, s.Lines)
			return entry{text: worst, style: worst}
		}},
	}
}

// inUse counts the ways of a board that are in use, and the tests on them that are still
// to be made.
func inUse(s report.Schedule, b report.Board) (ways, left int) {
	for _, l := range s.Lines {
		if l.Board != b.Number || l.Spare {
			continue
		}
		if l.Position <= 1 {
			ways++
		}
		for _, c := range l.Cells {
			if c.Status == report.ToDo || c.Status == report.Waiting {
				left++
			}
		}
	}
	return ways, left
}

// statement is what stands above the name of who signed when the record did not keep
// what he was shown: what it keeps is printed as it is kept, see report.SignOff.
const statement = "I took the readings in this schedule, or directed those who took them, with the instrument named above. " +
	"I have read the schedule with its notes, what was left out and why, and what is left to do, and it agrees with what was read. " +
	"I sign for this record of readings and for nothing else: what follows from it for the installation is for the competent person to judge, with the inspection."

// listed is the heading of what was signed for besides the statement.
const listed = "Signed for with the statement"

// declared is what is listed with the statement that was signed.
func (p *pdf) declared() {
	if p.s.Signed == nil {
		return
	}
	lines := strings.Split(p.s.Signed.Statement, "\n")
	if len(lines) <= 2 {
		return
	}
	p.heading(listed)
	for _, line := range lines[2:] {
		p.item("", line)
	}
}

func (p *pdf) statement() {
	p.room(64)
	p.heading("Statement of the competent person")
	if g := p.s.Signed; g == nil {
		p.item("", "This is a draft. It is not to be signed before it is signed off in the record, which then keeps what was signed.")
	} else {
		lines := strings.Split(cmp.Or(g.Statement, statement), "\n")
		for _, line := range lines[:min(2, len(lines))] {
			p.item("", line)
		}
		if len(lines) > 2 {
			p.item("", "What is listed with it stands under \""+listed+"\", after the circuits.")
		}
		p.field("Signed off by", g.Name+" ("+g.Initials+")")
		p.field("At", fmt.Sprintf("%s, as event %d of the record", g.At.UTC().Format("2006-01-02 15:04:05 UTC"), g.Event))
		p.field("Sum as signed", g.Sum)
	}
	p.SetDrawColor(60, 60, 60)
	p.SetLineWidth(0.2)
	for _, who := range []string{"Tested by", "Checked by"} {
		p.room(12)
		p.y += 8
		p.ink()
		p.font("B", plainSize)
		p.Text(pageLeft, p.y, who)
		x := pageLeft + 24
		p.font("", plainSize)
		for _, f := range []struct {
			name  string
			width float64
		}{{"Name", 56}, {"Position", 46}, {"Signature", 66}, {"Date", 34}} {
			p.Text(x, p.y, f.name)
			at := x + p.GetStringWidth(f.name) + 1.5
			p.Line(at, p.y+0.6, x+f.width, p.y+0.6)
			x += f.width + 6
		}
	}
	p.y += 4
}
