package main

import (
	"context"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/hear/engines"
	"waycall/internal/ready"
	"waycall/internal/screen"
)

// readyOptions are the flags of waycall ready.
type readyOptions struct {
	desk   deskFlags
	data   dataFlag
	copyTo string
	aloud  bool
	accept bool
	json   bool
}

func newReady() *cobra.Command {
	var o readyOptions
	cmd := &cobra.Command{
		Use:   "ready",
		Short: "Look whether this machine can run a session, and say what to do if not",
		Long: `Looks at what a session needs: microphone and loudspeaker, the voice, the
recognisers with their files, the clock, the folder for jobs with the room on its
disk, and the record of every job. It says what it found and what to do. It says
nothing about the installation under test or about its instruments.

A speech model that has no sum beside it, such as one that you had already, is not
used: nothing else tells of all damage. --accept-model writes the sum, once; look
first that it is the one given where the model comes from.

The loudspeaker is opened but heard only with --aloud. Files are looked at as at
the beginning of a session; waycall verify JOB reads all of a record.

Exit code 0: all is good. 3: something is missing. 4: nothing is missing, but
something is to be looked into.`,
		Example: "  waycall ready\n  waycall ready --aloud --mic headset",
		Args:    command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runReady(cmd.Context(), streamsOf(cmd), o)
		},
	}
	o.desk.add(cmd)
	cmd.Flags().BoolVar(&o.accept, "accept-model", false, "write the sum of a speech model that has none, which makes it one to be used")
	o.data.add(cmd)
	textSetting(cmd, &o.copyTo, "copy-to")
	cmd.Flags().BoolVar(&o.aloud, "aloud", false, "say a sentence through the loudspeaker, too")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func runReady(ctx context.Context, std streams, o readyOptions) error {
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	m := ready.Machine{
		Model: o.desk.ear.modelPath(), Threads: o.desk.ear.threads, Packaged: packaged(), Jobs: folder,
		Mic: o.desk.mic, Speaker: o.desk.speaker, Rate: o.desk.wpm, Bank: o.desk.bank(), CopyTo: o.copyTo, Aloud: o.aloud,
	}
	if o.accept {
		for _, model := range engines.Models(m.Model) {
			if err := engines.Accept(model); err != nil {
				return err
			}
		}
	}
	all := m.Look(ctx)
	if err := ctx.Err(); err != nil {
		return err
	}
	w := ready.Worst(all)
	if o.json {
		err = screen.Print(std.out, struct {
			State    ready.State     `json:"state"`
			Findings []ready.Finding `json:"findings"`
		}{w, all})
	} else {
		err = ready.Write(std.out, all)
	}
	switch {
	case err != nil:
		return err
	case w == ready.Missing:
		return foundError{exitFails, "not ready; do as said above, then run waycall ready again"}
	case w == ready.Look:
		return foundError{exitDoubtful, "nothing is missing, but look into what is marked above"}
	}
	return nil
}
