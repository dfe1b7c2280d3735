package main

import (
	"context"
	"errors"
	"io"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
	"waycall/internal/screen"
)

// pausesOptions are the flags of lab pauses.
type pausesOptions struct {
	ear    earFlags
	limit  int
	points int
	asJSON bool
}

func newPauses() *cobra.Command {
	var o pausesOptions
	cmd := &cobra.Command{
		Use:   "pauses MANIFEST...",
		Short: "Measure whether a phrase is cut in a pause after which it goes on",
		Long: `Hears what comes before each pause of the phrases of labelled sets, their own
pauses and silences of 200 to 500 ms put in at their quietest points, and counts
where a session would have ended the phrase there: where what was heard is sure and
nothing may follow it. A silence within the last word, when all was understood
already, is counted apart. Phrases are heard with no board and no due test.`,
		Example: `  lab pauses ../shared/corpus/dev/manifest.jsonl
  lab pauses --points 5 --json set/manifest.jsonl`,
		Args: command.Args(1, 1<<20, "at least one manifest.jsonl of a labelled set"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runPauses(cmd.Context(), cmd.OutOrStdout(), o, args)
		},
	}
	o.ear.add(cmd, runtime.NumCPU())
	cmd.Flags().IntVar(&o.limit, "limit", 0, "hear only this many phrases of each set, spread over it")
	cmd.Flags().IntVar(&o.points, "points", 3, "silences put into each phrase, one at a time")
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print the counts as JSON")
	return cmd
}

func runPauses(ctx context.Context, w io.Writer, o pausesOptions, manifests []string) error {
	if o.points < 0 || o.points > 20 {
		return command.UsageError{Err: errors.New("--points must be 0 to 20")}
	}
	var sets []bench.Set
	phrases := 0
	for _, m := range manifests {
		set, err := bench.OpenSet(m, o.limit)
		if err != nil {
			return err
		}
		sets, phrases = append(sets, set), phrases+len(set.Items)
	}
	e, g, closeEar, err := o.ear.open()
	if err != nil {
		return err
	}
	defer closeEar()
	lengths := []time.Duration{300 * time.Millisecond, 500 * time.Millisecond, 220 * time.Millisecond, 400 * time.Millisecond}
	bar := newProgress("phrases", phrases)
	defer bar.done()
	all := []bench.Pauses{}
	for _, set := range sets {
		p, err := bench.MeasurePauses(ctx, g, e, phrase.Scope{}, set, o.points, lengths, bar.step)
		if err != nil {
			return err
		}
		if all = append(all, p); !o.asJSON {
			p.Write(w)
		}
	}
	if o.asJSON {
		return screen.Print(w, all)
	}
	return nil
}
