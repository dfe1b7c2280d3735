// This file is what belongs to all boards: corrections, what was left out, observations
// and notes, what is left to do, the preparation.

package paper

import (
	"fmt"
	"strconv"

	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/report/words"
)

// observations writes what the tester found, with what the codes mean.
func (p *pdf) observations() {
	title := "Observations" + report.InTheirWords
	if len(p.s.Observations) == 0 {
		p.heading(title)
		p.item("", "None is recorded.")
		return
	}
	var rows [][]entry
	for i, o := range p.s.Observations {
		rows = append(rows, []entry{{text: strconv.Itoa(o.Board)}, {text: placeOf(o.Way)}, {text: o.Code, key: fmt.Sprintf("observed code/%d", i)}, {text: o.Text, key: fmt.Sprintf("observed text/%d", i)}, {text: o.At.UTC().Format("2006-01-02 15:04 UTC") + o.ToldWords()}})
	}
	p.remarked(title, []column{{head: "Board"}, {head: "Way"}, {head: "Code"}, {head: "Observation", grow: true}, {head: "At"}}, rows)
	p.item("", report.CodesMean(p.s.Job.Edition))
}

// notesMade writes what the tester noted.
func (p *pdf) notesMade() {
	var rows [][]entry
	for i, n := range p.s.Notes {
		rows = append(rows, []entry{{text: strconv.Itoa(n.Board)}, {text: placeOf(n.Way)}, {text: n.Text, key: fmt.Sprintf("noted text/%d", i)}, {text: n.At.UTC().Format("2006-01-02 15:04 UTC")}})
	}
	if len(rows) > 0 {
		p.remarked("Notes made on site"+report.InTheirWords, []column{{head: "Board"}, {head: "Way"}, {head: "Note", grow: true}, {head: "At"}}, rows)
	}
}

func placeOf(way int) string {
	if way == 0 {
		return "the board"
	}
	return strconv.Itoa(way)
}

// remarked writes a table whose first columns are the board and the way, and what of
// it was too long.
func (p *pdf) remarked(title string, columns []column, rows [][]entry) {
	var rest []string
	p.table(title, columns, rows, func(row int, text string) {
		rest = append(rest, fmt.Sprintf("Board %s, way %s, in full: %s", rows[row][0].text, rows[row][1].text, text))
	})
	for _, r := range rest {
		p.item("•", r)
	}
}

// corrections writes every reading that was corrected: from, to, why, by whom.
func (p *pdf) corrections() {
	all := p.s.Corrections()
	if len(all) == 0 {
		p.heading("Corrected readings")
		p.item("", "None is recorded.")
		return
	}
	var rows [][]entry
	for i, c := range all {
		way, at, test := strconv.Itoa(c.Way), "", string(c.Test)
		if c.Way == 0 {
			way = "the board"
		}
		if c.Line > 0 {
			way += ", switch position " + strconv.Itoa(c.Line)
		}
		if c.Position > 0 && (words.OfRing(c.Test) || c.Test == reading.Bonding) {
			test = words.SlotTest(c.Test, c.Position)
		}
		if !c.At.IsZero() {
			at = c.At.UTC().Format("2006-01-02 15:04 UTC")
		}
		row := []entry{{text: strconv.Itoa(c.Board)}, {text: way}, {text: test}, {text: withOhm(c.From)}, {text: withOhm(c.To)}, {text: c.What}, {text: c.Why}, {text: c.By}, {text: at}}
		for k, name := range []string{"", "", "test", "from", "to", "what", "why", "by", "at"} {
			if name != "" {
				row[k].key = fmt.Sprintf("corrected %s/%d", name, i)
			}
		}
		rows = append(rows, row)
	}
	rest := p.inFull(func(row int) string {
		return fmt.Sprintf("Board %d, way %d, %s", all[row].Board, all[row].Way, all[row].Test)
	})
	p.table("Corrected readings", []column{{head: "Board"}, {head: "Way"}, {head: "Test"}, {head: "From"}, {head: "To"}, {head: "What became of it"}, {head: "Why", grow: true}, {head: "By"}, {head: "At"}}, rows, rest.add)
	rest.write()
}

// after writes what belongs to all boards: what was corrected, what was left out,
// observations and notes, what is left to do, the preparation.
func (p *pdf) after() {
	s := p.s
	p.newPage()
	p.corrections()
	var rows [][]entry
	var names []string
	add := func(board, way string, t report.Tested) {
		for _, c := range t.Cells {
			switch c.Status {
			case report.Skipped, report.NotApplicable, report.Limitation, report.Waived, report.Accepted, report.NotAsked:
				reason := words.Sentence(c.Reason)
				if c.Settled != nil {
					reason += " Let be so by " + c.Settled.Reviewer() + "."
				}
				rows = append(rows, []entry{{text: board}, {text: way}, {text: c.Name()}, {text: string(c.Status)}, {text: reason}, {text: c.Source}})
				names = append(names, fmt.Sprintf("Board %s, %s, %s", board, way, c.Name()))
			}
		}
	}
	for _, b := range s.Boards {
		add(strconv.Itoa(b.Number), "the board", b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				way := strconv.Itoa(l.Way)
				if l.Position > 0 {
					way += ", switch position " + l.Switch()
				}
				add(strconv.Itoa(b.Number), way, l.Tested)
			}
		}
	}
	if len(rows) > 0 {
		rest := p.inFull(func(row int) string { return names[row] })
		p.table("Limitations and tests left out", []column{{head: "Board"}, {head: "Way"}, {head: "Test"}, {head: "What became of it"}, {head: "Reason", grow: true}, {head: "Source", grow: true}}, rows, rest.add)
		rest.write()
	} else {
		p.heading("Limitations and tests left out")
		p.item("", "None is recorded.")
	}
	p.observations()
	p.notesMade()
	p.heading("Left to do")
	if len(s.ToDo) == 0 {
		p.item("", "Every test was made or left out with a reason.")
	}
	for _, item := range s.ToDo {
		p.item("•", item)
	}
	if len(s.Preparation) > 0 {
		var rows [][]entry
		for _, step := range s.Preparation {
			answer, at := step.Answer, ""
			if answer == "" {
				answer = "not answered"
			}
			if step.At != nil {
				at = step.At.Format("2006-01-02 15:04 UTC")
			}
			rows = append(rows, []entry{{text: strconv.Itoa(step.Board)}, {text: step.Step}, {text: answer}, {text: at}, {text: step.Reason}})
		}
		rest := p.inFull(func(row int) string { return s.Preparation[row].Step })
		p.table("Preparation, as answered by the tester", []column{{head: "Board"}, {head: "Step", grow: true}, {head: "Answer"}, {head: "At"}, {head: "Reason", grow: true}}, rows, rest.add)
		rest.write()
	}
}
