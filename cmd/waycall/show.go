package main

import (
	"context"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/overview"
	"waycall/internal/screen"
)

// showOptions are the flags of waycall show.
type showOptions struct {
	data dataFlag
	json bool
}

func newShow() *cobra.Command {
	var o showOptions
	cmd := &cobra.Command{
		Use:   "show JOB",
		Short: "Show a job: its boards, what is recorded and what is due",
		Args:  command.Args(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runShow(cmd.Context(), streamsOf(cmd), o, args[0])
		},
	}
	o.data.add(cmd)
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func runShow(ctx context.Context, std streams, o showOptions, job string) error {
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	known, err := folder.ReadTimed(ctx, job)
	if err != nil {
		return err
	}
	v := overview.Of(known)
	if o.json {
		noteFound(known.Found)
		return screen.Print(std.out, v)
	}
	return v.Write(std.out)
}
