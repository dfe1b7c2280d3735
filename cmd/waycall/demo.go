package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/demo"
	"waycall/internal/demo/play"
	"waycall/internal/fullscreen"
	"waycall/internal/jobs"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/spreadsheet"
	"waycall/internal/say/espeak"
	"waycall/internal/screen"
)

// demoOptions are the flags of waycall demo.
type demoOptions struct {
	ear  earFlags
	kept dataFlag // where no demonstration goes
	out  string
	full bool
}

func newDemo() *cobra.Command {
	var o demoOptions
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Play a recorded session through the whole program",
		Long: `Plays a recorded session, made up for the purpose, through the same pipeline
as the microphone: it is cut into phrases, heard, checked, read back and stored,
faster than it was spoken. At the end it shows the schedule and where the files
are, the sound of both sides among them.`,
		Args: command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runDemo(cmd.Context(), streamsOf(cmd), o)
		},
	}
	o.ear.add(cmd)
	o.kept.add(cmd)
	cmd.Flags().Lookup("data").Hidden = true
	cmd.Flags().BoolVar(&o.full, "full", false, fullUsage)
	cmd.Flags().StringVar(&o.out, "out", filepath.Join("out", "demo"), "folder for the record, the sound and the schedule; an earlier demonstration there is replaced")
	return cmd
}

func runDemo(ctx context.Context, std streams, o demoOptions) error {
	start := time.Now()
	job, err := demo.Board()
	if err != nil {
		return err
	}
	lines, err := demo.Script()
	if err != nil {
		return err
	}
	if err := o.mayReplace(job.Reference); err != nil {
		return err
	}
	if err := os.MkdirAll(o.out, 0o700); err != nil {
		return fmt.Errorf("demonstration: %w; name a folder that can be written to with --out", err)
	}
	fmt.Fprintf(std.out, "Loading the speech model and the second witness ...\n")
	track, err := audio.Record(filepath.Join(o.out, trackName))
	if err != nil {
		return err
	}
	defer track.Drop()
	p := play.New(lines, track)
	state, err := o.play(ctx, std, p, job)
	if err != nil {
		return err
	}
	return o.finish(std.out, p, track, state, time.Since(start))
}

// play opens what hears and speaks, and plays the script on a job of its own.
func (o demoOptions) play(ctx context.Context, std streams, p *play.Player, job board.Job) (record.State, error) {
	e, closeEar, err := o.ear.open(sessionGrammar)
	if err != nil {
		return record.State{}, err
	}
	defer closeEar()
	voice, err := espeak.Open(0)
	if err != nil {
		return record.State{}, err
	}
	folder := jobs.Folder(o.out)
	if err := removeJob(folder.File(job.Reference)); err != nil {
		return record.State{}, err
	}
	var watch play.Watcher = screen.New(std.out)
	var source audio.Source = p
	if o.full && fullscreen.Can(screen.Under(std.out)) {
		full := fullscreen.New()
		watch, source = full, full.Meter(p)
		defer showFull(std, full)()
	}
	return p.Run(ctx, folder, job, e, voice, watch, source)
}

// mayReplace reports whether a demonstration may replace what is in its folder:
// files of an earlier one, and never a record among those that are kept.
func (o demoOptions) mayReplace(reference string) error {
	kept, err := o.kept.folder()
	if err != nil {
		return err
	}
	out := o.out
	a, errA := os.Stat(out)
	b, errB := os.Stat(string(kept))
	if errA == nil && errB == nil && os.SameFile(a, b) {
		return command.UsageError{Err: fmt.Errorf("%s is the folder where jobs are kept, and a demonstration replaces a record; name another folder with --out", out)}
	}
	if errA != nil {
		return nil //nolint:nilerr // it is made, or that says why not
	}
	for _, name := range append([]string{trackName}, scheduleNames...) {
		if err := target(filepath.Join(out, name)); err != nil {
			return err
		}
	}
	record := jobs.Folder(out).File(reference)
	if info, err := os.Lstat(record); err == nil && !info.Mode().IsRegular() {
		return command.UsageError{Err: fmt.Errorf("%s is not a plain file; take it away, or name another folder with --out", record)}
	}
	return nil
}

// What a demonstration leaves beside its record.
const trackName = "session.wav"

var scheduleNames = []string{"schedule.txt", "schedule.csv", "schedule.json"}

// removeJob removes the record of an earlier demonstration.
func removeJob(path string) error {
	for _, p := range []string{path, path + "-wal", path + "-shm", path + "-head"} {
		if err := os.Remove(p); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("demonstration: %w; name another folder with --out", err)
		}
	}
	return nil
}

// finish writes the files and shows the schedule.
func (o demoOptions) finish(w io.Writer, p *play.Player, track *audio.Recording, state record.State, took time.Duration) error {
	if err := track.Close(); err != nil {
		return err
	}
	schedule := report.Build(state)
	for i, write := range []func(io.Writer, report.Schedule) error{plaintext.Write, spreadsheet.CSV, report.Write} {
		if err := writeFile(filepath.Join(o.out, scheduleNames[i]), 0o644, false, func(w io.Writer) error { return write(w, schedule) }); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	if err := plaintext.Write(w, schedule); err != nil {
		return err
	}
	where, err := filepath.Abs(o.out)
	if err != nil {
		where = o.out
	}
	_, err = fmt.Fprintf(w, `
%s%d phrases, %.0f s of session in %.0f s; peak memory %.0f MiB. In %s:
  session.wav    both sides of the session
  schedule.txt   the schedule above; schedule.csv and schedule.json the same
  %s  the record, with the sound of every phrase
To look at it, and hear each phrase: waycall review --data %s --open
`, p.ReadBacks(), p.Said(), track.Duration().Seconds(), took.Seconds(), command.PeakMiB(), where, filepath.Base(jobs.Folder(o.out).File(state.Job.Reference)), o.out)
	return err
}
