package hear

import (
	"errors"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"waycall/grammar"
	"waycall/internal/phrase"
)

// What the sounds of these tests say: the first sample is an index.
var said = []string{"confirm", "four eight six", "over nine nine nine", "mind your head", "go back to the van", "way one live and neutral to earth two hundred", "yes", "tested dead"}

// soundOf returns a sound that says said[k], told from others by its length.
func soundOf(k, length int) []float32 {
	s := make([]float32, 1+length)
	s[0] = float32(k)
	return s
}

// alone tells when two hear at once, which the engines do not bear.
type alone struct {
	t    testing.TB
	busy atomic.Int32
}

func (a *alone) enter() (leave func()) {
	if a.busy.Add(1) != 1 {
		a.t.Error("a witness was asked while it worked")
	}
	runtime.Gosched()
	return func() { a.busy.Add(-1) }
}

// listener is a first witness that understands the sounds above.
type listener struct {
	alone
	sound    []float32
	listened [][]float32
	err      error
	gate     chan struct{} // when set, Listen waits for it
}

func (l *listener) Listen(sound []float32) error {
	defer l.enter()()
	if l.gate != nil {
		<-l.gate
	}
	l.sound = sound
	l.listened = append(l.listened, sound)
	return l.err
}

func (l *listener) Note() (Text, error) { return l.Free() }
func (l *listener) Free() (Text, error) {
	defer l.enter()()
	return text(said[int(l.sound[0])], -0.5-float64(len(l.sound))/1000), nil
}

func (l *listener) Held(*phrase.Automaton) (Text, error) {
	defer l.enter()()
	return text("confirm", -2-float64(len(l.sound))/1000), nil
}

func (l *listener) Score(words string) (Text, error) {
	defer l.enter()()
	return text(words, -3), nil
}

func (l *listener) Next(_ string, others []string) ([]float64, error) {
	defer l.enter()()
	return make([]float64, len(others)), nil
}

func (l *listener) Prepare(*phrase.Automaton) { l.enter()() }
func (l *listener) Adapted() bool             { return true }

// echo is a second witness that agrees now and then.
type echo struct {
	alone
	err error
}

func (e *echo) Hear(_ *phrase.Automaton, sound []float32) (Text, error) {
	defer e.enter()()
	k := int(sound[0])
	if len(sound)%3 == 0 {
		k = 0
	}
	return text(said[k], -100), e.err
}

func (e *echo) Prepare(*phrase.Automaton) error {
	e.enter()()
	return nil
}

func newEar(t testing.TB) (*Ear, *listener, *echo) {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	l, e := &listener{alone: alone{t: t}}, &echo{alone: alone{t: t}}
	return New(g, l, e), l, e
}

// However pauses come and go, what is heard in the end is what is heard in the
// whole sound, and the witnesses are at rest after it.
func TestAnyPausesHearTheSame(t *testing.T) {
	e, first, second := newEar(t)
	rapid.Check(t, func(t *rapid.T) {
		sound := rapid.Custom(func(t *rapid.T) []float32 {
			return soundOf(rapid.IntRange(0, len(said)-1).Draw(t, "said"), rapid.IntRange(0, 5).Draw(t, "length"))
		})
		u := e.Begin(phrase.Scope{})
		for _, s := range rapid.SliceOfN(sound, 0, 4).Draw(t, "pauses") {
			u.Pause(s)
			for range rapid.IntRange(0, 20).Draw(t, "speech") {
				runtime.Gosched()
			}
		}
		last := sound.Draw(t, "phrase")
		if rapid.Bool().Draw(t, "dropped") {
			u.Drop()
		} else {
			got, err := u.End(last)
			want, wantErr := e.Hear(phrase.Scope{}, last)
			if err != nil || wantErr != nil {
				t.Fatalf("errors %v and %v", err, wantErr)
			}
			if d := cmp.Diff(want, got, cmpopts.IgnoreFields(Heard{}, "Took")); d != "" {
				t.Fatalf("heard otherwise than in the whole (-whole +paused):\n%s", d)
			}
			u.Drop()
		}
		if first.busy.Load() != 0 || second.busy.Load() != 0 {
			t.Fatal("a witness still works")
		}
	})
}

// What was heard in a pause that ended the phrase is not heard again.
func TestPauseIsKept(t *testing.T) {
	e, first, _ := newEar(t)
	u := e.Begin(phrase.Scope{})
	u.Pause(soundOf(1, 9))
	h, err := u.End(soundOf(1, 9)) // the same in another slice, as the endpointer gives it
	if err != nil || h.Best().Text != said[1] || len(first.listened) != 1 {
		t.Errorf("heard %+v, %v, in %d listenings", h, err, len(first.listened))
	}
	if h.Took.Encode <= 0 || h.Took.Decode <= 0 || h.Took.Second <= 0 || h.Took.Fusion <= 0 {
		t.Errorf("it took %+v", h.Took)
	}
}

// Speech that goes on after a pause throws away what was heard, as early as
// between two stages.
func TestPauseIsThrownAway(t *testing.T) {
	e, first, _ := newEar(t)
	first.gate = make(chan struct{})
	u := e.Begin(phrase.Scope{})
	u.Pause(soundOf(0, 1))
	first.gate <- struct{}{} // it has begun
	u.Pause(soundOf(3, 2))
	u.Pause(soundOf(4, 3)) // the one before it had no turn yet
	close(first.gate)
	h, err := u.End(soundOf(2, 4))
	if err != nil || h.Best().Text != said[2] {
		t.Errorf("heard %+v, %v", h, err)
	}
	if n := len(first.listened); n > 4 || len(first.listened[n-1]) != 5 {
		t.Errorf("listened %d times, last to %d samples", n, len(first.listened[n-1]))
	}
}

// In the pause it is known when a phrase is whole: heard, agreed, and with nothing that
// may follow it here.
func TestOver(t *testing.T) {
	e, first, _ := newEar(t)
	first.gate = make(chan struct{})
	u := e.Begin(phrase.Scope{})
	if u.Over() {
		t.Error("over before any pause")
	}
	u.Pause(soundOf(0, 1))
	if u.Over() {
		t.Error("over before it was heard")
	}
	close(first.gate)
	for deadline := time.Now().Add(time.Minute); !u.Over(); time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("confirm is not over")
		}
	}
	u.Pause(soundOf(0, 2)) // speech went on
	if h, err := u.End(soundOf(0, 2)); err != nil || !h.Whole {
		t.Errorf("heard %+v, %v", h, err)
	}
	u.Drop()
	if u.Over() {
		t.Error("over after it was dropped")
	}
	for k, want := range []bool{true, false, false, false, false, false, false, true} { // "four eight six" may go on with "megohms", "yes" with anything
		if h, err := e.Hear(phrase.Scope{}, soundOf(k, 1)); err != nil || h.Whole != want {
			t.Errorf("%q is whole: %v, %v, want %v", said[k], h.Whole, err, want)
		}
	}
}

func TestDrop(t *testing.T) {
	e, first, second := newEar(t)
	e.Begin(phrase.Scope{}).Drop() // before any pause
	u := e.Begin(phrase.Scope{})
	u.Pause(soundOf(1, 1))
	u.Drop()
	u.Drop()
	if first.busy.Load() != 0 || second.busy.Load() != 0 {
		t.Error("a witness still works")
	}
	if h, err := e.Hear(phrase.Scope{}, soundOf(2, 1)); err != nil || h.Best().Text != said[2] {
		t.Errorf("after it: heard %+v, %v", h, err)
	}
}

// What goes wrong in the background is told at the end, and the next phrase is
// none the worse.
func TestErrorInThePause(t *testing.T) {
	for name, breakOne := range map[string]func(*listener, *echo, error){
		"first":  func(l *listener, _ *echo, err error) { l.err = err },
		"second": func(_ *listener, e *echo, err error) { e.err = err },
	} {
		e, first, second := newEar(t)
		broken := errors.New("broken")
		breakOne(first, second, broken)
		u := e.Begin(phrase.Scope{})
		u.Pause(soundOf(1, 1))
		if h, err := u.End(soundOf(1, 1)); !errors.Is(err, broken) || h.Outcome != None {
			t.Errorf("%s: %+v, %v", name, h, err)
		}
		breakOne(first, second, nil)
		if h, err := e.Hear(phrase.Scope{}, soundOf(1, 1)); err != nil || h.Best().Text != said[1] {
			t.Errorf("%s, after it: %+v, %v", name, h, err)
		}
	}
}

// A phrase can be heard while another scope is being made ready.
func TestPrepareBesideHearing(t *testing.T) {
	e, _, _ := newEar(t)
	u := e.Begin(phrase.Scope{})
	u.Pause(soundOf(1, 1))
	if err := e.Prepare(phrase.Scope{Here: 3}); err != nil {
		t.Error(err)
	}
	if h, err := u.End(soundOf(1, 1)); err != nil || h.Best().Text != said[1] {
		t.Errorf("heard %+v, %v", h, err)
	}
}

// Scopes in which the same may be said share an automaton.
func TestScopesShare(t *testing.T) {
	e, _, _ := newEar(t)
	a, b, c := e.automaton(phrase.Scope{Here: 3}), e.automaton(phrase.Scope{Here: 4}), e.automaton(phrase.Scope{Here: 4, Unit: "ohm"})
	if a != b || a == c {
		t.Errorf("ways 3 and 4 share: %v; a unit shares with none: %v", a == b, a == c)
	}
}
