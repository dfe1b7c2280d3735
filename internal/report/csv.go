package report

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"waycall/internal/reading"
)

// csvHead names the columns of CSV.
var csvHead = []string{
	"row", "reference", "address", "date", "tester", "board", "earthing", "instrument serial", "instrument checked",
	"way", "switch position", "feeds", "device standard", "device type", "device rating A", "breaking capacity kA", "RCD mA", "RCD type",
	"wiring", "line mm2", "cpc mm2", "points", "neutral bar", "test voltage V DC",
	"LN-E Mohm", "L-N Mohm", "L-E Mohm", "N-E Mohm", "result", "complete", "remarks",
}

// CSV writes the schedule for a spreadsheet, as in RFC 4180: a row of names,
// then rows of equally many fields, lines ended by CR LF, UTF-8 without a byte
// order mark. The first field says what a row is:
//
//	line         one line of the schedule
//	earlier      a reading that no longer stands, in the column of its test
//	preparation  a preparation step: result is the answer
//	to do        what remains, in remarks
//	caution      in remarks; belongs with the readings
//
// Readings stand as they were read, ">999" for over-range; a test without a
// reading has its status there. A field that a spreadsheet would take for a
// formula begins with an apostrophe, and a line break in a field is a space.
func (s Schedule) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	write := func(kind string, fields map[string]string) {
		j := s.Job
		for name, v := range map[string]string{
			"row": kind, "reference": j.Reference, "address": j.Address, "date": j.Date, "tester": j.Tester,
			"board": j.Board, "earthing": j.Earthing, "instrument serial": j.Instrument, "instrument checked": j.Checked,
		} {
			fields[name] = v
		}
		row := make([]string, len(csvHead))
		for i, name := range csvHead {
			row[i] = csvField(fields[name])
		}
		out.Write(row) // an error stays until Error
	}
	out.Write(csvHead)
	for _, l := range s.Lines {
		write("line", l.csv())
		for _, c := range l.Earlier {
			fields := l.csv()
			for _, test := range columns {
				delete(fields, csvColumn(test))
			}
			fields[csvColumn(c.Test)], fields["test voltage V DC"] = c.Text, known(c.Volts)
			fields["result"], fields["complete"] = c.Result, ""
			fields["remarks"] = strings.TrimSpace(fmt.Sprintf("%s: %s, %s. %s", c.Test, c.withUnit(), c.Status, c.Reason))
			write("earlier", fields)
		}
	}
	for _, p := range s.Preparation {
		answer, remark := p.Answer, p.Step
		if answer == "" {
			answer = "not answered"
		}
		if p.Reason != "" {
			remark += ". " + sentence(p.Reason)
		}
		write("preparation", map[string]string{"result": answer, "remarks": remark})
	}
	for _, item := range s.ToDo {
		write("to do", map[string]string{"remarks": item})
	}
	for _, c := range s.Cautions {
		write("caution", map[string]string{"remarks": c})
	}
	out.Flush()
	return out.Error()
}

func csvColumn(test reading.Test) string { return string(test) + " " + string(test.Unit()) }

// csv returns a line's own fields by the name of their column.
func (l Line) csv() map[string]string {
	f := map[string]string{
		"way": strconv.Itoa(l.Way), "feeds": l.Feeds,
		"device standard": l.Device.Standard, "device type": l.Device.Type, "device rating A": known(l.Device.Rating),
		"breaking capacity kA": known(l.Device.Breaking), "RCD mA": known(l.Device.RCDRated), "RCD type": l.Device.RCDType,
		"wiring": l.Wiring, "line mm2": known(l.Line), "cpc mm2": known(l.CPC), "points": known(float64(l.Points)), "neutral bar": l.Neutral,
		"test voltage V DC": l.volts(), "result": l.outcome(), "complete": "yes", "remarks": strings.Join(l.Remarks, " "),
	}
	if l.Position > 0 {
		f["switch position"] = strconv.Itoa(l.Position)
	}
	if !l.Complete {
		f["complete"] = "no"
	}
	if l.Spare {
		f["remarks"] = "Spare."
		f["complete"] = ""
	}
	for _, test := range columns {
		if c := l.cell(test); c != nil {
			f[csvColumn(test)] = c.text()
		}
	}
	return f
}

// known is a number, or nothing when it is 0 for unknown.
func known(x float64) string {
	if x == 0 {
		return ""
	}
	return number(x)
}

// csvField keeps a field from being run as a formula, and on one line. The
// wide forms of the four signs count too, as spreadsheets for some languages
// take them for the plain ones.
func csvField(s string) string {
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(s, " "))
	if strings.ContainsRune("=+-@\t\r\n＝＋－＠", first) {
		s = "'" + s
	}
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, strings.ReplaceAll(s, "\r\n", " "))
}

// JSON writes the schedule for other programs; the fields are those of
// Schedule.
func (s Schedule) JSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false) // ">999" stays as it is read
	enc.SetIndent("", "  ")
	return enc.Encode(s)
}
