// Package spreadsheet writes a schedule of test results for programs that calculate: as
// CSV and as a workbook (xlsx).
package spreadsheet

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/waymark"
	"waycall/internal/words"
)

// csvHead names the columns of CSV.
var csvHead = slices.Concat([]string{
	"row", "reference", "address", "date", "tester", "instrument serial", "instrument checked", "judged by",
	"board", "board name", "earthing", "way", "switch position", "feeds", "device standard", "device type", "device rating A", "trip A", "breaking capacity kA",
	"RCD mA", "RCD type", "RCD standard", "RCD delayed", "AFDD", "kind", "wiring", "reference method", "phase", "line mm2", "cpc mm2", "cpc kind", "material", "length m", "points", "neutral bar",
	"disconnection s", "max Zs ohm", "test voltage V DC",
}, testColumns(), []string{"result", "complete", "remarks"})

func testColumns() []string {
	var names []string
	for _, test := range report.Order {
		names = append(names, csvColumn(test))
	}
	return names
}

// CSV writes the schedule for a spreadsheet, as in RFC 4180: a row of names,
// then rows of equally many fields, lines ended by CR LF, UTF-8 without a byte
// order mark. The first field says what a row is:
//
//	work         the kind of work and what was agreed for it: its name in feeds, in remarks what
//	board        what was tested at a board itself; its main switch as the device
//	particular   what the forms ask of a board: its name in feeds, its value in remarks
//	bonding      one bonded service of a board, in feeds
//	line         one line of the schedule
//	point        one point of a ring, in the column of its test
//	earlier      a reading that no longer stands, in the column of its test
//	observation  what the tester found, in remarks; result is its code
//	note         what the tester noted, in remarks
//	preparation  a preparation step: result is the answer
//	sign-off     result is draft or signed off, in remarks by whom, when, as which event, and the sum of the record before it
//	to do        what remains, in remarks
//	caution      in remarks; belongs with the readings
//
// Readings stand as they were read, ">999" for over-range; a test without a
// reading has its status there. Of several points of a ring a line has the
// highest. A field that a spreadsheet would take for a formula begins with an
// apostrophe, and a line break in a field is a space.
func CSV(w io.Writer, s report.Schedule) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	names := map[int]report.Board{}
	for _, b := range s.Boards {
		names[b.Number] = b
	}
	write := func(kind string, board int, fields map[string]string) {
		j := s.Job
		all := map[string]string{
			"row": kind, "reference": j.Reference, "address": j.Address, "date": j.Date, "tester": j.Tester,
			"instrument serial": j.Instrument, "instrument checked": j.Checked, "judged by": j.Edition,
		}
		if b, ok := names[board]; ok {
			all["board"], all["board name"], all["earthing"] = strconv.Itoa(board), b.Name, b.Earthing
		}
		maps.Copy(all, fields)
		row := make([]string, len(csvHead))
		for i, name := range csvHead {
			row[i] = csvField(all[name])
		}
		out.Write(row) // an error stays until Error
	}
	out.Write(csvHead)
	for _, t := range s.Terms {
		write("work", 0, map[string]string{"feeds": t.Name, "remarks": t.Text})
	}
	for _, b := range s.Boards {
		write("board", b.Number, boardFields(b))
		for _, one := range b.Particulars {
			write("particular", b.Number, map[string]string{"feeds": one.Name, "remarks": one.Value})
		}
		for _, c := range b.Cells {
			if c.Test == reading.Bonding {
				fields := map[string]string{"feeds": b.Service(c.Position), csvColumn(c.Test): c.Shown(), "result": c.Result}
				write("bonding", b.Number, fields)
			}
		}
		writeEarlier(b.Tested, func(fields map[string]string) { write("earlier", b.Number, fields) }, map[string]string{"way": "0", "feeds": b.Name})
		for _, l := range s.Lines {
			if l.Board != b.Number {
				continue
			}
			write("line", b.Number, lineFields(l))
			for _, c := range l.Cells {
				if words.OfRing(c.Test) && c.Position > 0 {
					write("point", b.Number, map[string]string{"way": waymark.Print(l.Way), "feeds": fmt.Sprintf("point %d", c.Position), csvColumn(c.Test): c.Shown(), "result": c.Result})
				}
			}
			writeEarlier(l.Tested, func(fields map[string]string) { write("earlier", b.Number, fields) }, about(l))
		}
	}
	place := func(way int) string {
		if way == 0 {
			return ""
		}
		return waymark.Print(way)
	}
	for _, o := range s.Observations {
		write("observation", o.Board, map[string]string{"way": place(o.Way), "result": o.Code, "remarks": o.Text})
	}
	for _, n := range s.Notes {
		write("note", n.Board, map[string]string{"way": place(n.Way), "remarks": n.Text})
	}
	for _, p := range s.Preparation {
		answer, remark := p.Answer, p.Step
		if answer == "" {
			answer = "not answered"
		}
		if p.Reason != "" {
			remark += ". " + words.Sentence(p.Reason)
		}
		write("preparation", p.Board, map[string]string{"result": answer, "remarks": remark})
	}
	signed := map[string]string{"result": "draft", "remarks": "Not signed off."}
	if g := s.Signed; g != nil {
		signed = map[string]string{"result": "signed off", "remarks": words.Sentence(s.Standing() + "; the record up to then has the sum " + g.Sum)}
	}
	write("sign-off", 0, signed)
	for _, item := range s.ToDo {
		write("to do", 0, map[string]string{"remarks": item})
	}
	for _, c := range s.Cautions {
		write("caution", 0, map[string]string{"remarks": c})
	}
	out.Flush()
	return out.Error()
}

// writeEarlier writes the readings that no longer stand, each with what is said
// about its place.
func writeEarlier(t report.Tested, write func(map[string]string), about map[string]string) {
	for _, c := range t.Earlier {
		fields := maps.Clone(about)
		fields[csvColumn(c.Test)], fields["test voltage V DC"] = c.Text, words.Known(c.Volts)
		fields["result"] = c.Result
		fields["remarks"] = c.Correction()
		write(fields)
	}
}

func csvColumn(test reading.Test) string {
	return strings.TrimSpace(string(test) + " " + string(test.Unit()))
}

func deviceFields(d report.Device, f map[string]string) {
	f["device standard"], f["device type"], f["device rating A"], f["trip A"] = d.Standard, d.Type, words.Known(d.Rating), words.Known(d.Trip)
	f["breaking capacity kA"], f["RCD mA"], f["RCD type"], f["RCD standard"] = words.Known(d.Breaking), words.Known(d.RCDRated), d.RCDType, d.RCDStandard
	if d.RCDRated != 0 {
		f["RCD delayed"] = words.YesNo(d.RCDDelayed)
	}
}

func testedFields(t report.Tested, f map[string]string) {
	f["complete"], f["remarks"] = words.YesNo(t.Complete), strings.Join(t.Remarks, " ")
	for _, test := range report.Order {
		if c := t.Cell(test); c != nil && test != reading.Bonding {
			f[csvColumn(test)] = c.Shown()
		}
	}
}

func boardFields(b report.Board) map[string]string {
	f := map[string]string{"way": "0", "feeds": b.Name, "result": b.Outcome()}
	deviceFields(b.Main, f)
	testedFields(b.Tested, f)
	if b.OnlyIsolated {
		f["remarks"], f["result"], f["complete"] = "Only isolated: nothing on it was tested.", "", ""
	}
	if len(b.Cells) == 0 {
		f["complete"] = ""
	}
	for _, c := range b.Cells {
		if c.Volts != 0 {
			f["test voltage V DC"] = words.Number(c.Volts)
		}
	}
	return f
}

// about is what a line is, by the name of the column.
func about(l report.Line) map[string]string {
	f := map[string]string{
		"way": waymark.Print(l.Way), "switch position": l.Switch(), "feeds": l.Feeds, "wiring": l.Wiring, "phase": l.OnPhase(),
		"line mm2": words.Known(l.Line), "cpc mm2": words.Known(l.CPC), "cpc kind": l.CPCKind, "material": l.Material, "length m": words.Known(l.Length),
		"points": words.Known(float64(l.Points)), "neutral bar": l.Neutral,
	}
	f["reference method"], f["kind"] = l.MethodWords(), l.KindWords()
	if l.AFDD {
		f["AFDD"] = words.YesNo(true)
	}
	f["disconnection s"] = words.Known(l.MaxTime)
	if l.MaxZs != nil {
		f["max Zs ohm"] = words.Loop(l.MaxZs.Ohm)
	}
	deviceFields(l.Device, f)
	return f
}

// lineFields returns a line's own fields by the name of their column.
func lineFields(l report.Line) map[string]string {
	f := about(l)
	testedFields(l.Tested, f)
	f["test voltage V DC"], f["result"] = l.TestVolts(report.Order), l.Outcome()
	if l.Spare {
		f["remarks"], f["complete"] = "Spare.", ""
	}
	return f
}

// csvField keeps a field on one line, and from being run as a formula, also when
// blanks or what became one stand before the sign. The wide forms of the four signs
// count too, as spreadsheets for some languages take them for the plain ones. What else
// is hidden becomes a mark.
func csvField(s string) string {
	s = printable.Text(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, strings.ReplaceAll(s, "\r\n", " ")))
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(s, " "))
	if strings.ContainsRune("=+-@＝＋－＠", first) {
		s = "'" + s
	}
	return s
}
