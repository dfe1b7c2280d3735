package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/command"
	"waycall/internal/findings"
	"waycall/internal/jobs"
	"waycall/internal/plainfile"
	"waycall/internal/readings"
	"waycall/internal/screen"
)

// checkOptions are the flags of waycall check.
type checkOptions struct {
	data     dataFlag
	readings string
	surge    []int
	json     bool
}

func newCheck() *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check JOB | check BOARD.yaml --readings FILE",
		Short: "Judge readings against their limits and against each other",
		Long: `Judges the readings of a job, or those of a file against a board, in their order:
each against its limit, against what its circuit should give, and against those
before it. It says for each the rule, its source, the margin and what to look at
next.

A file of readings is CSV or YAML, one reading a line:

  board,way,test,position,value
  1,0,Ze,,0.21
  2,3,r1,,0.43
  2,4,LN-E,2,>999
  2,3,polarity,,correct

Way 0 is the board itself. Position is the switch position of two-way switching,
the bonded service, or the point of a ring; it is left out where there is only
one. A value stands as on the instrument, without its unit.

Exit codes: 0 every reading passed; 3 a reading failed; 4 none failed, but there is
one to look into or one that cannot be judged; 1 and 2 as for every command. None
of them says that anything is safe.`,
		Example: "  waycall check WKS-0231\n  waycall check board.yaml --readings readings.csv --json",
		Args:    command.Args(1, 1, "one job, or one board file with --readings"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCheck(cmd.Context(), streamsOf(cmd), o, args[0])
		},
	}
	o.data.add(cmd)
	cmd.Flags().StringVar(&o.readings, "readings", "", "file of readings (.csv, .yaml) to judge against the board file")
	cmd.Flags().IntSliceVar(&o.surge, "surge-connected", nil, "with --readings: numbers of the boards whose surge protection stayed in for the insulation tests")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func runCheck(ctx context.Context, std streams, o checkOptions, arg string) error {
	f, err := o.judge(ctx, arg)
	if err != nil {
		return err
	}
	if o.json {
		err = f.JSON(std.out)
	} else {
		err = f.Text(std.out, screen.Coloured(std.out))
	}
	if err != nil {
		return err
	}
	switch n := f.Counts; {
	case f.Readings == 0:
		return foundError{exitDoubtful, "there is no reading to judge; take some, or give a file of readings with a board file"}
	case f.Worst() == check.Pass:
		return nil
	case f.Worst() == check.Fail:
		return foundError{exitFails, fmt.Sprintf("%d of %d readings failed; put right what is wrong and test again", n.Fail, f.Readings)}
	default:
		return foundError{exitDoubtful, fmt.Sprintf("none of %d readings failed, but %d to be looked into and %d that cannot be judged; see what stands below each", f.Readings, n.Investigate, n.CannotSay)}
	}
}

// judge judges what the command line names. Everything is read before
// anything is judged.
func (o checkOptions) judge(ctx context.Context, arg string) (findings.Findings, error) {
	none := findings.Findings{}
	if !board.IsFile(arg) {
		if o.readings != "" || len(o.surge) > 0 {
			return none, command.UsageError{Err: fmt.Errorf("--readings and --surge-connected go with a board file, and %s is none; a job has its own readings", arg)}
		}
		known, err := o.data.read(ctx, arg)
		if err != nil {
			return none, err
		}
		return findings.OfJob(known.State), nil
	}
	if o.readings == "" {
		return none, command.UsageError{Err: fmt.Errorf("%s is a board file; name the readings to judge with --readings, or give a job", arg)}
	}
	job, err := jobs.ReadBoard(arg)
	if err != nil {
		return none, err
	}
	connected := map[int]bool{}
	for _, number := range o.surge {
		switch b := job.Board(number); {
		case b == nil:
			return none, command.UsageError{Err: fmt.Errorf("--surge-connected: there is no board %d in %s; give the number of a board", number, arg)}
		case !b.SurgeProtection:
			return none, command.UsageError{Err: fmt.Errorf("--surge-connected: board %d has no surge protection; leave it out, or add surge_protection to the board file", number)}
		}
		connected[number] = true
	}
	all, err := readSheet(o.readings, job)
	if err != nil {
		return none, err
	}
	judged := make([]findings.Judged, len(all))
	for i, r := range all {
		judged[i] = findings.Judged{Slot: r.Slot, Quantity: r.Quantity, Line: r.Line}
	}
	return findings.Of(job, judged, connected), nil
}

// readSheet reads a file of readings by the ending of its name.
func readSheet(path string, job board.Job) ([]readings.Reading, error) {
	read := readings.ReadCSV
	switch strings.ToLower(filepath.Ext(path)) {
	case ".csv":
	case ".yaml", ".yml":
		read = readings.ReadYAML
	default:
		return nil, command.UsageError{Err: fmt.Errorf("--readings %s: its name does not end in .csv, .yaml or .yml; name it so that its format is known", path)}
	}
	f, err := plainfile.Open(path)
	if err != nil {
		return nil, advice.Errorf("check its name", "readings: %w", err)
	}
	defer f.Close()
	return read(f, path, job)
}
