package main

// The flags that several commands take: those of the settings, and what is opened by them.

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/jobs"
	"waycall/internal/newjob"
	"waycall/internal/settings"
)

// dataFlag names the folder where jobs are kept.
type dataFlag struct{ dir string }

func (d *dataFlag) add(cmd *cobra.Command) { textSetting(cmd, &d.dir, "data") }

// folder returns the folder of jobs, by the setting or the usual one.
func (d *dataFlag) folder() (jobs.Folder, error) {
	if d.dir != "" {
		return jobs.Folder(d.dir), nil
	}
	return jobs.Usual()
}

// read returns what is known of a job, and says on stderr what opening it found.
func (d *dataFlag) read(ctx context.Context, job string) (jobs.Known, error) {
	folder, err := d.folder()
	if err != nil {
		return jobs.Known{}, err
	}
	known, err := folder.Read(ctx, job)
	noteFound(known.Found)
	return known, err
}

// register returns the register of instruments, which lies in the folder of jobs.
func (d *dataFlag) register() (newjob.Register, error) {
	folder, err := d.folder()
	return newjob.NewRegister(string(folder)), err
}

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
		return command.UsageError{Err: err}
	}
	for _, v := range all {
		// A flag, too, as ~ may stand for the home folder in it.
		if v.Origin != settings.Default {
			if err := cmd.Flags().Set(v.Name, v.Value); err != nil {
				return command.UsageError{Err: fmt.Errorf("%s is %q: %w; correct it", v.Where, v.Value, err)}
			}
			cmd.Flags().Lookup(v.Name).Changed = v.Origin == settings.Flag // only of what was given so
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
