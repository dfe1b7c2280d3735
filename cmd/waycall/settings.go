package main

import (
	"fmt"
	"io"
	"os"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/screen"
	"waycall/internal/settings"
)

// settingsList is what waycall settings shows.
type settingsList struct {
	File     string           `json:"file"`
	Exists   bool             `json:"exists"` // whether there is a file
	Settings []settings.Value `json:"settings"`
	Unknown  []string         `json:"unknown"` // variables that look like settings and are none
}

func newSettings() *cobra.Command {
	var (
		asJSON bool
		all    settingsList
	)
	cmd := &cobra.Command{
		Use:   "settings",
		Short: "Show what is set, and where each value comes from",
		Long: `Shows each setting with its value and where that comes from: a flag, else the
environment, else the file of settings, else the default. The file is
waycall/settings.yaml in your folder for settings (~/.config), one setting a line:

  mic: headset
  speech-rate: 150
  data: ~/jobs

In the environment a setting is WAYCALL_ and its name in capitals, with _ for -.
A name that is no setting, or a value that cannot be, is an error. With NO_COLOR
set, nothing is coloured.`,
		Example: "  waycall settings\n  WAYCALL_SPEECH_RATE=150 waycall settings --json",
		Args:    command.Args(0, 0, "no arguments"),
		// In place of that of the root command: here a flag that was set from the
		// environment must not look like one that was given.
		PersistentPreRunE: func(cmd *cobra.Command, args []string) (err error) {
			if all.Settings, err = resolve(cmd); err != nil {
				return command.UsageError{Err: err}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return runSettings(streamsOf(cmd), all, asJSON) },
	}
	for _, s := range settings.All {
		textSetting(cmd, new(string), s.Name)
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// runSettings shows settings that were resolved.
func runSettings(std streams, all settingsList, asJSON bool) error {
	var err error
	if all.File, err = settings.Where(); err != nil {
		return err
	}
	_, err = os.Stat(all.File)
	all.Exists = err == nil
	all.Unknown = append([]string{}, settings.Unknown(os.Environ())...)
	for i, v := range all.Settings {
		if v.Value == "" { // shown is what is used in its place, where there is something
			all.Settings[i].Value = found(v.Name)
		}
	}
	if asJSON {
		return screen.Print(std.out, all)
	}
	return all.write(std.out)
}

// found returns what is used where a setting is not given.
func found(name string) string {
	switch name {
	case "data":
		if dir, err := new(dataFlag).folder(); err == nil {
			return string(dir)
		}
	case "model":
		return new(earFlags).modelPath()
	}
	return ""
}

func (l settingsList) write(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, v := range l.Settings {
		value := v.Value
		if value == "" {
			value = "(" + settings.Find(v.Name).Unset + ")"
		}
		origin := string(v.Origin)
		if v.Where != "" {
			origin += ": " + v.Where
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", v.Name, value, origin)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if !l.Exists {
		fmt.Fprintf(out, "\nThere is no file of settings yet; it would be %s\n", l.File)
	}
	for _, name := range l.Unknown {
		fmt.Fprintf(out, "%s is set and is no setting of waycall; unset it, or correct its name\n", name)
	}
	return nil
}
