// Package readings reads a file of readings that somebody wrote down, to be
// checked against a board.
//
// A sheet is CSV or YAML, one reading to a row or an entry, with the same
// fields in both:
//
//	board     its number; may be left out where the job has one board
//	way       as marked on the board; 0 is the board itself
//	test      an identity of package reading, such as LN-E or R1+R2
//	position  switch position, bonded service or point of a ring; left out where there is only one
//	value     as reading.ParseTyped takes it: 0.47, >999, <0.05, correct, wrong
//	note      for people; kept, not judged
//
// CSV has a header row with these names in any order; a line that begins with #
// is passed over. YAML has them under readings:
//
//	readings:
//	  - {board: 2, way: 3, test: LN-E, value: ">999"}
//
// The order of the file is the order in which the readings were taken. A value
// is never turned into a number on the way, so 0.30 keeps its nought and >999
// its sign. What is wrong is an error that names line, way and field, and then
// no reading is returned at all.
package readings

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/waymark"
)

// MaxFileSize is the largest sheet that is read, in bytes: some 30,000 readings.
const MaxFileSize = 1 << 20

// maxProblems is how many problems are listed before reading gives up.
const maxProblems = 20

// Reading is one reading of a sheet. It has a place on the schedule of the job
// and its quantity fits the test; whether the test makes sense there is for
// package check.
type Reading struct {
	record.Slot
	Quantity reading.Quantity
	Note     string // one line
	Line     int    // of the file, from 1
}

// Problem is one thing that is wrong with a sheet and where it stands.
type Problem struct {
	File  string
	Line  int    // from 1; 0 when the file as a whole is meant
	Way   string // as written; "" when it is not known
	Field string // as in the header; "" when the whole entry is meant
	What  string
	Do    string // what to do about it
}

// Error returns "readings FILE, line 7, way 3, value: what; what to do".
func (p *Problem) Error() string {
	at := "readings " + printable.Line(p.File)
	if p.Line > 0 {
		at += fmt.Sprintf(", line %d", p.Line)
	}
	if p.Way != "" {
		at += ", way " + printable.Cut(printable.Line(p.Way), 40)
	}
	if p.Field != "" {
		at += ", " + p.Field
	}
	return fmt.Sprintf("%s: %s; %s", at, p.What, p.Do)
}

// fields are the names of a reading's fields.
var fields = []string{"board", "way", "test", "position", "value", "note"}

// row is one reading as it is written.
type row struct {
	line int
	text map[string]string
}

// decoder gathers what is wrong with one file.
type decoder struct {
	file     string
	problems []error
}

func (p *decoder) problem(line int, way, field, what, do string) *Problem {
	return &Problem{p.file, line, way, field, what, do}
}

func (p *decoder) add(line int, way, field, what, do string) {
	if len(p.problems) < maxProblems {
		p.problems = append(p.problems, p.problem(line, way, field, what, do))
	}
}

// ReadCSV reads a sheet of job's readings from CSV. name is the file's name for
// messages. All problems found are returned together, joined by errors.Join,
// each a *Problem.
func ReadCSV(r io.Reader, name string, job board.Job) ([]Reading, error) {
	return read(r, name, job, (*decoder).csv)
}

// ReadYAML does the same from YAML.
func ReadYAML(r io.Reader, name string, job board.Job) ([]Reading, error) {
	return read(r, name, job, (*decoder).yaml)
}

func read(r io.Reader, name string, job board.Job, rows func(*decoder, string) ([]row, error)) ([]Reading, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxFileSize+1))
	if err != nil {
		return nil, fmt.Errorf("readings %s: %w; check the file and its disk", printable.Line(name), err)
	}
	p := &decoder{file: name}
	if err := p.text(data); err != nil {
		return nil, err
	}
	all, err := rows(p, string(bytes.TrimPrefix(data, []byte("\ufeff"))))
	if err != nil {
		return nil, err
	}
	var out []Reading
	seen := map[record.Slot]int{}
	for _, one := range all {
		got, ok := p.reading(one, job)
		if !ok {
			continue
		}
		if first, twice := seen[got.Slot]; twice {
			p.add(one.line, one.text["way"], "test", fmt.Sprintf("%s was given on line %d already", got.Test, first), "remove one of the two, or tell them apart by their position")
			continue
		}
		seen[got.Slot] = one.line
		out = append(out, got)
	}
	switch {
	case len(p.problems) > 0:
		return nil, errors.Join(p.problems...)
	case len(out) == 0:
		return nil, p.problem(0, "", "", "there are no readings", "write one a line below the header, such as 1,3,LN-E,,>999")
	}
	return out, nil
}

// text refuses what is not a text file of a sane size.
func (p *decoder) text(data []byte) error {
	switch {
	case len(data) > MaxFileSize:
		return p.problem(0, "", "", "the file is larger than 1 MiB", "check that it is the right file")
	case !utf8.Valid(data):
		return p.problem(0, "", "", "the file is not UTF-8 text", "check that it is the right file, or save it as UTF-8")
	case len(bytes.TrimSpace(bytes.TrimPrefix(data, []byte("\ufeff")))) == 0:
		return p.problem(0, "", "", "the file is empty", "begin it with the header board,way,test,position,value")
	}
	if c, line, _ := printable.FirstHidden(string(data)); line > 0 {
		return p.problem(line, "", "", fmt.Sprintf("hidden character %U", c), "remove it")
	}
	return nil
}

// csv splits a table into rows.
func (p *decoder) csv(text string) ([]row, error) {
	in := csv.NewReader(strings.NewReader(text))
	in.FieldsPerRecord, in.Comment, in.TrimLeadingSpace = -1, '#', true
	var head []string
	var out []row
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			line := 0
			var e *csv.ParseError
			if errors.As(err, &e) {
				line, err = e.Line, e.Err
			}
			return nil, p.problem(line, "", "", err.Error(), "put a value with quotes or commas in it between quotes, and double the quotes inside")
		}
		line, _ := in.FieldPos(0)
		if head == nil {
			if head = p.header(cells, line); head == nil {
				return nil, errors.Join(p.problems...)
			}
			continue
		}
		one := row{line, map[string]string{}}
		for i, cell := range cells {
			if cell = strings.TrimSpace(cell); cell != "" && i < len(head) {
				one.text[head[i]] = cell
			}
		}
		switch {
		case len(cells) > len(head):
			p.add(line, one.text["way"], "", fmt.Sprintf("the row has %d cells but the header has %d", len(cells), len(head)), "put a value with a comma in it between quotes")
		case len(one.text) > 0:
			out = append(out, one)
		}
	}
	if head == nil {
		return nil, p.problem(0, "", "", "the file has no header row", "begin it with board,way,test,position,value")
	}
	return out, nil
}

// header returns the fields that the columns hold, or nil when something is
// wrong with them.
func (p *decoder) header(cells []string, line int) []string {
	var head []string
	for _, name := range cells {
		name = strings.TrimSpace(name)
		switch {
		case !slices.Contains(fields, name):
			p.add(line, "", "", fmt.Sprintf("unknown column %q", printable.Cut(printable.Line(name), 40)), "use "+strings.Join(fields, ", "))
		case slices.Contains(head, name):
			p.add(line, "", "", fmt.Sprintf("column %q is there twice", name), "remove one")
		}
		head = append(head, name)
	}
	for _, name := range []string{"way", "test", "value"} {
		if !slices.Contains(head, name) {
			p.add(line, "", "", "no column "+name, "begin the file with board,way,test,position,value")
		}
	}
	if len(p.problems) > 0 {
		return nil
	}
	return head
}

// reading judges one row as far as a file can be judged: that it names a place
// on the schedule of the job, and a value that the test can have.
func (p *decoder) reading(one row, job board.Job) (Reading, bool) {
	way := one.text["way"]
	bad := func(field, what, do string) (Reading, bool) {
		p.add(one.line, way, field, what, do)
		return Reading{}, false
	}
	out := Reading{Line: one.line, Note: printable.Words(one.text["note"])}
	ok := true
	number := func(field string, missing, most int) int {
		text, given := one.text[field]
		if !given && missing >= 0 {
			return missing
		}
		if !given {
			_, ok = bad(field, "it is missing", "write its number")
			return 0
		}
		if field == "way" && text != "0" {
			n, err := waymark.Parse(text)
			if err != nil {
				_, ok = bad(field, err.Error(), "write it as the board is marked, such as 3 or 1L2, or 0 for the board itself")
			}
			return n
		}
		n, err := strconv.Atoi(text)
		if err != nil || strings.Trim(text, "0123456789") != "" || n > most {
			_, ok = bad(field, fmt.Sprintf("%q is not a whole number up to %d", printable.Cut(printable.Line(text), 40), most), "write figures only, such as 3")
			return 0
		}
		return n
	}
	only := -1
	if len(job.Boards) == 1 {
		only = job.Boards[0].Number
	}
	out.Board, out.Way, out.Position = number("board", only, 99), number("way", -1, 0), number("position", 0, 999)
	if !ok {
		return out, false
	}
	name, value := one.text["test"], one.text["value"]
	if out.Test = reading.Test(name); !out.Test.Known() {
		return bad("test", unknown(name), "use an identity such as LN-E, L-N, R1+R2 or Zs")
	}
	if field, err := place(out.Slot, job); err != nil {
		return bad(field, err.Error(), "compare it with the board file")
	}
	switch {
	case value == "":
		return bad("value", "it is missing", "write the figure, or leave the line out where nothing was measured")
	case out.Test.Judged() && value != reading.Correct.String() && value != reading.Wrong.String():
		return bad("value", fmt.Sprintf("%q does not answer %s", printable.Cut(printable.Line(value), 40), name), "write correct or wrong")
	}
	// Where the scale ends at the voltage of this test, a file does not say.
	q, err := reading.ParseTyped(value, out.Test.Unit(), 0)
	if err == nil {
		err = out.Test.Fits(q)
	}
	if err != nil {
		return bad("value", printable.Line(advice.What(err)), advice.Do(err))
	}
	out.Quantity = q
	return out, true
}

func unknown(test string) string {
	if test == "" {
		return "it is missing"
	}
	return fmt.Sprintf("unknown test %q", printable.Cut(printable.Line(test), 40))
}

// place says which field is wrong where the job has no such place.
func place(s record.Slot, job board.Job) (field string, err error) {
	if err = s.Check(job); err == nil {
		return "", nil
	}
	b := job.Board(s.Board)
	if b == nil {
		return "board", err
	}
	if w := b.Way(s.Way); s.Way != 0 && (w == nil || w.Spare) {
		return "way", err
	}
	plain := s
	plain.Position = 0
	if s.Test == reading.Bonding && s.Way == 0 || plain.Check(job) == nil {
		return "position", err
	}
	return "test", err
}
