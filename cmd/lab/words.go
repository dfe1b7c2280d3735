package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/words"
)

func newWords() *cobra.Command {
	var o words.Options
	cmd := &cobra.Command{
		Use:   "words",
		Short: "Measure which command words are heard surely, and what they are confused with",
		Long: `Measures which command words are heard surely and what each is confused with, so
that the words of the grammar can be chosen by figures. scripts/lab/confusion runs the
steps one after the other.`,
		Example: `  lab words list                                     # the words, one a line, to be rendered
  lab words hear --manifest FILE --model FILE --to out/confusion
  lab words table out/confusion/*.jsonl > docs/bench/confusion.md`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return command.UsageError{Err: errors.New("no step named; give list, hear or table")}
			}
			return command.UsageError{Err: fmt.Errorf("no step %q; give list, hear or table", args[0])}
		},
		RunE: func(cmd *cobra.Command, args []string) error { return cmd.Help() },
	}
	list := &cobra.Command{
		Use:   "list",
		Short: "List the words, one a line, to be rendered",
		Args:  command.Args(0, 0, "no arguments"),
		RunE:  func(cmd *cobra.Command, args []string) error { return words.List(cmd.OutOrStdout(), o) },
	}
	hear := &cobra.Command{
		Use:   "hear --manifest FILE",
		Short: "Hear the rendered words, in quiet and in noise",
		Args:  command.Args(0, 0, "no arguments"),
		RunE:  func(cmd *cobra.Command, args []string) error { return words.Hear(cmd.Context(), o) },
	}
	hear.Flags().StringVar(&o.Manifest, "manifest", "", "manifest.jsonl of the rendered words")
	hear.Flags().StringVar(&o.Model, "model", "models/tiny.en-waycall-q8_0.bin", "speech model")
	hear.Flags().StringVar(&o.To, "to", "out/confusion", "folder for what was heard")
	table := &cobra.Command{
		Use:   "table RESULTS...",
		Short: "Write the page of what was heard",
		Args:  command.Args(1, 1<<20, "at least one file of results"),
		RunE:  func(cmd *cobra.Command, args []string) error { return words.Table(cmd.OutOrStdout(), o, args) },
	}
	cmd.PersistentFlags().StringVar(&o.Ahead, "ahead", "models/adapt", "folder of ahead.gram")
	cmd.AddCommand(list, hear, table)
	return cmd
}
