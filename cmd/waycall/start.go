package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/audio/mic"
	"waycall/internal/board"
	"waycall/internal/pack"
	"waycall/internal/record"
	"waycall/internal/say/espeak"
	"waycall/internal/say/speaker"
	"waycall/internal/session"
	"waycall/internal/store"
	"waycall/internal/wall"
)

func newStart() *cobra.Command {
	var (
		ear         earFlags
		data        dataFlag
		micName     string
		speakerName string
		pause       time.Duration
		wpm         int
		copyTo      string
		asJSON      bool
		full        bool
		accept      string
		tester      string
	)
	cmd := &cobra.Command{
		Use:   "start JOB",
		Short: "Begin a spoken session at the board, or go on with one",
		Long: `Begins a session with the microphone and the loudspeaker, or goes on where the
last one stopped. JOB is a job's reference, or a board file: then the job is set
up first if it is new.

Say "finish here" to end, or press Ctrl-C. Everything confirmed is on the disk
already, with its sound. With --copy-to each phrase is also written to a copy in
another folder, such as on a USB stick, as soon as it is stored. With --accept agreed
a reading that both recognisers heard alike and that passes goes onto the schedule
when the next one begins, and "scratch that" takes it off; all others are confirmed
aloud, as without it. With --full the
session is shown on the whole of the terminal, to be read from three metres: make
the terminal's letters large, to 80 columns by 24 rows or so.`,
		Example: "  waycall start board.yaml\n  waycall start TER-0107 --copy-to /media/stick\n  waycall start TER-0107 --full",
		Args:    wantArgs(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			ctx := cmd.Context()
			habit, ok := habits[accept]
			if !ok {
				return usageError{fmt.Errorf("--accept is %q; give each or agreed", accept)}
			}
			if tester != "" && !initials.MatchString(tester) {
				return usageError{fmt.Errorf("--tester is %q; give initials, up to 6 letters", tester)}
			}
			if full && asJSON {
				return usageError{errors.New("--full and --json both want the output; give one of them")}
			}
			if dir, err := data.folder(); err == nil {
				pack.Tidy(dir) // what a killed import may have left
			}
			log, err := data.openOrCreate(ctx, args[0])
			if err != nil {
				return err
			}
			defer func() { err = closeJob(log, err, cmd.ErrOrStderr()) }()
			from, err := fold(ctx, log)
			if err != nil {
				return err
			}
			tellFound(cmd.OutOrStdout(), asJSON, log.Found())
			if copyTo != "" {
				if err := log.CopyTo(copyTo); err != nil {
					return err
				}
			}
			e, _, closeEar, err := ear.open()
			if err != nil {
				return err
			}
			defer closeEar()
			voice, err := espeak.Open(wpm)
			if err != nil {
				return err
			}
			loud, err := speaker.Open(speakerName)
			if err != nil {
				return err
			}
			defer loud.Close()
			source, err := mic.Open(micName)
			if err != nil {
				return err
			}
			defer source.Close()
			hide := func() {}
			var watch session.Watcher = newScreen(cmd.OutOrStdout())
			gain := audio.NewGain(source)
			var sound audio.Source = gain
			switch {
			case asJSON:
				watch = jsonScreen{cmd.OutOrStdout()}
			case full && wall.Can(under(cmd.OutOrStdout())):
				w := wall.New()
				w.Begin(from)
				hide = showFull(cmd, w)
				defer hide()
				watch, sound = w, w.Meter(gain)
			}
			news := tellSound(watch)
			source.Tell, loud.Tell = news, news
			complained := ""
			s := session.Session{
				Source: sound, Ear: e, Voice: voice, Player: loud, Log: log, Keeper: log, Warning: log.Warning(),
				Watch: watch, Now: time.Now, Settings: audio.Settings{Pause: pause},
				Habit: habit, Tester: tester,
				Understood: func(said audio.Clip) {
					gain.Understood(said)
					if c := gain.Complaint(); c != complained {
						complained = c
						news(audio.News{Text: c, Lost: source.Lost()})
					}
				},
			}
			_, err = s.Run(ctx, board.Job{}, from)
			hide()
			end := soundEnd{source.Device().Name, source.Device().Rate, tenth(source.Captured().Seconds()), source.Lost(), tenth(gain.DB())}
			if e := end.print(cmd.OutOrStdout(), asJSON); err == nil {
				err = e
			}
			return err
		},
	}
	ear.add(cmd)
	data.add(cmd)
	textSetting(cmd, &micName, "mic")
	textSetting(cmd, &speakerName, "speaker")
	textSetting(cmd, &copyTo, "copy-to")
	durationSetting(cmd, &pause, "pause")
	numberSetting(cmd, &wpm, "speech-rate")
	cmd.Flags().StringVar(&accept, "accept", "each", "each: every reading is confirmed aloud; agreed: one that passes, undisputed, is stored when the next begins")
	cmd.Flags().StringVar(&tester, "tester", "", "initials of who tests in this session, where it is not the job's tester")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what happens as JSON, one object a line")
	cmd.Flags().BoolVar(&full, "full", false, fullUsage)
	return cmd
}

// keptError is a stop by the user after which the record was looked at and is whole.
type keptError struct{ error }

func (e keptError) Unwrap() error { return e.error }

// closeJob ends the use of a session's job, which brings the copy up to date, and returns
// how the session ended: err, unless what was stored is not there after a stop by the
// user or a finish. What became of the copy and of a file that was taken away goes to w.
func closeJob(log *store.Store, err error, w io.Writer) error {
	closed := log.Close()
	if copied := log.Copied(); copied != nil {
		fmt.Fprintf(w, "waycall: %v\n", copied)
	}
	if path, _ := log.Rescued(); path != "" && path == log.Path() {
		fmt.Fprintf(w, "waycall: the file of the record was taken away by somebody and is written back as %s\n", path)
	}
	stopped := errors.Is(err, context.Canceled)
	switch {
	case closed != nil && (err == nil || stopped):
		return closed
	case stopped:
		return keptError{err}
	}
	return err
}

// habits are the values of --accept.
var habits = map[string]record.Habit{"each": record.Each, "agreed": record.Agreed}

// initials are what a tester is known by on the schedule.
var initials = regexp.MustCompile(`^\p{L}{1,6}$`)

// openOrCreate opens a job by its reference, or sets it up from a board file.
func (d *dataFlag) openOrCreate(ctx context.Context, arg string) (*store.Store, error) {
	if !strings.HasSuffix(arg, ".yaml") && !strings.HasSuffix(arg, ".yml") {
		s, _, err := d.open(arg, openForWork)
		return s, err
	}
	job, err := readBoard(arg)
	if err != nil {
		return nil, err
	}
	s, err := d.createJob(ctx, job)
	if !errors.Is(err, fs.ErrExist) {
		return s, err
	}
	path, err := d.file(job.Reference)
	if err != nil {
		return nil, err
	}
	if s, err = openForWork(path); err != nil {
		return nil, err
	}
	state, err := fold(ctx, s)
	if err == nil && !state.Given.Same(job) {
		err = fmt.Errorf("job %s was set up from another board file than %s; waycall start %s goes on with it, or give this one another reference", job.Reference, arg, job.Reference)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}
