package soak

import (
	"context"
	"errors"
	"math/rand/v2"

	"waycall/internal/audio"
	"waycall/internal/record"
	"waycall/internal/session"
)

var (
	errKilled = errors.New("killed")
	errDevice = errors.New("the microphone is gone")
)

// trouble is what a site does to a session: the program is killed at any moment of a
// reading, the microphone fails, sound is lost.
type trouble struct {
	rand  *rand.Rand
	often float64 // of a phrase with a reading or a "confirm", how many meet trouble

	next  string // what comes
	after int    // samples of the phrase until then, for what comes while he speaks
}

// What can come, and when.
const (
	killSpeaking = "killed while he speaks"
	killBefore   = "killed before it is written"
	killAfter    = "killed once it is written"
	killAnswer   = "killed while it answers"
	deviceFails  = "the microphone fails while he speaks"
	soundGap     = "sound is lost while he speaks"
)

var troubles = []string{killSpeaking, killBefore, killAfter, killAnswer, deviceFails, deviceFails, soundGap, soundGap}

// arm decides whether the phrase that begins meets trouble.
func (t *trouble) arm(e *electrician, what act, length int) {
	if t.rand == nil || what != giveValue && what != confirm || t.rand.Float64() >= t.often {
		return
	}
	t.next, t.after = pick(t.rand, troubles), t.rand.IntN(length)
	if t.next == soundGap {
		lost := audio.Rate/20 + t.rand.IntN(audio.Rate/4)
		e.log("  (%s)", t.next)
		e.Counts.Gaps++
		e.clip = without(e.clip, t.after, lost)
		if what == giveValue {
			e.saying.spec.at, e.saying.spec.cut = t.after, lost
		}
		t.next = ""
	}
}

func (t *trouble) come(e *electrician) {
	e.log("  (%s)", t.next)
	e.gone = t.next != deviceFails
	if e.gone {
		e.Counts.Kills++
	} else {
		e.Counts.Faults++
	}
	t.next = ""
}

// listening is asked before each frame.
func (t *trouble) listening(e *electrician) error {
	if e.gone {
		return errKilled
	}
	if t.next != killSpeaking && t.next != deviceFails {
		return nil
	}
	if t.after -= audio.FrameSize; t.after > 0 {
		return nil
	}
	failed := t.next == deviceFails
	t.come(e)
	if failed {
		return errDevice
	}
	return errKilled
}

// speaking is asked before anything is heard of waycall.
func (t *trouble) speaking(e *electrician) error {
	if t.next == killAnswer {
		// It spoke, and he did not hear it to the end.
		t.come(e)
		e.heard, e.stored = "", false
	}
	if e.gone {
		return errKilled
	}
	return nil
}

// writes is the log with what can come while it is written, and with the time that
// writing takes.
type writes struct {
	session.Log
	e     *electrician
	meter *meter
}

func (w writes) Append(ctx context.Context, batch []record.Event, sound []byte) ([]record.Event, error) {
	t := w.e.trouble
	if w.e.gone {
		return nil, errKilled
	}
	if sound != nil && t.next == killBefore {
		t.come(w.e)
		return nil, errKilled
	}
	at := now()
	events, err := w.Log.Append(ctx, batch, sound)
	if sound != nil && err == nil {
		w.meter.storing(since(at))
		if t.next == killAfter {
			t.come(w.e)
			return nil, errKilled
		}
	}
	return events, err
}
