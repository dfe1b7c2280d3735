// Command soak plays a day of work through the whole of waycall, see internal/lab/soak, and
// writes what it saw. Run it by scripts/soak.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"time"

	"waycall/grammar"
	"waycall/internal/hear"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/lab/soak"
	"waycall/internal/phrase"
	"waycall/internal/say/espeak"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run() error {
	hours := flag.Float64("hours", 8, "simulated time, at least")
	phrases := flag.Int("phrases", 3000, "what is said to waycall, at least")
	seed := flag.Uint64("seed", 1, "another one gives another day")
	trouble := flag.Float64("trouble", 0.04, "share of phrases that meet trouble")
	threads := flag.Int("threads", 1, "of the recogniser; with more, the time of the processor holds waiting as well")
	out := flag.String("out", filepath.Join("out", "soak"), "folder for what is written; an earlier soak there is replaced")
	page := flag.String("page", "", "write the summary as this page, with its plots beside it in a folder soak")
	replot := flag.Bool("replot", false, "write the page of the soak that is there, without another")
	flag.Parse()
	if flag.NArg() > 0 {
		return fmt.Errorf("no argument is taken, and %q was given", flag.Arg(0))
	}
	file := filepath.Join(*out, "soak.json")
	if *replot {
		text, err := os.ReadFile(file)
		if err != nil {
			return fmt.Errorf("%w; make a soak first", err)
		}
		var r soak.Result
		if err := json.Unmarshal(text, &r); err != nil {
			return fmt.Errorf("%s: %w; make another soak", file, err)
		}
		return publish(r, *out, *page)
	}
	if err := os.RemoveAll(*out); err != nil {
		return err
	}
	if err := os.MkdirAll(*out, 0o755); err != nil {
		return err
	}
	debug.SetGCPercent(50) // as waycall has it
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		return err
	}
	first, err := whisper.Open(filepath.Join("models", "tiny.en-waycall-q8_0.bin"), *threads)
	if err != nil {
		return err
	}
	defer first.Close()
	second, err := sphinx.Open(g.Lexicon())
	if err != nil {
		return err
	}
	defer second.Close()
	third, err := whisper.Open(filepath.Join("models", "tiny.en-waycall-other-q8_0.bin"), *threads)
	if err != nil {
		return err
	}
	defer third.Close()
	voice, err := espeak.Open(0)
	if err != nil {
		return err
	}
	enough := make(chan os.Signal, 1)
	signal.Notify(enough, os.Interrupt) // ends the day early, and it is judged like any other
	begun := time.Now()
	r, err := soak.Run(context.Background(), soak.Plan{
		Testdata: "testdata", Folder: *out, Hours: *hours, Phrases: *phrases, Seed: *seed, Trouble: *trouble,
		Enough: enough,
		Ear:    hear.New(g, first, second).WithThird(third), Voice: voice,
		Tell: func(m soak.Minute) {
			if int(m.At)%10 == 0 {
				fmt.Printf("%3.0f min, %4.1f times real time: %4d phrases, %4d readings, %3.0f MiB (%.0f of Go), %d goroutines, %d files, %.0f MB, hearing %.0f ms of the processor\n",
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
	if err := publish(r, *out, *page); err != nil {
		return err
	}
	if !r.Met() {
		return errors.New("soak: a bar was not met; see above")
	}
	return nil
}

// publish writes the plots, and the page if one is wanted, and prints the summary.
func publish(r soak.Result, out, page string) error {
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
	fmt.Print(r.Text())
	return nil
}
