package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sys/unix"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/audio/card"
	"waycall/internal/audio/mic"
	"waycall/internal/hear/engines"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/phrase"
	"waycall/internal/say/espeak"
	"waycall/internal/say/speaker"
	"waycall/internal/settings"
)

// state is how a part of the equipment is.
type state string

const (
	good    state = "good"
	look    state = "look"    // a session runs, but look into it
	missing state = "missing" // no session runs, or none that may be relied on
)

// finding is what waycall ready says of one part.
type finding struct {
	Part  string `json:"part"`
	State state  `json:"state"`
	Found string `json:"found"`
	Do    string `json:"do,omitempty"` // what to do, where it is not good
}

// fromError makes a finding of an error, which ends with what to do.
func fromError(part string, s state, err error) finding {
	text := err.Error()
	i := strings.LastIndex(text, "; ")
	if i < 0 {
		return finding{part, s, text, "put it right and run waycall ready again"}
	}
	return finding{part, s, text[:i], text[i+2:]}
}

// worst is the state of the whole.
func worst(all []finding) state {
	w := good
	for _, f := range all {
		if f.State == missing || f.State == look && w == good {
			w = f.State
		}
	}
	return w
}

// readiness is what waycall ready looks at.
type readiness struct {
	ear     earFlags
	data    dataFlag
	mic     string
	speaker string
	wpm     int
	copyTo  string
	aloud   bool
}

func newReady() *cobra.Command {
	var (
		r      readiness
		asJSON bool
		accept bool
	)
	cmd := &cobra.Command{
		Use:   "ready",
		Short: "Look whether this machine can run a session, and say what to do if not",
		Long: `Looks at what a session needs: microphone and loudspeaker, the voice, the
recognisers with their files, the clock, the folder for jobs with the room on its
disk, and the record of every job. It says what it found and what to do. It says
nothing about the installation under test or about its instruments.

A speech model that has no sum beside it, such as one that you had already, is not
used: nothing else tells of all damage. --accept-model writes the sum, once; look
first that it is the one given where the model comes from.

The loudspeaker is opened but heard only with --aloud. Files are looked at as at
the beginning of a session; waycall verify JOB reads all of a record.

Exit code 0: all is good. 3: something is missing. 4: nothing is missing, but
something is to be looked into.`,
		Example: "  waycall ready\n  waycall ready --aloud --mic headset",
		Args:    wantArgs(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if accept {
				if err := r.ear.accept(); err != nil {
					return err
				}
			}
			all := r.look(cmd.Context())
			if err := cmd.Context().Err(); err != nil {
				return err
			}
			w := worst(all)
			var err error
			if asJSON {
				err = printJSON(cmd.OutOrStdout(), struct {
					State    state     `json:"state"`
					Findings []finding `json:"findings"`
				}{w, all})
			} else {
				err = writeFindings(cmd.OutOrStdout(), all)
			}
			switch {
			case err != nil:
				return err
			case w == missing:
				return foundError{exitFails, "not ready; do as said above, then run waycall ready again"}
			case w == look:
				return foundError{exitDoubtful, "nothing is missing, but look into what is marked above"}
			}
			return nil
		},
	}
	r.ear.add(cmd)
	cmd.Flags().BoolVar(&accept, "accept-model", false, "write the sum of a speech model that has none, which makes it one to be used")
	r.data.add(cmd)
	textSetting(cmd, &r.mic, "mic")
	textSetting(cmd, &r.speaker, "speaker")
	numberSetting(cmd, &r.wpm, "speech-rate")
	textSetting(cmd, &r.copyTo, "copy-to")
	cmd.Flags().BoolVar(&r.aloud, "aloud", false, "say a sentence through the loudspeaker, too")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func writeFindings(w io.Writer, all []finding) error {
	for _, f := range all {
		if _, err := fmt.Fprintf(w, "%-7s  %-17s  %s\n", f.State, f.Part, f.Found); err != nil {
			return err
		}
		if f.Do != "" {
			if _, err := fmt.Fprintf(w, "%-7s  %-17s  -> %s\n", "", "", f.Do); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *readiness) look(ctx context.Context) []finding {
	all := []finding{lookSettings()}
	all = append(all, r.lookIn(ctx), r.lookOut(ctx))
	all = append(all, r.lookHearing()...)
	dir, err := r.data.folder()
	if err != nil {
		return append(all, fromError("folder for jobs", missing, err))
	}
	all = append(all, lookFolder("folder for jobs", dir), lookRoom("disk", dir))
	if r.copyTo != "" {
		all = append(all, r.lookCopy(), lookRoom("disk of the copy", r.copyTo))
	}
	jobs, last := lookJobs(ctx, dir)
	var made time.Time
	if exe, err := os.Executable(); err == nil {
		if info, err := os.Stat(exe); err == nil {
			made = info.ModTime()
		}
	}
	return append(append(all, jobs...), judgeClock(time.Now(), made, last, clockIsSet()))
}

// lookSettings is about variables alone: what is wrong in the file was an error
// before the command began.
func lookSettings() finding {
	path, _ := settings.Where()
	if unknown := settings.Unknown(os.Environ()); len(unknown) > 0 {
		return finding{"settings", look, strings.Join(unknown, ", ") + " in the environment is no setting", "unset it, or correct its name; waycall settings lists them"}
	}
	if _, err := os.Stat(path); err != nil {
		return finding{"settings", good, "no file of settings; the defaults hold", ""}
	}
	return finding{"settings", good, path, ""}
}

// lookIn opens the microphone and listens to it for a second.
func (r *readiness) lookIn(ctx context.Context) finding {
	const part = "microphone"
	m, err := mic.Open(r.mic)
	if err != nil {
		return fromError(part, missing, err)
	}
	defer m.Close()
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	var got audio.Clip
	for got.Duration() < time.Second {
		c, err := m.Next(ctx)
		if errors.Is(err, context.DeadlineExceeded) {
			return finding{part, missing, "it opens, but no sound comes from it", "plug it in again, or name another with --mic (waycall mics lists them)"}
		}
		if b := new(audio.Break); errors.As(err, &b) {
			continue
		}
		if err != nil {
			return fromError(part, missing, err)
		}
		got = append(got, c...)
	}
	q, _ := audio.Measure(got)
	name := fmt.Sprintf("%s, %d Hz", m.Device().Name, m.Device().Rate)
	switch {
	case m.Lost() > 0:
		return finding{part, look, fmt.Sprintf("%s; in a second, sound was lost %d times", name, m.Lost()), "end other programs: this computer is too busy to listen"}
	case q.Peak <= audio.Silence:
		return finding{part, look, name + " gives nothing but digital silence", "switch it on, or take it off mute in the system's sound settings"}
	}
	return finding{part, good, fmt.Sprintf("%s; noise at %.0f dB, nothing lost; waycall listen tries it with a phrase", name, q.Noise), ""}
}

// lookOut makes the voice speak a sentence, and opens the loudspeaker for it.
func (r *readiness) lookOut(ctx context.Context) finding {
	const part = "voice and speaker"
	voice, err := espeak.Open(r.wpm)
	if err != nil {
		return fromError(part, missing, err)
	}
	sentence, err := voice.Speak("This is waycall. Can you hear me?", 0)
	if err != nil {
		return fromError(part, missing, err)
	}
	loud, err := speaker.Open(r.speaker)
	if err != nil {
		return fromError(part, missing, err)
	}
	defer loud.Close()
	name := deviceName(card.Out, r.speaker)
	if !r.aloud {
		return finding{part, good, name, ""}
	}
	if err := loud.Play(ctx, sentence); err != nil {
		return fromError(part, missing, err)
	}
	return finding{part, good, name + "; it spoke: if you heard nothing, turn it up or name another with --speaker", ""}
}

// deviceName returns the whole name of a device that opened.
func deviceName(d card.Direction, name string) string {
	if err := card.Acquire(); err != nil {
		return name
	}
	defer card.Release()
	dev, err := card.Find(d, name)
	if err != nil {
		return name
	}
	return fmt.Sprintf("%s, %d Hz", dev.Name, dev.Rate)
}

// lookHearing loads each recogniser, which checks its files with their sums.
func (r *readiness) lookHearing() []finding {
	const first, second, third = "speech model", "second witness", "third witness"
	path := r.ear.modelPath()
	all := []finding{lookModel(first, path, r.ear.threads)}
	if g, err := phrase.Load(grammar.Files); err != nil {
		all = append(all, fromError("grammar", missing, err))
	} else if s, err := sphinx.Open(g.Lexicon()); err != nil {
		all = append(all, fromError(second, missing, err))
	} else {
		s.Close()
		all = append(all, finding{second, good, "pocketsphinx with its acoustic model", ""})
	}
	other, own := engines.Third(path)
	switch _, err := os.Stat(other); {
	case !own:
		all = append(all, finding{third, look, "none, as another model than waycall's own is named", "more will be asked; leave --model out to have it"})
	case err != nil:
		all = append(all, finding{third, look, "no " + other, "more will be asked; run scripts/setup, or install the package again"})
	default:
		all = append(all, lookModel(third, other, r.ear.threads))
	}
	return all
}

func lookModel(part, path string, threads int) finding {
	if err := processorFits(); err != nil {
		return fromError(part, missing, err)
	}
	m, err := whisper.Open(path, threads)
	if err != nil {
		return fromError(part, missing, err)
	}
	m.Close()
	if accepted(path) != nil {
		return fromError(part, missing, accepted(path))
	}
	if !m.Adapted() {
		return finding{part, look, path + ", as its sum says, and not adapted to the trade", "more will be asked; leave --model out to have waycall's own, or run scripts/setup to build it anew"}
	}
	return finding{part, good, path + ", as its sum says", ""}
}

// lookFolder looks whether jobs can be kept in a folder, by their owner alone.
func lookFolder(part, dir string) finding {
	info, err := os.Stat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return finding{part, good, dir + ", to be made with the first job", ""}
	}
	if err == nil && !info.IsDir() {
		return finding{part, missing, dir + " is no folder", "take it away, or name another with --data"}
	}
	if err == nil {
		var f *os.File
		if f, err = os.CreateTemp(dir, ".ready-*"); err == nil {
			f.Close()
			err = os.Remove(f.Name())
		}
	}
	if err != nil {
		return finding{part, missing, err.Error(), "make the folder yours and writable, or name another with --data"}
	}
	if info.Mode().Perm()&0o077 != 0 {
		return finding{part, look, fmt.Sprintf("%s is open to others on this machine (%v)", dir, info.Mode().Perm()), "chmod 700 " + dir}
	}
	return finding{part, good, dir + ", yours alone", ""}
}

// lookCopy looks whether the folder for copies is there, as a stick may not be.
func (r *readiness) lookCopy() finding {
	const part = "folder for copies"
	info, err := os.Stat(r.copyTo)
	if err != nil || !info.IsDir() {
		return finding{part, missing, r.copyTo + " is no folder", `plug the stick in, or begin with --copy-to ""`}
	}
	if f := lookFolder(part, r.copyTo); f.State == missing {
		return f
	}
	return finding{part, good, r.copyTo, ""} // on a stick anybody may read: it has no owners
}

// A day of 3,000 phrases of two and a half seconds is 240 MB, at 32 kB a second
// and without compression.
const (
	leastRoom = 64 << 20
	dayRoom   = 512 << 20
)

// lookRoom looks at the room on the disk of a folder, which need not exist yet.
func lookRoom(part, dir string) finding {
	at, err := filepath.Abs(dir)
	if err != nil {
		return finding{part, look, err.Error(), "name a folder with --data"}
	}
	var fs unix.Statfs_t
	for {
		err = unix.Statfs(at, &fs)
		if !errors.Is(err, unix.ENOENT) || at == filepath.Dir(at) {
			break
		}
		at = filepath.Dir(at)
	}
	if err != nil {
		return finding{part, look, fmt.Sprintf("the room at %s is not known: %v", at, err), "see that the disk is there"}
	}
	return judgeRoom(part, fs.Bavail*uint64(fs.Bsize))
}

func judgeRoom(part string, free uint64) finding {
	found := fmt.Sprintf("%d MB free", free/1_000_000)
	switch {
	case free < leastRoom:
		return finding{part, missing, found, "make room: a phrase with its sound takes some 80 kB"}
	case free < dayRoom:
		return finding{part, look, found, "make room for a whole day: 3,000 phrases take up to 240 MB"}
	}
	return finding{part, good, found, ""}
}

// lookJobs opens every job in the folder, and returns the time of the last event.
// Those that were put away are left alone.
func lookJobs(ctx context.Context, dir string) (all []finding, last time.Time) {
	const part = "records"
	files, err := jobsIn(dir)
	if err != nil {
		return []finding{{part, missing, err.Error(), "name another folder with --data"}}, last
	}
	var whole int
	for _, file := range files {
		if ctx.Err() != nil {
			return all, last
		}
		known, _, err := new(dataFlag).readJob(ctx, file)
		if err != nil {
			job := jobOf(file)
			all = append(all, finding{part, look, fmt.Sprintf("%s: %v", job, err), "waycall verify " + job + " says more; do not go on with it"})
			continue
		}
		whole++
		if known.LastAt.After(last) {
			last = known.LastAt
		}
	}
	return append(all, finding{part, good, fmt.Sprintf("%d of %d open and make sense", whole, len(files)), ""}), last
}

// clockIsSet reports whether something keeps the clock by a time server.
func clockIsSet() bool {
	const timeError = 5 // TIME_ERROR of adjtimex(2): not synchronised
	s, err := unix.Adjtimex(&unix.Timex{})
	return err == nil && s != timeError
}

// judgeClock judges the clock by what was there before now: the program, made at
// made, and the last event of the records; either may be zero.
func judgeClock(now, made, last time.Time, set bool) finding {
	const part, layout = "clock", "2006-01-02 15:04:05 MST"
	at := now.Local().Format(layout)
	switch {
	case now.Before(made.Add(-24 * time.Hour)): // a day, for a program built in another time zone's tomorrow
		return finding{part, missing, fmt.Sprintf("%s is before this program was made, on %s", at, made.Local().Format(layout)), "set the clock: every reading is stored with its time"}
	case now.Before(last):
		return finding{part, missing, fmt.Sprintf("%s is before the last event in the records, of %s", at, last.Local().Format(layout)), "set the clock: every reading is stored with its time"}
	case !set:
		return finding{part, look, at + "; no time server keeps it", "compare it with another clock"}
	}
	return finding{part, good, at + "; a time server keeps it", ""}
}
