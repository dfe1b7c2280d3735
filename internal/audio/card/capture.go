package card

/*
#include "capture.h"
*/
import "C"

import (
	"fmt"
	"sync"
	"time"
	"unsafe"

	"github.com/gordonklaus/portaudio"

	"waycall/internal/audio"
)

// A Capture is the running stream of a microphone: mono, 32-bit samples. Its methods
// are for one goroutine.
type Capture struct {
	device Device
	rate   int
	ring   ring

	mu     sync.Mutex // against Rescan
	stream unsafe.Pointer
}

// OpenCapture starts a stream on the device that Find returns, at audio.Rate or, where
// the device refuses that, at its own. room is for how long sound is kept that nobody
// takes. PortAudio must have been acquired.
func OpenCapture(name string, room time.Duration) (*Capture, error) {
	dev, err := Find(In, name)
	if err != nil {
		return nil, err
	}
	lock.Lock()
	defer lock.Unlock()
	c := &Capture{device: dev}
	// The higher latency costs a few tens of milliseconds and survives a busy
	// processor, which recognition makes sure of.
	latency := C.double(dev.info.DefaultHighInputLatency.Seconds())
	for _, c.rate = range []int{audio.Rate, dev.Rate} {
		c.ring = newRing(int(room.Seconds() * float64(c.rate)))
		if err = problem(C.waycall_capture((*unsafe.Pointer)(unsafe.Pointer(&c.stream)), C.int(dev.info.Index), latency, C.double(c.rate), c.ring.c)); err == nil {
			break
		}
		c.ring.free()
	}
	if err != nil {
		return nil, notOpened(dev, In, err)
	}
	streams[c] = true
	if err := problem(C.Pa_StartStream(c.stream)); err != nil {
		delete(streams, c)
		c.shut()
		c.ring.free()
		return nil, notOpened(dev, In, err)
	}
	return c, nil
}

// problem makes an error of PortAudio's code.
func problem(code C.PaError) error {
	switch code {
	case C.paNoError:
		return nil
	case C.paUnanticipatedHostError:
		return fmt.Errorf("the sound system says %q", C.GoString(C.Pa_GetLastHostErrorInfo().errorText))
	}
	return portaudio.Error(code)
}

// Device is the device that sounds come from.
func (c *Capture) Device() Device { return c.device }

// Rate is the number of samples a second.
func (c *Capture) Rate() int { return c.rate }

// Take moves what there is into s and returns how much that was. broke says that
// something was lost: then nothing is taken, what came before the loss is forgotten,
// and what is taken next does not continue what was taken before.
func (c *Capture) Take(s []float32) (n int, broke bool) { return c.ring.take(s) }

// Discard forgets what there is, and what was lost: it returns how many losses Take
// had not told of.
func (c *Capture) Discard() int { return c.ring.discard() }

// Losses returns what was lost so far.
func (c *Capture) Losses() Losses { return c.ring.losses() }

// Alive reports whether the device still gives sound. It does not once it was pulled
// out, or after a Rescan.
func (c *Capture) Alive() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.stream != nil && C.Pa_IsStreamActive(c.stream) == 1
}

func (c *Capture) shut() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.stream != nil {
		// A device that was pulled out cannot be stopped, only closed.
		C.Pa_AbortStream(c.stream)
		C.Pa_CloseStream(c.stream)
		c.stream = nil
	}
}

// Close ends the stream. It must be called once, and nothing after it.
func (c *Capture) Close() {
	lock.Lock()
	defer lock.Unlock()
	delete(streams, c)
	c.shut()
	c.ring.free()
}
