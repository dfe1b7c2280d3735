package attack

import (
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"time"
)

const (
	groupSession = "live sessions"
	stored       = "what was announced as stored is in the record, by number and content; it is whole, and goes on"
)

var sessionAttacks = []Attack{
	{
		Name: "kill-call", Group: groupSession, Title: "a session killed at a random system call", Bar: stored,
		Long: 500, Short: 4, Needs: found("strace"), Trial: killAtCall,
	},
	{
		Name: "kill-moment", Group: groupSession, Title: "a session killed at a random moment, half of them with a copy, a quarter with both recognisers", Bar: stored + "; so is the copy",
		Long: 100, Short: 4, Trial: killAtMoment,
	},
	{
		Name: "call-fails", Group: groupSession, Title: "a write or a sync of the record fails, with EIO or ENOSPC, once or for ever", Bar: stored + "; the session goes on or ends with words; what is said not to be stored is not",
		Long: 48, Short: 3, Needs: found("strace"), Trial: callFails,
	},
	{
		Name: "any-call-fails", Group: groupSession, Title: "any system call on the record's files fails once", Bar: stored + "; the session goes on or ends with words",
		Long: 60, Short: 0, Needs: found("strace"), Trial: anyCallFails,
	},
}

// calls are the system calls at which a session is killed, with the most that one thread
// made of each in a session of the length that is used here.
var calls = []struct {
	name string
	most int
}{
	{"pwrite64", 300}, {"fsync", 10}, {"pread64", 390}, {"openat", 120}, {"write", 27}, {"read", 600}, {"close", 130}, {"fcntl", 400},
	{"newfstatat", 160}, {"ftruncate", 2}, {"fallocate", 6}, {"mmap", 210}, {"futex", 500}, {"unlinkat", 16}, {"nanosleep", 1500}, {"madvise", 110}, {"epoll_pwait", 60},
}

// killAtCall kills a session when one of its threads makes its n-th system call of a
// random kind, half of the time of those on the record's files alone.
func killAtCall(ctx context.Context, t *Trial) {
	from := []int{0, firstReading, cutAt}[t.Rand.IntN(3)]
	onRecord := t.Rand.IntN(2) == 0
	call := calls[t.Rand.IntN(len(calls))]
	if onRecord {
		call = calls[[]int{0, 0, 0, 0, 1, 1, 2, 3, 7, 8}[t.Rand.IntN(10)]]
	}
	n := 1 + t.Rand.IntN(call.most)
	if t.Rand.IntN(3) == 0 { // near the beginning
		n = int(math.Exp(t.Rand.Float64() * math.Log(float64(call.most)+0.99)))
	}
	copies := t.Rand.IntN(4) == 0
	for try := 0; ; try++ {
		var before []told
		v := Victim{Job: t.job(), From: from, Lines: 14}
		if copies {
			v.CopyTo = t.stick()
		}
		if from > 0 {
			before = t.clean(from).told
		} else {
			t.fresh()
		}
		trace := []string{"strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=" + call.name, "-e", fmt.Sprintf("inject=%s:signal=KILL:when=%d", call.name, n)}
		if onRecord {
			trace = append(trace, t.onRecord()...)
		}
		s := t.attacked(v, trace...)
		code := s.wait()
		if code == 0 && try < 6 {
			// The session made fewer of them. Earlier ones, then, and at last some of which there are enough.
			if n /= 2; n == 0 {
				call, n, onRecord = calls[0], 1+t.Rand.IntN(30), false
			}
			t.wipe()
			continue
		}
		if code == 0 {
			t.Saw("not killed")
		} else {
			t.Saw("killed at " + call.name)
		}
		t.afterKill(ctx, v, before, s)
		return
	}
}

// afterKill holds the record of a killed session against what it announced, goes on with
// it for two phrases, and looks again.
func (t *Trial) afterKill(ctx context.Context, v Victim, before []told, s *session) {
	all := append(before, s.stored()...)
	t.saws("events announced", len(s.stored()))
	if len(all) > 0 {
		t.isIn(ctx, v.Job, all)
		if v.CopyTo != "" {
			t.copyIsPart(v, all)
		}
	}
	v.Lines, v.From, v.Engines, v.Stepped = 2, s.lines, false, false
	again := t.attacked(v)
	if code := again.wait(); code != 0 {
		t.Failf("the job does not open again: exit %d: %s", code, brief(again.errs.String()))
		return
	}
	h := t.isIn(ctx, v.Job, append(all, again.stored()...))
	if v.CopyTo != "" {
		if c, err := readHeld(t.copied(v), t.Dir); err != nil || c.head != h.head {
			t.Failf("the copy is not up to date after the session went on: %d of %d events, %v", c.count(), h.count(), err)
		}
	}
}

// copyIsPart fails unless the copy is whole and the beginning of the record.
func (t *Trial) copyIsPart(v Victim, all []told) {
	c, err := readHeld(t.copied(v), t.Dir)
	if os.IsNotExist(err) {
		t.Saw("no copy yet")
		return
	}
	if err != nil {
		t.Failf("the copy cannot be read: %v", err)
		return
	}
	for _, w := range c.wrong {
		t.Failf("the copy is not whole: %s", w)
	}
	n := min(len(all), c.count())
	if what := c.lacks(all[:n]); what != "" {
		t.Failf("the copy: %s", what)
	}
	if c.count() >= len(all) {
		t.Saw("copy up to date")
	} else {
		t.Saw("copy behind")
	}
}

// killAtMoment kills a session some time after it announced that something was stored.
func killAtMoment(ctx context.Context, t *Trial) {
	v := Victim{Job: t.job(), From: []int{0, firstReading, cutAt}[t.Rand.IntN(3)], Lines: 30, Engines: !t.short() && t.Rand.IntN(4) == 0}
	var before []told
	if v.From > 0 {
		before = t.clean(v.From).told
	} else {
		t.fresh()
	}
	if t.Rand.IntN(2) == 0 {
		v.CopyTo = t.stick()
	}
	after := 1 + t.Rand.IntN(25)
	pause := []time.Duration{0, time.Duration(t.Rand.IntN(20_000)) * time.Microsecond, time.Duration(t.Rand.IntN(300)) * time.Millisecond}[t.Rand.IntN(3)]
	s := t.attacked(v)
	if s.until(func(e event) bool {
		if e.Event == "stored" {
			after--
		}
		return after == 0
	}) {
		time.Sleep(pause)
	}
	s.kill()
	if s.wait() == 0 {
		t.Saw("ended before")
	} else {
		t.Saw("killed")
	}
	t.afterKill(ctx, v, before, s)
}

// callFails goes through the grid of what can fail: the call, the error, once or for ever,
// and which of them it is.
func callFails(ctx context.Context, t *Trial) {
	i := t.Number - 1
	call := []string{"pwrite64", "fsync"}[i%2]
	errno := []string{"EIO", "ENOSPC"}[i/2%2]
	ever := i/4%2 == 1
	n := 2 + i/8*12 + t.Rand.IntN(12) // of some 80 writes
	if call == "fsync" {
		n = 1 + i/8 + t.Rand.IntN(2) // of some 16
	}
	if t.short() {
		call, n, ever = "pwrite64", []int{12, 12, 30}[i%3], i == 1
	}
	for ; !t.fails(ctx, call, errno, n, ever, n < 40); n += 6 {
		t.wipe() // it failed before the session began: later, then
	}
}

// anyCallFails lets one call on the record's files fail, of a random kind.
func anyCallFails(ctx context.Context, t *Trial) {
	one := []struct{ call, errno string }{
		{"openat", "EMFILE"}, {"openat", "EIO"}, {"pread64", "EIO"}, {"pread64", "ENOMEM"}, {"fcntl", "EIO"}, {"fcntl", "ENOLCK"}, {"newfstatat", "EIO"},
		{"newfstatat", "EACCES"}, {"ftruncate", "ENOSPC"}, {"fsync", "EIO"}, {"fsync", "ENOSPC"}, {"pwrite64", "EDQUOT"}, {"pwrite64", "EROFS"}, {"pwrite64", "ENODEV"},
	}[t.Rand.IntN(14)]
	ever := t.Rand.IntN(2) == 0
	for n := 1 + t.Rand.IntN(12); !t.fails(ctx, one.call, one.errno, n, ever, n < 30); n += 8 {
		t.wipe() // it failed before the session began: later, then
	}
}

// fails runs a session in which the n-th system call of a kind on the record's files
// fails, and looks at what became of it. Where inside is wanted, a session that did not
// begin is none, and it returns false.
func (t *Trial) fails(ctx context.Context, call, errno string, n int, ever, inside bool) bool {
	how := fmt.Sprintf("error=%s:when=%d", errno, n)
	if ever {
		how += "+"
	}
	before := t.clean(firstReading).told
	v := Victim{Job: t.job(), From: firstReading, Lines: 14}
	trace := append([]string{"strace", "-f", "-qq", "-o", t.path("trace"), "-e", "trace=" + call, "-e", "inject=" + call + ":" + how}, t.onRecord()...)
	t.Logf("%s %s", call, how)
	s := t.attacked(v, trace...)
	code := s.wait()
	all := append(before, s.stored()...)
	injected := strings.Contains(readText(t.path("trace")), "(INJECTED)")
	switch {
	case !injected:
		t.Saw("no such call")
	case code == 0:
		t.Saw("went on")
	case s.words(0, "session has ended"):
		t.Saw("ended with words")
	case len(s.stored()) == 0 && len(s.spoken()) == 0 && s.errs.Len() > 0:
		if inside {
			return false
		}
		t.Saw("refused to begin") // with an error that says why
	default:
		t.Failf("the session ended without words: exit %d, last %q: %s", code, s.last(), brief(s.errs.String()))
	}
	h := t.isIn(ctx, v.Job, all)
	// What is there beyond what was announced was at most said to be in doubt.
	if beyond := h.count() - len(all); beyond > 0 && s.words(0, "were not stored", "was not stored") && !s.words(0, "may not", "may be") {
		t.Failf("%d events are in the record that were said not to be stored: last %q", beyond, s.last())
	}
	v.Lines = 2
	if again := t.attacked(v); again.wait() != 0 {
		t.Failf("the job does not open again: %s", brief(again.errs.String()))
	} else {
		t.isIn(ctx, v.Job, append(h.events, again.stored()...))
	}
	return true
}

// onRecord are the options of strace for calls on the record's files alone.
func (t *Trial) onRecord() []string {
	var all []string
	for _, end := range []string{"", "-wal", "-shm"} {
		all = append(all, "-P", t.job()+end)
	}
	return append(all, "-P", t.jobs())
}
