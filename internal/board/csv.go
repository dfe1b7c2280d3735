package board

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/token"

	"waycall/internal/printable"
)

// ReadCSV reads a job whose ways come as a table, as a spreadsheet writes it.
// stub is a board file without its ways: the job and its one board. table has a
// header row with the names of a way's fields, those of groups with points (way,
// feeds, device.standard, device.rcd.rated), in any order, and below it one way
// a row. An empty cell is a field that is left out, and an empty row is passed
// over. tableName and stubName are for messages.
//
// What Read requires, fills in and refuses holds here, too; the problems of both
// files are returned together, each with its file, line and column.
func ReadCSV(table io.Reader, tableName string, stub io.Reader, stubName string) (Job, error) {
	d, job, err := readFile(stub, stubName)
	if err != nil {
		return Job{}, err
	}
	if len(job.Boards) != 1 && len(d.problems) == 0 {
		d.bad("boards", "the ways come from a table, so the file must describe one board", "keep one board in it")
	}
	if len(d.problems) == 0 && d.at[d.boardPath(0)+".ways"] != nil {
		d.bad(d.boardPath(0)+".ways", "ways are listed here and come from "+tableName+" as well", "remove them from one of the two")
	}
	if len(d.problems) == 0 {
		if err := d.table(table, tableName, &job); err != nil {
			return Job{}, err
		}
	}
	return d.finish(job)
}

// table reads the ways of the job's only board.
func (d *decoder) table(r io.Reader, name string, job *Job) error {
	data, err := io.ReadAll(io.LimitReader(r, MaxFileSize+1))
	if err != nil {
		return fmt.Errorf("reading table of ways %s: %w; check the file and its disk", name, err)
	}
	board := d.file
	d.file = name
	defer func() { d.file = board }()
	if p := d.text(data); p != nil {
		return p
	}
	in := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\ufeff")))
	in.FieldsPerRecord = -1 // checked below, with the place of the cell
	var columns []string
	path := d.boardPath(0) + ".ways"
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return d.csvProblem(err)
		}
		at := func(i int) *token.Token {
			line, column := in.FieldPos(min(i, len(row)-1))
			tk := &token.Token{Position: &token.Position{Line: line, Column: column}}
			d.from[tk] = name
			return tk
		}
		empty := !slices.ContainsFunc(row, func(cell string) bool { return strings.TrimSpace(cell) != "" })
		switch {
		case columns == nil:
			if columns = d.header(row, at); columns == nil {
				return nil
			}
			d.at[path] = at(0)
		case empty:
		case len(row) > len(columns):
			d.add(at(len(columns)), fmt.Sprintf("the row has %d cells but the header has %d", len(row), len(columns)), "put a value with a comma in it between quotes")
		case len(job.Boards[0].Ways) == 99:
			d.add(at(0), "the board has more than 99 ways", "describe it as several boards")
			return nil
		default:
			var w Way
			n := len(job.Boards[0].Ways)
			here := fmt.Sprintf("%s[%d]", path, n)
			d.at[here] = at(0)
			for i, cell := range row {
				if cell = strings.TrimSpace(cell); cell != "" {
					d.cell(at(i), cell, reflect.ValueOf(&w).Elem(), here, columns[i])
				}
			}
			job.Boards[0].Ways = append(job.Boards[0].Ways, w)
		}
	}
	if columns == nil {
		return d.problem(nil, "the file has no header row", "begin it with the names of the fields, such as way,feeds")
	}
	return nil
}

func (d *decoder) csvProblem(err error) error {
	var e *csv.ParseError
	if errors.As(err, &e) {
		return &Problem{File: d.file, Line: max(1, e.Line), Column: max(1, e.Column), What: e.Err.Error(), Do: "put a value with quotes or commas in it between quotes, and double the quotes inside"}
	}
	return d.problem(nil, err.Error(), "save it as CSV again")
}

// header returns the fields that the columns hold, or nil when the table cannot
// be read for what is wrong with them.
func (d *decoder) header(row []string, at func(int) *token.Token) []string {
	known := leaves(reflect.TypeFor[Way](), "")
	before := len(d.problems)
	var columns []string
	for i, name := range row {
		name = strings.TrimSpace(name)
		switch {
		case !slices.Contains(known, name):
			d.add(at(i), fmt.Sprintf("unknown column %q", printable.Cut(name, 40)), "use "+nearest(known, name))
		case slices.Contains(columns, name):
			d.add(at(i), fmt.Sprintf("column %q is there twice", name), "remove one")
		}
		columns = append(columns, name)
	}
	if !slices.Contains(columns, "way") && len(d.problems) == before {
		d.add(at(0), "no column way", "add the number of each way as marked on the board")
	}
	if len(d.problems) > before {
		return nil
	}
	return columns
}

// leaves lists the single values of a type by their paths.
func leaves(t reflect.Type, path string) []string {
	var all []string
	for i := range t.NumField() {
		f := t.Field(i)
		name, ft := join(path, f.Tag.Get("yaml")), f.Type
		if ft.Kind() == reflect.Pointer {
			ft = ft.Elem()
		}
		if ft.Kind() == reflect.Struct {
			all = append(all, leaves(ft, name)...)
		} else {
			all = append(all, name)
		}
	}
	return all
}

// cell puts a cell into the field of v that column names.
func (d *decoder) cell(tk *token.Token, text string, v reflect.Value, path, column string) {
	for {
		if _, ok := d.at[path]; !ok {
			d.at[path] = tk
		}
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				v.Set(reflect.New(v.Type().Elem()))
			}
			v = v.Elem()
		}
		if column == "" {
			break
		}
		key, rest, _ := strings.Cut(column, ".")
		field, ok := fieldOf(v, key)
		if !ok {
			return // header has seen to it
		}
		v, path, column = field, join(path, key), rest
	}
	d.set(tk, text, v, path)
}
