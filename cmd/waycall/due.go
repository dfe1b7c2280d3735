package main

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/jobs"
	"waycall/internal/plan"
	"waycall/internal/record"
)

// dueOptions are the flags of waycall due.
type dueOptions struct {
	data dataFlag
	all  bool
	json bool
}

func newDue() *cobra.Command {
	var o dueOptions
	cmd := &cobra.Command{
		Use:   "due JOB | due BOARD.yaml",
		Short: "List what is due and why, board by board",
		Long: `Lists the preparation and the tests that are still due, in the order of the work
and under the leads and links that they are made with, each with why it is
required and the source of that; then what was left out, waits, cannot be made or
did not pass, and how long the rest may take at the pace of the job so far. With
--all it adds what passed, what is not required and what is not possible, each
with its reason. Of a board file it lists everything.`,
		Example: "  waycall due WKS-0231\n  waycall due board.yaml --all",
		Args:    command.Args(1, 1, "one job or one board file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runDue(cmd.Context(), streamsOf(cmd), o, args[0])
		},
	}
	o.data.add(cmd)
	cmd.Flags().BoolVar(&o.all, "all", false, "also what passed, what is not required and what is not possible (JSON always has it)")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func runDue(ctx context.Context, std streams, o dueOptions, arg string) error {
	state, err := o.planned(ctx, arg)
	if err != nil {
		return err
	}
	p := plan.Of(state)
	if o.json {
		return p.JSON(std.out)
	}
	return p.Text(std.out, o.all)
}

// planned returns what is known of a job, or the start of the one that a board
// file describes. Nothing is written.
func (o dueOptions) planned(ctx context.Context, arg string) (record.State, error) {
	if !board.IsFile(arg) {
		known, err := o.data.read(ctx, arg)
		return known.State, err
	}
	job, err := jobs.ReadBoard(arg)
	if err != nil {
		return record.State{}, err
	}
	return record.State{}.Apply(record.Open(job, time.Now()))
}
