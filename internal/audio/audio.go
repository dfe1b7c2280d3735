// Package audio holds sound and finds the spoken phrases in it.
//
// Everything in waycall hears and speaks one kind of sound: a Clip, mono, 16,000
// samples a second, because that is what the recognisers take. Whatever comes in
// (a WAV or FLAC of another rate, a stereo recording, a microphone that only
// knows 48 kHz) is converted at the door, by ReadFile or a Resampler, and
// nothing further in has to think about it.
//
// Sound arrives through a Source, a frame at a time, and an Endpointer cuts it
// into phrases:
//
//	microphone or file -> Source -> Endpointer -> Phrase
//
// The package is plain Go and knows nothing of electricity. The microphone is in
// audio/mic, because it needs PortAudio.
package audio

import (
	"context"
	"math"
	"time"
)

// Rate is the number of samples a second of every Clip.
const Rate = 16000

// FrameSize is the usual number of samples in one frame of a Source: 20 ms.
const FrameSize = Rate / 50

// A Clip is mono sound at Rate; each sample lies in -1 to 1.
type Clip []float32

// Duration returns how long c lasts.
func (c Clip) Duration() time.Duration { return span(int64(len(c))) }

// Level returns the root-mean-square level of c in dB relative to full scale: 0
// for a full-scale square wave, about -3 for a full-scale sine, negative infinity
// for silence.
func (c Clip) Level() float64 {
	sum := 0.0
	for _, x := range c {
		sum += float64(x) * float64(x)
	}
	if len(c) == 0 {
		return math.Inf(-1)
	}
	return 10 * math.Log10(sum/float64(len(c)))
}

// span converts samples to time.
func span(samples int64) time.Duration {
	return time.Duration(samples) * (time.Second / Rate)
}

// samples converts time to samples, rounding down.
func samples(d time.Duration) int { return int(d / (time.Second / Rate)) }

// A Source gives sound as it comes.
type Source interface {
	// Next waits for the next frame, which is never empty and stays valid until
	// the following call. It returns io.EOF when the sound has ended, the context's
	// error when ctx ends first, and a *Break, after which it goes on, where sound
	// was lost.
	Next(ctx context.Context) (Clip, error)
	// Discard forgets sound that has been caught but not yet read: what a
	// microphone heard while waycall itself was speaking. Recorded sound has
	// nothing to forget.
	Discard()
	// Close ends the source and frees its device. Closing twice is harmless.
	Close() error
}

// A Break is the error of a Source that has lost sound: what comes next does not
// continue what came before, so a phrase across it is none.
type Break struct {
	Away time.Duration // for how long the device was gone; 0 where it was not
}

// Error says what happened.
func (b *Break) Error() string {
	if b.Away > 0 {
		return "the microphone was gone for a while; say again what was said then"
	}
	return "some sound was lost; say again what was said then"
}

// News is what a microphone or a loudspeaker tells of itself, for a screen.
type News struct {
	Text string // a sentence for people
	Gone bool   // there is no sound until further news
	Lost int    // how often sound was lost so far while somebody listened; of a microphone
}
