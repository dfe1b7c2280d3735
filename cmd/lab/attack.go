package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/attack"
)

// attackOptions are the flags of lab attack.
type attackOptions struct {
	attack.Plan
	out    string
	page   string
	with   []string
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
results go into OUT/attack.json, beside those of attacks that were run before; the
page has all of them. A trial that finds a fault keeps its folder in OUT.

All of it takes half an hour or more of both cores. Some attacks want root, strace
or PulseAudio, and are skipped where that cannot be had.

Exit code 0: nothing was found. 1: something was, or the attack failed itself.`,
		Example: "  lab attack --short\n  lab attack --only wal-flip,wal-cut --page docs/attacks.md\n  lab attack --only kill-call --trial 17",
		Args:    command.Args(0, 0, "no arguments"),
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
	f.StringSliceVar(&o.with, "with", nil, "take in the results of parts that were run beside this one, from their attack.json")
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
	if o.Trial == 0 { // one trial is no result
		if err := keepResults(o, results); err != nil {
			return err
		}
	}
	if stopped != nil {
		return stopped
	}
	for _, r := range results {
		if r.Failed > 0 {
			return errors.New("something was found; see above")
		}
	}
	return nil
}

// keepResults puts results to those of earlier parts, and writes the page of all of them.
func keepResults(o attackOptions, results []attack.Result) error {
	name := filepath.Join(o.out, "attack.json")
	earlier, err := readResults(name)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, part := range o.with {
		more, err := readResults(part)
		if err != nil {
			return err
		}
		earlier = append(earlier, more...)
	}
	all := attack.Merge(earlier, results)
	text, err := json.MarshalIndent(all, "", " ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(name, append(text, '\n'), 0o644); err != nil || o.page == "" {
		return err
	}
	return os.WriteFile(o.page, []byte(attack.Page(all)), 0o644)
}

// readResults reads the results that a run left in a file.
func readResults(name string) (results []attack.Result, err error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(text, &results); err != nil {
		return nil, fmt.Errorf("%s: %w; move it away to begin anew", name, err)
	}
	return results, nil
}
