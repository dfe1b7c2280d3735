package main

import (
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/plan"
	"waycall/internal/record"
)

func newDue() *cobra.Command {
	var (
		data   dataFlag
		all    bool
		asJSON bool
	)
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
		Args:    wantArgs(1, 1, "one job or one board file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			state, err := planned(cmd, &data, args[0])
			if err != nil {
				return err
			}
			p := plan.Of(state)
			if asJSON {
				return p.JSON(cmd.OutOrStdout())
			}
			return p.Text(cmd.OutOrStdout(), all)
		},
	}
	data.add(cmd)
	cmd.Flags().BoolVar(&all, "all", false, "also what passed, what is not required and what is not possible (JSON always has it)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// planned returns what is known of a job, or the start of the one that a board
// file describes. Nothing is written.
func planned(cmd *cobra.Command, data *dataFlag, arg string) (record.State, error) {
	if !isBoardFile(arg) {
		state, _, err := data.readJob(cmd.Context(), arg)
		return state, err
	}
	job, err := readBoard(arg)
	if err != nil {
		return record.State{}, err
	}
	return record.State{}.Apply(record.Event{ID: 1, At: time.Now(), Kind: record.Opened, Job: &job})
}
