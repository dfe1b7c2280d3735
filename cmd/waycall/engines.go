package main

import (
	"errors"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
	"golang.org/x/sys/cpu"

	"waycall/grammar"
	"waycall/internal/hear"
	"waycall/internal/hear/engines"
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
	ear, shut, err := engines.Open(g, f.modelPath(), f.threads)
	return ear, g, shut, err
}
