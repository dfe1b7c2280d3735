package main

import (
	"cmp"
	"os"
	"runtime/debug"

	"github.com/spf13/cobra"

	"waycall/grammar"
	"waycall/internal/hear"
	"waycall/internal/hear/engines"
	"waycall/internal/phrase"
)

// earFlags are the flags of every command that hears as waycall does.
type earFlags struct {
	model   string
	threads int
}

// add gives a command the flags; threads is what it takes if none are named.
func (f *earFlags) add(cmd *cobra.Command, threads int) {
	cmd.Flags().StringVar(&f.model, "model", cmp.Or(os.Getenv("WAYCALL_MODEL"), engines.ModelPath()), "speech model, a ggml-*.bin of whisper")
	cmd.Flags().IntVar(&f.threads, "threads", threads, "threads for the speech model")
}

// open loads the grammar and the witnesses. The function it returns frees them.
func (f *earFlags) open() (*hear.Ear, *phrase.Grammar, func(), error) {
	debug.SetGCPercent(50) // as waycall has it
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		return nil, nil, nil, err
	}
	ear, shut, err := engines.Open(g, f.model, f.threads)
	return ear, g, shut, err
}
