// This file writes a schedule as JSON and reads it back, trusting nothing of it.

package report

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"sync"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// Write writes the schedule as JSON for other programs; the fields are those of
// Schedule. Read reads it back.
func Write(w io.Writer, s Schedule) error { return printable.WriteJSON(w, s) }

// MaxReadSize is the largest JSON that Read takes, in bytes: several times what a
// job of thousands of ways has.
const MaxReadSize = 64 << 20

//go:embed schedule.schema.json
var schema []byte

// Schema returns the JSON Schema (draft 2020-12) of what JSON writes and Read
// takes. It is made from the types of this package and their comments.
func Schema() []byte { return bytes.Clone(schema) }

var compiled = sync.OnceValue(func() *jsonschema.Schema {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schema))
	if err != nil {
		panic(err) // it is built in
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	c.UseLoader(nothing{})
	if err := c.AddResource("schedule.schema.json", doc); err != nil {
		panic(err)
	}
	return c.MustCompile("schedule.schema.json")
})

// nothing is what a schema may load: it needs nothing but itself.
type nothing struct{}

func (nothing) Load(url string) (any, error) {
	return nil, errors.New("nothing is loaded from elsewhere")
}

// Read reads a schedule back from its JSON. Every form that is then written of it
// is the same, byte for byte, as from the record that it was made from.
//
// Nothing of it is trusted: it is held against the schema, and what the schema
// cannot say is checked, too. But it is not the record: who can write the file can
// make it say anything, also by whom it was signed. Whether it is what the record
// says shows only in its sum, beside that of waycall verify.
func Read(r io.Reader) (Schedule, error) {
	s, err := read(r)
	if err != nil {
		return Schedule{}, fmt.Errorf("this is no schedule: %w; give what waycall schedule --format json wrote, unchanged", err)
	}
	return s, nil
}

func read(r io.Reader) (Schedule, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxReadSize+1))
	if err != nil {
		return Schedule{}, err
	}
	if len(data) > MaxReadSize {
		return Schedule{}, fmt.Errorf("it is larger than %d MB", MaxReadSize>>20)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		return Schedule{}, fmt.Errorf("not JSON: %.200s", printable.Words(err.Error()))
	}
	if top, ok := doc.(map[string]any); ok {
		if n, ok := top["format"].(json.Number); ok && n != json.Number(fmt.Sprint(Format)) {
			return Schedule{}, fmt.Errorf("its format is %.20s, and this waycall reads %d", n, Format)
		}
	}
	if err := compiled().Validate(doc); err != nil {
		return Schedule{}, errors.New(firstFault(err))
	}
	var s Schedule
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&s); err != nil {
		return Schedule{}, fmt.Errorf("%.200s", printable.Words(err.Error()))
	}
	inUTC(reflect.ValueOf(&s).Elem())
	return s, s.agrees()
}

// firstFault says where the first deepest fault that the schema found is, and
// what.
func firstFault(err error) string {
	var v *jsonschema.ValidationError
	if !errors.As(err, &v) {
		return printable.Words(err.Error())
	}
	for len(v.Causes) > 0 {
		v = v.Causes[0]
	}
	_, what, _ := strings.Cut(v.Error(), ": ")
	if what == "" {
		what = v.Error()
	}
	return fmt.Sprintf("at /%.200s: %.200s", printable.Words(strings.Join(v.InstanceLocation, "/")), printable.Words(what))
}

// inUTC makes all times in v those of UTC.
func inUTC(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			inUTC(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			inUTC(v.Index(i))
		}
	case reflect.Struct:
		if at, ok := v.Addr().Interface().(*time.Time); ok {
			*at = at.UTC()
			return
		}
		for i := range v.NumField() {
			inUTC(v.Field(i))
		}
	}
}

// agrees checks what a schema cannot say: that places are there and there once,
// and that the figure of a reading is its value.
func (s Schedule) agrees() error {
	boards := map[int]bool{}
	for _, b := range s.Boards {
		if boards[b.Number] {
			return fmt.Errorf("board %d is there twice", b.Number)
		}
		boards[b.Number] = true
		if err := b.agrees(); err != nil {
			return fmt.Errorf("board %d: %w", b.Number, err)
		}
	}
	lines := map[[3]int]bool{}
	for _, l := range s.Lines {
		at := [3]int{l.Board, l.Way, l.Position}
		switch {
		case !boards[l.Board]:
			return fmt.Errorf("way %s is on board %d, which is not there", waymark.Print(l.Way), l.Board)
		case lines[at]:
			return fmt.Errorf("board %d, way %s, position %d is there twice", l.Board, waymark.Print(l.Way), l.Position)
		}
		lines[at] = true
		if err := l.agrees(); err != nil {
			return fmt.Errorf("board %d, way %s: %w", l.Board, waymark.Print(l.Way), err)
		}
	}
	for _, o := range s.Observations {
		if !boards[o.Board] {
			return fmt.Errorf("an observation is of board %d, which is not there", o.Board)
		}
	}
	for _, n := range s.Notes {
		if !boards[n.Board] {
			return fmt.Errorf("a note is of board %d, which is not there", n.Board)
		}
	}
	if g := s.Signed; g != nil && (g.Event < 1 || g.Event > s.Record.LastEvent) {
		return fmt.Errorf("it was signed off as event %d of a record of %d", g.Event, s.Record.LastEvent)
	}
	for _, p := range s.Preparation {
		if p.Answer != "" && p.At == nil {
			return errors.New("a step was answered at no time")
		}
	}
	return nil
}

func (t Tested) agrees() error {
	for _, c := range t.Cells {
		switch c.Status {
		case Replaced, Withdrawn, BeforeWork, AtFull:
			return fmt.Errorf("%s is %s, and stands among those that count", c.Test, c.Status)
		case Recorded:
			if err := c.isReading(); err != nil {
				return err
			}
		case ByBoard:
			if c.Value != nil || !strings.HasPrefix(c.Text, ">") || c.Bound != "" || c.Result != "" {
				return fmt.Errorf("%s is shown by the board's reading, and has another", c.Test)
			}
		default:
			if c.Value != nil || c.Text != "" || c.Bound != "" || c.Result != "" {
				return fmt.Errorf("%s is %s, and has a reading", c.Test, c.Status)
			}
		}
	}
	for _, c := range t.Earlier {
		switch c.Status {
		case Replaced, Withdrawn, BeforeWork, AtFull:
			if err := c.isReading(); err != nil {
				return err
			}
		default:
			return fmt.Errorf("%s is %s, and stands among those that count no more", c.Test, c.Status)
		}
	}
	return nil
}

// isReading checks that a cell has a reading that fits its test, and that its text
// is that of its value.
func (c Cell) isReading() error {
	if c.Value == nil || c.Result == "" || string(c.Test.Unit()) != c.Unit {
		return fmt.Errorf("%s has no reading in its unit, or no result", c.Test)
	}
	q, err := reading.ParseQuantity(c.Text, c.Test.Unit())
	if err == nil {
		err = c.Test.Fits(q)
	}
	if err != nil || q.Value != *c.Value || string(q.Bound) != c.Bound || figure(q) != c.Text {
		return fmt.Errorf("the text of %s, %.40q, is not its value", c.Test, printable.Words(c.Text))
	}
	return nil
}
