// This file is what stands about a board itself, with the notes of its pages.

package paper

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/words"
)

func (p *pdf) board(b report.Board) {
	p.newPage()
	p.notes = nil
	name := fmt.Sprintf("Board %d: %s", b.Number, shown(b.Name))
	p.heading(name)
	from := "origin of the installation"
	if b.FedFrom != 0 {
		from = words.FedFrom(b.FedFrom, b.FedFromWay)
	}
	surge := "no surge protection"
	if b.SurgeProtection {
		surge = "surge protection fitted"
	}
	if p.clipped(name, pageWidth) != name {
		p.field("Name", b.Name)
	}
	p.field("Supply", fmt.Sprintf("%s, %s V line to earth, %s, from %s, %s", b.Earthing, words.Number(b.Voltage), english.Plural(b.Phases, "single-phase", "three-phase"), from, surge))
	if b.Zdb != "" {
		p.field("Zdb", words.Unit(b.Zdb)+strings.TrimPrefix(b.ZdbSource(), b.Zdb))
	}
	described, missing := b.Described()
	for _, one := range described {
		p.field(one.Name, words.Unit(one.Value))
	}
	if missing != "" {
		p.field("Unknown", missing)
	}
	if b.OnlyIsolated {
		p.field("Tests", "Only isolated: nothing on it was tested.")
		return
	}
	for _, l := range p.s.Limits {
		if l.Board == b.Number {
			p.field("Insulation limit", fmt.Sprintf("%s M%s at %s V DC, %s; %s", words.Number(l.Least), ohmSign, words.Number(l.Volts), words.Ways(l.Ways), l.Source))
		}
	}
	p.atBoard(b)
	var lines []report.Line
	for _, l := range p.s.Lines {
		if l.Board == b.Number {
			lines = append(lines, l)
		}
	}
	p.ways(b, lines)
	if len(p.notes) > 0 {
		p.heading(fmt.Sprintf("Board %d: notes", b.Number))
		for i, n := range p.notes {
			p.item(strconv.Itoa(i+1), n)
		}
	}
}

func (p *pdf) note(format string, args ...any) {
	p.notes = append(p.notes, fmt.Sprintf(format, args...))
}

func (p *pdf) atBoard(b report.Board) {
	for _, r := range b.Remarks {
		p.note("The board, %s", r)
	}
	if len(b.Cells) == 0 {
		return
	}
	columns := []column[report.Cell]{
		growing("", "Test", func(c report.Cell) string {
			if service := b.Service(c.Position); c.Test == reading.Bonding && service != "" {
				return string(c.Test) + ", " + service
			}
			return string(c.Test)
		}),
		{head{name: "Reading", right: true}, func(c report.Cell) entry {
			e := cellEntry(&c)
			e.mark = c.Edited != nil || corrected(b.Tested, c.Test, c.Position)
			return e
		}},
		plain("", "Unit", unit),
		figures("", "Test V", func(c report.Cell) string { return words.Known(c.Volts) }),
		{head{name: "Result"}, func(c report.Cell) entry { return entry{text: c.Result, style: c.Result} }},
		growing("", "Why", func(c report.Cell) string { return c.Why }),
	}
	table(p, fmt.Sprintf("Board %d: tests at the board itself, %s", b.Number, b.Outcome()), columns, b.Cells,
		func(row int, text string) { p.note("The board, %s, in full: %s", b.Cells[row].Name(), text) })
}

func unit(c report.Cell) string {
	if c.Status != report.Recorded {
		return ""
	}
	return words.Unit(c.Unit)
}

// cellEntry is a cell of the schedule, shaded where it did not pass.
func cellEntry(c *report.Cell) entry {
	e := entry{text: c.Shown()}
	if c.Status == report.Recorded && c.Result != string(check.Pass) {
		e.style = c.Result
	}
	return e
}

// corrected reports whether a test has readings that no longer stand. At
// position 0 any will do.
func corrected(t report.Tested, test reading.Test, position int) bool {
	return slices.ContainsFunc(t.Earlier, func(c report.Cell) bool { return c.Test == test && c.Position == position && c.Status != report.AtFull })
}
