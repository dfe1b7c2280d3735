package main

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/cpu"

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
	textSetting(cmd, &f.model, "model")
	numberSetting(cmd, &f.threads, "threads")
}

// modelPath finds the speech model: the setting, then, beside the folder of the
// program, models/ as scripts/setup builds it and share/waycall/models/ as it is
// installed, then models/ below the current folder.
func (f *earFlags) modelPath() string {
	if f.model != "" {
		return f.model
	}
	if exe, err := os.Executable(); err == nil {
		if real, err := filepath.EvalSymlinks(exe); err == nil {
			exe = real
		}
		above := filepath.Dir(filepath.Dir(exe))
		for _, dir := range []string{filepath.Join(above, "models"), filepath.Join(above, "share", "waycall", "models")} {
			if _, err := os.Stat(filepath.Join(dir, defaultModel)); err == nil {
				return filepath.Join(dir, defaultModel)
			}
		}
	}
	return filepath.Join("models", defaultModel)
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
	path := f.modelPath()
	// With another model named, or where the third was not built, two witnesses hear.
	other, own := thirdOf(path)
	if _, err := os.Stat(other); err != nil {
		own = false
	}
	var (
		first, third *whisper.Model
		second       *sphinx.Recogniser
		all          errgroup.Group // they have nothing in common but the processor
	)
	all.Go(func() (err error) {
		first, err = whisper.Open(path, f.threads)
		return err
	})
	all.Go(func() (err error) {
		second, err = sphinx.Open(g.Lexicon())
		return err
	})
	if own {
		all.Go(func() (err error) {
			third, err = whisper.Open(other, f.threads)
			return err
		})
	}
	err = all.Wait()
	shut := func() {
		if third != nil {
			third.Close()
		}
		if second != nil {
			second.Close()
		}
		if first != nil {
			first.Close()
		}
	}
	if err != nil {
		shut()
		return nil, nil, nil, err
	}
	ear := hear.New(g, first, second)
	if third != nil {
		ear.WithThird(third)
	}
	return ear, g, shut, nil
}

// thirdOf returns the model of the third witness, which stands beside the first's at
// path, and whether that is waycall's own, to which alone it belongs.
func thirdOf(path string) (other string, own bool) {
	return filepath.Join(filepath.Dir(path), otherModel), filepath.Base(path) == defaultModel
}
