package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"waycall/internal/bundle"
	"waycall/internal/command"
	"waycall/internal/jobs"
	"waycall/internal/screen"
	"waycall/internal/store"
)

// verifyOptions are the flags of waycall verify.
type verifyOptions struct {
	data dataFlag
	json bool
}

func newVerify() *cobra.Command {
	var o verifyOptions
	cmd := &cobra.Command{
		Use:   "verify JOB|FILE",
		Short: "Check that a record is whole",
		Long: `Reads all of a job and changes nothing: the database file, the chain of events
from the first to the last, each of which carries the sum of the one before, every
sound, and whether the whole makes sense. It says what is wrong, at which event,
and what to do. FILE is a job's file, or one made by waycall export. A copy that a kill
or a pulled stick cut off in the middle of a write is first put back to its last whole
phrase.

The sum that it prints stands for the whole log up to the last event. Noted
elsewhere, it shows later that nothing before it was altered since, which the
chain alone cannot show: who can write to a file can make its sums anew.

Of a job whose last session was cut off it also reads the log that SQLite keeps beside
it, and holds the record against JOB.waycall-head, which says what was last told to be
stored: a log that was damaged, cut short or taken away is told, and which events that cost.

Exit code 0: whole. 1: something is wrong.`,
		Example: "  waycall verify TER-0107\n  waycall verify /media/stick/TER-0107.waycall",
		Args:    command.Args(1, 1, "one job or file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runVerify(cmd.Context(), streamsOf(cmd), o, args[0])
		},
	}
	o.data.add(cmd)
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func runVerify(ctx context.Context, std streams, o verifyOptions, arg string) error {
	r, err := o.verify(ctx, arg)
	if err != nil {
		return err
	}
	if o.json {
		err = screen.Print(std.out, r)
	} else {
		err = writeReport(std.out, r)
	}
	if err == nil && len(r.Problems) > 0 {
		err = fmt.Errorf("the record in %s is not whole; do as said above", r.File)
	}
	return err
}

// verify looks at a job, or at a packed one.
func (o verifyOptions) verify(ctx context.Context, arg string) (store.Report, error) {
	if folder, err := o.data.folder(); err == nil && jobs.IsName(arg) {
		r, err := store.Verify(ctx, folder.File(arg))
		if !errors.Is(err, fs.ErrNotExist) {
			return r, err
		}
	}
	info, err := os.Stat(arg)
	if errors.Is(err, fs.ErrPermission) {
		return store.Verify(ctx, arg) // says so
	}
	if err != nil {
		return store.Report{}, fmt.Errorf("no job and no file %s; waycall jobs lists the jobs", arg)
	}
	if !info.Mode().IsRegular() || !bundle.IsZip(arg) { // to open a pipe is to wait for who writes into it
		return store.Verify(ctx, arg)
	}
	p, err := openPacked(ctx, arg, "")
	if err != nil {
		return store.Report{}, err
	}
	defer p.Close()
	r := p.Report
	r.File = arg
	return r, nil
}

func writeReport(w io.Writer, r store.Report) error {
	fmt.Fprintf(w, "%s\n%s", r.File, amount(r.Events, r.Sounds))
	if r.Events > 0 {
		fmt.Fprintf(w, ", the last of %s", r.Last.Local().Format("2006-01-02 15:04:05"))
	}
	fmt.Fprintln(w, ".")
	for _, f := range r.Problems {
		fmt.Fprintf(w, "Wrong: %s.\n", f)
	}
	for _, f := range r.Notes {
		fmt.Fprintf(w, "Note: %s.\n", f)
	}
	if len(r.Problems) == 0 {
		if r.InDoubt {
			fmt.Fprintf(w, "What is here of the record is whole; whether that is all of it is in doubt.\n")
		} else {
			fmt.Fprintf(w, "The record is whole.\n")
		}
		if r.Head != "" {
			fmt.Fprintf(w, "Sum of the last event: %s\n", r.Head)
		}
	}
	return nil
}
