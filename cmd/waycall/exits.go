package main

// How a command ends: the exit codes, and the errors that have one of their own.

import (
	"fmt"
	"os"

	"waycall/internal/printable"
)

// Exit codes, documented in the help of the root command.
const (
	exitFailed   = 1
	exitUsage    = 2
	exitFails    = 3   // check: a reading failed; ready: something is missing; listen: not good enough
	exitDoubtful = 4   // check: none failed, but not all passed; ready, listen: something is to be looked into
	exitStopped  = 130 // by Ctrl-C, as shells report it
)

// complain prints an error. It may hold the name of a file or what is in one, so what
// would move the cursor or turn the order of letters round is shown as a mark, as it is
// in all that a command prints.
func complain(err error) { fmt.Fprintf(os.Stderr, "waycall: %s\n", printable.Text(err.Error())) }

// foundError says that something was judged and is not all good. It is no
// failure of the command, and has exit codes of its own.
type foundError struct {
	code int
	what string
}

func (e foundError) Error() string { return e.what }

// keptError is a stop by the user after which the record was looked at and is whole.
type keptError struct{ error }

func (e keptError) Unwrap() error { return e.error }
