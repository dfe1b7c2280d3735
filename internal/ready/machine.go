// Package ready judges the equipment before a session: whether this machine can run one,
// and whether a microphone is good enough. It says what it found and what to do.
//
// It judges nothing of the installation under test and none of its instruments.
package ready

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/audio/card"
	"waycall/internal/audio/mic"
	"waycall/internal/hear/engines"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/jobs"
	"waycall/internal/phrase"
	"waycall/internal/say"
	"waycall/internal/say/bank"
	"waycall/internal/say/espeak"
	"waycall/internal/say/speaker"
	"waycall/internal/settings"
)

// Machine is what a session is to run with.
type Machine struct {
	Model    string // file of the first witness's model
	Threads  int    // of recognition
	Packaged bool   // the program is the packaged one, compiled for another machine than this
	Jobs     jobs.Folder
	Mic      string // name of the microphone, empty for the default
	Speaker  string
	Rate     int    // of speech, in words a minute; 0 for the default
	Bank     string // file of rendered phrases to speak with; "" for espeak-ng alone
	CopyTo   string // folder for copies, or empty
	Aloud    bool   // say a sentence through the loudspeaker, too
}

// Look looks at each part. It takes some seconds, a second of listening among them; where
// ctx ends it says what it knows by then.
func (r *Machine) Look(ctx context.Context) []Finding {
	all := []Finding{lookSettings()}
	all = append(all, r.lookIn(ctx), r.lookOut(ctx))
	all = append(all, r.lookHearing()...)
	dir := string(r.Jobs)
	all = append(all, lookFolder("folder for jobs", dir), lookRoom("disk", dir))
	if r.CopyTo != "" {
		all = append(all, r.lookCopy(), lookRoom("disk of the copy", r.CopyTo))
	}
	records, last := lookJobs(ctx, r.Jobs)
	var made time.Time
	if exe, err := os.Executable(); err == nil {
		if info, err := os.Stat(exe); err == nil {
			made = info.ModTime()
		}
	}
	return append(append(all, records...), judgeClock(time.Now(), made, last, clockIsSet()))
}

// lookSettings is about variables alone: what is wrong in the file was an error
// before the command began.
func lookSettings() Finding {
	path, _ := settings.Where()
	if unknown := settings.Unknown(os.Environ()); len(unknown) > 0 {
		return Finding{"settings", Look, strings.Join(unknown, ", ") + " in the environment is no setting", "unset it, or correct its name; waycall settings lists them"}
	}
	if _, err := os.Stat(path); err != nil {
		return Finding{"settings", Good, "no file of settings; the defaults hold", ""}
	}
	return Finding{"settings", Good, path, ""}
}

// lookIn opens the microphone and listens to it for a second.
func (r *Machine) lookIn(ctx context.Context) Finding {
	const part = "microphone"
	m, err := mic.Open(r.Mic)
	if err != nil {
		return fromError(part, Missing, err)
	}
	defer m.Close()
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	var got audio.Clip
	for got.Duration() < time.Second {
		c, err := m.Next(ctx)
		if errors.Is(err, context.DeadlineExceeded) {
			return Finding{part, Missing, "it opens, but no sound comes from it", "plug it in again, or name another with --mic (waycall mics lists them)"}
		}
		if b := new(audio.Break); errors.As(err, &b) {
			continue
		}
		if err != nil {
			return fromError(part, Missing, err)
		}
		got = append(got, c...)
	}
	q, _ := audio.Measure(got)
	name := fmt.Sprintf("%s, %d Hz", m.Device().Name, m.Device().Rate)
	switch {
	case m.Lost() > 0:
		return Finding{part, Look, fmt.Sprintf("%s; in a second, sound was lost %d times", name, m.Lost()), "end other programs: this computer is too busy to listen"}
	case q.Peak <= audio.Silence:
		return Finding{part, Look, name + " gives nothing but digital silence", "switch it on, or take it off mute in the system's sound settings"}
	}
	return Finding{part, Good, fmt.Sprintf("%s; noise at %.0f dB, nothing lost; waycall listen tries it with a phrase", name, q.Noise), ""}
}

// lookOut makes the voice speak a sentence, and opens the loudspeaker for it.
func (r *Machine) lookOut(ctx context.Context) Finding {
	const part = "voice and speaker"
	spoken, err := espeak.Open(r.Rate)
	if err != nil {
		return fromError(part, Missing, err)
	}
	var voice say.Voice = spoken
	if r.Bank != "" {
		if voice, err = bank.Open(r.Bank, spoken, 1); err != nil {
			return fromError(part, Look, err)
		}
	}
	sentence, err := voice.Speak("This is waycall. Can you hear me?", 0)
	if err != nil {
		return fromError(part, Missing, err)
	}
	loud, err := speaker.Open(r.Speaker)
	if err != nil {
		return fromError(part, Missing, err)
	}
	defer loud.Close()
	name := deviceName(card.Out, r.Speaker)
	if !r.Aloud {
		return Finding{part, Good, name, ""}
	}
	if err := loud.Play(ctx, sentence); err != nil {
		return fromError(part, Missing, err)
	}
	return Finding{part, Good, name + "; it spoke: if you heard nothing, turn it up or name another with --speaker", ""}
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
func (r *Machine) lookHearing() []Finding {
	const first, second, third = "speech model", "second witness", "third witness"
	path := r.Model
	all := []Finding{r.lookModel(first, path)}
	if g, err := phrase.Load(grammar.Files); err != nil {
		all = append(all, fromError("grammar", Missing, err))
	} else if s, err := sphinx.Open(g.Lexicon()); err != nil {
		all = append(all, fromError(second, Missing, err))
	} else {
		s.Close()
		all = append(all, Finding{second, Good, "pocketsphinx with its acoustic model", ""})
	}
	other, own := engines.Third(path)
	switch _, err := os.Stat(other); {
	case !own:
		all = append(all, Finding{third, Look, "none, as another model than waycall's own is named", "more will be asked; leave --model out to have it"})
	case err != nil:
		all = append(all, Finding{third, Look, "no " + other, "more will be asked; run scripts/setup, or install the package again"})
	default:
		all = append(all, r.lookModel(third, other))
	}
	return all
}

func (r *Machine) lookModel(part, path string) Finding {
	if err := engines.ProcessorFits(r.Packaged); err != nil {
		return fromError(part, Missing, err)
	}
	m, err := whisper.Open(path, r.Threads)
	if err != nil {
		return fromError(part, Missing, err)
	}
	m.Close()
	if err := engines.Accepted(path); err != nil {
		return fromError(part, Missing, err)
	}
	if !m.Adapted() {
		return Finding{part, Look, path + ", as its sum says, and not adapted to the trade", "more will be asked; leave --model out to have waycall's own, or run scripts/setup to build it anew"}
	}
	return Finding{part, Good, path + ", as its sum says", ""}
}

// lookFolder looks whether jobs can be kept in a folder, by their owner alone.
func lookFolder(part, dir string) Finding {
	info, err := os.Stat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return Finding{part, Good, dir + ", to be made with the first job", ""}
	}
	if err == nil && !info.IsDir() {
		return Finding{part, Missing, dir + " is no folder", "take it away, or name another with --data"}
	}
	if err == nil {
		var f *os.File
		if f, err = os.CreateTemp(dir, ".ready-*"); err == nil {
			f.Close()
			err = os.Remove(f.Name())
		}
	}
	if err != nil {
		return Finding{part, Missing, err.Error(), "make the folder yours and writable, or name another with --data"}
	}
	if info.Mode().Perm()&0o077 != 0 {
		return Finding{part, Look, fmt.Sprintf("%s is open to others on this machine (%v)", dir, info.Mode().Perm()), "chmod 700 " + dir}
	}
	return Finding{part, Good, dir + ", yours alone", ""}
}

// lookCopy looks whether the folder for copies is there, as a stick may not be.
func (r *Machine) lookCopy() Finding {
	const part = "folder for copies"
	info, err := os.Stat(r.CopyTo)
	if err != nil || !info.IsDir() {
		return Finding{part, Missing, r.CopyTo + " is no folder", `plug the stick in, or begin with --copy-to ""`}
	}
	if f := lookFolder(part, r.CopyTo); f.State == Missing {
		return f
	}
	return Finding{part, Good, r.CopyTo, ""} // on a stick anybody may read: it has no owners
}

// A day of 3,000 phrases of two and a half seconds is 240 MB, at 32 kB a second
// and without compression.
const (
	leastRoom = 64 << 20
	dayRoom   = 512 << 20
)

// lookRoom looks at the room on the disk of a folder, which need not exist yet.
func lookRoom(part, dir string) Finding {
	at, err := filepath.Abs(dir)
	if err != nil {
		return Finding{part, Look, err.Error(), "name a folder with --data"}
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
		return Finding{part, Look, fmt.Sprintf("the room at %s is not known: %v", at, err), "see that the disk is there"}
	}
	return judgeRoom(part, fs.Bavail*uint64(fs.Bsize))
}

func judgeRoom(part string, free uint64) Finding {
	found := fmt.Sprintf("%d MB free", free/1_000_000)
	switch {
	case free < leastRoom:
		return Finding{part, Missing, found, "make room: a phrase with its sound takes some 80 kB"}
	case free < dayRoom:
		return Finding{part, Look, found, "make room for a whole day: 3,000 phrases take up to 240 MB"}
	}
	return Finding{part, Good, found, ""}
}

// lookJobs opens every job in the folder, and returns the time of the last event.
// Those that were put away are left alone.
func lookJobs(ctx context.Context, dir jobs.Folder) (all []Finding, last time.Time) {
	const part = "records"
	files, err := dir.List()
	if err != nil {
		return []Finding{{part, Missing, err.Error(), "name another folder with --data"}}, last
	}
	var whole int
	for _, file := range files {
		if ctx.Err() != nil {
			return all, last
		}
		known, err := dir.Read(ctx, file)
		if err != nil {
			job := jobs.Name(file)
			all = append(all, Finding{part, Look, fmt.Sprintf("%s: %v", job, err), "waycall verify " + job + " says more; do not go on with it"})
			continue
		}
		whole++
		if known.State.LastAt.After(last) {
			last = known.State.LastAt
		}
	}
	return append(all, Finding{part, Good, fmt.Sprintf("%d of %d open and make sense", whole, len(files)), ""}), last
}

// clockIsSet reports whether something keeps the clock by a time server.
func clockIsSet() bool {
	const timeError = 5 // TIME_ERROR of adjtimex(2): not synchronised
	s, err := unix.Adjtimex(&unix.Timex{})
	return err == nil && s != timeError
}

// judgeClock judges the clock by what was there before now: the program, made at
// made, and the last event of the records; either may be zero.
func judgeClock(now, made, last time.Time, set bool) Finding {
	const part, layout = "clock", "2006-01-02 15:04:05 MST"
	at := now.Local().Format(layout)
	switch {
	case now.Before(made.Add(-24 * time.Hour)): // a day, for a program built in another time zone's tomorrow
		return Finding{part, Missing, fmt.Sprintf("%s is before this program was made, on %s", at, made.Local().Format(layout)), "set the clock: every reading is stored with its time"}
	case now.Before(last):
		return Finding{part, Missing, fmt.Sprintf("%s is before the last event in the records, of %s", at, last.Local().Format(layout)), "set the clock: every reading is stored with its time"}
	case !set:
		return Finding{part, Look, at + "; no time server keeps it", "compare it with another clock"}
	}
	return Finding{part, Good, at + "; a time server keeps it", ""}
}
