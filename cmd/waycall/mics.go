package main

import (
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"waycall/internal/advice"
	"waycall/internal/audio/mic"
	"waycall/internal/command"
	"waycall/internal/screen"
)

func newMics() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "mics",
		Short: "List the microphones",
		Args:  command.Args(0, 0, "no arguments"),
		RunE:  func(cmd *cobra.Command, args []string) error { return runMics(streamsOf(cmd), asJSON) },
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func runMics(std streams, asJSON bool) error {
	devices, err := mic.List()
	if err != nil {
		return err
	}
	if asJSON {
		return screen.Print(std.out, devices)
	}
	if len(devices) == 0 {
		return advice.New("no microphone", "plug in a headset")
	}
	w := tabwriter.NewWriter(std.out, 0, 0, 2, ' ', 0)
	for _, d := range devices {
		mark := ""
		if d.Default {
			mark = "used when none is named"
		}
		fmt.Fprintf(w, "%s\t%d Hz\t%s\n", d.Name, d.Rate, mark)
	}
	return w.Flush()
}
