// Package attack attacks waycall from outside, with real processes: it kills sessions
// and lets their system calls fail, cuts the power of a file system, damages files, gives
// hostile ones to every command, and sends slow and many clients to the review.
//
// An Attack is a named function that is tried so many times. Each trial has a random
// source of its own, seeded by the attack's name and the trial's number, so that it can be
// made again alone: `lab attack --only NAME --trial N`. A trial that finds a fault keeps
// its folder.
//
// What is in a record is read with SQLite alone and held against what was announced to be
// stored (see oracle.go); waycall's own check must agree, but is not what is trusted.
package attack

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"
)

// Attack is one way to attack, tried many times.
type Attack struct {
	Name  string // by which it is called
	Title string // what it does, for the table
	Group string // of the table
	Bar   string // what must come out, for the table
	Long  int    // trials in the long form
	Short int    // and in the short one; 0 leaves it out there

	// Needs says why it cannot be tried here; nil where it always can.
	Needs func() error
	// Trial makes one trial.
	Trial func(ctx context.Context, t *Trial)
}

// Failure is a trial that found a fault.
type Failure struct {
	Trial    int      `json:"trial"`
	What     []string `json:"what"`
	Evidence string   `json:"evidence"` // the folder that holds what the trial left
}

// Result is what came of an attack.
type Result struct {
	Name     string         `json:"name"`
	Group    string         `json:"group"`
	Title    string         `json:"title"`
	Bar      string         `json:"bar"`
	Trials   int            `json:"trials"`
	Failed   int            `json:"failed"`            // trials
	Saw      map[string]int `json:"saw"`               // what happened, and in how many trials or times
	Skipped  string         `json:"skipped,omitempty"` // why it was not tried
	Took     float64        `json:"took_s"`            // on the clock, all trials
	Failures []Failure      `json:"failures"`

	Form string    `json:"form"` // of which it is a result, as Plan.form says
	At   time.Time `json:"at"`   // when it was over
	Load float64   `json:"load"` // of the machine then, over a minute
}

// Trial is one trial of an attack.
type Trial struct {
	*Field
	Rand   *rand.Rand // the same for the same attack and number
	Number int        // from 1
	Dir    string     // of its own, empty at first

	mu       sync.Mutex
	failures []string
	saw      map[string]int
	notes    []string
	after    []func()
}

// Failf says that the attack found a fault.
func (t *Trial) Failf(format string, args ...any) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.failures) < 20 {
		t.failures = append(t.failures, fmt.Sprintf(format, args...))
	}
}

// endTrial is what Fatalf panics with.
type endTrial struct{}

// Fatalf is Failf, and ends the trial.
func (t *Trial) Fatalf(format string, args ...any) {
	t.Failf(format, args...)
	panic(endTrial{})
}

// must ends the trial where the attack itself, and not what it attacks, went wrong.
func (t *Trial) must(err error) {
	if err != nil {
		t.Fatalf("the attack itself failed: %v", err)
	}
}

// Saw counts something that happened.
func (t *Trial) Saw(what string) { t.saws(what, 1) }

func (t *Trial) saws(what string, n int) {
	if n == 0 {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.saw[what] += n
}

// Logf notes something for who looks at the evidence.
func (t *Trial) Logf(format string, args ...any) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.notes = append(t.notes, fmt.Sprintf(format, args...))
}

// After has f called when the trial is over, the last first.
func (t *Trial) After(f func()) { t.after = append(t.after, f) }

// path names a file of the trial.
func (t *Trial) path(name string) string { return filepath.Join(t.Dir, name) }

// Plan says what to try.
type Plan struct {
	Short bool
	Only  []string // names of attacks, or of groups; empty for all
	Trial int      // that trial alone; 0 for all
	Scale float64  // of the numbers of trials; 0 is 1
	Jobs  int      // trials at once; 0 is 2
	Tell  func(line string)
}

// All are the attacks, in the order of the table.
func All() []Attack {
	return slices.Concat(sessionAttacks, fileAttacks, diskAttacks, soundAttacks, damageAttacks, packAttacks, inputAttacks, clientAttacks)
}

// chosen are the attacks of a plan.
func (p Plan) chosen() ([]Attack, error) {
	all := All()
	if len(p.Only) == 0 {
		return all, nil
	}
	var some []Attack
	for _, name := range p.Only {
		n := len(some)
		for _, a := range all {
			if a.Name == name || a.Group == name {
				some = append(some, a)
			}
		}
		if len(some) == n {
			var names []string
			for _, a := range all {
				names = append(names, a.Name)
			}
			return nil, fmt.Errorf("there is no attack %q; there are %s", name, strings.Join(names, ", "))
		}
	}
	return some, nil
}

func (p Plan) trials(a Attack) int {
	n := a.Long
	if p.Short {
		n = a.Short
	}
	if p.Scale > 0 && n > 0 {
		n = max(1, int(float64(n)*p.Scale))
	}
	return n
}

// form names what is tried of each attack. Results of one form stand on one page.
func (p Plan) form() string {
	form := "long form"
	if p.Short {
		form = "short form"
	}
	if p.Scale > 0 && p.Scale != 1 {
		form += fmt.Sprintf(" with %g times its trials", p.Scale)
	}
	return form
}

// Merge is the results of an earlier run with those of one now, which take the place of
// their own earlier ones, in the order of the attacks. Where attacks are run in parts, or
// one of them again, that is all of them. Earlier results of another form are left out.
func Merge(earlier, now []Result) []Result {
	if len(now) == 0 {
		return earlier
	}
	of := map[string]Result{}
	for _, r := range slices.Concat(earlier, now) {
		if r.Form == now[0].Form {
			of[r.Name] = r
		}
	}
	var all []Result
	for _, a := range All() {
		if r, ok := of[a.Name]; ok {
			all = append(all, r)
		}
	}
	return all
}

// Run tries what the plan says. The error is for a plan that cannot be carried out; what
// was found is in the results.
func Run(ctx context.Context, f *Field, p Plan) ([]Result, error) {
	attacks, err := p.chosen()
	if err != nil {
		return nil, err
	}
	if p.Tell == nil {
		p.Tell = func(string) {}
	}
	if err := f.prepare(ctx, p); err != nil {
		return nil, err
	}
	defer f.end()
	results := make([]Result, 0, len(attacks))
	for _, a := range attacks {
		if p.trials(a) == 0 && p.Trial == 0 {
			continue
		}
		if err := ctx.Err(); err != nil {
			return results, err
		}
		r := f.attack(ctx, a, p)
		p.Tell(r.line())
		if err := ctx.Err(); err != nil {
			return results, err // without this one, of which not all was tried
		}
		results = append(results, r)
	}
	return results, ctx.Err()
}

// line is a result in one line.
func (r Result) line() string {
	if r.Skipped != "" {
		return fmt.Sprintf("%-16s skipped: %s", r.Name, r.Skipped)
	}
	s := fmt.Sprintf("%-16s %5d trials %4d failed %6.1f s  %s", r.Name, r.Trials, r.Failed, r.Took, r.seen())
	for i, f := range r.Failures {
		if i == 3 {
			s += fmt.Sprintf("\n    and %d more", r.Failed-3)
			break
		}
		s += fmt.Sprintf("\n    trial %d: %s (%s)", f.Trial, strings.Join(f.What, "; "), f.Evidence)
	}
	return s
}

// seen lists what was seen, the most frequent first.
func (r Result) seen() string {
	names := make([]string, 0, len(r.Saw))
	for n := range r.Saw {
		names = append(names, n)
	}
	sort.Slice(names, func(i, j int) bool {
		if r.Saw[names[i]] != r.Saw[names[j]] {
			return r.Saw[names[i]] > r.Saw[names[j]]
		}
		return names[i] < names[j]
	})
	parts := make([]string, len(names))
	for i, n := range names {
		parts[i] = fmt.Sprintf("%s %d", n, r.Saw[n])
	}
	return strings.Join(parts, ", ")
}

// attack makes all trials of one attack, some at once.
func (f *Field) attack(ctx context.Context, a Attack, p Plan) (r Result) {
	r = Result{Name: a.Name, Group: a.Group, Title: a.Title, Bar: a.Bar, Saw: map[string]int{}, Failures: []Failure{}, Form: p.form()}
	defer func() { r.At, r.Load = time.Now().UTC(), load() }()
	if a.Needs != nil {
		if err := a.Needs(); err != nil {
			r.Skipped = err.Error()
			return r
		}
	}
	numbers := make(chan int)
	start := time.Now()
	told := start
	var mu sync.Mutex
	var all sync.WaitGroup
	n := p.trials(a)
	for range max(1, cmp(p.Jobs, 2)) {
		all.Go(func() {
			for number := range numbers {
				t := f.try(ctx, a, number)
				mu.Lock()
				r.add(t)
				if time.Since(told) > 20*time.Second {
					told = time.Now()
					p.Tell(fmt.Sprintf("%-16s %5d of %d trials, %d failed, %.0f s", a.Name, r.Trials, n, r.Failed, time.Since(start).Seconds()))
				}
				mu.Unlock()
			}
		})
	}
	first, last := 1, n
	if p.Trial > 0 {
		first, last = p.Trial, p.Trial
	}
	for i := first; i <= last && ctx.Err() == nil; i++ {
		numbers <- i
	}
	close(numbers)
	all.Wait()
	r.Took = time.Since(start).Seconds()
	slices.SortFunc(r.Failures, func(x, y Failure) int { return x.Trial - y.Trial })
	return r
}

func cmp(n, otherwise int) int {
	if n == 0 {
		return otherwise
	}
	return n
}

func (r *Result) add(t *Trial) {
	r.Trials++
	for what, n := range t.saw {
		r.Saw[what] += n
	}
	if len(t.failures) > 0 {
		r.Failed++
		r.Failures = append(r.Failures, Failure{t.Number, t.failures, t.Dir})
	}
}

// try makes one trial, and keeps its folder when it failed.
func (f *Field) try(ctx context.Context, a Attack, number int) *Trial {
	h := fnv.New64a()
	_, _ = io.WriteString(h, a.Name)
	name := fmt.Sprintf("%s-%d", a.Name, number)
	t := &Trial{Field: f, Number: number, Rand: rand.New(rand.NewPCG(h.Sum64(), uint64(number))), Dir: filepath.Join(f.work, name), saw: map[string]int{}}
	kept := filepath.Join(f.Out, name)
	if err := errors.Join(os.RemoveAll(t.Dir), os.RemoveAll(kept), os.MkdirAll(t.Dir, 0o755)); err != nil {
		t.Failf("the attack itself failed: %v", err)
		return t
	}
	func() {
		defer t.leave()
		defer func() {
			if p := recover(); p != nil && p != (endTrial{}) {
				t.Failf("the attack itself failed: %v\n%s", p, debug.Stack())
			}
		}()
		a.Trial(ctx, t)
	}()
	if ctx.Err() != nil {
		t.failures = nil // stopped, and nothing of it says anything
	}
	if len(t.failures) == 0 {
		_ = os.RemoveAll(t.Dir)
		return t
	}
	log := strings.Join(append(append([]string{"failures:"}, t.failures...), append([]string{"", "notes:"}, t.notes...)...), "\n")
	_ = os.WriteFile(t.path("trial.log"), []byte(log+"\n"), 0o600)
	if os.Rename(t.Dir, kept) == nil {
		t.Dir = kept
	}
	return t
}

// leave does what was asked for after the trial.
func (t *Trial) leave() {
	for _, f := range slices.Backward(t.after) {
		f()
	}
}
