package session

import (
	"context"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/key"
	"waycall/internal/phrase"
	"waycall/internal/record"
)

// press is what somebody does with a key once waycall has said something and listens, or
// while it says it.
type press struct {
	after  string
	during bool
	does   []key.Kind
	began  time.Duration // how long before
}

// pedal is a key, pressed as the session goes, with what it must see of that: its voice,
// its player and its source.
type pedal struct {
	*voice
	audio.Source
	listens, gone bool
	mu            sync.Mutex // for presses, which the player looks at, too
	presses       []press
	hushed        int
}

func (p *pedal) There() bool { return !p.gone }

func (p *pedal) Next() (all []key.Gesture) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.presses) == 0 || len(p.said) == 0 {
		return nil
	}
	x := p.presses[0]
	if x.during == p.listens || !strings.Contains(p.said[len(p.said)-1], x.after) {
		return nil
	}
	p.presses = p.presses[1:]
	for _, k := range x.does {
		all = append(all, key.Gesture{Kind: k, Began: time.Now().Add(-x.began)})
	}
	return all
}

func (p *pedal) Speak(text string, pace int) (audio.Clip, error) {
	p.listens = false
	return p.voice.Speak(text, pace)
}

// waits is a player that plays what is pressed into until it is silenced.
type waits struct{ p *pedal }

func (w waits) Play(ctx context.Context, sound audio.Clip) error {
	said := w.p.said[len(w.p.said)-1]
	w.p.mu.Lock()
	x := w.p.presses
	w.p.mu.Unlock()
	if len(x) > 0 && x[0].during && strings.Contains(said, x[0].after) {
		select {
		case <-ctx.Done():
			w.p.hushed++
			return ctx.Err()
		case <-time.After(time.Minute): // nothing silences it
		}
	}
	return nil
}

// heeds is a source that notes that the session listens.
type heeds struct {
	audio.Source
	p *pedal
}

func (h heeds) Next(ctx context.Context) (audio.Clip, error) {
	h.p.listens = true
	return h.Source.Next(ctx)
}

// pressed runs a session in which those phrases are said and those keys are pressed.
func pressed(t *testing.T, taps Taps, presses []press, said ...string) (*rig, *pedal, record.State) {
	t.Helper()
	r := newRig(t, append(slices.Clone(preparation), said...)...)
	p := &pedal{voice: r.voice, presses: presses}
	clips := []audio.Clip{make(audio.Clip, audio.Rate/2)}
	for range r.ear.say {
		clips = append(clips, tone(600*time.Millisecond))
	}
	clips = append(clips, make(audio.Clip, 3*audio.Rate))
	r.Voice, r.Player, r.Source, r.Key, r.Taps = p, waits{p}, heeds{audiotest.Source(clips...), p}, p, taps
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.presses) > 0 {
		t.Fatalf("not pressed: %+v; said %q", p.presses, r.voice.said)
	}
	return r, p, state
}

var usualTaps = Taps{Once: phrase.Confirm, Twice: phrase.No}

// kinds are the kinds of the last events of a log, without what was said.
func kinds(log []record.Event, n int) (all []string) {
	for _, e := range log {
		if e.Kind != record.Said {
			all = append(all, string(e.Kind)+" "+string(e.Answer)+e.Reason)
		}
	}
	return all[len(all)-n:]
}

func TestTapConfirms(t *testing.T) {
	r, _, state := pressed(t, usualTaps, []press{{after: "Way one, live and neutral to earth, greater", does: []key.Kind{key.Tap}}}, "way one live and neutral to earth over nine nine nine")
	want := []string{"heard ", "proposed ", "tapped ", "confirmed by key"}
	if got := kinds(r.log.events, 4); !slices.Equal(got, want) || len(state.Readings) != 1 || !state.Readings[0].ByKey {
		t.Errorf("the record ends with %q", got)
	}
	if want := len(preparation) + 1; len(r.log.sounds) != want {
		t.Errorf("%d sounds are kept, want %d: a tap has none", len(r.log.sounds), want)
	}
}

func TestDoubleTapIsNo(t *testing.T) {
	r, _, state := pressed(t, usualTaps, []press{{after: "greater", does: []key.Kind{key.Double}}}, "way one live and neutral to earth over nine nine nine")
	if got := kinds(r.log.events, 2); got[1] != "dropped not right, by the key" || len(state.Readings) != 0 {
		t.Errorf("the record ends with %q", got)
	}
}

// A tap that began while the reading was read back is about nothing that was heard to its
// end, whenever it is told.
func TestTapDuringSpeech(t *testing.T) {
	value := "way one live and neutral to earth over nine nine nine"
	r, _, state := pressed(t, usualTaps, []press{{after: "greater", does: []key.Kind{key.Tap}, began: time.Hour}}, value)
	if len(state.Readings) != 0 || state.Pending == nil {
		t.Errorf("it counts: %q", kinds(r.log.events, 2))
	}
	r, p, state := pressed(t, usualTaps, []press{{after: "greater", during: true, does: []key.Kind{key.Double}}}, value)
	if got := kinds(r.log.events, 2); got[1] != "dropped not right, by the key" || len(state.Readings) != 0 || p.hushed != 1 {
		t.Errorf("\"no\" while it speaks: silenced %d times, %q", p.hushed, got)
	}
}

// To hold the key ends the speech, and what was cut short is asked again before a
// "confirm" counts.
func TestHeldOverSpeech(t *testing.T) {
	held := []key.Kind{key.Held, key.Released}
	taps := Taps{Once: phrase.Confirm, Twice: phrase.No, Hold: true}
	r := newRig(t, "confirm")
	ask := "isolated and locked off"
	p := &pedal{voice: r.voice, presses: []press{
		{after: ask, during: true, does: held},
	}}
	r.Voice, r.Player, r.Key, r.Taps = p, waits{p}, p, taps
	r.Source = heeds{audiotest.Source(tone(time.Second), make(audio.Clip, 4*audio.Rate)), p}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil {
		t.Fatal(err)
	}
	if said := strings.Join(r.voice.said, " "); p.hushed != 1 || !strings.Contains(said, "That was cut short.") || len(state.Answers) != 0 {
		t.Errorf("silenced %d times, said %q", p.hushed, said)
	}
}

// Where the key is held to be heard, what is said without it is not heard, a phrase ends
// where the key is let go, and one that is held for too long leaves nothing. Where the key
// is gone all that is said is heard.
func TestGate(t *testing.T) {
	var g gate
	frame := func(x float32) audio.Clip { return slices.Repeat(audio.Clip{x}, audio.Rate/50) }
	at := func(kinds ...key.Kind) (all []key.Gesture) {
		for _, k := range kinds {
			all = append(all, key.Gesture{Kind: k})
		}
		return all
	}
	run := func(n int, x float32, first ...key.Kind) (events []audio.Event) {
		for i := range n {
			if i > 0 {
				first = nil
			}
			events = append(events, g.push(frame(x), at(first...))...)
		}
		return events
	}
	ofKind := func(events []audio.Event) (all []audio.Kind) {
		for _, e := range events {
			all = append(all, e.Kind)
		}
		return all
	}
	if got := run(500, 0.1); len(got) != 0 {
		t.Fatalf("heard without the key: %v", ofKind(got))
	}
	if got := run(100, 0.2, key.Held); !slices.Equal(ofKind(got), []audio.Kind{audio.Started}) {
		t.Fatalf("held: %v", ofKind(got))
	}
	got := run(100, 0.3, key.Released)
	if !slices.Equal(ofKind(got), []audio.Kind{audio.Paused, audio.Ended}) || got[1].Phrase.Truncated {
		t.Fatalf("let go: %v", ofKind(got))
	}
	p := got[1].Phrase
	if d := p.Sound.Duration(); d < 2*time.Second || d > 3*time.Second || p.Sound[0] != 0.1 || p.Sound[len(p.Sound)-1] != 0.3 {
		t.Errorf("%v of sound, from %v to %v: not all that was said while it was held", d, p.Sound[0], p.Sound[len(p.Sound)-1])
	}
	run(900, 0.2, key.Held)
	if got := run(2000, 0.2, key.Stuck); !slices.Equal(ofKind(got), []audio.Kind{audio.Ended}) || !got[0].Phrase.Truncated {
		t.Errorf("held for too long: %v", ofKind(got))
	}
	if got := run(100, 0.2, key.Released); len(got) != 0 {
		t.Errorf("let go after that: %v", ofKind(got))
	}
	run(10, 0.2, key.Held)
	if got := run(100, 0.2, key.Released, key.Held); !slices.Equal(ofKind(got), []audio.Kind{audio.Paused, audio.Ended, audio.Started}) {
		t.Errorf("held again at once: %v", ofKind(got))
	}
}

func TestKeyGone(t *testing.T) {
	r := newRig(t, "isolated and locked off")
	p := &pedal{voice: r.voice, gone: true}
	r.Key, r.Taps = p, Taps{Hold: true}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if err != nil || len(state.Answers) != 1 {
		t.Errorf("with the key gone %d answers, %v", len(state.Answers), err)
	}
	r = newRig(t, "isolated and locked off")
	r.Key, r.Taps = &pedal{voice: r.voice}, Taps{Hold: true}
	if state, err = r.Run(t.Context(), r.job, record.State{}); err != nil || len(state.Answers) != 0 {
		t.Errorf("without the key held %d answers, %v", len(state.Answers), err)
	}
}

// A key that is stuck stores nothing, and is said.
func TestStuckKey(t *testing.T) {
	r := newRig(t)
	p := &pedal{voice: r.voice, presses: []press{{after: "isolated", does: []key.Kind{key.Held}}, {after: "isolated", does: []key.Kind{key.Stuck}}}}
	r.Voice, r.Key, r.Taps = p, p, Taps{Once: phrase.Confirm, Hold: true}
	r.Source = heeds{audiotest.Source(make(audio.Clip, 3*audio.Rate)), p}
	state, err := r.Run(t.Context(), r.job, record.State{})
	if said := strings.Join(r.voice.said, " "); err != nil || !strings.Contains(said, "Let it go") || len(r.log.sounds) != 0 || len(state.Answers) != 0 || r.watch.tooLong != 1 || r.ear.open != 0 {
		t.Errorf("said %q, %d sounds, told %d times, %v", said, len(r.log.sounds), r.watch.tooLong, err)
	}
}
