package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/english"
	"waycall/internal/jobs"
	"waycall/internal/record"
	"waycall/internal/screen"
	"waycall/internal/sequence"
)

// newOptions are the flags of waycall new.
type newOptions struct {
	data dataFlag
	ask  askOptions
	from boardFrom
	ways string
	json bool
}

func newNew() *cobra.Command {
	var o newOptions
	cmd := &cobra.Command{
		Use:   "new [BOARD.yaml]",
		Short: "Set up a job from a board file, or by asking",
		Long: `Reads the description of a job and its boards, checks it, and sets up the record.
testdata/boards/terrace.yaml and, of three boards, workshop.yaml are examples.
With --ways the ways of its one board come from a table, as a spreadsheet saves it
as CSV: a row of names, those of a board file (way, feeds, device.type, device.rating,
line), in any order, and a row for each way. The board file then has no ways.

Without a file it asks for what such a file says, question by question on the
terminal, checks each answer at once, and writes the file, REFERENCE.yaml or the one
named by --write. A board may be copied from another of the job or from an earlier
job. With --by-voice the ways are said instead, each read back and confirmed.

--board-from takes the boards from the JSON of an earlier job's schedule instead.
The sizes, lengths and devices are then as they were described, not as they are.`,
		Example: "  waycall new board.yaml\n  waycall new board.yaml --ways ways.csv\n  waycall new\n  waycall new --by-voice --write hall.yaml\n  waycall new --board-from schedule.json --reference TER-0108",
		Args:    o.from.args,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runNew(cmd.Context(), streamsOf(cmd), o, args)
		},
	}
	o.data.add(cmd)
	o.ask.add(cmd)
	o.from.add(cmd)
	cmd.Flags().StringVar(&o.ways, "ways", "", "table of the ways of the board (.csv), which the board file leaves out")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

// runNew sets a job up from the one board file of args, or by what the options say.
func runNew(ctx context.Context, std streams, o newOptions, args []string) error {
	asks := o.ask.byVoice || o.ask.write != ""
	var job board.Job
	var err error
	switch {
	case o.ways != "" && len(args) == 0:
		return command.UsageError{Err: errors.New("--ways goes with a board file; name the one that says the rest")}
	case asks && (len(args) > 0 || o.from.path != ""):
		return command.UsageError{Err: errors.New("--by-voice and --write are for setting up by questions; leave the board file or --board-from out")}
	case o.from.path != "":
		job, err = o.from.job(time.Now())
	case len(args) == 0:
		return runAsk(ctx, std, o.ask, o.data)
	case o.ways != "":
		job, err = jobs.ReadWays(args[0], o.ways)
	default:
		job, err = jobs.ReadBoard(args[0])
	}
	if err != nil {
		return err
	}
	return o.setUp(ctx, std, job)
}

// setUp makes the record of a job.
func (o newOptions) setUp(ctx context.Context, std streams, job board.Job) error {
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	s, err := folder.Create(ctx, job, time.Now())
	if errors.Is(err, fs.ErrExist) {
		return advice.Errorf("waycall start "+job.Reference+" goes on with it, or give this one another reference", "job %s is set up already", job.Reference)
	}
	if err != nil {
		return err
	}
	defer s.Close()
	if o.json {
		return screen.Print(std.out, jobLine{
			Reference: job.Reference, Boards: job.BoardNames(), Tests: sequence.Count(record.State{Job: job}).Tests,
			Changed: time.Now().UTC(), File: s.Path(),
		})
	}
	_, err = fmt.Fprintf(std.out, "Job %s: %s. Its record is %s\nNext: waycall start %s\n",
		job.Reference, strings.Join(waysOf(job), "; "), s.Path(), job.Reference)
	return err
}

// waysOf returns each board with how many ways it has.
func waysOf(job board.Job) []string {
	var all []string
	for _, b := range job.Boards {
		all = append(all, b.Name+", "+english.Count(len(b.Ways), "way"))
	}
	return all
}

// boardFrom sets up a job on the boards of one that was exported: what is on the
// wall is the same, the visit is another.
type boardFrom struct {
	path, reference, date, tester, serial, checked string
}

func (b *boardFrom) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&b.path, "board-from", "", "take the boards from this JSON of a schedule, of an earlier job; needs --reference")
	f.StringVar(&b.reference, "reference", "", "of the new job")
	f.StringVar(&b.date, "date", "", "of the new job, as 2026-03-14 (default: today)")
	f.StringVar(&b.tester, "tester", "", "initials, 1 to 8 letters (default: those of the earlier job)")
	f.StringVar(&b.serial, "instrument", "", "serial number of the instrument (default: that of the earlier job)")
	f.StringVar(&b.checked, "checked", "", "date of the instrument's last calibration check (default: that of the earlier job)")
}

// args says what arguments new takes.
func (b *boardFrom) args(cmd *cobra.Command, args []string) error {
	if b.path == "" {
		for _, name := range []string{"reference", "date", "tester", "instrument", "checked"} {
			if cmd.Flags().Changed(name) {
				return command.UsageError{Err: fmt.Errorf("--%s goes with --board-from; a board file says it itself", name)}
			}
		}
		return command.Args(0, 1, "one board file, or nothing")(cmd, args)
	}
	if b.reference == "" {
		return command.UsageError{Err: fmt.Errorf("--board-from needs --reference; give the new job its own")}
	}
	return command.Args(0, 0, "no board file beside --board-from")(cmd, args)
}

// job returns the new job. today is the date it has when none was given.
func (b *boardFrom) job(today time.Time) (board.Job, error) {
	s, err := readSchedule(b.path)
	if err != nil {
		return board.Job{}, err
	}
	if s.Setup == nil {
		return board.Job{}, fmt.Errorf("schedule %s has no boards, as it was made before the job was set up; give another", b.path)
	}
	job := *s.Setup
	job.Reference, job.Date = b.reference, today.Format("2006-01-02")
	for _, f := range []struct {
		given string
		to    *string
	}{{b.date, &job.Date}, {b.tester, &job.Tester}, {b.serial, &job.Instrument.Serial}, {b.checked, &job.Instrument.Checked}} {
		if f.given != "" {
			*f.to = f.given
		}
	}
	job.Edition = "" // the new job is judged by the edition in force
	return board.Complete(job, b.path)
}
