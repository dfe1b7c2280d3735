// Package mic is the microphone as an audio.Source, through PortAudio.
//
// PortAudio calls us on a thread of its own that must never wait, so the callback
// only copies the samples into a ring; Next, on our side, converts them to a Clip.
package mic

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"github.com/gordonklaus/portaudio"

	"waycall/internal/audio"
	"waycall/internal/audio/card"
)

const (
	held   = 10 * time.Second      // sound that is kept for a reader who is late
	glance = 10 * time.Millisecond // how often Next looks for sound
	silent = 5 * time.Second       // without a sample this long, the device is gone
)

// A Mic is an open microphone. Next and Discard are for one goroutine.
type Mic struct {
	name     string
	stream   *portaudio.Stream
	ring     *ring
	resample *audio.Resampler
	raw      []float32

	seen, forgiven int64 // gaps up to the last Next; gaps while nobody listened
	close          func() error
}

// Open starts the microphone whose name holds the given text, whatever the case,
// or the default one when the text is empty. The error says what to do when
// there is none.
func Open(name string) (*Mic, error) {
	m, err := open(name)
	if err != nil {
		return nil, fmt.Errorf("no microphone: %w; plug in a headset, or name a device with --mic (waycall mics lists them)", err)
	}
	return m, nil
}

func open(name string) (*Mic, error) {
	if err := card.Acquire(); err != nil {
		return nil, err
	}
	// The rate, and with it the ring, is known only when the stream is open, but
	// no callback comes before it is started.
	m := &Mic{name: name}
	stream, rate, err := card.Open(card.In, name, portaudio.FramesPerBufferUnspecified,
		func(in []float32, _ portaudio.StreamCallbackTimeInfo, flags portaudio.StreamCallbackFlags) {
			m.ring.write(in)
			if flags&portaudio.InputOverflow != 0 {
				m.ring.gaps.Add(1)
			}
		})
	if err != nil {
		card.Release()
		return nil, err
	}
	m.stream = stream
	m.close = sync.OnceValue(func() error {
		// A device that was pulled out cannot be stopped, only closed.
		_ = stream.Abort()
		err := stream.Close()
		card.Release()
		return err
	})
	m.ring = newRing(int(held.Seconds() * float64(rate)))
	m.raw = make([]float32, rate/10)
	if m.resample, err = audio.NewResampler(rate, audio.Rate); err == nil {
		err = stream.Start()
	}
	if err != nil {
		return nil, errors.Join(err, m.close())
	}
	return m, nil
}

// Next waits for sound and returns up to 100 ms of it. When the device has gone,
// as when a headset is pulled out, it returns an error that says so.
func (m *Mic) Next(ctx context.Context) (audio.Clip, error) {
	for begun := time.Now(); ; {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		m.seen = m.ring.gaps.Load()
		n := m.ring.take(m.raw)
		raw := m.raw[:n]
		for i, x := range raw {
			if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
				raw[i] = 0
			}
		}
		// The resampler looks ahead, so the first samples may give none.
		if clip := audio.Clip(m.resample.Push(raw)); len(clip) > 0 {
			for i, x := range clip {
				clip[i] = min(max(x, -1), 1)
			}
			return clip, nil
		}
		if time.Since(begun) > silent {
			return nil, fmt.Errorf("the microphone gives no more sound; plug it back in and start again, the session carries on where it stopped")
		}
		select {
		case <-ctx.Done():
		case <-time.After(glance):
		}
	}
}

// Discard forgets what the microphone heard while nobody was listening.
func (m *Mic) Discard() {
	m.ring.discard()
	m.forgiven += m.ring.gaps.Load() - m.seen
	m.seen = m.ring.gaps.Load()
}

// Gaps returns how many times sound was lost because the computer was too busy to
// take it. What was lost while nobody listened does not count.
func (m *Mic) Gaps() int { return int(m.ring.gaps.Load() - m.forgiven) }

// Close stops the microphone. Closing twice is harmless.
func (m *Mic) Close() error { return m.close() }

// List returns the microphones there are.
func List() ([]card.Device, error) {
	if err := card.Acquire(); err != nil {
		return nil, err
	}
	defer card.Release()
	return card.List(card.In)
}

var _ audio.Source = (*Mic)(nil)
