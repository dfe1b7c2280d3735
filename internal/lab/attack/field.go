package attack

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"

	"waycall/internal/hear/engines"
)

// Field is what the attacks have: the program that is attacked, and what it is attacked
// with.
type Field struct {
	Root   string   // of the repository
	Binary string   // waycall, as it is built
	Victim []string // the command that runs a Victim, before its flags
	Env    []string // more for the environment of what is run
	Out    string   // where evidence is kept

	isShort bool
	work    string // where trials are made
	bases   bases
}

// bases are jobs that trials begin with, each made once.
type bases struct {
	mu      sync.Mutex
	clean   map[int]string // line of the script -> a job whose session ended there
	cut     base           // a job whose session was killed
	review  *server
	zip     string
	answers map[string]map[string]string // kind of job -> command -> what it prints
	known   *verdict                     // of the job that was cut off
}

// base is a job and what was announced of it.
type base struct {
	path string
	told []told
	head string
}

// firstReading is the line of the script after which the board is prepared and the
// first reading is confirmed, and cutAt where the session of the job that was cut off ends.
const (
	firstReading = 15
	cutAt        = 40
)

// prepare makes the folders.
func (f *Field) prepare(_ context.Context, p Plan) error {
	var err error
	if f.Root, err = filepath.Abs(f.Root); err != nil {
		return err
	}
	if f.Out, err = filepath.Abs(f.Out); err != nil {
		return err
	}
	if f.Binary, err = filepath.Abs(f.Binary); err != nil {
		return err
	}
	f.isShort = p.Short
	f.work = filepath.Join(f.Out, "work")
	if err := os.RemoveAll(f.work); err != nil {
		return err
	}
	if err := os.MkdirAll(f.work, 0o755); err != nil {
		return err
	}
	for _, need := range []string{f.Binary, f.model()} {
		if _, err := os.Stat(need); err != nil {
			return fmt.Errorf("%w; run `make build` first", err)
		}
	}
	// As many connections as the attacks on the review ask for.
	var most syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &most); err == nil && most.Cur < most.Max {
		most.Cur = most.Max
		_ = syscall.Setrlimit(syscall.RLIMIT_NOFILE, &most)
	}
	p.Tell(fmt.Sprintf("%s is attacked; what trials leave is in %s", f.Binary, f.Out))
	return nil
}

// end ends what was shared by trials.
func (f *Field) end() {
	if f.bases.review != nil {
		f.bases.review.kill()
	}
	_ = os.RemoveAll(f.work)
}

func (f *Field) model() string    { return filepath.Join(f.Root, "models", engines.Model) }
func (f *Field) testdata() string { return filepath.Join(f.Root, "testdata") }

// victim is the command line of a victim.
func (f *Field) victim(v Victim) []string {
	args := append([]string(nil), f.Victim...)
	args = append(args, "--testdata", f.testdata(), "--models", filepath.Dir(f.model()), "--job", v.Job,
		"--from", strconv.Itoa(v.From), "--lines", strconv.Itoa(v.Lines))
	if v.CopyTo != "" {
		args = append(args, "--copy-to", v.CopyTo)
	}
	if v.Engines {
		args = append(args, "--engines")
	}
	if v.Stepped {
		args = append(args, "--stepped")
	}
	return args
}

// attacked begins a victim, under what comes before its command.
func (t *Trial) attacked(v Victim, under ...string) *session {
	args := append(under, t.victim(v)...)
	return t.begin(append(os.Environ(), t.Env...), v.Stepped, args[0], args[1:]...)
}

// clean copies a job whose session ended before a line of the script into the trial's
// folder of jobs.
func (t *Trial) clean(line int) base {
	t.bases.mu.Lock()
	defer t.bases.mu.Unlock()
	if t.bases.clean == nil {
		t.bases.clean = map[int]string{}
	}
	from, ok := t.bases.clean[line]
	if !ok {
		dir := filepath.Join(t.Out, "work", fmt.Sprintf("base-%d", line))
		t.must(os.MkdirAll(dir, 0o755))
		from = filepath.Join(dir, jobFile)
		s := t.attacked(Victim{Job: from, Lines: line})
		if s.wait() != 0 {
			t.Fatalf("the attack itself failed: no job to begin with")
		}
		t.bases.clean[line] = from
	}
	to := t.job()
	t.must(copyJob(from, to))
	h, err := readHeld(to, t.Dir)
	t.must(err)
	return base{to, h.events, h.head}
}

// jobFile is what a job is called in the attacks.
const jobFile = "COT-0204.waycall"

// jobs is the trial's folder of jobs, and job its job.
func (t *Trial) jobs() string { return filepath.Join(t.Dir, "data", "waycall") }
func (t *Trial) job() string  { return filepath.Join(t.jobs(), jobFile) }

// cutOff copies a job whose session was killed, with its write-ahead log, into the trial's
// folder of jobs.
func (t *Trial) cutOff() base {
	t.bases.mu.Lock()
	defer t.bases.mu.Unlock()
	if t.bases.cut.path == "" {
		dir := filepath.Join(t.Out, "work", "base-cut")
		t.must(os.RemoveAll(dir))
		t.must(os.MkdirAll(dir, 0o755))
		path := filepath.Join(dir, jobFile)
		s := t.attacked(Victim{Job: path, Stepped: true})
		s.until(func(e event) bool { return e.Event == "line" })
		for range cutAt {
			if !s.step() {
				t.Fatalf("the attack itself failed: no job that was cut off: %s", s.errs.String())
			}
		}
		s.kill()
		s.wait()
		h, err := readHeld(path, dir)
		t.must(err)
		if what := h.lacks(s.stored()); what != "" || len(h.wrong) > 0 {
			t.Fatalf("the job that was cut off: %s %v", what, h.wrong)
		}
		t.bases.cut = base{path, h.events, h.head}
	}
	b := t.bases.cut
	b.path = t.job()
	t.must(copyJob(t.bases.cut.path, b.path))
	return b
}

// packed is an export of a clean job.
func (t *Trial) packed(ctx context.Context) string {
	b := t.clean(cutAt)
	t.bases.mu.Lock()
	defer t.bases.mu.Unlock()
	if t.bases.zip == "" {
		zip := filepath.Join(t.Out, "work", "base.zip")
		_ = os.Remove(zip)
		if r := t.waycall(ctx, "export", b.path, zip); r.code != 0 {
			t.Fatalf("the attack itself failed: no export: %s", r)
		}
		t.bases.zip = zip
	}
	return t.bases.zip
}

// found says why a program is missing.
func found(programs ...string) func() error {
	return func() error {
		for _, p := range programs {
			if _, err := exec.LookPath(p); err != nil {
				return fmt.Errorf("%w; scripts/setup --tests installs it", err)
			}
		}
		return nil
	}
}

// asRoot says that an attack needs root.
func asRoot(needs ...string) func() error {
	return func() error {
		if os.Geteuid() != 0 {
			return errors.New("only root may mount a file system")
		}
		return found(needs...)()
	}
}
