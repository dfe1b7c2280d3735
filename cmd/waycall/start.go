package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/bundle"
	"waycall/internal/command"
	"waycall/internal/fullscreen"
	"waycall/internal/jobs"
	"waycall/internal/key/evdev"
	"waycall/internal/phone"
	"waycall/internal/record"
	"waycall/internal/screen"
	"waycall/internal/session"
	"waycall/internal/settings"
	"waycall/internal/store"
	"waycall/internal/talk"
)

// startOptions are the flags of waycall start.
type startOptions struct {
	desk    deskFlags
	key     [4]string // as its settings
	data    dataFlag
	pause   time.Duration
	copyTo  string
	accept  string
	prompts string
	insists bool // prompts was given with a flag
	tester  string
	json    bool
	full    bool
	phone   bool
}

func newStart() *cobra.Command {
	var o startOptions
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
the terminal's letters large, to 80 columns by 24 rows or so. With --phone a phone of
the local network hears, speaks and shows: it is let in by a picture to scan. With
--key a tap of a foot switch confirms and a double tap is "no": docs/keys.md.`,
		Example: "  waycall start board.yaml\n  waycall start TER-0107 --copy-to /media/stick\n  waycall start TER-0107 --full",
		Args:    command.Args(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.insists = cmd.Flags().Changed("prompts")
			return runStart(cmd.Context(), streamsOf(cmd), o, args[0])
		},
	}
	o.desk.add(cmd)
	for i, name := range settings.Key {
		textSetting(cmd, &o.key[i], name)
	}
	o.data.add(cmd)
	textSetting(cmd, &o.copyTo, "copy-to")
	durationSetting(cmd, &o.pause, "pause")
	textSetting(cmd, &o.prompts, "prompts")
	cmd.Flags().StringVar(&o.accept, "accept", "", "each: every reading is confirmed aloud, as without the flag; agreed: one that passes, undisputed, is stored when the next begins")
	cmd.Flags().StringVar(&o.tester, "tester", "", "initials, 1 to 8 letters, of who tests in this session, where it is not the job's tester")
	cmd.Flags().BoolVar(&o.json, "json", false, "print what happens as JSON, one object a line")
	cmd.Flags().BoolVar(&o.full, "full", false, fullUsage)
	cmd.Flags().BoolVar(&o.phone, "phone", false, "hear, speak and show by a phone, in place of --mic and --speaker")
	return cmd
}

// habits are the values of --accept.
var habits = map[string]record.Habit{"": record.Each, "each": record.Each, "agreed": record.Agreed}

// chooseHabit settles how readings are accepted where the flag does not say: as the same
// tester had it last. What it returns is to be said about that.
func (o *startOptions) chooseHabit(from record.State) string {
	begun := from.LastID > 1 // otherwise it was set up at most
	switch {
	case o.accept != "":
	case from.HabitOf(o.tester) == record.Agreed:
		o.accept = "agreed"
		return screen.GoesOnQuicker
	case !begun:
		return screen.Quicker
	}
	return ""
}

// check looks at the options before anything is opened for them.
func (o startOptions) check() error {
	if _, ok := habits[o.accept]; !ok {
		return command.UsageError{Err: fmt.Errorf("--accept is %q; give each or agreed", o.accept)}
	}
	if o.tester != "" {
		if err := board.CheckInitials(o.tester); err != nil {
			return command.UsageError{Err: fmt.Errorf("--tester: %w", err)}
		}
	}
	if o.full && o.json {
		return command.UsageError{Err: errors.New("--full and --json both want the output; give one of them")}
	}
	return nil
}

// runStart runs a session on a job, or on one that a board file describes.
func runStart(ctx context.Context, std streams, o startOptions, job string) (err error) {
	if err := o.check(); err != nil {
		return err
	}
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	bundle.Tidy(string(folder)) // what a killed import may have left
	log, err := folder.OpenOrCreate(ctx, job, time.Now())
	if err != nil {
		return err
	}
	defer func() { err = closeJob(log, err, std.err) }()
	from, err := jobs.Fold(ctx, log)
	if err != nil {
		return err
	}
	tellFound(std.out, o.json, log.Found())
	if text := o.chooseHabit(from); text != "" && !o.json {
		fmt.Fprintln(std.out, text)
	}
	if o.copyTo != "" {
		if err := log.CopyTo(o.copyTo); err != nil {
			return err
		}
	}
	var page *phone.Open
	if o.phone {
		if page, err = phone.Serve(string(folder), std.in, std.err); err != nil {
			return err
		}
		defer page.Close()
	}
	d, err := o.desk.open(sessionGrammar, page)
	if err != nil {
		return err
	}
	defer d.Close()
	return o.session(ctx, std, d, log, from, page)
}

// session runs a session at a desk, and tells at the end what became of the sound.
func (o startOptions) session(ctx context.Context, std streams, d *desk, log *store.Store, from record.State, page *phone.Open) error {
	gain := audio.NewGain(d.source)
	watch, sound, hide := o.watch(std, gain, from)
	defer hide()
	if page != nil {
		watch = phone.Watch(watch, from, page.Show)
	}
	news := screen.SoundOf(watch)
	d.tell(news)
	complained := ""
	s := session.Session{
		Source: sound, Ear: d.ear, Voice: d.voice, Player: d.player, Log: log, Keeper: log, Warning: log.Warning(),
		Watch: watch, Now: time.Now, Settings: audio.Settings{Pause: o.pause},
		Habit: habits[o.accept], Tester: o.tester, Prompts: talk.Prompts(o.prompts), Insists: o.insists,
		Understood: func(said audio.Clip) {
			gain.Understood(said)
			if c := gain.Complaint(); c != complained {
				complained = c
				news(audio.News{Text: c, Lost: d.end().Lost})
			}
		},
	}
	if o.key[0] != "" {
		k, err := evdev.Open(o.key[0], news)
		if err != nil {
			return err
		}
		defer k.Close()
		s.Key, s.Taps = k, session.TapsOf(o.key[1], o.key[2], o.key[3])
	}
	_, err := s.Run(ctx, board.Job{}, from)
	hide()
	times, _ := jobs.Times(context.WithoutCancel(ctx), log) // how the session ended says more than why this cannot be read
	end := d.end()
	end.Times, end.GainDB = times, gain.DB()
	if e := end.Write(std.out, o.json); err == nil {
		err = e
	}
	return err
}

// watch returns what shows the session, the sound as it is to be taken, and what ends the
// showing.
func (o startOptions) watch(std streams, gain audio.Source, from record.State) (session.Watcher, audio.Source, func()) {
	switch {
	case o.json:
		return screen.NewJSON(std.out), gain, func() {}
	case o.full && fullscreen.Can(screen.Under(std.out)):
		w := fullscreen.New()
		w.Begin(from)
		return w, w.Meter(gain), showFull(std, w)
	}
	return screen.New(std.out), gain, func() {}
}

// tellFound says what opening a job for a session found, before it is worked on: on stderr,
// and to who reads JSON on stdout, too.
func tellFound(stdout io.Writer, asJSON bool, found []store.Finding) {
	noteFound(found)
	for _, f := range found {
		if asJSON {
			screen.NewJSON(stdout).Found(f.String())
		}
	}
}

// closeJob ends the use of a session's job, which brings the copy up to date, and returns
// how the session ended: err, unless what was stored is not there after a stop by the
// user or a finish. What became of the copy and of a file that was taken away goes to w.
func closeJob(log *store.Store, err error, w io.Writer) error {
	closed := jobs.CloseTelling(log, w)
	stopped := errors.Is(err, context.Canceled)
	switch {
	case closed != nil && (err == nil || stopped):
		return closed
	case stopped:
		return keptError{err}
	}
	return err
}
