package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/bench"
	"waycall/internal/lab/fit"
	"waycall/internal/plainfile"
)

func newFit() *cobra.Command {
	var to string
	cmd := &cobra.Command{
		Use:   "fit --to FILE RESULTS...",
		Short: "Fit the confidence and its thresholds to kept results",
		Long: `Reads results that "lab bench --save" kept and fits the weights by which
evidence becomes a confidence, and the thresholds from which a phrase is taken, or
asked about. The file is built into the program: see internal/hear/fitted.json.`,
		Args: command.Args(1, 1<<20, "at least one file of results"),
		RunE: func(cmd *cobra.Command, args []string) error { return runFit(cmd.Context(), to, args) },
	}
	cmd.Flags().StringVar(&to, "to", "", "file for the weights and thresholds")
	return cmd
}

func runFit(_ context.Context, to string, files []string) error {
	if to == "" {
		return command.UsageError{Err: errors.New("--to is missing; name the file for the weights")}
	}
	kept, err := bench.LoadFiles(files)
	if err != nil {
		return err
	}
	var examples []fit.Example
	var from []string
	for _, k := range kept {
		from = append(from, k.Run.Set+" "+k.Run.Title())
		for _, r := range k.Results {
			if r.Evidence != nil {
				examples = append(examples, fit.Example{Evidence: r.Evidence, Right: r.Nearest, Talk: r.Want.Kind == "none"})
			}
		}
	}
	f, err := fit.To(examples, strings.Join(from, ", "))
	if err != nil {
		return err
	}
	data, err := json.MarshalIndent(f, "", "\t")
	if err != nil {
		return err
	}
	if err := plainfile.Write(to, 0o644, false, func(w io.Writer) error { _, err := w.Write(append(data, '\n')); return err }); err != nil {
		return fmt.Errorf("%w; name a file that can be written", err)
	}
	fmt.Fprintf(os.Stderr, "%d phrases: sure from %.4f, in noise %.4f, asked from %.4f\n", len(examples), f.Sure, f.SureInNoise, f.Ask)
	return nil
}
