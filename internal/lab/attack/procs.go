package attack

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// patience is how long anything may do nothing, or work, before it counts as hung. It is no
// measure of how long it does take: the machine may be busy.
const patience = 2 * time.Minute

// silence is how long a session may print nothing. It goes on printing for longer than any
// limit where the record keeps it waiting at each phrase.
const silence = 2 * patience

// ran is what became of a command.
type ran struct {
	args     []string
	out, err string
	code     int // exit status; -1 when a signal ended it
	signal   syscall.Signal
	hung     bool  // it had to be killed
	peak     int64 // bytes of memory at most, as far as it was seen
	took     time.Duration
}

func (r ran) String() string {
	end := fmt.Sprintf("exit %d", r.code)
	if r.code < 0 {
		end = r.signal.String()
	}
	if r.hung {
		end = "hung"
	}
	return fmt.Sprintf("%s: %s: %s", strings.Join(r.args, " "), end, brief(strings.TrimSpace(r.err)))
}

// brief cuts a text that is long.
func brief(s string) string {
	if len(s) > 300 {
		return s[:300] + "..."
	}
	return s
}

// crashed reports whether the program ended in a way that is no answer: by a signal, with
// a panic of Go, or by an assertion of a library.
func (r ran) crashed() bool {
	return r.code < 0 || r.hung || strings.Contains(r.err, "goroutine 1 [") || strings.Contains(r.err, "panic:") || strings.Contains(r.err, "GGML_ASSERT") ||
		strings.Contains(r.err, "this is a mistake in waycall")
}

// limited writes up to so much.
type limited struct {
	bytes.Buffer
	most int
}

func (l *limited) Write(p []byte) (int, error) {
	if room := l.most - l.Len(); room > 0 {
		l.Buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}

// waycall runs the real program with arguments, in the trial's folder and with its
// settings and data there.
func (t *Trial) waycall(ctx context.Context, args ...string) ran {
	return t.waycallFor(ctx, patience, nil, args...)
}

func (t *Trial) waycallFor(ctx context.Context, limit time.Duration, stdin io.Reader, args ...string) ran {
	cmd := exec.CommandContext(ctx, t.Binary, args...)
	cmd.Env = t.env()
	cmd.Dir = t.Dir
	cmd.Stdin = stdin
	out, errs := &limited{most: 8 << 20}, &limited{most: 1 << 20}
	cmd.Stdout, cmd.Stderr = out, errs
	cmd.WaitDelay = 5 * time.Second
	r := ran{args: args}
	start := time.Now()
	if err := cmd.Start(); err != nil {
		t.must(err)
	}
	watched := watch(cmd.Process, limit)
	_ = cmd.Wait()
	r.peak, r.hung = watched()
	r.took = time.Since(start)
	r.out, r.err, r.code = out.String(), errs.String(), cmd.ProcessState.ExitCode()
	if ws, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); ok && ws.Signaled() {
		r.signal = ws.Signal()
	}
	if ru, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		r.peak = ownPeak(r.peak, ru.Maxrss<<10, peakOf("self"))
	}
	t.Logf("%s", r)
	return r
}

// ownPeak is how much memory a process had at most, of which so much was seen: most by the
// system's count, which counts in what this process had when it made the other. Only more
// than that is known to be of the other, and not a little more: the system counts in
// lumps of some dozens of pages for each processor.
func ownPeak(seen, most, ours int64) int64 {
	const rough = 8 << 20
	if most > ours+rough {
		return max(seen, most)
	}
	return seen
}

// peakOf is how much memory a process has had at most, in bytes; 0 where it is not known.
func peakOf(pid string) int64 {
	_, after, _ := strings.Cut(readText("/proc/"+pid+"/status"), "VmHWM:")
	var kB int64
	_, _ = fmt.Sscan(after, &kB)
	return kB << 10
}

// processorOf is how much of the processors a process has used; 0 where it is not known.
func processorOf(pid string) time.Duration {
	_, after, _ := strings.Cut(readText("/proc/"+pid+"/stat"), ") ")
	f := strings.Fields(after)
	const user, system, perSecond = 11, 12, 100 // behind the name; see proc_pid_stat(5)
	if len(f) <= system {
		return 0
	}
	u, _ := strconv.Atoi(f[user])
	y, _ := strconv.Atoi(f[system])
	return time.Duration(u+y) * time.Second / perSecond
}

// progress is what a command has done so far, to tell one that hangs from one that a busy
// machine keeps waiting.
type progress struct {
	at   time.Time     // when it last came on
	used time.Duration // of the processors, by then
}

// hangs reports whether a command that has used so much of the processors by now hangs: for
// as long as the limit it did nothing, or it works for more than that.
func (p *progress) hangs(now time.Time, used, limit time.Duration) bool {
	if used-p.used >= 50*time.Millisecond { // what waits does not come to that
		p.at, p.used = now, used
	}
	return now.Sub(p.at) > limit || used > limit
}

// watch looks at a process, and kills it where it hangs, until the function that it returns
// is called, which returns how much memory the process has had at most and whether it hung.
func watch(process *os.Process, limit time.Duration) func() (peak int64, hung bool) {
	over, done := make(chan struct{}), make(chan struct{})
	var peak int64
	var hung bool
	go func() {
		defer close(done)
		pid := strconv.Itoa(process.Pid)
		came := progress{at: time.Now()}
		look := time.NewTicker(5 * time.Millisecond)
		defer look.Stop()
		for n := 0; ; n++ {
			peak = max(peak, peakOf(pid))
			if n%100 == 0 && !hung && came.hangs(time.Now(), processorOf(pid), limit) {
				hung = true
				_ = process.Kill()
			}
			select {
			case <-look.C:
			case <-over:
				return
			}
		}
	}()
	return func() (int64, bool) { close(over); <-done; return peak, hung }
}

// env is the environment of what is run: data and settings in the trial's folder.
func (t *Trial) env() []string {
	env := []string{
		"HOME=" + t.Dir, "XDG_DATA_HOME=" + t.path("data"), "XDG_CONFIG_HOME=" + t.path("config"), "XDG_RUNTIME_DIR=" + t.Dir,
		"TZ=UTC", "LANG=C.UTF-8", "TMPDIR=" + t.Dir, "PATH=" + os.Getenv("PATH"), "WAYCALL_MODEL=" + t.model(),
	}
	return append(env, t.Env...)
}

// event is one line that a session prints.
type event struct {
	Event string            `json:"event"`
	Text  string            `json:"text"`
	Line  int               `json:"line"` // of the script, that is said next
	Facts []json.RawMessage `json:"facts"`
	Lost  int               `json:"lost"`
}

// session is a running session whose lines are read.
type session struct {
	t      *Trial
	cmd    *exec.Cmd
	stdin  io.WriteCloser
	events chan event
	ended  chan struct{}
	errs   limited
	limit  *time.Timer // ends a session that has printed nothing for as long as silence

	mu    sync.Mutex
	told  []told   // announced as stored, in order
	said  []string // spoken, in order
	all   []event
	lines int // of the script, begun
}

// begin starts a session, a process with these arguments that prints the lines of one.
func (t *Trial) begin(env []string, stepped bool, name string, args ...string) *session {
	s := &session{t: t, cmd: exec.Command(name, args...), events: make(chan event, 1<<16), ended: make(chan struct{})}
	s.errs.most = 1 << 20
	s.cmd.Env, s.cmd.Dir = env, t.Root
	s.cmd.Stderr = &s.errs
	s.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // strace and what it traces end together
	out, err := s.cmd.StdoutPipe()
	t.must(err)
	if stepped {
		s.stdin, err = s.cmd.StdinPipe()
		t.must(err)
	}
	t.must(s.cmd.Start())
	s.limit = time.AfterFunc(silence, func() {
		t.Failf("the session hung: it printed nothing for %v", silence)
		s.kill()
	})
	t.After(s.kill)
	go s.read(out)
	return s
}

func (s *session) read(out io.Reader) {
	defer close(s.ended)
	defer close(s.events)
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 16<<20)
	for lines.Scan() {
		s.limit.Reset(silence)
		var e event
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			continue // a line that a kill cut off
		}
		s.mu.Lock()
		s.all = append(s.all, e)
		switch e.Event {
		case "stored":
			for _, f := range e.Facts {
				one, err := readTold(f)
				if err != nil {
					s.t.Failf("a fact that was announced cannot be read: %v", err)
				}
				s.told = append(s.told, one)
			}
		case "speaking":
			s.said = append(s.said, e.Text)
		case "line":
			s.lines = e.Line
		}
		s.mu.Unlock()
		select {
		case s.events <- e:
		default: // nobody looks
		}
	}
	_, _ = io.Copy(io.Discard, out)
}

// kill ends the session at once, with the tracer it may have.
func (s *session) kill() {
	if s.cmd.Process != nil {
		_ = syscall.Kill(-s.cmd.Process.Pid, syscall.SIGKILL)
	}
}

// signal sends a signal to the session's process, which no tracer is around.
func (s *session) signal(sig syscall.Signal) { _ = s.cmd.Process.Signal(sig) }

// wait waits until the session has ended, by itself or killed, and returns its exit
// status, -1 for one that a signal ended.
func (s *session) wait() int {
	<-s.ended
	_ = s.cmd.Wait()
	s.limit.Stop()
	// A tracer that was killed may leave what it traced for a moment.
	s.kill()
	s.t.Logf("the session ended with %v; it said last: %q; stderr: %s", s.cmd.ProcessState, s.last(), brief(s.errs.String()))
	return s.cmd.ProcessState.ExitCode()
}

// until waits for an event that f wants; false when the session ended before.
func (s *session) until(f func(event) bool) bool {
	for e := range s.events {
		if f(e) {
			return true
		}
	}
	return false
}

// step lets a stepped session go on with its next line, and waits until it asks for the
// one after; false when it has ended.
func (s *session) step() bool {
	if _, err := io.WriteString(s.stdin, "\n"); err != nil {
		return false
	}
	return s.until(func(e event) bool { return e.Event == "line" })
}

// finish ends the sound of a stepped session.
func (s *session) finish() int {
	_ = s.stdin.Close()
	return s.wait()
}

func (s *session) stored() []told {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]told(nil), s.told...)
}

func (s *session) spoken() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]string(nil), s.said...)
}

func (s *session) last() string {
	if said := s.spoken(); len(said) > 0 {
		return said[len(said)-1]
	}
	return ""
}

// words reports whether something that the session said from its n-th text on holds one
// of these.
func (s *session) words(n int, any ...string) bool {
	said := s.spoken()
	for _, text := range said[min(n, len(said)):] {
		for _, a := range any {
			if strings.Contains(strings.ToLower(text), strings.ToLower(a)) {
				return true
			}
		}
	}
	return false
}

// alive reports whether the session's process is there.
func (s *session) alive() bool {
	select {
	case <-s.ended:
		return false
	default:
		return !errors.Is(s.cmd.Process.Signal(syscall.Signal(0)), os.ErrProcessDone)
	}
}
