package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"waycall/internal/lab/attack"
)

// attackOptions are the flags of lab attack.
type attackOptions struct {
	attack.Plan
	out    string
	page   string
	binary string
	list   bool
}

func newAttack() *cobra.Command {
	var o attackOptions
	cmd := &cobra.Command{
		Use:   "attack",
		Short: "Attack waycall from outside, and say what it bore",
		Long: `Attacks bin/waycall with real processes: kills and failing system calls in a session,
cut power, removed and damaged files, hostile files, slow and many clients. The
results go into OUT/attack.json; a trial that finds a fault keeps its folder there.

All of it takes half an hour or more of both cores. Some attacks want root, strace
or PulseAudio, and are skipped where that cannot be had.

Exit code 0: nothing was found. 1: something was, or the attack failed itself.`,
		Example: "  lab attack --short\n  lab attack --only wal-flip\n  lab attack --only kill-call --trial 17",
		Args:    wantArgs(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runAttack(cmd.Context(), o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.Short, "short", false, "a few trials of each")
	f.StringSliceVar(&o.Only, "only", nil, "these attacks, or groups of them, alone")
	f.IntVar(&o.Trial, "trial", 0, "this trial alone")
	f.Float64Var(&o.Scale, "scale", 1, "that many times the number of trials")
	f.IntVar(&o.Jobs, "jobs", 2, "trials at once")
	f.StringVar(&o.out, "out", filepath.Join("out", "attack"), "folder for results and evidence")
	f.StringVar(&o.page, "page", "", "write the table as this page")
	f.StringVar(&o.binary, "binary", filepath.Join("bin", "waycall"), "the program that is attacked")
	f.BoolVar(&o.list, "list", false, "list the attacks")
	return cmd
}

func runAttack(ctx context.Context, o attackOptions, out io.Writer) error {
	if o.list {
		for _, a := range attack.All() {
			fmt.Fprintf(out, "%-16s %5d  %s: %s\n", a.Name, a.Long, a.Group, a.Title)
		}
		return nil
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return err
	}
	f := &attack.Field{Root: ".", Binary: o.binary, Victim: []string{self, "victim"}, Out: o.out}
	o.Tell = func(line string) { fmt.Fprintln(out, line) }
	results, stopped := attack.Run(ctx, f, o.Plan)
	text, err := json.MarshalIndent(results, "", " ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(o.out, "attack.json"), append(text, '\n'), 0o644); err != nil {
		return err
	}
	if stopped != nil {
		return stopped
	}
	if o.page != "" {
		if err := os.WriteFile(o.page, []byte(attack.Page(results, o.Plan)), 0o644); err != nil {
			return err
		}
	}
	for _, r := range results {
		if r.Failed > 0 {
			return errors.New("something was found; see above")
		}
	}
	return nil
}
