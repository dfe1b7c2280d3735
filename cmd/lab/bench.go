package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/command"
	"waycall/internal/hear"
	"waycall/internal/lab/bench"
	"waycall/internal/lab/noise"
	"waycall/internal/lab/rivals"
	"waycall/internal/phrase"
	"waycall/internal/screen"
	"waycall/internal/session"
)

// benchOptions are the flags of lab bench.
type benchOptions struct {
	ear      earFlags
	trial    trialFlags
	manifest string
	limit    int
	save     string
	compare  bool
	stream   bool
	asJSON   bool
}

func newBench() *cobra.Command {
	var o benchOptions
	cmd := &cobra.Command{
		Use:   "bench --manifest FILE",
		Short: "Measure hearing against a labelled set of phrases",
		Long: `Hears every phrase of a labelled set (a manifest.jsonl with its sound files
beside it), with no board and no due test, and counts how many were right, asked
about, ignored or wrong, and how long each took.

The sound may be made harder first, in any combination: site noise of our own
making, another pace or level, a narrow band, pauses, false starts. Noise at 10 dB
means that the speech, while somebody speaks, lies 10 dB above the noise over the
same stretch. The same --seed gives the same sound.`,
		Example: `  lab bench --manifest set/manifest.jsonl --noise site@10
  lab bench --manifest set/manifest.jsonl --speed 1.2 --noise fan@20 --noise hum@10 --json
  lab bench --manifest set/manifest.jsonl --level 0 --band --save results.jsonl`,
		Args: command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.trial.levelled = cmd.Flags().Changed("level")
			return runBench(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	o.ear.add(cmd, runtime.NumCPU())
	o.trial.add(cmd)
	cmd.Flags().StringVar(&o.manifest, "manifest", "", "manifest.jsonl of the labelled set")
	cmd.Flags().IntVar(&o.limit, "limit", 0, "hear only this many phrases, spread over the set")
	cmd.Flags().StringVar(&o.save, "save", "", "keep what came of each phrase in this file, as JSON lines")
	cmd.Flags().BoolVar(&o.compare, "compare", false, "hear each phrase by the usual other ways, too, and compare")
	cmd.Flags().BoolVar(&o.stream, "stream", false, "hear in real time, as from a microphone; times count from the end of the pause")
	cmd.Flags().BoolVar(&o.asJSON, "json", false, "print the summary as JSON")
	return cmd
}

func runBench(ctx context.Context, w io.Writer, o benchOptions) error {
	if o.manifest == "" {
		return command.UsageError{Err: fmt.Errorf("--manifest is missing; name the manifest.jsonl of a labelled set")}
	}
	if o.stream && o.compare {
		return command.UsageError{Err: errors.New("--stream and --compare exclude each other; run them one after the other")}
	}
	set, err := bench.OpenSet(o.manifest, o.limit)
	if err != nil {
		return err
	}
	t, err := o.trial.read(set)
	if err != nil {
		return err
	}
	e, g, closeEar, err := o.ear.open()
	if err != nil {
		return err
	}
	defer closeEar()
	if err := e.Prepare(phrase.Scope{}); err != nil {
		return err
	}
	ears := []bench.Ear{ownEar(e, o.ear)}
	if o.stream {
		ears = []bench.Ear{streamed(ctx, e, o.ear)}
	}
	if o.compare {
		others, closeOthers, err := rivals.Open(g, rivals.In(projectRoot()))
		if err != nil {
			return err
		}
		defer closeOthers()
		for _, m := range others {
			ears = append(ears, cutOut(m.Ear()))
		}
	}
	run := bench.Run{
		Set: set.Name, Condition: t.Condition, Join: t.Join, Streamed: o.stream, Seed: t.Seed, Limit: o.limit,
		Date: time.Now().UTC().Format(time.RFC3339), Machine: machine(),
	}
	for _, e := range ears {
		run.Methods, run.Notes = append(run.Methods, e.Name), append(run.Notes, e.Note)
	}
	results, err := tryAndKeep(ctx, g, set, t, ears, &run, o.save)
	if err != nil {
		return err
	}
	if o.compare {
		return printComparison(w, run, results, o.asJSON)
	}
	return printSummary(w, run, results, o.asJSON)
}

// printComparison prints how the ears stand beside each other.
func printComparison(w io.Writer, run bench.Run, results []bench.Result, asJSON bool) error {
	methods := bench.Compare(run, results)
	if asJSON {
		return screen.Print(w, struct {
			Run     bench.Run        `json:"run"`
			Name    string           `json:"condition"`
			Methods []bench.Compared `json:"methods"`
			Better  []string         `json:"better"`
		}{run, run.Title(), methods, bench.Better(methods)})
	}
	bench.WriteComparison(w, methods)
	return nil
}

// printSummary prints what came of one ear.
func printSummary(w io.Writer, run bench.Run, results []bench.Result, asJSON bool) error {
	s := bench.Summarise(results)
	s.PeakMiB = run.PeakMiB
	if asJSON {
		return screen.Print(w, struct {
			Run  bench.Run `json:"run"`
			Name string    `json:"condition"`
			bench.Summary
		}{run, run.Title(), s})
	}
	s.Write(w)
	return nil
}

// tryAndKeep hears the set, shows how far it has come, and keeps the results in a
// file if one is named.
func tryAndKeep(ctx context.Context, g *phrase.Grammar, set bench.Set, t bench.Trial, ears []bench.Ear, run *bench.Run, save string) ([]bench.Result, error) {
	var keep *bench.Writer
	if save != "" {
		var err error
		if keep, err = bench.Create(save, *run); err != nil {
			return nil, err
		}
		defer keep.Close()
	}
	bar := newProgress("phrases", len(set.Items)*len(ears))
	defer bar.done()
	var results []bench.Result
	err := bench.Try(ctx, g, set, t, ears, func(r bench.Result) error {
		bar.step()
		results = append(results, r)
		if keep != nil {
			return keep.Add(r)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(results) == 0 {
		return nil, errors.New("nothing was heard: no phrase of the set can be joined with another; leave --join out")
	}
	run.PeakMiB = command.PeakMiB()
	if keep != nil {
		err = keep.Finish(*run)
	}
	return results, err
}

// ownEar is waycall's own ear as the bench takes it.
func ownEar(e *hear.Ear, f earFlags) bench.Ear {
	return bench.Ear{
		Name: "waycall",
		Note: fmt.Sprintf("%s, %d threads", filepath.Base(f.model), f.threads),
		Hear: func(sound []float32) (bench.Answer, error) {
			h, _, err := session.HearClip(e, phrase.Scope{}, sound)
			return answer(h), err
		},
	}
}

// streamed is waycall's own ear as a microphone would feed it. Where a pause makes
// several phrases of the sound, the longest counts.
func streamed(ctx context.Context, e *hear.Ear, f earFlags) bench.Ear {
	own := ownEar(e, f)
	own.Hear = func(sound []float32) (bench.Answer, error) {
		found, err := session.StreamClip(ctx, e, phrase.Scope{}, sound, audio.Settings{})
		if err != nil || len(found) == 0 {
			return answer(hear.Heard{Outcome: hear.None, Confidence: -1}), err
		}
		longest := slices.MaxFunc(found, func(a, b session.Streamed) int { return cmp.Compare(len(a.Phrase.Sound), len(b.Phrase.Sound)) })
		a := answer(longest.Heard)
		a.Took = longest.Timing.Hearing
		return a, nil
	}
	return own
}

// cutOut gives an ear the phrase as waycall's endpointing cuts it out of the sound,
// as waycall's own ear hears it, so that the comparison is of hearing; or the whole
// sound where the endpointing finds no phrase.
func cutOut(e bench.Ear) bench.Ear {
	whole := e.Hear
	e.Hear = func(sound []float32) (bench.Answer, error) {
		if p := audio.Trim(sound, audio.Settings{}); len(p.Sound) > 0 && !p.Truncated {
			sound = p.Sound
		}
		return whole(sound)
	}
	return e
}

// projectRoot is the folder that scripts/setup has filled: above that of the
// program if it has a models folder, else the current one.
func projectRoot() string {
	if exe, err := os.Executable(); err == nil {
		root := filepath.Dir(filepath.Dir(exe))
		if _, err := os.Stat(filepath.Join(root, "models")); err == nil {
			return root
		}
	}
	return "."
}

// answer is what the bench counts of what was heard.
func answer(h hear.Heard) bench.Answer {
	best := h.Best()
	return bench.Answer{
		ForUs: h.Outcome == hear.Reading || h.Outcome == hear.Command,
		Words: best.Text, Meaning: best.Meaning, Sure: h.Agreed,
		Confidence: h.Confidence, Evidence: h.Evidence,
		Witnesses: h.Words, Scores: h.Scores,
	}
}

// trialFlags are the flags that make the sound harder.
type trialFlags struct {
	noise    []string
	talk     string
	speed    float64
	level    float64
	pause    time.Duration
	seed     uint64
	c        noise.Condition
	levelled bool // --level was given
	twoAtOne bool
}

func (f *trialFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringArrayVar(&f.noise, "noise", nil, "noise and its ratio in dB, such as site@10; may be given more than once; kinds: "+kindsOfNoise())
	flags.StringVar(&f.talk, "talk", "", "manifest.jsonl whose phrases that are not for us make the babble (default: those of the set)")
	flags.Float64Var(&f.speed, "speed", 1, "pace of the speech, 0.5 to 2; its pitch stays")
	flags.Float64Var(&f.level, "level", 0, "level of the speech in dBFS, -60 to 0, clipped at full scale (default: as it is)")
	flags.BoolVar(&f.c.Band, "band", false, "300 to 3400 Hz by way of 8 kHz, as from a telephone")
	flags.BoolVar(&f.c.MuLaw, "mu-law", false, "with --band: coded in 8 bits")
	flags.DurationVar(&f.pause, "pause", 0, "a silence within the phrase, of 400ms or as given with =")
	flags.Lookup("pause").NoOptDefVal = "400ms"
	flags.BoolVar(&f.c.Reverb, "reverb", false, "spoken into a cupboard with hard walls")
	flags.BoolVar(&f.c.FalseStart, "false-start", false, "the first 300 ms, broken off, before each phrase")
	flags.BoolVar(&f.twoAtOne, "join", false, "each phrase in one breath with another")
	flags.Uint64Var(&f.seed, "seed", 1, "seed of everything random")
}

func kindsOfNoise() string {
	var names []string
	for _, k := range noise.Kinds() {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

// read makes a trial of the flags.
func (f *trialFlags) read(set bench.Set) (bench.Trial, error) {
	t := bench.Trial{Condition: f.c, Join: f.twoAtOne, Seed: f.seed}
	c := &t.Condition
	c.Speed, c.Pause = f.speed, f.pause
	if c.Speed == 1 {
		c.Speed = 0 // left as it is
	} else if c.Speed == 0 {
		return t, command.UsageError{Err: errors.New("--speed is 0; give 0.5 to 2")}
	}
	if f.levelled {
		c.Levelled, c.Level = true, f.level
	}
	babble := false
	for _, s := range f.noise {
		a, err := noise.ParseNoise(s)
		if err != nil {
			return t, command.UsageError{Err: err}
		}
		c.Noise = append(c.Noise, a)
		babble = babble || a.Kind == noise.Babble || a.Kind == noise.Site
	}
	if err := c.Check(); err != nil {
		return t, command.UsageError{Err: err}
	}
	if !babble {
		return t, nil
	}
	var err error
	if f.talk != "" {
		if set, err = bench.OpenSet(f.talk, 0); err != nil {
			return t, fmt.Errorf("--talk: %w", err)
		}
	}
	if t.Talk, err = set.Talk(); err != nil {
		return t, fmt.Errorf("talk for babble: %w", err)
	}
	if len(t.Talk) == 0 {
		return t, fmt.Errorf("noise: no talk in the set %s to make babble of; name a set with phrases of the kind none with --talk", set.Name)
	}
	return t, nil
}

// machine says what is measured on, without its name.
func machine() string {
	model := runtime.GOARCH
	if f, err := os.Open("/proc/cpuinfo"); err == nil {
		defer f.Close()
		for lines := bufio.NewScanner(f); lines.Scan(); {
			if key, value, ok := strings.Cut(lines.Text(), ":"); ok && strings.TrimSpace(key) == "model name" {
				model = strings.TrimSpace(value)
				break
			}
		}
	}
	return fmt.Sprintf("%s, %d cores", model, runtime.NumCPU())
}
