package main

import (
	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/attack"
)

func newVictim() *cobra.Command {
	var v attack.Victim
	cmd := &cobra.Command{
		Use:   "victim",
		Short: "Run a session over recorded clips, to be attacked",
		Long: `Runs a session as waycall start does, with the clips of testdata/session in place of
the microphone and faster than they were spoken, and prints the lines of waycall
start --json. What lab attack kills.`,
		Args: command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return v.Run(cmd.Context(), cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&v.Testdata, "testdata", "testdata", "folder of the clips")
	cmd.Flags().StringVar(&v.Job, "job", "", "file of the job; made when it is not there")
	cmd.Flags().StringVar(&v.CopyTo, "copy-to", "", "folder of the copy")
	cmd.Flags().IntVar(&v.From, "from", 0, "line of the script to begin with")
	cmd.Flags().IntVar(&v.Lines, "lines", 0, "so many lines; 0 for all")
	cmd.Flags().BoolVar(&v.Engines, "engines", false, "hear with both recognisers, and not by the text of each clip")
	cmd.Flags().StringVar(&v.Models, "models", "models", "folder of the speech models")
	cmd.Flags().BoolVar(&v.Stepped, "stepped", false, "wait for a line on the standard input before each phrase")
	return cmd
}
