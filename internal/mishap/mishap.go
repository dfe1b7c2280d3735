// Package mishap catches a panic in work that goes on beside, so that a fault in one
// page, one view or one copy does not end a program that does more than that.
//
// All that a server starts with go, sync.WaitGroup.Go or time.AfterFunc goes through
// Caught; a test holds it to that. What the work holds it gives back itself, by defer.
package mishap

import (
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"runtime/debug"
)

// Error is a panic that was caught: a fault in waycall.
type Error struct {
	Doing string // what was being done, such as "follow a job"
	Value any    // of the panic; may quote what was read from a job
	Stack []byte // of the goroutine, as text
}

// Error says what failed, without what may be quoted.
func (e *Error) Error() string {
	why := ""
	if r, ok := e.Value.(runtime.Error); ok { // these quote nothing
		why = " (" + r.Error() + ")"
	}
	return fmt.Sprintf("could not %s: waycall has a fault there%s; please report it", e.Doing, why)
}

// Log writes the error with its stack.
func (e *Error) Log(to *slog.Logger) {
	to.Error("a fault in waycall", "trouble", e.Error(), "stack", string(e.Stack))
}

// Note logs a fault where there is no logger of its own.
func Note(err error) {
	if fault := (*Error)(nil); errors.As(err, &fault) {
		fault.Log(slog.Default())
	}
}

// Do runs f, and returns an *Error when it panicked.
func Do(doing string, f func()) (err error) {
	defer func() {
		// runtime.Goexit is no panic: recover has nothing then.
		if value := recover(); value != nil {
			err = &Error{doing, value, debug.Stack()}
		}
	}()
	f()
	return nil
}

// Caught returns f made harmless, to be run as work beside: a panic in it goes to told,
// which must not be nil, as an *Error.
func Caught(doing string, told func(error), f func()) func() {
	return func() {
		if err := Do(doing, f); err != nil {
			told(err)
		}
	}
}
