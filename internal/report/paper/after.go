// This file is what belongs to all boards: corrections, what was left out, observations
// and notes, what is left to do, the preparation.

package paper

import (
	"cmp"
	"strconv"
	"time"

	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/waymark"
	"waycall/internal/words"
)

// minute is a time as the tables have it.
func minute(at time.Time) string { return at.UTC().Format("2006-01-02 15:04 UTC") }

// observations writes what the tester found, with what the codes mean.
func (p *pdf) observations() {
	title := "Observations" + report.InTheirWords
	if len(p.s.Observations) == 0 {
		p.none(title)
		return
	}
	type row = report.Observation
	remarked(p, title, []column[row]{
		plain("", "Board", func(o row) string { return strconv.Itoa(o.Board) }),
		plain("", "Way", func(o row) string { return placeOf(o.Way) }),
		plain("", "Code", func(o row) string { return o.Code }),
		growing("", "Observation", func(o row) string { return o.Text }),
		plain("", "At", func(o row) string { return minute(o.At) + o.ToldWords() }),
	}, p.s.Observations, func(o row) (int, int) { return o.Board, o.Way })
	p.item("", report.CodesMean(p.s.Job.Edition))
}

// notesMade writes what the tester noted.
func (p *pdf) notesMade() {
	if len(p.s.Notes) == 0 {
		return
	}
	type row = report.Note
	remarked(p, "Notes made on site"+report.InTheirWords, []column[row]{
		plain("", "Board", func(n row) string { return strconv.Itoa(n.Board) }),
		plain("", "Way", func(n row) string { return placeOf(n.Way) }),
		growing("", "Note", func(n row) string { return n.Text }),
		plain("", "At", func(n row) string { return minute(n.At) }),
	}, p.s.Notes, func(n row) (int, int) { return n.Board, n.Way })
}

// none writes a heading with nothing below it.
func (p *pdf) none(title string) {
	p.heading(title)
	p.item("", "None is recorded.")
}

func placeOf(way int) string {
	if way == 0 {
		return "the board"
	}
	return waymark.Print(way)
}

// remarked writes a table whose first columns are the board and the way, and what of
// it was too long.
func remarked[T any](p *pdf, title string, columns []column[T], rows []T, at func(T) (board, way int)) {
	rest := p.inFull(func(row int) string {
		board, way := at(rows[row])
		return words.At(board, way, true)
	})
	table(p, title, columns, rows, rest.add)
	rest.write()
}

// wayOf is a way with its switch position, where it has one.
func wayOf(way, position int) string { return words.Switched(placeOf(way), position) }

// corrections writes every reading that was corrected: from, to, why, by whom.
func (p *pdf) corrections() {
	all := p.s.Corrections()
	if len(all) == 0 {
		p.none("Corrected readings")
		return
	}
	type row = report.Correction
	rest := p.inFull(func(i int) string {
		c := all[i]
		return words.Switched(words.At(c.Board, c.Way, true), c.Line) + ", " + words.Slot(record.Slot{Test: c.Test, Position: c.Position})
	})
	table(p, "Corrected readings", []column[row]{
		plain("", "Board", func(c row) string { return strconv.Itoa(c.Board) }),
		plain("", "Way", func(c row) string { return wayOf(c.Way, c.Line) }),
		plain("", "Test", func(c row) string { return report.Cell{Test: c.Test, Position: c.Position}.Name() }),
		plain("", "From", func(c row) string { return words.Unit(c.From) }),
		plain("", "To", func(c row) string { return words.Unit(c.To) }),
		plain("", "What became of it", func(c row) string { return c.What }),
		growing("", "Why", func(c row) string { return c.Why }),
		plain("", "By", func(c row) string { return c.By }),
		plain("", "At", func(c row) string {
			if c.At.IsZero() {
				return ""
			}
			return minute(c.At)
		}),
	}, all, rest.add)
	rest.write()
}

// leftOut is a test that was not made, and where.
type leftOut struct {
	board, way, line int // line is the switch position of the way, or 0
	report.Cell
}

// allLeftOut are the tests that were not made, board by board.
func allLeftOut(s report.Schedule) (all []leftOut) {
	add := func(board, way, line int, t report.Tested) {
		for _, c := range t.Cells {
			switch c.Status {
			case report.Skipped, report.NotApplicable, report.Limitation, report.NotVerified, report.Waived, report.Accepted, report.NotAsked, report.ByBoard:
				all = append(all, leftOut{board, way, line, c})
			}
		}
	}
	for _, b := range s.Boards {
		add(b.Number, 0, 0, b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				add(b.Number, l.Way, l.Position, l.Tested)
			}
		}
	}
	return all
}

// limitations writes what was left out and why.
func (p *pdf) limitations() {
	all := allLeftOut(p.s)
	if len(all) == 0 {
		p.none("Limitations and tests left out")
		return
	}
	rest := p.inFull(func(i int) string {
		return words.Switched(words.At(all[i].board, all[i].way, true), all[i].line) + ", " + all[i].Name()
	})
	table(p, "Limitations and tests left out", []column[leftOut]{
		plain("", "Board", func(c leftOut) string { return strconv.Itoa(c.board) }),
		plain("", "Way", func(c leftOut) string { return wayOf(c.way, c.line) }),
		plain("", "Test", func(c leftOut) string { return c.Name() }),
		plain("", "What became of it", func(c leftOut) string { return string(c.Status) }),
		growing("", "Reason", func(c leftOut) string {
			reason := words.Sentence(c.Reason)
			if c.Settled != nil {
				reason += " Let be so by " + c.Settled.Reviewer() + "."
			}
			return reason
		}),
		growing("", "Source", func(c leftOut) string { return c.Source }),
	}, all, rest.add)
	rest.write()
}

// after writes what belongs to all boards: what was corrected, what was left out,
// observations and notes, what is left to do, the preparation.
func (p *pdf) after() {
	p.newPage()
	p.corrections()
	p.limitations()
	p.observations()
	p.notesMade()
	p.declared()
	p.heading("Left to do")
	sentence, items := p.s.Remains()
	if sentence != "" {
		p.item("", sentence)
	}
	for _, item := range items {
		p.item("•", item)
	}
	p.preparation()
}

// preparation writes the steps as they were answered.
func (p *pdf) preparation() {
	steps := p.s.Preparation
	if len(steps) == 0 {
		return
	}
	type row = report.Step
	rest := p.inFull(func(i int) string { return steps[i].Step })
	table(p, "Preparation, as answered by the tester", []column[row]{
		plain("", "Board", func(s row) string { return strconv.Itoa(s.Board) }),
		growing("", "Step", func(s row) string { return s.Step }),
		plain("", "Answer", func(s row) string { return cmp.Or(s.Answer, "not answered") }),
		plain("", "At", func(s row) string {
			if s.At == nil {
				return ""
			}
			return s.At.Format("2006-01-02 15:04 UTC")
		}),
		growing("", "Reason", func(s row) string { return s.Reason }),
	}, steps, rest.add)
	rest.write()
}
