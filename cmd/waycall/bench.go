package main

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/bench"
	"waycall/internal/phrase"
)

func newBench() *cobra.Command {
	var (
		ear      earFlags
		manifest string
		asJSON   bool
	)
	cmd := &cobra.Command{
		Use:   "bench --manifest FILE",
		Short: "Measure hearing against a labelled set of phrases",
		Long: `Hears every phrase of a labelled set (a manifest.jsonl with its sound files
beside it), with no board and no due test, and counts how many were right, asked
about, ignored or wrong, and how long each took.`,
		Args: wantArgs(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if manifest == "" {
				return usageError{fmt.Errorf("--manifest is missing; name the manifest.jsonl of a labelled set")}
			}
			f, err := os.Open(manifest)
			if err != nil {
				return fmt.Errorf("manifest: %w; check its name", err)
			}
			defer f.Close()
			items, err := bench.ReadManifest(f, manifest)
			if err != nil {
				return err
			}
			e, g, closeEar, err := ear.open()
			if err != nil {
				return err
			}
			defer closeEar()
			if err := e.Prepare(phrase.Scope{}); err != nil {
				return err
			}
			bar := newProgress("phrases", len(items))
			var results []bench.Result
			for _, it := range items {
				if err := cmd.Context().Err(); err != nil {
					return err
				}
				file := filepath.Join(filepath.Dir(manifest), it.File)
				clip, err := audio.ReadFile(file)
				if clip == nil {
					return err
				}
				start := time.Now()
				h, _, err := hearClip(e, phrase.Scope{}, clip)
				if err != nil {
					return fmt.Errorf("%s: %w", file, err)
				}
				r := bench.Result{Item: it, Heard: h.Best().Text, MS: round(time.Since(start)), SoundS: clip.Duration().Seconds()}
				r.End, r.Sure = bench.Judge(g, it.Want, h)
				results = append(results, r)
				bar.step()
			}
			bar.done()
			s := bench.Summarise(results)
			s.PeakMiB = peakMiB()
			if asJSON {
				return printJSON(cmd.OutOrStdout(), s)
			}
			s.Write(cmd.OutOrStdout())
			return nil
		},
	}
	ear.add(cmd)
	cmd.Flags().StringVar(&manifest, "manifest", "", "manifest.jsonl of the labelled set")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the summary as JSON")
	return cmd
}

// peakMiB returns the most memory this program has held, MiB.
func peakMiB() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Maxrss) / 1024 // Linux counts in KiB
}
