package main

import (
	"context"
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/command"
	"waycall/internal/ready"
	"waycall/internal/screen"
)

// listenOptions are the flags of waycall listen.
type listenOptions struct {
	ear    earFlags
	mic    string
	file   string
	phrase string
	json   bool
}

func newListen() *cobra.Command {
	var o listenOptions
	cmd := &cobra.Command{
		Use:   "listen",
		Short: "Try the microphone with a phrase, and say whether it is good enough",
		Long: `Listens to the quiet for three seconds, then to a phrase that it asks for, and
tells the noise, the level of the speech, whether it is clipped, whether sound was
lost, and what was understood of the phrase; then whether the microphone is good
enough for a session, and if not, why and what to do. Stand as you will stand at
the board. Nothing is kept.

With --file it judges a recording of the phrase, with a second of quiet before it.

Exit code 0: good enough. 3: not good enough. 4: a session will do, but something
is to be looked into.`,
		Example: "  waycall listen\n  waycall listen --mic headset\n  waycall listen --file phrase.wav --json",
		Args:    command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runListen(cmd.Context(), streamsOf(cmd), o)
		},
	}
	o.ear.add(cmd)
	textSetting(cmd, &o.mic, "mic")
	cmd.Flags().StringVar(&o.file, "file", "", "judge this WAV or FLAC file in place of the microphone")
	cmd.Flags().StringVar(&o.phrase, "phrase", ready.TestPhrase, "the phrase that is said")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON; what to say goes to standard error")
	return cmd
}

func runListen(ctx context.Context, std streams, o listenOptions) error {
	if len(o.phrase) > 200 || strings.TrimSpace(o.phrase) == "" {
		return command.UsageError{Err: errors.New("--phrase is empty or longer than 200 letters; give a phrase of the grammar")}
	}
	// Before anything is asked of anybody: the recognisers may be missing.
	e, closeEar, err := o.ear.open(sessionGrammar)
	if err != nil {
		return err
	}
	defer closeEar()
	s := ready.NewSound(o.phrase)
	var sound audio.Clip
	if o.file != "" {
		s.Device = o.file
		if sound, err = audio.ReadFile(o.file); sound == nil {
			return err
		}
	} else if sound, err = s.Record(ctx, o.mic, std.err); err != nil {
		return err
	}
	if err := s.Judge(e, sound); err != nil {
		return err
	}
	if o.json {
		err = screen.Print(std.out, s)
	} else {
		err = s.Write(std.out)
	}
	switch {
	case err != nil:
		return err
	case s.State == ready.Missing:
		return foundError{exitFails, "not good enough; do as said above, then run waycall listen again"}
	case s.State == ready.Look:
		return foundError{exitDoubtful, "a session will do, but look into what is marked above"}
	}
	return nil
}
