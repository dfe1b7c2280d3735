package newjob

import (
	"context"
	"errors"
	"fmt"
	"io"

	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/say"
)

// Ear hears one phrase; *hear.Ear over the grammar of set-up is one.
type Ear interface {
	Hear(s phrase.Scope, sound []float32) (hear.Heard, error)
}

// Room is what a set-up by voice is spoken in.
type Room struct {
	Source   audio.Source
	Ear      Ear
	Voice    say.Voice
	Player   say.Player
	Settings audio.Settings
	Said     func(text string)    // told of what is spoken
	Heard    func(h hear.Heard)   // told of what was heard
	TooLong  func(p audio.Phrase) // told of speech without a pause, which is ignored
}

// ErrNotFinished is returned when the sound ends before "finish here".
var ErrNotFinished = errors.New("set-up stopped before \"finish here\", and nothing was written; begin again")

// Listen asks for the ways of a job by voice until "finish here" on the last board,
// and returns the job with them. Until then nothing is kept. It never listens while
// it speaks, and talk that is not for it is ignored.
func Listen(ctx context.Context, r Room, job board.Job) (board.Job, error) {
	v := NewVoice(job)
	ends := audio.NewEndpointer(r.Settings)
	speak := func(text string, tones ...string) error {
		r.Said(text)
		var sound audio.Clip
		for _, tone := range tones {
			sound = append(sound, say.Tone(tone)...)
		}
		words, err := r.Voice.Speak(say.Words(text), 0)
		if err != nil {
			return err
		}
		sound = append(append(sound, words...), say.Tone("listening")...)
		if err := r.Player.Play(ctx, sound); err != nil {
			return err
		}
		r.Source.Discard()
		ends.Reset()
		return nil
	}
	if err := speak(v.Begin()); err != nil {
		return board.Job{}, err
	}
	for {
		frame, err := r.Source.Next(ctx)
		var events []audio.Event
		broke := new(audio.Break)
		switch {
		case errors.As(err, &broke):
			ends.Reset() // half a phrase is none; what is asked is asked still
			continue
		case errors.Is(err, io.EOF):
			events = ends.Flush()
		case err != nil:
			return board.Job{}, err
		default:
			events = ends.Push(frame)
		}
		for _, e := range events {
			if e.Kind != audio.Ended {
				continue
			}
			if e.Phrase.Truncated {
				r.TooLong(e.Phrase)
				continue
			}
			h, err := r.Ear.Hear(v.Scope(), e.Phrase.Sound)
			if err != nil {
				return board.Job{}, err
			}
			r.Heard(h)
			switch h.Outcome {
			case hear.Reading, hear.Command:
			case hear.Misplaced:
				if err := speak("That cannot be said here. " + v.remind()); err != nil {
					return board.Job{}, err
				}
				continue
			default:
				continue
			}
			confirmed := len(v.order)
			text, done := v.Step(h.Best().Meaning, h.Agreed)
			var tones []string
			if len(v.order) > confirmed {
				tones = []string{"stored"}
			}
			if err := speak(text, tones...); err != nil {
				return board.Job{}, err
			}
			if done {
				if err := board.Check(v.Job); err != nil {
					return board.Job{}, fmt.Errorf("set-up by voice: %w", err)
				}
				return v.Job, nil
			}
		}
		if err != nil {
			return board.Job{}, ErrNotFinished
		}
	}
}
