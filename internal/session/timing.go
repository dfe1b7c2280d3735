package session

import (
	"context"
	"time"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/phrase"
)

// Timing is where the time went between the end of the speech and the first
// sample of the answer: Pause, Hearing, Conversation, Store and Speech come one
// after the other and add up to it, less what the player takes to start. It is
// real time, not the session's own clock.
// Speaks comes after them.
type Timing struct {
	Pause        time.Duration // the quiet after which the phrase counted as over
	Hearing      time.Duration // from there to the meaning
	Took         hear.Took     // what hearing took; most of it passes within Pause
	Conversation time.Duration // working out the answer
	Store        time.Duration // writing the facts to the disk
	Speech       time.Duration // making the sound of the answer
	Speaks       time.Duration // how long the answer then lasts, tones and words
}

// Total returns the time from the end of the speech to the first sample that the
// player is given.
func (t Timing) Total() time.Duration {
	return t.Pause + t.Hearing + t.Conversation + t.Store + t.Speech
}

// lap adds the time since start to a stage of the answer that is being made, if
// it answers a phrase, and begins the next.
func (r *run) lap(stage func(*Timing) *time.Duration, start *time.Time) {
	now := time.Now()
	if r.timing != nil {
		*stage(r.timing) += now.Sub(*start)
	}
	*start = now
}

// HearClip hears a whole sound as one phrase, with no session. The note says why nothing
// was heard of it, and is empty where something was.
func HearClip(e *hear.Ear, s phrase.Scope, clip audio.Clip) (h hear.Heard, note string, err error) {
	spoken := audio.Trim(clip, audio.Settings{})
	switch {
	case spoken.Truncated:
		return hear.Heard{Outcome: hear.None}, "longer than one phrase can be; cut it into phrases", nil
	case len(spoken.Sound) == 0:
		return hear.Heard{Outcome: hear.None, Confidence: -1}, "no speech in it", nil
	}
	h, err = e.Hear(s, spoken.Sound)
	return h, "", err
}

// Streamed is one phrase that StreamClip heard.
type Streamed struct {
	Phrase audio.Phrase
	Heard  hear.Heard // Outcome None when the phrase was Truncated
	Timing Timing     // Pause, Hearing and Took
}

// StreamClip hears a recording as a session hears a microphone, and returns the
// phrases in it: none when nobody speaks, more than one when a pause in it is long
// enough to end a phrase. Silence follows the recording.
//
// The times are those of a session. The recording is taken as fast as it can be
// up to a pause, since nothing is worked on until then, and from there on in real
// time, so that work passes within the pause only if it fits. Hearing counts from
// the moment at which the last sample of the pause would have arrived.
func StreamClip(ctx context.Context, ear Ear, scope phrase.Scope, clip audio.Clip, settings audio.Settings) ([]Streamed, error) {
	const block = audio.Rate / 100 // what an Endpointer looks at
	if err := ear.Prepare(scope); err != nil {
		return nil, err
	}
	// The longest pause that ends a phrase, and the block that is not full.
	clip = append(clip[:len(clip):len(clip)], make(audio.Clip, 5*audio.Rate+block)...)
	var (
		found []Streamed
		u     hear.Utterance
		ends  = audio.NewEndpointer(settings)
		zero  time.Time // when the recording began, once it runs in real time
	)
	defer func() {
		if u != nil {
			u.Drop()
		}
	}()
	for at := 0; at+block <= len(clip); at += block {
		due := zero.Add(clip[:at+block].Duration())
		if !zero.IsZero() {
			if err := sleep(ctx, time.Until(due)); err != nil {
				return found, err
			}
		} else if err := ctx.Err(); err != nil {
			return found, err
		}
		for _, e := range cut(ends, u, clip[at:at+block]) {
			switch e.Kind {
			case audio.Started:
				u = ear.Begin(scope)
			case audio.Paused:
				if zero.IsZero() {
					zero = time.Now().Add(-e.At)
				}
				u.Pause(e.Phrase.Sound)
			case audio.Dropped:
				u.Drop()
				u, zero = nil, time.Time{}
			case audio.Ended:
				s := Streamed{Phrase: e.Phrase, Heard: hear.Heard{Outcome: hear.None}}
				s.Timing.Pause = e.At - e.Phrase.Spoken
				if !e.Phrase.Truncated {
					var err error
					if s.Heard, err = u.End(e.Phrase.Sound); err != nil {
						return found, err
					}
					s.Timing.Hearing, s.Timing.Took = time.Since(due), s.Heard.Took
				}
				u.Drop()
				u, zero = nil, time.Time{}
				found = append(found, s)
			}
		}
	}
	return found, nil
}

// sleep waits, or returns the context's error as soon as it ends.
func sleep(ctx context.Context, d time.Duration) error {
	if d > 0 {
		select {
		case <-time.After(d):
		case <-ctx.Done():
		}
	}
	return ctx.Err()
}
