// Package speaker is the loudspeaker as a say.Player, through PortAudio.
package speaker

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/gordonklaus/portaudio"

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
	mu     sync.Mutex
	stream *portaudio.Stream
	rate   int
	block  []float32 // what the stream plays next
	closed bool
}

// Open opens the loudspeaker whose name holds the given text, whatever the case,
// or the default one when the text is empty. The error says what to do when
// there is none.
func Open(name string) (*Speaker, error) {
	s, err := open(name)
	if err != nil {
		return nil, fmt.Errorf("no loudspeaker: %w; plug in a headset, or name a device with --speaker", err)
	}
	return s, nil
}

func open(name string) (*Speaker, error) {
	if err := card.Acquire(); err != nil {
		return nil, err
	}
	// A device may refuse our rate and be opened at its own, so the block has
	// its length only then: PortAudio takes the slice that the pointer shows at
	// each write.
	s := &Speaker{block: make([]float32, audio.Rate/blocksPerSecond)}
	stream, rate, err := card.Open(card.Out, name, portaudio.FramesPerBufferUnspecified, &s.block)
	if err != nil {
		card.Release()
		return nil, err
	}
	s.stream, s.rate = stream, rate
	s.block = make([]float32, rate/blocksPerSecond)
	return s, nil
}

// Play plays sound and returns when it has been heard, or with the context's
// error as soon as ctx ends, in the middle of it.
func (s *Speaker) Play(ctx context.Context, sound audio.Clip) (err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	if s.closed {
		return errors.New("cannot play: the loudspeaker is closed; open it again")
	}
	if len(sound) == 0 {
		return nil
	}
	rest, err := sound.ResampleTo(s.rate)
	if err != nil {
		return fmt.Errorf("cannot play: %w", err)
	}
	rest = append(rest, make([]float32, int(settle.Seconds()*float64(s.rate)))...)
	if err := s.stream.Start(); err != nil {
		return fmt.Errorf("cannot play: %w; check the loudspeaker", err)
	}
	for len(rest) > 0 {
		if err := ctx.Err(); err != nil {
			_ = s.stream.Abort() // silence at once; there is nothing to do about a failure
			return err
		}
		n := copy(s.block, rest)
		clear(s.block[n:])
		rest = rest[n:]
		// An underflow is a crackle, not a failure.
		if err := s.stream.Write(); err != nil && err != portaudio.OutputUnderflowed {
			_ = s.stream.Abort()
			return fmt.Errorf("cannot play: %w; check the loudspeaker", err)
		}
	}
	// Stop waits for what is still on its way.
	if err := s.stream.Stop(); err != nil {
		return fmt.Errorf("cannot play to the end: %w; check the loudspeaker", err)
	}
	return nil
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
	err := s.stream.Close()
	card.Release()
	return err
}

var _ say.Player = (*Speaker)(nil)
