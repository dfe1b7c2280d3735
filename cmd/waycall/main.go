// Command waycall takes an electrician's spoken test readings, checks them,
// reads them back, and keeps them with their sound. See README.md.
package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/jobs"
	"waycall/internal/printable"
)

// version is set by scripts/package; empty for a program built from source.
var version string

// extra are the commands of builds for a purpose; see pages.go.
var extra []*cobra.Command

func main() { os.Exit(run()) }

func run() int {
	ctx, done := untilStopped(func() { endLate(time.Duration(patience.Load())) })
	defer done()
	cmd := newRoot()
	out := printable.NewWriter(os.Stdout)
	cmd.SetOut(out)
	cmd.SetErr(printable.NewWriter(os.Stderr))
	err := cmd.ExecuteContext(ctx)
	if failed := out.Flush(); err == nil && failed != nil {
		err = fmt.Errorf("not all of it could be printed: %w; print it to where there is room", failed)
	}
	var judged foundError
	switch {
	case err == nil:
		return 0
	case errors.As(err, &judged):
		complain(err)
		return judged.code
	case errors.As(err, new(command.UsageError)), errors.Is(err, jobs.ErrName):
		complain(err)
		return exitUsage
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		stopped := "waycall: stopped"
		if errors.As(err, new(keptError)) {
			stopped += "; what was confirmed is kept"
		}
		fmt.Fprintln(os.Stderr, stopped)
		return exitStopped
	}
	complain(err)
	return exitFailed
}

// untilStopped returns a context that ends with the first signal to stop, which late is
// called after. done ends it, too, and then nobody has stopped anything.
func untilStopped(late func()) (ctx context.Context, done func()) {
	ctx, stop := signal.NotifyContext(context.Background(), stopping()...)
	forget := context.AfterFunc(ctx, func() {
		stop() // the second Ctrl-C waits for nothing
		late()
	})
	return ctx, func() {
		forget()
		stop()
	}
}

// stopping are the signals that end a command: Ctrl-C, what a shutdown sends, and a
// terminal that was closed, where that was not asked to be ignored (nohup).
func stopping() []os.Signal {
	all := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		all = append(all, syscall.SIGHUP)
	}
	return all
}

// patience is how long the command may take to end once it was told to.
var patience atomic.Int64

// A server gives what it answers 3 s; a session says that it ends, and brings its copy
// up to date.
const (
	usualPatience   = 6 * time.Second
	sessionPatience = 30 * time.Second
)

// endLate ends a command that waits where it cannot be told to stop, such as in a read
// or for a terminal that takes nothing. Nothing is lost by it: whatever is written is
// written whole or not at all.
func endLate(after time.Duration) {
	time.AfterFunc(after, func() {
		said := make(chan struct{})
		go func() {
			fmt.Fprintln(os.Stderr, "waycall: stopped while it waited")
			close(said)
		}()
		select {
		case <-said:
		case <-time.After(time.Second): // the terminal may be what takes nothing
		}
		os.Exit(exitStopped)
	})
}

func newRoot() *cobra.Command {
	var data dataFlag
	root := &cobra.Command{
		Use:   "waycall",
		Short: "Take spoken test readings at a distribution board",
		Long: `waycall listens while you test a distribution board, says which test on which
way is due, takes the reading you say, checks it, reads it back, and keeps it
with its sound once you confirm it.

It keeps a record. It does not prove that anything is dead and does not judge
that anything is safe: isolate and prove dead by your own safe system of work,
and let the competent person judge the results.

Exit codes: 0 done; 1 something failed; 2 the command line is wrong; 130 stopped
by Ctrl-C. Of waycall check also: 3 a reading failed; 4 none failed, but one is to
be looked into or cannot be judged. Of waycall ready and listen also: 3 something
is missing or not good enough; 4 something is to be looked into.`,
		Version:       cmp.Or(version, "built from source"),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return command.UsageError{Err: fmt.Errorf("there is no command %q; waycall --help lists them", args[0])}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			folder, err := data.folder()
			if err == nil {
				err = folder.Next(streamsOf(cmd).out)
			}
			return err
		},
	}
	data.add(root)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return command.UsageError{Err: fmt.Errorf("%w; %s --help lists the flags", err, cmd.CommandPath())}
	})
	root.PersistentPreRunE = func(cmd *cobra.Command, args []string) error {
		patience.Store(int64(usualPatience))
		if cmd.Name() == "start" || cmd.Name() == "practise" {
			patience.Store(int64(sessionPatience))
		}
		return applySettings(cmd)
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(newDemo(), newNew(), newInstruments(), newStart(), newJobs(), newShow(), newReview(), newSchedule(), newVerify(), newExport(), newImport(), newDue(), newCheck(), newLimits(), newMics(), newHear(), newSettings(), newReady(), newListen(), newPractise())
	root.AddCommand(extra...)
	root.InitDefaultHelpCmd()
	if help, _, err := root.Find([]string{"help"}); err == nil {
		help.Args = func(_ *cobra.Command, args []string) error {
			if cmd, rest, err := root.Find(args); err != nil || len(args) > 0 && (cmd == root || len(rest) > 0) {
				return command.UsageError{Err: fmt.Errorf("there is no command %q; waycall --help lists them", strings.Join(args, " "))}
			}
			return nil
		}
	}
	return root
}
