// Command lab measures, trains and tries out what waycall is made of: how well it
// hears, how its model is made, how it bears a day of work. Nothing of it is shipped.
// One file per subcommand: newX makes the command and its flags, xOptions holds what
// they say, runX does it. The work itself is in internal/lab. Run it in the
// repository's root:
//
//	go run ./cmd/lab --help
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"waycall/internal/command"
)

// Exit codes, documented in the help of the root command.
const (
	exitFailed  = 1
	exitUsage   = 2
	exitStopped = 130 // by Ctrl-C, as shells report it
)

func main() { os.Exit(run()) }

func run() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// What waits where it cannot be told to stop is ended by the second Ctrl-C.
	context.AfterFunc(ctx, stop)
	err := newRoot().ExecuteContext(ctx)
	var usage command.UsageError
	switch {
	case err == nil:
		return 0
	case errors.As(err, &usage):
		fmt.Fprintln(os.Stderr, "lab:", err)
		return exitUsage
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		fmt.Fprintln(os.Stderr, "lab: stopped")
		return exitStopped
	}
	fmt.Fprintln(os.Stderr, "lab:", err)
	return exitFailed
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "lab",
		Short: "Measure, train and try out what waycall is made of",
		Long: `The laboratory of waycall: what measures, trains and tries out, and is not shipped.
Run it in the repository's root, after scripts/setup.

Exit codes: 0 done; 1 something failed; 2 the command line is wrong; 130 stopped
by Ctrl-C.`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return command.UsageError{Err: fmt.Errorf("there is no command %q; lab --help lists them", args[0])}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return cmd.Help() },
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return command.UsageError{Err: fmt.Errorf("%w; %s --help lists the flags", err, cmd.CommandPath())}
	})
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(
		newBench(), newPauses(), newReport(), newFit(), newSoak(), newWords(), newPhrases(), newWeights(), newRooms(), newAttack(), newVictim(),
	)
	return root
}
