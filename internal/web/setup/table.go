// This file reads what a person pastes: a table of ways out of a spreadsheet, the text of a
// CSV file, or a whole board file.

package setup

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/printable"
)

// columns are what the columns of people's tables are called, beside the names of a board
// file: in small letters, without what is in brackets.
var columns = map[string]string{
	"no": "way", "no.": "way", "number": "way", "circuit": "way", "circuit number": "way", "way number": "way",
	"description": "feeds", "circuit description": "feeds", "designation": "feeds", "name": "feeds",
	"device": "device.standard", "standard": "device.standard", "type": "device.type", "curve": "device.type", "rating": "device.rating", "amps": "device.rating", "a": "device.rating",
	"rcd": "device.rcd.rated", "rcd ma": "device.rcd.rated", "rcd rating": "device.rcd.rated", "rcd type": "device.rcd.type", "rcd group": "device.rcd.group", "group": "device.rcd.group",
	"ka": "device.breaking", "breaking capacity": "device.breaking",
	"live": "line", "line size": "line", "size": "line", "cpc size": "cpc", "earth": "cpc", "length m": "length", "no. of points": "points", "number of points": "points",
	"neutral bar": "neutral_bar", "ring or radial": "wiring", "circuit type": "wiring",
}

// units are what people write after a figure. They go, so that the figure is one.
var units = regexp.MustCompile(`(?i)^([0-9.]+)\s*(a|ma|ka|mm2|mm²|m)$`)

var brackets = regexp.MustCompile(`\s*\([^)]*\)`)

// column returns the field that a column holds, or "".
func column(head string) string {
	head = strings.TrimSpace(brackets.ReplaceAllString(strings.ToLower(head), ""))
	for _, f := range slices.Concat(WayFields, WayMore) {
		if head == f.Name || head == strings.ToLower(brackets.ReplaceAllString(f.Label, "")) || head == strings.ToLower(strings.SplitN(f.Label, ",", 2)[0]) && head != "rcd" {
			return f.Name
		}
	}
	return columns[head]
}

// Pasted returns the draft of what was pasted, and what of it was not taken or is to be
// looked at, in sentences. The error says why nothing could be taken, and what to do.
func Pasted(text string) (Draft, []string, error) {
	text = strings.TrimPrefix(text, "\ufeff")
	switch {
	case strings.TrimSpace(text) == "":
		return Draft{}, nil, advice.Errorf("copy the cells of a spreadsheet, the text of a CSV file or of a board file, and paste it", "nothing was pasted")
	case len(text) > board.MaxFileSize:
		return Draft{}, nil, advice.Errorf("paste the rows of one board", "more than 1 MiB was pasted")
	case regexp.MustCompile(`(?m)^(boards?|reference):`).MatchString(text):
		return pastedFile(text)
	}
	return pastedTable(text)
}

var comment = regexp.MustCompile(`(?m)(^|\s)#.*$`)

func pastedFile(text string) (Draft, []string, error) {
	job, err := board.Read(strings.NewReader(text), "pasted")
	if err != nil {
		return Draft{}, nil, err
	}
	d := Of(job)
	d.From = "a board file"
	var told []string
	if n := len(comment.FindAllString(text, -1)); n > 0 {
		told = append(told, fmt.Sprintf("The file has comments (%s with #). They are not kept here; keep the file if you need them.", english.Count(n, "line")))
	}
	return d, told, nil
}

// separator returns what divides the cells of a table: what its first line has most of.
func separator(text string) rune {
	first, _, _ := strings.Cut(text, "\n")
	best, most := ',', 0
	for _, c := range []rune{'\t', ';', ','} {
		if n := strings.Count(first, string(c)); n > most {
			best, most = c, n
		}
	}
	return best
}

func pastedTable(text string) (Draft, []string, error) {
	in := csv.NewReader(strings.NewReader(text))
	in.Comma, in.FieldsPerRecord, in.LazyQuotes = separator(text), -1, separator(text) == '\t'
	head, err := in.Read()
	if err != nil {
		return Draft{}, nil, badTable(err)
	}
	fields, told, err := heads(head)
	if err != nil {
		return Draft{}, nil, err
	}
	b := Blank(1)
	b.Ways = nil
	for n := 2; ; n++ {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Draft{}, nil, badTable(err)
		}
		if !slices.ContainsFunc(row, func(c string) bool { return strings.TrimSpace(c) != "" }) {
			continue
		}
		if len(b.Ways) == mostWays {
			return Draft{}, nil, advice.Errorf("paste the rows of one board at a time", "the table has more than 99 ways")
		}
		way, more := wayOf(row, fields, n)
		b.Ways, told = append(b.Ways, way), append(told, more...)
	}
	if len(b.Ways) == 0 {
		return Draft{}, nil, advice.Errorf("copy the rows below the names, too", "the table has names of columns and no rows")
	}
	return Draft{Format: Format, From: "a table", Fields: Values{}, Boards: []Board{b}}, told, nil
}

func badTable(err error) error {
	return advice.Errorf("put a value with quotes in it between quotes, or copy the cells out of the spreadsheet instead", "the table cannot be read: %s", printable.Line(err.Error()))
}

// heads returns the field of each column, "" for one that is not taken.
func heads(head []string) (fields, told []string, err error) {
	known := 0
	var left []string
	for _, name := range head {
		f := column(name)
		switch {
		case f != "" && slices.Contains(fields, f):
			told = append(told, fmt.Sprintf("The column %q says what another says already. It was not taken.", printable.Cut(name, 40)))
			f = ""
		case f != "":
			known++
		case strings.TrimSpace(name) != "":
			left = append(left, fmt.Sprintf("%q", printable.Cut(printable.Line(name), 40)))
		}
		fields = append(fields, f)
	}
	if known == 0 || !slices.Contains(fields, "feeds") && !slices.Contains(fields, "way") {
		return nil, nil, advice.Errorf("put a row of names above the others, such as way, feeds, device, type, rating, wiring, line, cpc, length, points", "the first row does not name the columns")
	}
	if len(left) > 0 {
		told = append(told, fmt.Sprintf("Not taken, as no field is called so: %s.", strings.Join(left, ", ")))
	}
	return fields, told, nil
}

// wayOf returns the way of a row, the nth of the table.
func wayOf(row, fields []string, n int) (Values, []string) {
	way, told := Values{}, []string(nil)
	for i, cell := range row {
		cell = strings.TrimSpace(strings.ReplaceAll(cell, "\u00a0", " ")) // a blank of spreadsheets
		switch {
		case cell == "" || i < len(fields) && fields[i] == "":
			continue
		case i >= len(fields):
			told = append(told, fmt.Sprintf("Row %d has a cell beyond the last name, %q. It was not taken.", n, printable.Cut(printable.Line(cell), 40)))
			continue
		}
		if m := units.FindStringSubmatch(cell); m != nil && fields[i] != "feeds" {
			cell = m[1]
		}
		if strings.HasSuffix(fields[i], ".standard") {
			cell = Standard(cell)
		}
		if fields[i] == "wiring" || fields[i] == "spare" {
			cell = strings.ToLower(cell)
		}
		way.Set(fields[i], cell)
	}
	if f := strings.ToLower(way["feeds"]); f == "spare" || f == "blank" {
		delete(way, "feeds")
		way["spare"] = "true"
	}
	for _, must := range []string{"way", "feeds"} {
		if slices.Contains(fields, must) && way[must] == "" && way["spare"] != "true" {
			told = append(told, fmt.Sprintf("Row %d has no %s. A cell that was merged with the one above comes out empty: write it below.", n, must))
		}
	}
	return way, told
}
