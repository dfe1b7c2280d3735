package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/hear/engines"
	"waycall/internal/lab/soak"
	"waycall/internal/say/espeak"
)

// soakOptions are the flags of lab soak.
type soakOptions struct {
	ear            earFlags
	hours, trouble float64
	phrases        int
	seed           uint64
	out, page      string
	replot         bool
}

func newSoak() *cobra.Command {
	var o soakOptions
	cmd := &cobra.Command{
		Use:   "soak",
		Short: "Play a day of work through the whole of waycall",
		Long: `Plays a day of work through the whole of waycall, see internal/lab/soak, and writes
what it saw. Run it by scripts/lab/soak. Ctrl-C ends the day early, and it is judged like
any other.`,
		Args: command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error { return runSoak(cmd.Context(), cmd.OutOrStdout(), o) },
	}
	o.ear.add(cmd, 1) // with more, the time of the processor holds waiting as well
	flags := cmd.Flags()
	flags.Float64Var(&o.hours, "hours", 8, "simulated time, at least")
	flags.IntVar(&o.phrases, "phrases", 3000, "what is said to waycall, at least")
	flags.Uint64Var(&o.seed, "seed", 1, "another one gives another day")
	flags.Float64Var(&o.trouble, "trouble", 0.04, "share of phrases that meet trouble")
	flags.StringVar(&o.out, "out", filepath.Join("out", "soak"), "folder for what is written; an earlier soak there is replaced")
	flags.StringVar(&o.page, "page", "", "write the summary as this page, with its plots beside it in a folder soak")
	flags.BoolVar(&o.replot, "replot", false, "write the page of the soak that is there, without another")
	return cmd
}

func runSoak(ctx context.Context, w io.Writer, o soakOptions) error {
	file := filepath.Join(o.out, "soak.json")
	if o.replot {
		text, err := os.ReadFile(file)
		if err != nil {
			return fmt.Errorf("%w; make a soak first", err)
		}
		var r soak.Result
		if err := json.Unmarshal(text, &r); err != nil {
			return fmt.Errorf("%s: %w; make another soak", file, err)
		}
		return publish(w, r, o.out, o.page)
	}
	if err := os.RemoveAll(o.out); err != nil {
		return err
	}
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return err
	}
	ear, _, closeEar, err := o.ear.open()
	if err != nil {
		return err
	}
	defer closeEar()
	if third, own := engines.Third(o.ear.model); own {
		if _, err := os.Stat(third); err != nil {
			return fmt.Errorf("%w; run scripts/setup", err)
		}
	}
	voice, err := espeak.Open(0)
	if err != nil {
		return err
	}
	enough := make(chan os.Signal, 1)
	context.AfterFunc(ctx, func() { enough <- os.Interrupt }) // ends the day early, and it is judged like any other
	begun := time.Now()
	r, err := soak.Run(context.WithoutCancel(ctx), soak.Plan{
		Testdata: "testdata", Folder: o.out, Hours: o.hours, Phrases: o.phrases, Seed: o.seed, Trouble: o.trouble,
		Enough: enough,
		Ear:    ear, Voice: voice,
		Tell: func(m soak.Minute) {
			if int(m.At)%10 == 0 {
				fmt.Fprintf(w, "%3.0f min, %4.1f times real time: %4d phrases, %4d readings, %3.0f MiB (%.0f of Go), %d goroutines, %d files, %.0f MB, hearing %.0f ms of the processor\n",
					m.At, m.At/time.Since(begun).Minutes(), m.Phrases, m.Readings, m.RSS, m.Heap, m.Goroutines, m.Files, m.Database, m.HearP50)
			}
		},
	})
	if err != nil {
		return err
	}
	text, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(file, append(text, '\n'), 0o644); err != nil {
		return err
	}
	if err := publish(w, r, o.out, o.page); err != nil {
		return err
	}
	if !r.Met() {
		return errors.New("soak: a bar was not met; see above")
	}
	return nil
}

// publish writes the plots, and the page if one is wanted, and prints the summary.
func publish(w io.Writer, r soak.Result, out, page string) error {
	if err := r.Plot(out); err != nil {
		return err
	}
	if page != "" {
		folder := filepath.Join(filepath.Dir(page), "soak")
		if err := os.MkdirAll(folder, 0o755); err != nil {
			return err
		}
		if err := r.Plot(folder); err != nil {
			return err
		}
		if err := os.WriteFile(page, []byte(r.Page("soak")), 0o644); err != nil {
			return err
		}
	}
	_, err := fmt.Fprint(w, r.Text())
	return err
}
