package attack

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// The test binary is the victim, too, when it is called so.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == "victim" {
		if err := victimMain(os.Args[2:]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

func victimMain(args []string) error {
	var v Victim
	f := flag.NewFlagSet("victim", flag.ContinueOnError)
	f.StringVar(&v.Testdata, "testdata", "", "")
	f.StringVar(&v.Models, "models", "", "")
	f.StringVar(&v.Job, "job", "", "")
	f.StringVar(&v.CopyTo, "copy-to", "", "")
	f.IntVar(&v.From, "from", 0, "")
	f.IntVar(&v.Lines, "lines", 0, "")
	f.BoolVar(&v.Engines, "engines", false, "")
	f.BoolVar(&v.Stepped, "stepped", false, "")
	if err := f.Parse(args); err != nil {
		return err
	}
	return v.Run(context.Background(), os.Stdin, os.Stdout)
}

// field is what the attacks of a test have: waycall built for it.
func field(t *testing.T) *Field {
	t.Helper()
	root, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	out := t.TempDir()
	binary := filepath.Join(out, "waycall")
	build := exec.Command("go", "build", "-o", binary, "./cmd/waycall")
	build.Dir = root
	if said, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	return &Field{Root: root, Binary: binary, Victim: []string{self, "victim"}, Out: filepath.Join(out, "attack")}
}

// The short form of the attacks, of which each must be borne. The attack on the server
// waits for what comes half a minute later, while the others go on.
func TestShort(t *testing.T) {
	f := field(t)
	for name, only := range map[string][]string{
		"records": {groupSession, "power-cut", groupDamage, groupHostile},
		"clients": {groupClients},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			own := &Field{Root: f.Root, Binary: f.Binary, Victim: f.Victim, Out: filepath.Join(f.Out, name)}
			results, err := Run(t.Context(), own, Plan{Short: true, Only: only, Tell: func(s string) { t.Log(s) }})
			if err != nil {
				t.Fatal(err)
			}
			trials := 0
			for _, r := range results {
				trials += r.Trials
				for _, x := range r.Failures {
					t.Errorf("%s, trial %d: %s\n%s", r.Name, x.Trial, strings.Join(x.What, "; "), readText(filepath.Join(x.Evidence, "trial.log")))
				}
			}
			if trials == 0 {
				t.Error("nothing was tried")
			}
		})
	}
}

// What holds a record against what was announced must notice each way in which it can
// fall short.
func TestOracle(t *testing.T) {
	said := []told{{id: 1, kind: "opened"}, {id: 2, kind: "heard", fields: map[string]any{"text": "yes"}}}
	for name, c := range map[string]struct {
		events []told
		lacks  bool
	}{
		"all of it":      {said, false},
		"more than that": {append(append([]told(nil), said...), told{id: 3}), false},
		"one too few":    {said[:1], true},
		"none":           {nil, true},
		"another kind":   {[]told{said[0], {id: 2, kind: "said", fields: said[1].fields}}, true},
		"other words":    {[]told{said[0], {id: 2, kind: "heard", fields: map[string]any{"text": "no"}}}, true},
	} {
		if got := (held{events: c.events}).lacks(said); (got != "") != c.lacks {
			t.Errorf("%s: %q", name, got)
		}
	}
}

// A trial is the same each time that it is made.
func TestSeeded(t *testing.T) {
	f := &Field{Out: t.TempDir(), work: t.TempDir()}
	var drawn []uint64
	a := Attack{Name: "draw", Trial: func(_ context.Context, t *Trial) { drawn = append(drawn, t.Rand.Uint64()) }}
	for _, n := range []int{7, 7, 8} {
		f.try(t.Context(), a, n)
	}
	if drawn[0] != drawn[1] || drawn[0] == drawn[2] {
		t.Errorf("drawn: %v", drawn)
	}
}

// A fault that is found, and an attack that goes wrong, both fail the trial and keep its
// folder; a trial that finds nothing leaves none.
func TestEvidence(t *testing.T) {
	f := &Field{Out: t.TempDir(), work: t.TempDir()}
	for name, c := range map[string]struct {
		trial func(context.Context, *Trial)
		fails bool
	}{
		"borne":  {func(_ context.Context, t *Trial) { t.Saw("nothing") }, false},
		"fault":  {func(_ context.Context, t *Trial) { t.Failf("lost") }, true},
		"ends":   {func(_ context.Context, t *Trial) { t.Fatalf("lost") }, true},
		"panics": {func(_ context.Context, t *Trial) { panic("oh") }, true},
	} {
		got := f.try(t.Context(), Attack{Name: name, Trial: c.trial}, 1)
		_, err := os.Stat(filepath.Join(f.Out, name+"-1", "trial.log"))
		if len(got.failures) > 0 != c.fails || (err == nil) != c.fails {
			t.Errorf("%s: failures %q, evidence %v", name, got.failures, err)
		}
	}
}

// The memory of a command is its own, and not that of the attack which starts it.
func TestPeak(t *testing.T) {
	mine := make([]byte, 300<<20)
	for i := range mine {
		mine[i] = 1
	}
	f := &Field{Out: t.TempDir(), work: t.TempDir(), Binary: "/bin/sleep"}
	got := f.try(t.Context(), Attack{Name: "small", Trial: func(ctx context.Context, t *Trial) {
		if r := t.waycall(ctx, "0.2"); r.peak == 0 || r.peak > 100<<20 {
			t.Failf("%d MiB", r.peak>>20)
		}
	}}, 1)
	if len(got.failures) > 0 {
		t.Error(got.failures)
	}
	runtime.KeepAlive(mine)
}

func TestOwnPeak(t *testing.T) {
	for _, c := range []struct{ seen, most, ours, want int64 }{
		{1, 340, 340, 1}, {1, 341, 340, 1}, {1, 400, 340, 400}, {500, 400, 340, 500},
	} {
		if got := ownPeak(c.seen<<20, c.most<<20, c.ours<<20); got != c.want<<20 {
			t.Errorf("%+v: %d MiB", c, got>>20)
		}
	}
}

// A command hangs when it does nothing for the limit, or works for longer than that, and
// not when others leave it little of the processors.
func TestHangs(t *testing.T) {
	const ms = time.Millisecond
	start := time.Now()
	for name, c := range map[string]struct {
		each time.Duration // of the processors in each second
		want bool          // within 100 seconds, with a limit of 60
	}{"waits for ever": {0, true}, "waits, and collects garbage": {ms / 2, true}, "is kept waiting": {10 * ms, false}, "works for ever": {time.Second, true}} {
		p, hung := progress{at: start}, false
		for n := range 100 {
			hung = hung || p.hangs(start.Add(time.Duration(n)*time.Second), time.Duration(n)*c.each, 60*time.Second)
		}
		if hung != c.want {
			t.Errorf("one that %s hangs: %v", name, hung)
		}
	}
	f := &Field{Out: t.TempDir(), work: t.TempDir(), Binary: "/bin/sleep"}
	f.try(t.Context(), Attack{Name: "hung", Trial: func(ctx context.Context, u *Trial) {
		if r := u.waycallFor(ctx, 100*ms, nil, "1000"); !r.hung || !r.crashed() {
			t.Errorf("one that sleeps: %v", r)
		}
	}}, 1)
}

// A session that goes on printing has not hung, however long it takes.
func TestSilence(t *testing.T) {
	s := &session{t: &Trial{}, events: make(chan event, 2), ended: make(chan struct{}), limit: time.NewTimer(0)}
	<-s.limit.C // the limit is over
	s.read(strings.NewReader("{\"event\":\"line\"}\n"))
	if !s.limit.Stop() {
		t.Error("a line does not begin the limit anew")
	}
}

// Each attack has a name of its own, a bar and trials.
func TestAttacks(t *testing.T) {
	seen := map[string]bool{}
	for _, a := range All() {
		if seen[a.Name] || a.Title == "" || a.Bar == "" || a.Group == "" || a.Long < 1 || a.Trial == nil {
			t.Errorf("%s: it is there twice, or not whole", a.Name)
		}
		seen[a.Name] = true
	}
}

// Every damager changes what it is given.
func TestDamagers(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	good := junk(r, 20_000)
	for name, d := range map[string]damager{"flip": flip, "header": flipHeader, "cut": cutShort, "sector": sector} {
		changed := 0
		for range 20 {
			if string(d(r, append([]byte(nil), good...))) != string(good) {
				changed++
			}
		}
		if changed < 10 {
			t.Errorf("%s changed %d of 20", name, changed)
		}
	}
}
