package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/demo"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/spreadsheet"
	"waycall/internal/say"
	"waycall/internal/say/espeak"
	"waycall/internal/session"
	"waycall/internal/store"
	"waycall/internal/wall"
)

func newDemo() *cobra.Command {
	var (
		ear  earFlags
		kept dataFlag // where no demonstration goes
		out  string
		full bool
	)
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Play a recorded session through the whole program",
		Long: `Plays a recorded session, made up for the purpose, through the same pipeline
as the microphone: it is cut into phrases, heard, checked, read back and stored,
faster than it was spoken. At the end it shows the schedule and where the files
are, the sound of both sides among them.`,
		Args: wantArgs(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			start := time.Now()
			job, err := demo.Board()
			if err != nil {
				return err
			}
			lines, err := demo.Script()
			if err != nil {
				return err
			}
			if err := kept.mayReplace(out, job.Reference); err != nil {
				return err
			}
			if err := os.MkdirAll(out, 0o700); err != nil {
				return fmt.Errorf("demonstration: %w; name a folder that can be written to with --out", err)
			}
			w := cmd.OutOrStdout()
			fmt.Fprintf(w, "Loading the speech model and the second witness ...\n")
			e, _, closeEar, err := ear.open()
			if err != nil {
				return err
			}
			defer closeEar()
			voice, err := espeak.Open(0)
			if err != nil {
				return err
			}
			data := dataFlag{dir: out}
			p := player{watch: newScreen(w), lines: lines, total: spoken(lines)}
			p.source = &p
			if p.track, err = audio.Record(filepath.Join(out, trackName)); err != nil {
				return err
			}
			defer p.track.Drop()
			if p.file, err = data.file(job.Reference); err != nil {
				return err
			}
			if err := removeJob(p.file); err != nil {
				return err
			}
			end := func() {}
			if full && wall.Can(under(w)) {
				wall := wall.New()
				p.watch, p.source = wall, wall.Meter(&p)
				end = showFull(cmd, wall)
				defer end()
			}
			var state record.State
			for p.at < len(p.lines) && err == nil {
				state, err = p.session(cmd.Context(), &data, job, e, voice)
			}
			end()
			if err != nil {
				return err
			}
			return p.finish(w, out, state, time.Since(start))
		},
	}
	ear.add(cmd)
	kept.add(cmd)
	cmd.Flags().Lookup("data").Hidden = true
	cmd.Flags().BoolVar(&full, "full", false, fullUsage)
	cmd.Flags().StringVar(&out, "out", filepath.Join("out", "demo"), "folder for the record, the sound and the schedule; an earlier demonstration there is replaced")
	return cmd
}

// mayReplace reports whether a demonstration may replace what is in the folder out:
// files of an earlier one, and never a record among those that are kept.
func (d *dataFlag) mayReplace(out, reference string) error {
	kept, err := d.folder()
	if err != nil {
		return err
	}
	a, errA := os.Stat(out)
	b, errB := os.Stat(kept)
	if errA == nil && errB == nil && os.SameFile(a, b) {
		return usageError{fmt.Errorf("%s is the folder where jobs are kept, and a demonstration replaces a record; name another folder with --out", out)}
	}
	if errA != nil {
		return nil //nolint:nilerr // it is made, or that says why not
	}
	for _, name := range append([]string{trackName}, scheduleNames...) {
		if err := target(filepath.Join(out, name)); err != nil {
			return err
		}
	}
	record := filepath.Join(out, reference+jobFile)
	if info, err := os.Lstat(record); err == nil && !info.Mode().IsRegular() {
		return usageError{fmt.Errorf("%s is not a plain file; take it away, or name another folder with --out", record)}
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

func spoken(lines []demo.Line) int {
	n := 0
	for _, l := range lines {
		if l.Text != "" {
			n++
		}
	}
	return n
}

// player speaks the electrician's lines: it is the microphone of the
// demonstration. What it gives while waycall listens goes onto the track too, so
// that the track holds both sides.
type player struct {
	watch  stageWatcher
	source audio.Source // the player, or what shows its level
	track  *audio.Recording
	lines  []demo.Line
	at     int // the line that comes next
	said   int
	total  int
	clip   audio.Clip // what is left of the line being spoken
	file   string     // of the job
	spoke  readBacks
}

// stageWatcher watches a demonstration.
type stageWatcher interface {
	session.Watcher
	Begin(known record.State)
	Stage(at, text string) // how far it is, and what it is about to show
}

// gap is the quiet after a line, long enough to end a phrase, and a note. What is
// left of it when waycall answers is left out.
const gap = 1700 * time.Millisecond

// readBacks measures how long waycall speaks when it reads back, in brief form, a
// reading that passes and that nothing speaks against. It watches a session.
type readBacks struct {
	stageWatcher
	text  string
	facts []record.Event
	took  []time.Duration
}

func (r *readBacks) Speaking(text string) {
	r.text = text
	r.stageWatcher.Speaking(text)
}

func (r *readBacks) Stored(facts []record.Event) {
	r.facts = facts
	r.stageWatcher.Stored(facts)
}

func (r *readBacks) timed(t session.Timing) {
	read := slices.ContainsFunc(r.facts, func(e record.Event) bool { return e.Kind == record.Proposed })
	if read && !strings.HasSuffix(r.text, "Confirm?") { // in full it asks for the answer, too
		r.took = append(r.took, t.Speaks)
	}
	r.facts = nil
}

// String says how long, or nothing when nothing was read back in brief.
func (r *readBacks) String() string {
	if len(r.took) == 0 {
		return ""
	}
	slices.Sort(r.took)
	return fmt.Sprintf("Read back in brief, with the verdict and the tone: %d readings, %.2f s in the middle, %.2f s at most.\n",
		len(r.took), r.took[len(r.took)/2].Seconds(), r.took[len(r.took)-1].Seconds())
}

// session runs until the script is cut or ends.
func (p *player) session(ctx context.Context, data *dataFlag, job board.Job, e session.Ear, voice say.Voice) (record.State, error) {
	var log *store.Store
	var err error
	if p.at == 0 {
		log, err = data.createJob(ctx, job)
	} else {
		log, err = store.Open(p.file)
	}
	if err != nil {
		return record.State{}, err
	}
	defer log.Close()
	from, err := fold(ctx, log)
	if err != nil {
		return record.State{}, err
	}
	p.watch.Begin(from)
	p.spoke.stageWatcher = p.watch
	s := session.Session{
		Source: p.source, Ear: e, Voice: voice, Player: p, Log: log, Watch: &p.spoke, Now: time.Now, Timed: p.spoke.timed,
	}
	return s.Run(ctx, board.Job{}, from)
}

func (p *player) Next(ctx context.Context) (audio.Clip, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for len(p.clip) == 0 {
		if p.at == len(p.lines) {
			return nil, io.EOF
		}
		l := &p.lines[p.at]
		if l.Stage != "" {
			p.watch.Stage(fmt.Sprintf("%d of %d", p.said, p.total), l.Stage)
			l.Stage = ""
		}
		if l.Cut {
			l.Cut = false
			return nil, io.EOF
		}
		p.at++
		if l.Text != "" {
			p.said++
			p.clip = append(append(audio.Clip{}, l.Sound...), make(audio.Clip, int(gap.Seconds()*audio.Rate))...)
			l.Sound = nil // all of them are 12 MB
		}
	}
	n := min(audio.FrameSize, len(p.clip))
	frame := p.clip[:n:n]
	p.clip = p.clip[n:]
	return frame, p.track.Write(frame)
}

// Play puts what waycall says onto the track.
func (p *player) Play(ctx context.Context, sound audio.Clip) error {
	return errors.Join(ctx.Err(), p.track.Write(sound))
}

func (p *player) Discard() { p.clip = nil }

func (p *player) Close() error { return nil }

// finish writes the files and shows the schedule.
func (p *player) finish(w io.Writer, out string, state record.State, took time.Duration) error {
	if err := p.track.Close(); err != nil {
		return err
	}
	schedule := report.Build(state)
	for i, write := range []func(io.Writer, report.Schedule) error{plaintext.Write, spreadsheet.CSV, report.Write} {
		if err := writeFile(filepath.Join(out, scheduleNames[i]), 0o644, false, func(w io.Writer) error { return write(w, schedule) }); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	if err := plaintext.Write(w, schedule); err != nil {
		return err
	}
	where, err := filepath.Abs(out)
	if err != nil {
		where = out
	}
	_, err = fmt.Fprintf(w, `
%s%d phrases, %.0f s of session in %.0f s; peak memory %.0f MiB. In %s:
  session.wav    both sides of the session
  schedule.txt   the schedule above; schedule.csv and schedule.json the same
  %s  the record, with the sound of every phrase
`, p.spoke.String(), p.said, p.track.Duration().Seconds(), took.Seconds(), peakMiB(), where, filepath.Base(p.file))
	return err
}

// peakMiB returns the most memory this program has held, MiB.
func peakMiB() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Maxrss) / 1024 // Linux counts in KiB
}
