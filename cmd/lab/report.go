package main

import (
	"context"
	"errors"
	"path/filepath"

	"github.com/spf13/cobra"

	"waycall/grammar"
	"waycall/internal/command"
	"waycall/internal/hear"
	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
)

// reportOptions are the flags of lab report.
type reportOptions struct {
	to, readme string
	again      bool
}

func newReport() *cobra.Command {
	var o reportOptions
	cmd := &cobra.Command{
		Use:   "report --to FOLDER RESULTS...",
		Short: "Make tables and plots of kept results, without hearing again",
		Long: `Reads results that "lab bench --save" kept and writes README.md and plots
into a folder: the figures against what was asked for, every set and condition,
right against noise, confidence against what was right, and what went wrong.`,
		Args: command.Args(1, 1<<20, "at least one file of results"),
		RunE: func(cmd *cobra.Command, args []string) error { return runReport(cmd.Context(), o, args) },
	}
	cmd.Flags().StringVar(&o.to, "to", "", "folder for the report")
	cmd.Flags().BoolVar(&o.again, "again", false, "decide again what was sure, asked and ignored, by the thresholds of this version")
	cmd.Flags().StringVar(&o.readme, "readme", "", "Markdown file in which to refresh the table between the marks bench:begin and bench:end")
	return cmd
}

func runReport(_ context.Context, o reportOptions, files []string) error {
	if o.to == "" {
		return command.UsageError{Err: errors.New("--to is missing; name the folder for the report")}
	}
	var g *phrase.Grammar // only to decide again
	if o.again {
		var err error
		if g, err = phrase.Load(grammar.Files); err != nil {
			return err
		}
	}
	kept, err := bench.LoadFiles(files)
	if err != nil {
		return err
	}
	for i, k := range kept {
		if o.again && len(k.Run.Methods) == 1 {
			kept[i].Results = bench.Again(g, k.Results, decideOver(g))
		}
	}
	if err := bench.Report(o.to, kept); err != nil {
		return err
	}
	if o.readme == "" {
		return nil
	}
	link := filepath.ToSlash(filepath.Join(o.to, "README.md"))
	if r, err := filepath.Rel(filepath.Dir(o.readme), filepath.Join(o.to, "README.md")); err == nil {
		link = filepath.ToSlash(r)
	}
	return bench.RefreshReadme(o.readme, link, kept)
}

// decideOver returns hear.Decide as the bench takes it, over phrases of a grammar.
func decideOver(g *phrase.Grammar) func(evidence []float64, words string) (confidence float64, forUs, sure bool) {
	return func(evidence []float64, words string) (confidence float64, forUs, sure bool) {
		if len(evidence) != len(hear.EvidenceNames) {
			return -1, false, false
		}
		m, _ := g.Meaning(words)
		d := hear.Decide(evidence, hear.Candidate{Text: words, Meaning: m})
		return d.Confidence, d.ForUs, d.Sure
	}
}
