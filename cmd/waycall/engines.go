package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
	"golang.org/x/sys/cpu"

	"waycall/grammar"
	"waycall/internal/hear"
	"waycall/internal/hear/engines"
	"waycall/internal/hear/whisper"
	"waycall/internal/phrase"
)

// earFlags are the flags of every command that hears.
type earFlags struct {
	model   string
	threads int
}

func (f *earFlags) add(cmd *cobra.Command) {
	textSetting(cmd, &f.model, "model")
	numberSetting(cmd, &f.threads, "threads")
}

// modelPath finds the speech model: the setting, or the one that came with waycall.
func (f *earFlags) modelPath() string {
	if f.model != "" {
		return f.model
	}
	return engines.ModelPath()
}

// processorFits returns an error where the packaged program would crash: its
// recogniser is compiled for processors with AVX2, FMA and F16C, which PCs have had
// since 2013 or so (common practice, no published source). One built from source is
// compiled for the machine that it is built on.
func processorFits() error {
	if version != "" && runtime.GOARCH == "amd64" && !(cpu.X86.HasAVX2 && cpu.X86.HasFMA) {
		return errors.New("this processor lacks AVX2 or FMA, which the packaged program needs; build waycall from source on this machine")
	}
	return nil
}

// open loads the grammar and both witnesses. The function it returns frees
// them.
func (f *earFlags) open() (*hear.Ear, *phrase.Grammar, func(), error) { return f.openNamed("phrases") }

// openNamed is open for another grammar.
func (f *earFlags) openNamed(name string) (*hear.Ear, *phrase.Grammar, func(), error) {
	if err := processorFits(); err != nil {
		return nil, nil, nil, err
	}
	// A small machine has little memory and much time between two phrases. Set so,
	// a session takes 40 MiB less, for a twentieth more of the processor.
	debug.SetGCPercent(50)
	g, err := phrase.LoadNamed(grammar.Files, name)
	if err != nil {
		return nil, nil, nil, err
	}
	for _, model := range f.models() {
		if err := accepted(model); err != nil {
			return nil, nil, nil, err
		}
	}
	ear, shut, err := engines.Open(g, f.modelPath(), f.threads)
	return ear, g, shut, err
}

// models are the files of the models that hear.
func (f *earFlags) models() []string {
	all := []string{f.modelPath()}
	if other, own := engines.Third(all[0]); own {
		if _, err := os.Stat(other); err == nil {
			all = append(all, other)
		}
	}
	return all
}

// accepted refuses a model that has no sum beside it: where a number in it has changed,
// it hears something else, and nothing but the sum tells. What else is wrong with a
// model is told when it is opened.
func accepted(model string) error {
	if _, err := os.Stat(whisper.SumFile(model)); !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	sum, err := whisper.Sum(model)
	if err != nil {
		return err
	}
	return fmt.Errorf("speech model %s has no sum beside it, so damage to it would not be found; its SHA-256 is %s: compare that with where you have the model from, and accept it once with waycall ready --accept-model, and --model as here",
		model, sum)
}

// accept writes the sums of models that have none beside them.
func (f *earFlags) accept() error {
	for _, model := range f.models() {
		if _, err := os.Stat(whisper.SumFile(model)); !errors.Is(err, fs.ErrNotExist) {
			continue
		}
		sum, err := whisper.Sum(model)
		if err != nil {
			return err
		}
		file, err := os.OpenFile(whisper.SumFile(model), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
		if err == nil {
			_, err = fmt.Fprintf(file, "%s  %s\n", sum, filepath.Base(model))
			err = errors.Join(err, file.Close())
		}
		if err != nil {
			return fmt.Errorf("sum of the speech model: %w; copy the model to a folder that you may write to, and name it with --model", err)
		}
	}
	return nil
}
