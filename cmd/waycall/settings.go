package main

import (
	"fmt"
	"os"
	"strconv"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/settings"
)

// textSetting gives a command the flag of a setting; applySettings fills it.
func textSetting(cmd *cobra.Command, to *string, name string) {
	s := settings.Find(name)
	cmd.Flags().StringVar(to, name, s.Default, s.About)
}

func numberSetting(cmd *cobra.Command, to *int, name string) {
	s := settings.Find(name)
	n, err := strconv.Atoi(s.Default)
	if err != nil {
		panic(err) // a mistake in the table of settings; its test says so, too
	}
	cmd.Flags().IntVar(to, name, n, s.About)
	if s.Default != s.Unset {
		// A default that depends on the machine is not shown as a figure: the manual
		// pages are made on another one.
		f := cmd.Flags().Lookup(name)
		f.DefValue, f.Usage = "0", s.About+" (default: "+s.Unset+")"
	}
}

func durationSetting(cmd *cobra.Command, to *time.Duration, name string) {
	s := settings.Find(name)
	d, err := time.ParseDuration(s.Default)
	if err != nil {
		panic(err)
	}
	cmd.Flags().DurationVar(to, name, d, s.About)
}

// applySettings checks the settings that a command takes as flags, and sets those
// flags that were not given from the environment and the file of settings.
func applySettings(cmd *cobra.Command) error {
	all, err := resolve(cmd)
	if err != nil {
		return usageError{err}
	}
	for _, v := range all {
		// A flag, too, as ~ may stand for the home folder in it.
		if v.Origin != settings.Default {
			if err := cmd.Flags().Set(v.Name, v.Value); err != nil {
				return usageError{fmt.Errorf("%s is %q: %w; correct it", v.Where, v.Value, err)}
			}
		}
	}
	return nil
}

// resolve returns the settings that a command takes, and where each comes from.
func resolve(cmd *cobra.Command) ([]settings.Value, error) {
	var names []string
	for _, s := range settings.All {
		if cmd.Flags().Lookup(s.Name) != nil {
			names = append(names, s.Name)
		}
	}
	if len(names) == 0 {
		return nil, nil // such as help, which must work whatever the file says
	}
	path, err := settings.Where()
	if err != nil {
		return nil, err
	}
	file, err := settings.Read(path)
	if err != nil {
		return nil, err
	}
	return settings.Resolve(names, settings.Source{
		Flag: func(name string) (string, bool) {
			f := cmd.Flags().Lookup(name)
			return f.Value.String(), f.Changed
		},
		Env: os.Getenv, File: file, Path: path, Home: settings.Home(),
	})
}

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
		Args:    wantArgs(0, 0, "no arguments"),
		// In place of that of the root command: here a flag that was set from the
		// environment must not look like one that was given.
		PersistentPreRunE: func(cmd *cobra.Command, args []string) (err error) {
			if all.Settings, err = resolve(cmd); err != nil {
				return usageError{err}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
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
				return printJSON(cmd.OutOrStdout(), all)
			}
			return all.write(cmd)
		},
	}
	for _, s := range settings.All {
		textSetting(cmd, new(string), s.Name)
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// found returns what is used where a setting is not given.
func found(name string) string {
	switch name {
	case "data":
		if dir, err := new(dataFlag).folder(); err == nil {
			return dir
		}
	case "model":
		return new(earFlags).modelPath()
	}
	return ""
}

func (l settingsList) write(cmd *cobra.Command) error {
	w := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
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
		fmt.Fprintf(cmd.OutOrStdout(), "\nThere is no file of settings yet; it would be %s\n", l.File)
	}
	for _, name := range l.Unknown {
		fmt.Fprintf(cmd.OutOrStdout(), "%s is set and is no setting of waycall; unset it, or correct its name\n", name)
	}
	return nil
}
