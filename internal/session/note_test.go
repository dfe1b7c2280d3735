package session

import (
	"context"
	"errors"
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

// A note and an observation are free speech, ended by a longer pause than a phrase,
// kept with their sound, and taken back by "scratch that".
func TestNotes(t *testing.T) {
	r := newRig(t, "make a note", "the lid of the joint box is cracked", "observation way six code c two", "no cover over the live parts",
		"scratch that", "observation way three code f i", "the ring may be broken", "finish here")
	r.Source = spacedOut(8)
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, n := range state.Notes {
		line := strings.TrimSpace(n.Code + " " + n.Text)
		if n.Ended != 0 {
			line += ", taken back"
		}
		if r.log.sounds[n.HeardID] < 16000 {
			t.Errorf("%q has no sound", n.Text)
		}
		got = append(got, line)
	}
	want := []string{"the lid of the joint box is cracked", "C2 no cover over the live parts, taken back", "FI the ring may be broken"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	if len(r.ear.scopes) != 5 { // the three texts are heard without the grammar
		t.Errorf("%d phrases were heard by the grammar", len(r.ear.scopes))
	}
}

// spacedOut is n things said, each with a pause after it that ends a note.
func spacedOut(n int) audio.Source {
	clips := []audio.Clip{make(audio.Clip, audio.Rate/2)}
	for range n {
		clips = append(clips, tone(600*time.Millisecond), make(audio.Clip, audio.Rate/2))
	}
	return audiotest.Source(clips...)
}

// A hesitation does not end a note, and the phrase after it is cut as ever.
func TestNoteGoesOnAfterAPause(t *testing.T) {
	r := newRig(t, "make a note", "the lid and the box are cracked", "what's next", "finish here")
	said := func(d time.Duration) audio.Clip { return tone(d)[:int(d.Seconds()*audio.Rate)] }
	quiet := func(d time.Duration) audio.Clip { return make(audio.Clip, int(d.Seconds()*audio.Rate)) }
	r.Source = audiotest.Source(quiet(time.Second), tone(600*time.Millisecond),
		said(time.Second), quiet(900*time.Millisecond), said(time.Second), quiet(1600*time.Millisecond),
		said(600*time.Millisecond), quiet(700*time.Millisecond), tone(600*time.Millisecond))
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil || len(state.Notes) != 1 || !state.Finished {
		t.Errorf("%d notes, finished %v, %v", len(state.Notes), state.Finished, err)
	}
}

// What cannot be a note is none, and that is said: endless speech, speech that the
// model goes round in circles over, no words, silence, a change of mind.
func TestNoNote(t *testing.T) {
	for name, c := range map[string]struct {
		sound audio.Clip
		heard []string
		says  string
	}{
		"endless":        {tone(time.Minute), nil, "too long for one note"},
		"no words":       {tone(time.Second), []string{" "}, "I heard no words"},
		"changed mind":   {tone(time.Second), []string{"scratch that"}, "No note was made."},
		"nothing at all": {make(audio.Clip, 30*audio.Rate), nil, "No note was made."},
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, append([]string{"make a note"}, append(c.heard, "isolated and locked off")...)...)
			r.Source = audiotest.Source(make(audio.Clip, audio.Rate), tone(600*time.Millisecond),
				make(audio.Clip, audio.Rate), c.sound, make(audio.Clip, audio.Rate), tone(600*time.Millisecond))
			state, err := r.Run(t.Context(), r.job, record.State{})
			if err != nil || len(state.Notes) != 0 || len(state.Answers) != 1 {
				t.Errorf("%d notes, %d answers, %v", len(state.Notes), len(state.Answers), err)
			}
			if said := strings.Join(r.voice.said, " "); !strings.Contains(said, c.says) {
				t.Errorf("it said %q", said)
			}
			if len(r.log.sounds) != 2 {
				t.Errorf("%d sounds are kept", len(r.log.sounds))
			}
		})
	}
}

// A note that cannot be written is not said to be noted, and is not there.
func TestNoteNotWritten(t *testing.T) {
	r := newRig(t, "make a note", "the lid is cracked")
	full := errors.New("the disk is full")
	r.Source = spacedOut(2)
	r.Log = &failing{log: r.log, after: 2, err: errors.Join(full, store.ErrFull)}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if !errors.Is(err, full) || len(state.Notes) != 0 {
		t.Errorf("%v, %d notes", err, len(state.Notes))
	}
	if said := strings.Join(r.voice.said, " "); strings.Contains(said, "Noted") || !strings.Contains(said, "disk is full") {
		t.Errorf("it said %q", said)
	}
}

// failing is a log that takes a few batches and then no more.
type failing struct {
	*log
	after int
	err   error
}

func (f *failing) Append(ctx context.Context, batch []record.Event, sound []byte) ([]record.Event, error) {
	if f.after--; f.after < 0 {
		return nil, f.err
	}
	return f.log.Append(ctx, batch, sound)
}

// The tones come with the words, in one sound, and nothing is played for talk.
func TestTonesAndPace(t *testing.T) {
	r := newRig(t, "make a note", "a lid is cracked", "mind your head", "way three live to", "slower", "say again slowly", "finish here")
	r.Source = spacedOut(7)
	plays := &plays{}
	r.Player = plays
	var spoken []time.Duration
	r.Timed = func(x Timing) { spoken = append(spoken, x.Speaks) }
	if _, err := r.Run(t.Context(), r.job, record.State{}); err != nil {
		t.Fatal(err)
	}
	stored, listening, not := say.Tone("stored"), say.Tone("listening"), say.Tone("not understood")
	words := 800
	want := []int{words + len(listening), words + len(listening), words + len(listening) + len(stored), len(not) + len(listening), words + len(listening), words + len(listening), words}
	var got []int
	for _, c := range plays.all {
		got = append(got, len(c))
	}
	if !slices.Equal(got, want) {
		t.Errorf("played %v, want %v", got, want)
	}
	if !slices.Equal(plays.all[2][:len(stored)], stored) {
		t.Error("the tone for what is stored does not come before the words")
	}
	if want := []int{0, 0, 0, -1, -2, -1}; !slices.Equal(r.voice.paces, want) {
		t.Errorf("spoken at %v, want %v", r.voice.paces, want)
	}
	if len(spoken) != 6 || spoken[0] != plays.all[1].Duration() {
		t.Errorf("the answers last %v", spoken)
	}
}

type plays struct{ all []audio.Clip }

func (p *plays) Play(_ context.Context, c audio.Clip) error {
	p.all = append(p.all, c)
	return nil
}
