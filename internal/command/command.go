// Package command has what the commands of both programs share: a mistake in the command
// line, the number of arguments, and the memory that was taken.
package command

import (
	"fmt"
	"syscall"

	"github.com/spf13/cobra"
)

// UsageError is a mistake in the command line. Its text is that of the error in it.
type UsageError struct{ Err error }

// Error says what is wrong with the command line, and what to do.
func (e UsageError) Error() string { return e.Err.Error() }

// Unwrap returns the error in it.
func (e UsageError) Unwrap() error { return e.Err }

// Args checks the number of arguments; what says which, such as "one job".
func Args(least, most int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < least || len(args) > most {
			return UsageError{fmt.Errorf("%s takes %s; %s --help shows how", cmd.Name(), what, cmd.CommandPath())}
		}
		return nil
	}
}

// PeakMiB is the most memory that this process has had in use, in MiB, or 0.
func PeakMiB() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Maxrss) / 1024 // Linux counts in KiB
}
