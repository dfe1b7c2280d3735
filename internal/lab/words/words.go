// Package words measures which command words are heard surely and what each is
// confused with, so that the words of the grammar can be chosen by figures.
// scripts/lab/confusion runs its steps one after the other.
//
// The words are every command of the grammar that holds no number, and the words
// that were weighed for commands (rule <weighed> of models/adapt/ahead.gram). Each
// is heard in quiet and in the noise of a site by each witness alone: the adapted
// model, decoded freely, and pocketsphinx, held to all of the words.
package words

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/lab/bench"
	"waycall/internal/lab/noise"
	"waycall/internal/phrase"
)

// Options say where the words are and what hears them.
type Options struct {
	Ahead    string // folder of ahead.gram
	Manifest string // manifest.jsonl of the rendered words
	Model    string // speech model
	To       string // folder for what was heard
}

// List writes the words, one a line, to be rendered.
func List(out io.Writer, o Options) error {
	_, words, err := load(o)
	if err != nil {
		return err
	}
	for _, w := range words {
		fmt.Fprintln(out, w.Text)
	}
	return nil
}

// Hear has both witnesses hear the rendered words, in quiet and in noise, and keeps
// what they heard.
func Hear(ctx context.Context, o Options) error {
	g, words, err := load(o)
	if err != nil {
		return err
	}
	return hearAll(ctx, g, words, o)
}

// Table writes the page of what was heard and kept in files.
func Table(out io.Writer, o Options, files []string) error {
	g, words, err := load(o)
	if err != nil {
		return err
	}
	kept, err := bench.LoadFiles(files)
	if err != nil {
		return err
	}
	return writeTable(out, g, words, kept)
}

// load loads the grammar and lists the words.
func load(o Options) (*phrase.Grammar, []word, error) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		return nil, nil, err
	}
	words, err := weighed(g, os.DirFS(o.Ahead))
	return g, words, err
}

// draws is how many phrases are made up to meet every one without a number: the
// rarest comes about once in 2,000.
const draws = 60000

// weighed lists the words: the grammar's first, then those of ahead.gram, each in
// the order of the alphabet.
func weighed(g *phrase.Grammar, ahead fs.FS) ([]word, error) {
	known, err := drawn(grammar.Files, "phrases", "phrase", func(text string) bool {
		m, ok := g.Meaning(text)
		// A command with its reason is two phrases, each weighed by itself.
		return ok && m.Command != "" && m.Way == 0 && m.Board == 0 && !m.HasValue() &&
			(m.Reason == "" || m.Command == phrase.Reason)
	})
	if err != nil {
		return nil, err
	}
	others, err := drawn(phrase.Over(ahead, grammar.Files), "ahead", "weighed", func(text string) bool {
		_, ok := g.Meaning(text)
		return !ok
	})
	if err != nil {
		return nil, err
	}
	var words []word
	for _, text := range known {
		m, _ := g.Meaning(text)
		words = append(words, word{Text: text, Known: true, For: m.Command})
	}
	for _, text := range others {
		words = append(words, word{Text: text, For: wouldBe[text]})
	}
	return words, nil
}

// drawn lists the phrases of a rule that are wanted.
func drawn(files fs.FS, name, rule string, want func(string) bool) ([]string, error) {
	sampler, err := phrase.NewSampler(files, name, nil)
	if err != nil {
		return nil, err
	}
	found := map[string]bool{} // whether it is wanted
	rng := rand.New(rand.NewPCG(1, 0))
	for range draws {
		text, err := sampler.Phrase(name+"."+rule, rng)
		if err != nil {
			return nil, err
		}
		if _, seen := found[text]; !seen {
			found[text] = want(text)
		}
	}
	maps.DeleteFunc(found, func(_ string, wanted bool) bool { return !wanted })
	return slices.Sorted(maps.Keys(found)), nil
}

// automaton accepts the words and nothing else.
func automaton(words []word) *phrase.Automaton {
	a := &phrase.Automaton{States: []phrase.State{{}}}
	for _, w := range words {
		at := 0
		for _, part := range strings.Fields(w.Text) {
			arcs := a.States[at].Arcs
			i, found := slices.BinarySearchFunc(arcs, part, func(arc phrase.Arc, part string) int { return strings.Compare(arc.Word, part) })
			if !found {
				a.States = append(a.States, phrase.State{})
				a.States[at].Arcs = slices.Insert(arcs, i, phrase.Arc{Word: part, To: len(a.States) - 1})
			}
			at = a.States[at].Arcs[i].To
		}
		a.States[at].Final = true
	}
	return a
}

// noiseSeeds are how often each word is heard in noise: each time in other noise.
var noiseSeeds = []uint64{1, 2}

// noiseDB is how far the noise lies below the speech, dB.
const noiseDB = 5

// hearAll has both witnesses hear the rendered words, in quiet and in noise, and
// keeps what they heard.
func hearAll(ctx context.Context, g *phrase.Grammar, words []word, o Options) error {
	set, err := bench.OpenSet(o.Manifest, 0)
	if err != nil {
		return err
	}
	talk, err := set.Talk()
	if err != nil {
		return err
	}
	set.Items = slices.DeleteFunc(set.Items, func(it bench.Item) bool { return it.Want.Kind != "command" })
	sum, err := sumOf(o.Model)
	if err != nil {
		return err
	}
	lexicon := maps.Clone(g.Lexicon())
	for _, w := range words {
		for _, part := range strings.Fields(w.Text) {
			if _, ok := lexicon[part]; !ok {
				lexicon[part] = nil // as the recogniser's dictionary says
			}
		}
	}
	trials := []bench.Trial{{}}
	for _, seed := range noiseSeeds {
		trials = append(trials, bench.Trial{
			Condition: noise.Condition{Noise: []noise.Added{{Kind: noise.Site, SNR: noiseDB}}},
			Talk:      talk, Seed: seed,
		})
	}
	// Each condition has witnesses of its own, so that all are heard at once.
	allowed := automaton(words)
	errs := make([]error, len(trials))
	var wait sync.WaitGroup
	for i, trial := range trials {
		wait.Go(func() {
			note := fmt.Sprintf("%s (%s)", filepath.Base(o.Model), sum)
			errs[i] = hearOnce(ctx, g, set, trial, allowed, o.Model, note, lexicon, filepath.Join(o.To, fmt.Sprintf("%d.jsonl", i)))
		})
	}
	wait.Wait()
	return errors.Join(errs...)
}

// hearOnce hears the set in one condition and keeps what was heard in a file.
func hearOnce(ctx context.Context, g *phrase.Grammar, set bench.Set, trial bench.Trial, allowed *phrase.Automaton, model, note string, lexicon phrase.Lexicon, file string) error {
	first, err := whisper.Open(model, 1)
	if err != nil {
		return err
	}
	defer first.Close()
	second, err := sphinx.Open(lexicon)
	if err != nil {
		return err
	}
	defer second.Close()
	ear := witnesses(first, second, allowed)
	run := bench.Run{Set: set.Name, Condition: trial.Condition, Seed: trial.Seed, Methods: []string{ear.Name}, Notes: []string{note}}
	keep, err := bench.Create(file, run)
	if err != nil {
		return err
	}
	defer keep.Close()
	n := 0
	err = bench.Try(ctx, g, set, trial, []bench.Ear{ear}, func(r bench.Result) error {
		if n++; n%200 == 0 || n == len(set.Items) {
			fmt.Fprintf(os.Stderr, "%s: %d of %d heard\n", run.Title(), n, len(set.Items))
		}
		return keep.Add(r)
	})
	if err != nil {
		return err
	}
	return keep.Finish(run)
}

// witnesses is an ear that judges nothing and tells what each witness heard.
func witnesses(first *whisper.Model, second *sphinx.Recogniser, a *phrase.Automaton) bench.Ear {
	return bench.Ear{Name: "witnesses", Hear: func(sound []float32) (bench.Answer, error) {
		if p := audio.Trim(sound, audio.Settings{}); len(p.Sound) > 0 && !p.Truncated {
			sound = p.Sound
		}
		if err := first.Listen(sound); err != nil {
			return bench.Answer{}, err
		}
		free, err := first.Free()
		if err != nil {
			return bench.Answer{}, err
		}
		if !free.Ended {
			free.Words += " ..." // it ran on
		}
		held, err := second.Hear(a, sound)
		return bench.Answer{Confidence: -1, Witnesses: map[string]string{hear.WhisperFree: free.Words, hear.Sphinx: held.Words}}, err
	}}
}

// sumOf returns the beginning of the SHA-256 of a file.
func sumOf(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("model: %w; run scripts/setup", err)
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("model: %w; run scripts/setup", err)
	}
	return fmt.Sprintf("SHA-256 %.6x...", h.Sum(nil)), nil
}
