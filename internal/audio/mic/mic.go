// Package mic is the microphone as an audio.Source, through PortAudio.
//
// It lasts a day on site: a headset that was pulled out is opened again when it is
// back, at whatever rate it then has, and what is lost of the sound is counted and
// told, so that nobody takes half a phrase for a whole one.
package mic

import (
	"context"
	"fmt"
	"math"
	"time"

	"waycall/internal/advice"
	"waycall/internal/audio"
	"waycall/internal/audio/card"
)

const (
	held   = 10 * time.Second      // sound that is kept for a reader who is late
	glance = 10 * time.Millisecond // how often Next looks for sound
	silent = 5 * time.Second       // without a sample this long, the device is gone
)

// echo is for how long after Discard nothing is heard: what waycall said is still on
// its way from the loudspeaker through the room and the sound system to us. It ends
// with a tone and as much quiet as this, so that who answers the tone is heard whole.
const echo = 120 * time.Millisecond

// A Mic is an open microphone. Next and Discard are for one goroutine.
type Mic struct {
	// Tell is told of what happens to the microphone, where it is set. It is called
	// by Next and returns quickly.
	Tell func(audio.News)

	name     string
	open     func(name string) (line, error)
	rescan   func() error
	line     line // nil while the device is gone
	device   card.Device
	resample *audio.Resampler
	raw      []float32

	deaf     int   // samples at the device's rate that are not heard, as they may be echo
	lost     int   // losses while somebody listened
	captured int64 // samples at audio.Rate
}

// line is the stream of a device; *card.Capture is one.
type line interface {
	Device() card.Device
	Rate() int
	Take(s []float32) (n int, broke bool)
	Discard() int
	Alive() bool
	Close()
}

// Open starts the microphone whose name holds the given text, whatever the case,
// or the default one when the text is empty. The error says what to do when
// there is none: another one is never used in its place.
func Open(name string) (*Mic, error) {
	if err := card.Acquire(); err != nil {
		return nil, missing(name, err)
	}
	m := &Mic{name: name, rescan: card.Rescan, open: func(name string) (line, error) { return card.OpenCapture(name, held) }}
	if err := m.begin(); err != nil {
		card.Release()
		return nil, missing(name, err)
	}
	return m, nil
}

func missing(name string, err error) error {
	do := "plug in a headset, or name a device with --mic (waycall mics lists them)"
	if name != "" {
		do = `plug it in, or name another with --mic (waycall mics lists them; --mic "" is the one that the system uses)`
	}
	return advice.Errorf(do, "no microphone: %w", err)
}

// begin opens the device.
func (m *Mic) begin() error {
	l, err := m.open(m.name)
	if err != nil {
		return err
	}
	// Whatever the rate is now, what is heard has ours: a headset that also plays
	// may come back with the telephone's 8 kHz.
	r, err := audio.NewResampler(l.Rate(), audio.Rate)
	if err != nil {
		l.Close()
		return err
	}
	m.line, m.device, m.resample, m.deaf = l, l.Device(), r, 0
	m.raw = make([]float32, l.Rate()/10)
	return nil
}

// Next waits for sound and returns up to 100 ms of it. Where some was lost it returns
// an *audio.Break, and goes on. A device that has gone is waited for, and found again
// by its name; only after half an hour it returns an error that says so.
func (m *Mic) Next(ctx context.Context) (audio.Clip, error) {
	for begun := time.Now(); ; {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if m.line == nil {
			return nil, m.back(ctx)
		}
		n, broke := m.line.Take(m.raw)
		if broke {
			m.lost++
			m.tell(fmt.Sprintf("Sound was lost (%d so far): this computer is too busy; end other programs", m.lost), false)
			return nil, &audio.Break{}
		}
		raw := m.raw[:n]
		if dropped := min(n, m.deaf); dropped > 0 {
			raw, m.deaf = raw[dropped:], m.deaf-dropped
		}
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
			m.captured += int64(len(clip))
			return clip, nil
		}
		if n == 0 && (!m.line.Alive() || time.Since(begun) > silent) {
			m.leave()
			m.tell(fmt.Sprintf("The microphone is gone (%s): plug it in or switch it on again; waycall waits for it", m.device.Name), true)
			continue
		}
		select {
		case <-ctx.Done():
		case <-time.After(glance):
		}
	}
}

// back waits until the device is there again, and then returns an *audio.Break.
func (m *Mic) back(ctx context.Context) error {
	begun := time.Now()
	err := card.Await(ctx, func() error {
		if err := m.rescan(); err != nil {
			return err
		}
		return m.begin()
	})
	switch {
	case err == nil:
		m.tell(fmt.Sprintf("The microphone is back: %s, %d Hz", m.device.Name, m.line.Rate()), false)
		return &audio.Break{Away: time.Since(begun)}
	case ctx.Err() != nil:
		return ctx.Err()
	}
	return advice.Errorf("plug it back in and start again, the session carries on where it stopped", "the microphone gives no more sound: %w", err)
}

func (m *Mic) tell(text string, gone bool) {
	if m.Tell != nil {
		m.Tell(audio.News{Text: text, Gone: gone, Lost: m.lost})
	}
}

// leave gives the device up.
func (m *Mic) leave() {
	if m.line != nil {
		m.line.Close()
		m.line = nil
	}
}

// Discard forgets what the microphone heard while nobody was listening, and the echo
// that follows: a tenth of a second or so.
func (m *Mic) Discard() {
	if m.line != nil {
		m.line.Discard()
		m.deaf = int(echo.Seconds() * float64(m.line.Rate()))
	}
}

// Lost returns how often sound was lost while somebody listened.
func (m *Mic) Lost() int { return m.lost }

// Captured returns how much sound Next has given.
func (m *Mic) Captured() time.Duration {
	return time.Duration(m.captured) * time.Second / audio.Rate
}

// Device is the device that was opened last.
func (m *Mic) Device() card.Device { return m.device }

// Close stops the microphone. Closing twice is harmless.
func (m *Mic) Close() error {
	if m.open != nil {
		m.open = nil
		m.leave()
		card.Release()
	}
	return nil
}

// List returns the microphones there are.
func List() ([]card.Device, error) {
	if err := card.Acquire(); err != nil {
		return nil, err
	}
	defer card.Release()
	return card.List(card.In)
}

var _ audio.Source = (*Mic)(nil)
