package record

import (
	"errors"
	"fmt"
	"reflect"
	"unicode/utf8"

	"waycall/internal/board"
	"waycall/internal/printable"
)

// What one event holds at most, far above what waycall itself writes.
const (
	mostText   = 8000 // characters of one text
	mostListed = 1000 // things in one list, but for the ways and boards of a job
)

// Plausible returns an error that says what in e waycall would never have written,
// or nil. A log can fold, and its sums be right, although somebody else made it: then
// it is held here to what waycall holds a board file and a person's words to. It does
// not ask whether e can follow, as Follow does.
func Plausible(e Event) error {
	job := e.Job
	e.Job = nil
	if err := texts(reflect.ValueOf(e), "it"); err != nil {
		return fmt.Errorf("event %d (%s): %w", e.ID, printable.Line(printable.Cut(string(e.Kind), 40)), err)
	}
	if e.Tester != "" {
		if err := board.CheckInitials(e.Tester); err != nil {
			return fmt.Errorf("event %d (%s): its tester: %w", e.ID, e.Kind, err)
		}
	}
	if job == nil {
		return nil
	}
	var p *board.Problem
	switch err := board.CheckRecorded(*job, "of the record"); {
	case errors.As(err, &p):
		return fmt.Errorf("event %d (%s): its job cannot be: %s", e.ID, e.Kind, printable.Line(p.What))
	case err != nil:
		return fmt.Errorf("event %d (%s): its job cannot be: %w", e.ID, e.Kind, err)
	}
	return nil
}

// texts goes through all texts and lists in v. name is what v is called.
func texts(v reflect.Value, name string) error {
	switch v.Kind() {
	case reflect.String:
		switch s := v.String(); {
		case !printable.IsLine(s):
			return fmt.Errorf("%s has a line break or a character that does not print: %.40q", name, s)
		case utf8.RuneCountInString(s) > mostText:
			return fmt.Errorf("%s has more than %d characters", name, mostText)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return texts(v.Elem(), name)
		}
	case reflect.Slice:
		if v.Len() > mostListed {
			return fmt.Errorf("%s lists %d things", name, v.Len())
		}
		for i := range v.Len() {
			if err := texts(v.Index(i), name); err != nil {
				return err
			}
		}
	case reflect.Map:
		if v.Len() > mostListed {
			return fmt.Errorf("%s lists %d things", name, v.Len())
		}
		for at := v.MapRange(); at.Next(); {
			if err := errors.Join(texts(at.Key(), name), texts(at.Value(), name)); err != nil {
				return err
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() { // what is not comes from no file
				if err := texts(v.Field(i), "its "+f.Name); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
