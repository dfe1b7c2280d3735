package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"

	"waycall/grammar"
	"waycall/internal/hear"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/phrase"
)

// defaultModel is what scripts/setup builds.
const (
	defaultModel = "tiny.en-waycall-q8_0.bin"
	otherModel   = "tiny.en-waycall-other-q8_0.bin" // the third witness
)

// earFlags are the flags of every command that hears.
type earFlags struct {
	model   string
	threads int
}

func (f *earFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.model, "model", "", "speech model, a ggml-*.bin of whisper (default: $WAYCALL_MODEL, else the one that scripts/setup built)")
	cmd.Flags().IntVar(&f.threads, "threads", runtime.NumCPU(), "threads for the speech model")
}

// modelPath finds the speech model: the flag, the environment, then models/
// beside the folder of the program and below the current one.
func (f *earFlags) modelPath() string {
	if f.model != "" {
		return f.model
	}
	if m := os.Getenv("WAYCALL_MODEL"); m != "" {
		return m
	}
	here := filepath.Join("models", defaultModel)
	if exe, err := os.Executable(); err == nil {
		beside := filepath.Join(filepath.Dir(filepath.Dir(exe)), "models", defaultModel)
		if _, err := os.Stat(beside); err == nil {
			return beside
		}
	}
	return here
}

// open loads the grammar and both witnesses. The function it returns frees
// them.
func (f *earFlags) open() (*hear.Ear, *phrase.Grammar, func(), error) { return f.openNamed("phrases") }

// openNamed is open for another grammar.
func (f *earFlags) openNamed(name string) (*hear.Ear, *phrase.Grammar, func(), error) {
	if f.threads < 1 || f.threads > 64 {
		return nil, nil, nil, usageError{fmt.Errorf("--threads is %d; give 1 to 64", f.threads)}
	}
	g, err := phrase.LoadNamed(grammar.Files, name)
	if err != nil {
		return nil, nil, nil, err
	}
	first, err := whisper.Open(f.modelPath(), f.threads)
	if err != nil {
		return nil, nil, nil, err
	}
	second, err := sphinx.Open(g.Lexicon())
	if err != nil {
		first.Close()
		return nil, nil, nil, err
	}
	ear := hear.New(g, first, second)
	shut := func() { second.Close(); first.Close() }
	// The third witness belongs to the adapted model and stands beside it; with
	// another model named, or where it was not built, two witnesses hear.
	other := filepath.Join(filepath.Dir(f.modelPath()), otherModel)
	if _, err := os.Stat(other); err != nil || filepath.Base(f.modelPath()) != defaultModel {
		return ear, g, shut, nil
	}
	third, err := whisper.Open(other, f.threads)
	if err != nil {
		shut()
		return nil, nil, nil, err
	}
	return ear.WithThird(third), g, func() { third.Close(); shut() }, nil
}
