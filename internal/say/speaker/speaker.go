// Package speaker is the loudspeaker as a say.Player, through PortAudio.
package speaker

import (
	"context"
	"errors"
	"sync"
	"time"

	"waycall/internal/advice"
	"waycall/internal/audio"
	"waycall/internal/audio/card"
	"waycall/internal/say"
)

// blocksPerSecond sets how soon a cancelled Play falls silent.
const blocksPerSecond = 50

// settle is silence after every sound, so that a device that stops at once does
// not bite off its end.
const settle = 60 * time.Millisecond

// A Speaker is an open loudspeaker. It is safe for use by several goroutines,
// which take turns.
type Speaker struct {
	// Tell is told that the loudspeaker is gone or back, where it is set. It is called by Play and returns quickly.
	Tell func(audio.News)

	name   string
	mu     sync.Mutex
	out    *card.Playback
	closed bool
}

// Open opens the loudspeaker whose name holds the given text, whatever the case,
// or the default one when the text is empty. The error says what to do when
// there is none: another one is never used in its place.
func Open(name string) (*Speaker, error) {
	s := &Speaker{name: name}
	err := card.Acquire()
	if err == nil {
		if s.out, err = card.OpenPlayback(name, blocksPerSecond); err != nil {
			card.Release()
		}
	}
	if err == nil {
		return s, nil
	}
	do := "plug in a headset, or name a device with --speaker"
	if name != "" {
		do = `plug it in, or name another with --speaker (--speaker "" is the one that the system uses)`
	}
	return nil, advice.Errorf(do, "no loudspeaker: %w", err)
}

// Play plays sound and returns when it has been heard, or with the context's
// error as soon as ctx ends, in the middle of it. Where the loudspeaker is gone, as
// when a headset was pulled out, it waits for it and plays the whole again.
func (s *Speaker) Play(ctx context.Context, sound audio.Clip) (err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	if s.closed {
		return advice.New("cannot play: the loudspeaker is closed", "open it again")
	}
	if len(sound) == 0 {
		return nil
	}
	begun := time.Now()
	for err = s.play(ctx, sound); err != nil && ctx.Err() == nil; err = s.play(ctx, sound) {
		if time.Since(begun) > card.Patience {
			return advice.Errorf("check the loudspeaker", "cannot play: %w", err)
		}
		if err := s.again(ctx, err); err != nil {
			return err
		}
	}
	return err
}

// again opens the loudspeaker again, as soon as it is there.
func (s *Speaker) again(ctx context.Context, why error) (err error) {
	s.out.Close()
	// Where the devices were looked for anew on behalf of the microphone, it is there.
	if errors.Is(why, card.ErrGone) && s.reopen() == nil {
		return nil
	}
	s.tell("The loudspeaker is gone: plug it in or switch it on again; waycall waits for it", true)
	err = card.Await(ctx, func() error {
		if err := card.Rescan(); err != nil {
			return err
		}
		return s.reopen()
	})
	switch {
	case err == nil:
		s.tell("The loudspeaker is back", false)
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	}
	return advice.Errorf("check the loudspeaker", "cannot play: %w", err)
}

func (s *Speaker) reopen() error {
	out, err := card.OpenPlayback(s.name, blocksPerSecond)
	if err == nil {
		s.out = out
	}
	return err
}

func (s *Speaker) tell(text string, gone bool) {
	if s.Tell != nil {
		s.Tell(audio.News{Text: text, Gone: gone})
	}
}

// play plays once.
func (s *Speaker) play(ctx context.Context, sound audio.Clip) error {
	rest, err := sound.ResampleTo(s.out.Rate())
	if err != nil {
		return err
	}
	rest = append(rest, make([]float32, int(settle.Seconds()*float64(s.out.Rate())))...)
	if err := s.out.Start(); err != nil {
		return err
	}
	for len(rest) > 0 {
		if err := ctx.Err(); err != nil {
			_ = s.out.Abort() // silence at once; there is nothing to do about a failure
			return err
		}
		if rest, err = s.out.Write(rest); err != nil {
			_ = s.out.Abort()
			return err
		}
	}
	// Stop waits for what is still on its way.
	return s.out.Stop()
}

// Close gives the loudspeaker back, after what is playing. Closing twice is
// harmless.
func (s *Speaker) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil
	}
	s.closed = true
	s.out.Close()
	card.Release()
	return nil
}

var _ say.Player = (*Speaker)(nil)
