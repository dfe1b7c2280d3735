package soak

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"waycall/internal/english"
	"waycall/internal/lab/bench"
)

// plots are the pictures of a soak, by file name.
func (r Result) plots() map[string]func(*os.File) error {
	line := func(name string, of func(Minute) float64) bench.Series {
		s := bench.Series{Name: name}
		for _, m := range r.Minutes {
			if y := of(m); y > 0 {
				s.X, s.Y = append(s.X, m.At/60), append(s.Y, y)
			}
		}
		return s
	}
	draw := func(title, unit string, series ...bench.Series) func(*os.File) error {
		return func(f *os.File) error { return bench.PlotSeries(f, title, "hours of the session", unit, series) }
	}
	return map[string]func(*os.File) error{
		"memory.svg": draw("Memory", "MiB", line("resident", func(m Minute) float64 { return m.RSS }), line("of it in use by Go", func(m Minute) float64 { return m.Heap })),
		"handles.svg": draw("Goroutines and open files", "", line("goroutines", func(m Minute) float64 { return float64(m.Goroutines) }),
			line("open files", func(m Minute) float64 { return float64(m.Files) })),
		"database.svg": draw("The job on the disk", "MB", line("file and write-ahead log", func(m Minute) float64 { return m.Database })),
		"hearing.svg":  draw("Hearing a phrase, time of the processor", "ms", r.tenMinutes("p95", r.Hearing, 0.95, func(t Took) float64 { return t.CPU }), r.tenMinutes("p50", r.Hearing, 0.5, func(t Took) float64 { return t.CPU })),
		"storing.svg":  draw("Storing a phrase, on the clock", "ms", r.tenMinutes("p95", r.Storing, 0.95, func(t Took) float64 { return t.Wall }), r.tenMinutes("p50", r.Storing, 0.5, func(t Took) float64 { return t.Wall })),
	}
}

// tenMinutes is a quantile of every ten minutes.
func (r Result) tenMinutes(name string, all []Took, share float64, of func(Took) float64) bench.Series {
	s := bench.Series{Name: name}
	for from := 0.0; from < r.Hours*60; from += 10 {
		var some []Took
		for _, t := range all {
			if t.At >= from && t.At < from+10 {
				some = append(some, t)
			}
		}
		if len(some) > 0 {
			s.X, s.Y = append(s.X, (from+5)/60), append(s.Y, quantile(some, share, of))
		}
	}
	return s
}

// Plot writes the pictures into a folder.
func (r Result) Plot(folder string) error {
	for name, draw := range r.plots() {
		f, err := os.Create(filepath.Join(folder, name))
		if err != nil {
			return fmt.Errorf("soak: %w", err)
		}
		if err := draw(f); err != nil {
			f.Close()
			return fmt.Errorf("soak: %w", err)
		}
		if err := f.Close(); err != nil {
			return fmt.Errorf("soak: %w", err)
		}
	}
	return nil
}

// Text is the summary.
func (r Result) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%.2f h of session in %.0f s (%.1f times real time), %.0f s of the processor\n%s\n", r.Hours, r.Took, r.Hours*3600/r.Took, r.CPU, r.counted())
	for _, bar := range r.Bars {
		fmt.Fprintf(&b, "%s %s: %s (wanted %s)\n", map[bool]string{true: "met   ", false: "NOT MET"}[bar.Met], bar.What, bar.Got, bar.Want)
	}
	for _, p := range r.Audit.Problems {
		fmt.Fprintf(&b, "  %s\n", p)
	}
	return b.String()
}

func (r Result) counted() string {
	c := r.Counts
	return fmt.Sprintf("%d phrases to waycall, %d of them with a reading and %d of these out of order; %d sentences to somebody else, %d noises, %d silences, %d notes; "+
		"%d readings changed or dropped before they were confirmed, %d taken back after, %d ways tested again. "+
		"%s it read back something else or asked which was meant, %s it did not answer, %s it took talk or noise for a reading, which was rejected. "+
		"%d sessions: %d killed (%d of them with the plug pulled), %d ended by a microphone that failed; %d gaps in the sound.",
		c.Phrases, c.Values, c.OutOfOrder, c.Talk, c.Noises, c.Silences, c.Notes, c.Corrections, c.Scratched, c.Retests, english.Count(c.Misheard, "time"), english.Count(c.Unanswered, "time"), english.Count(c.Intruders, "time"),
		c.Sessions, c.Kills, c.PulledPlugs, c.Faults, c.Gaps)
}

// Page is the summary as Markdown, with the plots from a folder.
func (r Result) Page(plots string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `# A day of work

Made by `+"`scripts/lab/soak`"+`; do not edit. %.1f hours of session through the whole of waycall, %.1f times as fast as
they would pass (%.0f s on the clock, %.0f s of the processor): endpointing, both recognisers and their fusion, the
conversation, the log with its sound, and the voice. The speech is rendered, in three voices that no training heard.

Somebody who hears what waycall says, and knows nothing else, says the readings and keeps a ledger of those that were
read back rightly, confirmed and acknowledged. At the end the record, its sound and the schedule are held against it.

%s

| | wanted | measured | |
|---|---|---|---|
`, r.Hours, r.Hours*3600/r.Took, r.Took, r.CPU, r.counted())
	for _, bar := range r.Bars {
		fmt.Fprintf(&b, "| %s | %s | %s | %s |\n", bar.What, bar.Want, bar.Got, map[bool]string{true: "met", false: "**not met**"}[bar.Met])
	}
	a := r.Audit
	fmt.Fprintf(&b, "\n%d readings were confirmed and acknowledged, %d of them stand at the end and are on the schedule; %d events, %.0f MB with the sound.\n\n", a.Confirmed, a.Standing, a.Events, float64(a.Bytes)/1e6)
	for _, p := range a.Problems {
		fmt.Fprintf(&b, "- %s\n", p)
	}
	for _, name := range []string{"memory", "handles", "database", "hearing", "storing"} {
		fmt.Fprintf(&b, "![%s](%s/%s.svg)\n\n", name, plots, name)
	}
	return strings.TrimRight(b.String(), "\n") + "\n"
}
