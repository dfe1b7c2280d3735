package session

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/record"
)

// breaking gives clips with a break between each two.
type breaking struct {
	clips []audio.Clip
	away  time.Duration
	now   audio.Source
}

func (b *breaking) Next(ctx context.Context) (audio.Clip, error) {
	if b.now == nil {
		b.now, b.clips = audiotest.Source(b.clips[0]), b.clips[1:]
	}
	c, err := b.now.Next(ctx)
	if errors.Is(err, io.EOF) && len(b.clips) > 0 {
		b.now = nil
		return nil, &audio.Break{Away: b.away}
	}
	return c, err
}
func (b *breaking) Discard()     {}
func (b *breaking) Close() error { return nil }

// Half a phrase before a break and half a one after it are no phrase, and neither is
// the half before it: it is asked for again, and then taken.
func TestBreak(t *testing.T) {
	const lost, back, again = "Some of the sound was lost.", "The microphone is back.", "Your last words were not stored. Say them again."
	quiet, half, phrase := make(audio.Clip, audio.Rate), tone(time.Second)[:audio.Rate/2], tone(600*time.Millisecond)
	for name, tt := range map[string]struct {
		clips []audio.Clip
		away  time.Duration
		want  []string // that is said
		never []string
	}{
		"in a phrase":           {[]audio.Clip{append(append(audio.Clip{}, quiet...), half...), append(append(audio.Clip{}, quiet...), phrase...)}, 0, []string{lost, again}, []string{back}},
		"in the pause after it": {[]audio.Clip{append(append(audio.Clip{}, quiet...), phrase[:audio.Rate]...), append(append(audio.Clip{}, quiet...), phrase...)}, 0, []string{lost, again}, nil},
		"in quiet":              {[]audio.Clip{quiet, append(append(audio.Clip{}, quiet...), phrase...)}, 0, nil, []string{lost, again, back}},
		"unplugged in a phrase": {[]audio.Clip{append(append(audio.Clip{}, quiet...), half...), append(append(audio.Clip{}, quiet...), phrase...)}, time.Minute, []string{back, again}, []string{lost}},
		"unplugged in quiet":    {[]audio.Clip{quiet, append(append(audio.Clip{}, quiet...), phrase...)}, time.Minute, []string{back}, []string{again, lost}},
	} {
		r := newRig(t, "isolated and locked off")
		r.Source = &breaking{clips: tt.clips, away: tt.away}
		understood := 0
		r.Understood = func(audio.Clip) { understood++ }
		state, err := r.Run(t.Context(), r.job, record.State{})
		if err != nil || len(state.Answers) != 1 || understood != 1 || r.ear.open != 0 {
			t.Errorf("%s: %v, %d answers, %d understood, %d utterances open", name, err, len(state.Answers), understood, r.ear.open)
		}
		said := strings.Join(r.voice.said, " ")
		for _, text := range tt.want {
			if !strings.Contains(said, text) {
				t.Errorf("%s: %q was not said: %q", name, text, said)
			}
		}
		for _, text := range tt.never {
			if strings.Contains(said, text) {
				t.Errorf("%s: %q was said: %q", name, text, said)
			}
		}
	}
}

// The gain is told of what was understood alone.
func TestUnderstood(t *testing.T) {
	r := newRig(t, "isolated and locked off", "mind your head", "way three live to", "notices up")
	understood := 0
	r.Understood = func(sound audio.Clip) { understood++ }
	if _, err := r.Run(t.Context(), r.job, record.State{}); err != nil || understood != 2 {
		t.Errorf("%v; %d phrases were told of, want 2", err, understood)
	}
}
