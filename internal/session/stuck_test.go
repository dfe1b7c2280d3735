package session

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/record"
	"waycall/internal/say"
	"waycall/internal/store"
)

// breaks is a log whose n-th batch, from 1, is not written, nor the next few.
type breaks struct {
	*log
	at, times int
	err       error
	n         int
}

func (b *breaks) Append(ctx context.Context, batch []record.Event, sound []byte) ([]record.Event, error) {
	if b.n++; b.n >= b.at && b.n < b.at+b.times {
		return nil, b.err
	}
	return b.log.Append(ctx, batch, sound)
}

// One write that fails, whatever for, does not end the session: it says why, asks again
// what was asked, and goes on from before the phrase that failed.
func TestOneFailedWrite(t *testing.T) {
	full, busy := fmt.Errorf("x: %w", store.ErrFull), fmt.Errorf("x: %w", store.ErrInUse)
	unsure := errors.Join(store.ErrDisk, store.ErrUnsure)
	for name, c := range map[string]struct {
		err   error
		ready []error // what the keeper says, from the beginning
		says  []string
	}{
		"over at once":     {store.ErrDisk, []error{nil}, []string{"the disk has failed", "were not stored", "can be written again. Your last words were not stored. Notices up?"}},
		"full for a while": {full, []error{nil, nil, full, full, nil}, []string{"the disk is full", "can be written again"}},
		"another program":  {busy, []error{nil, nil, busy, nil}, []string{"another program is using the record", "can be written again"}},
		"unsure":           {unsure, []error{nil}, []string{"Your last words may not be stored.", "Your last words were not stored."}},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, "isolated and locked off", "notices up", "notices up", "indicator proved")
			// Time enough after the phrase that fails to look again.
			quiet := make(audio.Clip, 7*audio.Rate)
			one := func() audio.Clip { return tone(600 * time.Millisecond) }
			r.Source = audiotest.Source(make(audio.Clip, audio.Rate/2), one(), one(), quiet, one(), one())
			r.Log = &breaks{log: r.log, at: 3, times: 1, err: c.err} // opening, first answer, this
			r.Session.Keeper = &keeper{ready: c.ready}
			state, err := r.Run(t.Context(), r.job, record.State{})
			if err != nil || len(state.Answers) != 3 {
				t.Fatalf("%d answers, %v; it said %q", len(state.Answers), err, r.voice.said)
			}
			all := strings.Join(r.voice.said, " ")
			for _, words := range c.says {
				if !strings.Contains(all, words) {
					t.Errorf("it does not say %q: %q", words, r.voice.said)
				}
			}
			if strings.Contains(all, "Say them again") {
				t.Errorf("it asks for what it cannot take: %q", r.voice.said)
			}
			if folded, err := record.Fold(r.log.events); err != nil || folded.LastID != state.LastID {
				t.Errorf("the log ends at event %d and the conversation at %d, %v", folded.LastID, state.LastID, err)
			}
		})
	}
}

// The opening of the session waits for the record, too.
func TestOpeningNotWritten(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	r.Source = audiotest.Source(make(audio.Clip, 7*audio.Rate), tone(600*time.Millisecond))
	r.Log = &breaks{log: r.log, at: 1, times: 1, err: store.ErrFull}
	r.Session.Keeper = &keeper{ready: []error{store.ErrFull, nil}}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil || len(state.Answers) != 1 {
		t.Fatalf("%d answers, %v; it said %q", len(state.Answers), err, r.voice.said)
	}
	if r.said("Make room") != 1 || !strings.HasPrefix(r.voice.said[1], unstuck) {
		t.Errorf("it said %q", r.voice.said)
	}
}

// What ends a session is the last that is said, and nothing is asked with it.
func TestLastWords(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*rig)
		says  string
	}{
		"a record that cannot be used": {func(r *rig) {
			r.Log = &breaks{log: r.log, at: 2, times: 99, err: store.ErrInvalid}
			r.Session.Keeper = &keeper{}
		}, "the record cannot be used any more. Your last words were not stored. "},
		"asked to finish while nothing can be stored": {func(r *rig) {
			r.Log = &breaks{log: r.log, at: 2, times: 99, err: store.ErrDisk}
			r.Session.Keeper = &keeper{ready: []error{nil, store.ErrDisk}}
		}, "the disk has failed, so no reading can be stored. Your last words were not stored. "},
		"the microphone": {func(r *rig) { r.Source = &brokenSource{r.Source, errors.New("gone")} }, "The microphone has stopped. "},
		"the hearing":    {func(r *rig) { r.ear.err = errors.New("gone") }, "The hearing has stopped. "},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, "isolated and locked off", "finish here")
			if name == "the microphone" {
				r = newRig(t, "isolated and locked off")
			}
			plays := &plays{}
			r.Player = plays
			c.spoil(r)
			if _, err := r.Run(t.Context(), r.job, record.State{}); err == nil {
				t.Fatal("no error")
			}
			if last := r.voice.said[len(r.voice.said)-1]; !strings.Contains(last, c.says) || !strings.HasSuffix(last, "The session has ended.") {
				t.Errorf("the last words are %q", last)
			}
			low := say.Tone("not understood")
			if last := plays.all[len(plays.all)-1]; len(last) < len(low) || !slices.Equal(last[:len(low)], low) {
				t.Error("the low tone does not come with them")
			}
		})
	}
}

// attacked is a job whose files somebody does something to before its n-th batch, from 1.
type attacked struct {
	*store.Store
	n  int
	do func(path string) error
}

func (a *attacked) Append(ctx context.Context, batch []record.Event, sound []byte) ([]record.Event, error) {
	if a.n--; a.n == 0 {
		if err := a.do(a.Path()); err != nil {
			return nil, err
		}
	}
	return a.Store.Append(ctx, batch, sound)
}

// A file that is removed in mid-session is written back, and the session says so and goes
// on; where another one lies, all is saved beside it, and those are the last words.
func TestFileTakenAway(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(path string) error
		says []string
		ends bool
	}{
		"removed": {os.Remove, []string{writtenBack + " Indicator proved?"}, false},
		"replaced": {func(p string) error {
			return errors.Join(os.WriteFile(p+".other", []byte("not a job"), 0o600), os.Rename(p+".other", p))
		}, []string{"All that was stored is saved beside it, as job-rescued. Begin again with that.", "The session has ended."}, true},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "job.waycall")
			job, err := store.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			r := newRig(t, "isolated and locked off", "notices up", "indicator proved")
			r.Log, r.Session.Keeper = &attacked{job, 3, c.do}, job // opening, first answer, this
			state, err := r.Run(t.Context(), r.job, record.State{})
			all := strings.Join(r.voice.said, " ")
			for _, words := range c.says {
				if !strings.Contains(all, words) {
					t.Errorf("it does not say %q: %q", words, r.voice.said)
				}
			}
			if ended := err != nil; ended != c.ends || strings.HasSuffix(all, "The session has ended.") != c.ends {
				t.Errorf("it ended with %v: %q", err, r.voice.said)
			}
			if closed := job.Close(); (closed != nil) != c.ends {
				t.Error("at the end:", closed)
			}
			at, _ := job.Rescued()
			again, err := store.Open(at)
			if err != nil {
				t.Fatal(err)
			}
			defer again.Close()
			events, err := again.Events(t.Context())
			if err != nil || int64(len(events)) != state.LastID {
				t.Errorf("%d events are kept in %s, %d were said to be stored, %v", len(events), at, state.LastID, err)
			}
		})
	}
}
