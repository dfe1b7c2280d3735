package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/practice"
	"waycall/internal/screen"
)

// practiseOptions are the flags of waycall practise.
type practiseOptions struct {
	desk  deskFlags
	files []string
	json  bool
}

func newPractise() *cobra.Command {
	var o practiseOptions
	cmd := &cobra.Command{
		Use:   "practise",
		Short: "Practise ten readings of a made-up board, of which nothing is kept",
		Long: `Leads through ten readings of a made-up board, in about four minutes: the screen shows
what the instrument would, you say it, hear it read back, and confirm it. At the end it
says how each was heard, and what to try. Its record lies in a temporary folder, never
among the jobs, and is removed. Say "finish here" or press Ctrl-C to end before.`,
		Args: command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error { return runPractise(cmd.Context(), streamsOf(cmd), o) },
	}
	o.desk.add(cmd)
	cmd.Flags().StringArrayVar(&o.files, "file", nil, "hear a WAV or FLAC file in place of the microphone, and play nothing; again for the next phrase")
	cmd.Flags().BoolVar(&o.json, "json", false, "print how it was heard as JSON; what happens goes to standard error")
	return cmd
}

func runPractise(ctx context.Context, std streams, o practiseOptions) error {
	p := practice.Practice{Watch: screen.New(std.out)}
	if o.json {
		p.Watch = screen.New(std.err)
	}
	if len(o.files) > 0 {
		files, err := practice.NewFiles(o.files)
		if err != nil {
			return err
		}
		ear, done, err := o.desk.ear.open(sessionGrammar)
		if err != nil {
			return err
		}
		defer done()
		p.Source, p.Ear, p.Voice, p.Player = files, ear, files, files
	} else {
		d, err := o.desk.open(sessionGrammar, nil)
		if err != nil {
			return err
		}
		defer d.Close()
		d.tell(screen.SoundOf(p.Watch))
		p.Source, p.Ear, p.Voice, p.Player = d.source, d.ear, d.voice, d.player
	}
	result, err := p.Run(ctx)
	if o.json && len(result.Readings) > 0 {
		return errors.Join(err, screen.Print(std.out, result))
	}
	return errors.Join(err, result.Write(std.out))
}
