package session

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/board"
	"waycall/internal/record"
	"waycall/internal/store"
)

var _ Keeper = (*store.Store)(nil)

// keeper answers from lists; the last of a list stays.
type keeper struct {
	ready, copied []error
	rescued       string
	at            time.Time
}

func next(list *[]error) error {
	if len(*list) == 0 {
		return nil
	}
	err := (*list)[0]
	if len(*list) > 1 {
		*list = (*list)[1:]
	}
	return err
}

func (k *keeper) Ready() error  { return next(&k.ready) }
func (k *keeper) Copied() error { return next(&k.copied) }

func (k *keeper) Rescued() (string, time.Time) { return k.rescued, k.at }

// said counts how often words were spoken.
func (r *rig) said(words string) (n int) {
	for _, s := range r.voice.said {
		n += strings.Count(s, words)
	}
	return n
}

// A full disk is said before a phrase is taken, a phrase said all the same is not
// taken, nor the one at which there is room again, and then the session goes on.
func TestFullDiskIsSaidFirst(t *testing.T) {
	full := fmt.Errorf("storing: %w", store.ErrFull)
	r := newRig(t, "isolated and locked off", "isolated and locked off", "isolated and locked off", "mind your head", "notices up")
	// Before the 1st phrase, after it, before the 2nd, after it, and from then on.
	r.Session.Keeper = &keeper{ready: []error{full, full, full, nil}}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	if len(state.Answers) != 2 {
		t.Errorf("%d answers are recorded, want those of the third and the fifth phrase", len(state.Answers))
	}
	for words, want := range map[string]int{
		"the disk is full":                2, // before the first phrase, and in answer to it
		"Your last words were not stored": 2,
		"The record can be written again": 1,
	} {
		if n := r.said(words); n != want {
			t.Errorf("%q was said %d times, want %d: %q", words, n, want, r.voice.said)
		}
	}
	for _, e := range r.log.events {
		if strings.Contains(e.Text, "disk") {
			t.Errorf("event %d is about the disk; it could not have been written", e.ID)
		}
	}
}

// A long silence while nothing can be stored writes nothing, and says nothing again.
func TestSilenceOnFullDisk(t *testing.T) {
	r := newRig(t)
	r.Session.Keeper = &keeper{ready: []error{store.ErrReadOnly}}
	r.Source = audiotest.Source(make(audio.Clip, 40*audio.Rate))
	if _, err := r.Run(t.Context(), r.job, record.State{}); err != nil {
		t.Fatal(err)
	}
	if n := r.said("takes nothing"); n != 1 {
		t.Errorf("it was said %d times", n)
	}
	if n := len(r.log.events); n != 2 {
		t.Errorf("%d events, want those of the beginning alone", n)
	}
}

// A copy that fails is said once, and once when it is right again.
func TestCopyTroubleIsSaidOnce(t *testing.T) {
	r := newRig(t, "isolated and locked off", "notices up", "indicator proved", "tested dead")
	r.Session.Keeper = &keeper{copied: []error{nil, store.ErrGone, store.ErrGone, store.ErrFull, nil}}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil || len(state.Answers) != 4 {
		t.Fatal(len(state.Answers), err)
	}
	for words, want := range map[string]int{"The copy of the record cannot be written": 1, "The copy of the record is up to date again": 1} {
		if n := r.said(words); n != want {
			t.Errorf("%q was said %d times, want %d", words, n, want)
		}
	}
}

// How the record was found is said once, before the first phrase, and work goes on.
func TestWarningIsSaidOnce(t *testing.T) {
	r := newRig(t, "isolated and locked off", "notices up")
	r.Session.Warning = "Damaged files of this job were put aside."
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil || len(state.Answers) != 2 {
		t.Fatal(len(state.Answers), err)
	}
	if n := r.said(r.Session.Warning); n != 1 || !strings.HasPrefix(r.voice.said[1], r.Session.Warning) {
		t.Errorf("it was said %d times: %q", n, r.voice.said)
	}
}

// A clock that goes back is said once; the events keep their order.
func TestClockGoesBack(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	before, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	r2 := newRig(t, "notices up", "indicator proved")
	r2.log.events = r.log.events
	clock := before.LastAt.Add(-time.Hour)
	r2.Now = func() time.Time { clock = clock.Add(-time.Minute); return clock }
	state, err := r2.Run(t.Context(), board.Job{}, before)
	if err != nil {
		t.Fatal(err)
	}
	if n := r2.said("clock of this computer has gone back"); n != 1 {
		t.Errorf("it was said %d times", n)
	}
	if _, err := record.Fold(r2.log.events); err != nil || len(state.Answers) != 3 {
		t.Errorf("%d answers, %v", len(state.Answers), err)
	}
}
