// Package advice is the error that says what failed and what to do about it, each for
// itself: a page, a voice or a table of findings shows them apart, and nobody has to look
// for the one in the text of the other.
package advice

import (
	"errors"
	"fmt"
	"strings"
)

// Error is what failed and what to do. Its text is both, with a semicolon between.
type Error struct {
	what error
	do   string
}

// New returns an error of what failed and of what to do; neither ends with a full stop.
func New(what, do string) error { return &Error{errors.New(what), do} }

// Errorf returns an error of what to do and of what failed, which is a format as
// fmt.Errorf takes it, %w and all.
func Errorf(do, what string, args ...any) error { return &Error{fmt.Errorf(what, args...), do} }

// Error returns "what failed; what to do".
func (e *Error) Error() string { return e.what.Error() + between + e.do }

// Unwrap returns what failed.
func (e *Error) Unwrap() error { return e.what }

// Advice returns what to do.
func (e *Error) Advice() string { return e.do }

const between = "; "

// Do returns what to do about an error, from the outermost in its chain that has advice
// (a method Advice), or "" where none has.
func Do(err error) string {
	var with interface {
		error
		Advice() string
	}
	if !errors.As(err, &with) {
		return ""
	}
	return with.Advice()
}

// What returns what failed, without what to do where that is the end of the text. Of nil
// it is "".
func What(err error) string {
	if err == nil {
		return ""
	}
	do := Do(err)
	if do == "" {
		return err.Error()
	}
	return strings.TrimSuffix(err.Error(), between+do)
}
