package hear

import (
	"cmp"
	"errors"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"waycall/internal/phrase"
)

// An Utterance is one phrase that is heard while it is being spoken. Its methods
// are for one goroutine. It ends with End or Drop, after which nothing of it runs
// on.
//
// The witnesses begin when a pause does, with the whole phrase, and not while
// sound comes in. Both take means over all of a phrase: the model encodes it as
// one, and pocketsphinx judges each sound against the mean of the phrase. Made to
// go along with the speech, pocketsphinx has only the mean of earlier phrases, and
// then hears the same sound otherwise depending on who spoke before: of 264
// phrases of mixed voices it had 244 right instead of 248, of 205 in corpus/dev
// 191 instead of 192; voice by voice, 249 and 193. Its work, 45 ms for a phrase,
// fits into the pause beside the model's.
type Utterance interface {
	// Pause says that a pause has begun, and that the phrase will be this sound
	// if the pause lasts. It is heard in the background; if speech goes on and
	// another pause begins, what was heard is thrown away. The sound must not be
	// changed until the utterance has ended.
	Pause(sound []float32)
	// Over reports, without waiting, whether what the last Pause gave is heard and is
	// Whole: then the phrase is over, however short its pause has been.
	Over() bool
	// End says that the phrase is over and returns what was heard in it: what
	// Ear.Hear returns for the sound. It is quick when the sound is that of the
	// last Pause.
	End(sound []float32) (Heard, error)
	// Drop says that there is no phrase after all. Drop after End does nothing.
	Drop()
}

// Begin begins a phrase, spoken where the scope says.
func (e *Ear) Begin(s phrase.Scope) Utterance { return &utterance{ear: e, scope: s} }

// Hear hears one whole phrase of 16 kHz mono sound, spoken where the scope says.
func (e *Ear) Hear(s phrase.Scope, sound []float32) (Heard, error) {
	return e.Begin(s).End(sound)
}

type utterance struct {
	ear   *Ear
	scope phrase.Scope
	last  *attempt       // the one whose sound may still be the phrase
	all   sync.WaitGroup // the last and those thrown away that have not noticed yet
}

// attempt hears one sound in the background.
type attempt struct {
	sound     []float32
	abandoned atomic.Bool
	done      chan struct{} // closed when heard and err are there
	heard     Heard
	err       error
}

func (u *utterance) Pause(sound []float32) {
	if u.last != nil && slices.Equal(u.last.sound, sound) {
		return
	}
	u.abandon()
	t := &attempt{sound: sound, done: make(chan struct{})}
	u.last = t
	u.all.Go(func() {
		t.heard, t.err = u.ear.hear(u.scope, t)
		close(t.done)
	})
}

func (u *utterance) End(sound []float32) (Heard, error) {
	u.Pause(sound) // unless it is being heard already
	t := u.last
	<-t.done
	u.all.Wait()
	return t.heard, t.err
}

func (u *utterance) Over() bool {
	if u.last == nil {
		return false
	}
	select {
	case <-u.last.done:
		return u.last.err == nil && u.last.heard.Whole
	default:
		return false
	}
}

func (u *utterance) Drop() {
	u.abandon()
	u.all.Wait()
}

func (u *utterance) abandon() {
	if u.last != nil {
		u.last.abandoned.Store(true)
		u.last = nil
	}
}

// errAbandoned ends an attempt that nobody waits for.
var errAbandoned = errors.New("hearing: abandoned")

// hear has both witnesses hear an attempt's sound and weighs what they say. The
// engines cannot be interrupted, so it looks between the stages whether the
// attempt is still wanted.
func (e *Ear) hear(s phrase.Scope, t *attempt) (Heard, error) {
	if len(t.sound) == 0 {
		return nothing(), nil
	}
	e.busy.Lock()
	defer e.busy.Unlock()
	if t.abandoned.Load() {
		return nothing(), errAbandoned
	}
	a := e.automaton(s)
	var took Took
	var held Text
	var heldErr error
	var second sync.WaitGroup
	second.Go(func() {
		defer lap(&took.Second, time.Now())
		held, heldErr = e.second.Hear(a, t.sound)
	})
	free, err := e.listen(t, &took)
	second.Wait()
	if err = cmp.Or(err, heldErr); err != nil {
		return nothing(), err
	}
	if t.abandoned.Load() {
		return nothing(), errAbandoned
	}
	start := time.Now()
	h, err := e.fuse(a, t.sound, free, held)
	lap(&took.Fusion, start)
	h.Took = took
	// What was missed or misplaced may yet become a phrase.
	h.Whole = h.Agreed && (h.Outcome == Reading || h.Outcome == Command) && whole(a, h.Best().Text)
	return h, err
}

// whole reports whether a phrase that was heard for certain is over: nothing that may be
// said here begins with it, and it is no word with which people begin to say something
// else, as they do with "yes".
func whole(a *phrase.Automaton, text string) bool {
	return a.Ends(text) && (strings.Contains(text, " ") || text == string(phrase.Confirm))
}

// listen is the first witness's part.
func (e *Ear) listen(t *attempt, took *Took) (Text, error) {
	start := time.Now()
	err := e.first.Listen(t.sound)
	lap(&took.Encode, start)
	if err != nil {
		return Text{}, err
	}
	if t.abandoned.Load() {
		return Text{}, errAbandoned
	}
	defer lap(&took.Decode, time.Now())
	return e.first.Free()
}

// lap notes the time since start.
func lap(took *time.Duration, start time.Time) { *took = time.Since(start) }
