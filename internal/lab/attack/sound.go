package attack

import (
	"context"
	"fmt"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/lab/testsound"
)

const groupSound = "waycall start, through PulseAudio with both recognisers"

var soundAttacks = []Attack{
	{Name: "sound-kill", Group: groupSound, Title: "killed at a random moment while phrases are spoken to it, half of them with a copy", Bar: stored, Long: 16, Short: 0, Needs: found("pulseaudio", "paplay"), Trial: soundKill},
	{Name: "sound-signal", Group: groupSound, Title: "SIGHUP, SIGTERM, SIGINT while it listens or speaks", Bar: stored + "; a clean end: exit 130, one plain file", Long: 12, Short: 0, Needs: found("pulseaudio", "paplay"), Trial: soundSignal},
	{
		Name: "sound-gone", Group: groupSound, Title: "the job removed or replaced while it listens, then a phrase, then SIGTERM", Bar: "nothing is announced, and nothing promised at the end, that is in no file",
		Long: 6, Short: 0, Needs: found("pulseaudio", "paplay"), Trial: soundGone,
	},
}

// bench lets a trial use what is made for tests: what would fail a test fails the trial.
type bench struct {
	testing.TB // for what is not asked of it here
	t          *Trial
	ctx        context.Context
}

func (b bench) Helper()                           {}
func (b bench) Context() context.Context          { return b.ctx }
func (b bench) Cleanup(f func())                  { b.t.After(f) }
func (b bench) Fatal(args ...any)                 { b.t.Fatalf("the attack itself failed: %s", fmt.Sprint(args...)) }
func (b bench) Fatalf(format string, args ...any) { b.Fatal(fmt.Sprintf(format, args...)) }
func (b bench) Logf(format string, args ...any)   { b.t.Logf(format, args...) }
func (b bench) TempDir() string {
	dir, err := os.MkdirTemp(b.t.Dir, "temp-")
	b.t.must(err)
	return dir
}

// spoken is a session of the real program in a room, and what is said to it next.
type spoken struct {
	*session
	room  *testsound.Room
	b     bench
	lines []line
	at    int
}

// startPulse serialises the start of rooms: PulseAudio takes long on a busy machine.
var startPulse sync.Mutex

// spoken starts a session at a job that is prepared, and waits until it listens.
func (t *Trial) spoken(ctx context.Context, more ...string) (*spoken, []told) {
	b := bench{t: t, ctx: ctx}
	startPulse.Lock()
	room := testsound.Start(b)
	startPulse.Unlock()
	lines, err := readScript(t.testdata())
	t.must(err)
	before := t.clean(firstReading)
	env := append(t.env(), "PATH="+os.Getenv("PATH"))
	for _, e := range room.Env() {
		for _, ours := range []string{"PULSE_", "XDG_RUNTIME_DIR=", "ALSA_", "JACK_"} {
			if strings.HasPrefix(e, ours) {
				env = append(env, e)
			}
		}
	}
	args := append([]string{"start", "--json", "--speech-rate", "350"}, more...)
	s := t.begin(env, false, t.Binary, append(args, jobName)...)
	sp := &spoken{s, room, b, lines, firstReading}
	if !sp.listens() {
		s.wait()
		t.Fatalf("the session does not begin: %s", s.errs.String())
	}
	return sp, before.told
}

func (s *spoken) listens() bool {
	return s.until(func(e event) bool { return e.Event == "listening" })
}

// say speaks the next line of the script.
func (s *spoken) say() {
	clip, err := audio.ReadFile(s.lines[s.at].file)
	s.t.must(err)
	s.at++
	s.room.PlayClip(s.b, append(clip, make(audio.Clip, audio.Rate/2)...))
}

func soundKill(ctx context.Context, t *Trial) {
	var more []string
	v := Victim{Job: t.job()}
	if t.Number%2 == 0 {
		v.CopyTo = t.stick()
		more = []string{"--copy-to", v.CopyTo}
	}
	s, before := t.spoken(ctx, more...)
	for range t.Rand.IntN(5) {
		s.say()
		if !s.listens() {
			t.Failf("the session ended: %s", s.errs.String())
			break
		}
	}
	pause := time.Duration(t.Rand.IntN(1200)) * time.Millisecond
	if t.Rand.IntN(2) == 0 { // soon after it is announced, or while it speaks
		pause = time.Duration(t.Rand.IntN(30)) * time.Millisecond
	}
	killed := make(chan struct{})
	go func() {
		defer close(killed)
		s.until(func(e event) bool { return e.Event == "stored" || e.Event == "heard" })
		time.Sleep(pause)
		s.kill()
	}()
	s.say()
	select {
	case <-killed:
	case <-time.After(10 * time.Second): // nothing was understood: at any moment, then
		s.kill()
	}
	s.wait()
	<-killed
	t.Saw("killed")
	v.From = s.at
	s.lines, s.session.lines = nil, s.at
	t.afterKill(ctx, v, before, s.session)
}

func soundSignal(ctx context.Context, t *Trial) {
	sig := []syscall.Signal{syscall.SIGHUP, syscall.SIGTERM, syscall.SIGINT}[t.Number%3]
	s, before := t.spoken(ctx)
	for range t.Rand.IntN(3) {
		s.say()
		s.listens()
	}
	if t.Rand.IntN(2) == 0 {
		s.say()
		time.Sleep(time.Duration(t.Rand.IntN(1500)) * time.Millisecond)
	}
	s.signal(sig)
	code := s.wait()
	all := append(before, s.stored()...)
	t.isIn(ctx, t.job(), all)
	if code != 130 {
		t.Failf("%v: exit %d, not 130: %s", sig, code, brief(s.errs.String()))
	}
	for _, end := range []string{"-wal", "-shm"} {
		if _, err := os.Stat(t.job() + end); err == nil {
			t.Failf("%v: it left %s", sig, jobFile+end)
		}
	}
	t.Saw(sig.String())
}

func soundGone(ctx context.Context, t *Trial) {
	other := t.path("other")
	t.must(copyFile(t.other(ctx), other))
	s, before := t.spoken(ctx)
	s.say()
	s.listens()
	early := append(before, s.stored()...)
	acts := []fileAct{fileActs[0], fileActs[3], fileActs[15]}
	act := acts[t.Number%3]
	t.must(act.do(t, t.job(), other, ""))
	s.say()
	s.until(func(e event) bool { return e.Event == "speaking" })
	time.Sleep(time.Second)
	s.signal(syscall.SIGTERM)
	s.wait()
	all := everywhere(t.Dir, t.Dir)
	list := append(early, s.stored()[len(early)-len(before):]...)
	kept := false
	for _, h := range all {
		if h.file != other && h.lacks(list) == "" {
			kept = true
		}
	}
	switch {
	case kept:
		t.Saw("all of it in a file")
	case strings.Contains(s.errs.String(), "what was confirmed is kept"):
		t.Failf("%s: it ends with %q, and what was stored is in no file", act.name, strings.TrimSpace(s.errs.String()))
	default:
		t.Failf("%s: what was stored is in no file, though the session had it open: %s", act.name, brief(s.errs.String()))
	}
}
