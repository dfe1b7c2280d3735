package card

import (
	"errors"
	"sync"

	"github.com/gordonklaus/portaudio"

	"waycall/internal/audio"
)

// A Playback is the stream of a loudspeaker: mono, 32-bit samples. It is silent until
// it is started. Its methods may be called from several goroutines.
type Playback struct {
	rate  int
	block []float32

	mu     sync.Mutex // against Rescan
	stream *portaudio.Stream
}

// ErrGone is the error of a Playback whose device was looked for anew; open it again.
var ErrGone = errors.New("the loudspeaker is gone")

// OpenPlayback opens the device that Find returns, at audio.Rate or, where the device
// refuses that, at its own. It takes blocks of a second divided by perSecond. PortAudio
// must have been acquired.
func OpenPlayback(name string, perSecond int) (*Playback, error) {
	dev, err := Find(Out, name)
	if err != nil {
		return nil, err
	}
	lock.Lock()
	defer lock.Unlock()
	out := portaudio.StreamDeviceParameters{Device: dev.info, Channels: 1, Latency: dev.info.DefaultHighOutputLatency}
	p := &Playback{}
	for _, p.rate = range []int{audio.Rate, dev.Rate} {
		p.block = make([]float32, p.rate/perSecond)
		p.stream, err = portaudio.OpenStream(portaudio.StreamParameters{Output: out, SampleRate: float64(p.rate)}, &p.block)
		if err == nil {
			streams[p] = true
			return p, nil
		}
	}
	return nil, notOpened(dev, Out, err)
}

// Rate is the number of samples a second.
func (p *Playback) Rate() int { return p.rate }

// do does something with the stream, unless that is gone.
func (p *Playback) do(f func(s *portaudio.Stream) error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.stream == nil {
		return ErrGone
	}
	return f(p.stream)
}

// Start makes the stream take sound.
func (p *Playback) Start() error { return p.do((*portaudio.Stream).Start) }

// Stop waits until all is played.
func (p *Playback) Stop() error { return p.do((*portaudio.Stream).Stop) }

// Abort falls silent at once.
func (p *Playback) Abort() error { return p.do((*portaudio.Stream).Abort) }

// Write waits until there is room, plays the beginning of s, at most one block of it,
// and returns the rest. A shorter one is followed by silence.
func (p *Playback) Write(s []float32) (rest []float32, err error) {
	n := copy(p.block, s)
	clear(p.block[n:])
	err = p.do((*portaudio.Stream).Write)
	if errors.Is(err, portaudio.OutputUnderflowed) {
		err = nil // a crackle, not a failure
	}
	return s[n:], err
}

func (p *Playback) shut() {
	_ = p.do(func(s *portaudio.Stream) error {
		// A device that was pulled out cannot be stopped, only closed.
		_ = s.Abort()
		_ = s.Close()
		p.stream = nil
		return nil
	})
}

// Close ends the stream. Closing twice is harmless.
func (p *Playback) Close() {
	lock.Lock()
	defer lock.Unlock()
	delete(streams, p)
	p.shut()
}
