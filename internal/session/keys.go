// This file is a key in a session: a foot switch, the button of a headset, a clicker.
//
// A tap counts for what was said when the key went down. One that began while waycall still
// spoke is not taken, for what it answers was not heard to its end; only "no" counts then,
// and ends the speech. To hold the key ends the speech, too, and what was cut short cannot
// be confirmed (see talk.Interrupted). What is being said while the key is tapped is not
// heard: in noise, somebody always seems to speak.

package session

import (
	"context"
	"time"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/key"
	"waycall/internal/phrase"
	"waycall/internal/talk"
)

// Key is a key that somebody presses; *evdev.Key is one. It is used by one goroutine.
type Key interface {
	Next() []key.Gesture // what was done since it was last asked, without waiting
	There() bool         // it can be pressed: it is not switched off or out of reach
}

// Taps is what a key means.
type Taps struct {
	Once, Twice phrase.Command // "" for nothing
	Hold        bool           // what is said is heard while the key is held, and else not
}

// TapsOf is what a key means by its settings.
func TapsOf(once, twice, hold string) Taps {
	means := map[string]phrase.Command{"confirm": phrase.Confirm, "no": phrase.No, "say again": phrase.SayAgain}
	return Taps{means[once], means[twice], hold == "speak"}
}

// tap is what a gesture means, or "".
func (t Taps) tap(g key.Gesture) phrase.Command {
	switch g.Kind {
	case key.Tap:
		return t.Once
	case key.Double:
		return t.Twice
	}
	return ""
}

// keyed is what a session knows of its key.
type keyed struct {
	spoke time.Time     // when waycall was last silent again
	kept  []key.Gesture // what came while it spoke and is still to be taken
	gate  gate
}

// gestures are what was done with the key and not taken yet.
func (r *run) gestures() []key.Gesture {
	if r.Key == nil {
		return nil
	}
	all := append(r.keyed.kept, r.Key.Next()...)
	r.keyed.kept = nil
	return all
}

// tapped answers the first of what was done with the key that means something. What came
// after it is kept for later.
func (r *run) tapped(ctx context.Context, all []key.Gesture) (answered, done bool, err error) {
	for i, g := range all {
		means := r.Taps.tap(g)
		if means == "" || means != phrase.No && g.Began.Before(r.keyed.spoke) {
			continue
		}
		r.keyed.kept = all[i+1:]
		r.keyed.gate.shut()
		r.ends.Reset()
		if stuck, err := r.stuck(ctx, false); stuck || err != nil {
			return true, false, err
		}
		done, err = r.answer(ctx, talk.Tapped{At: r.Now(), Means: means}, nil)
		return true, done, err
	}
	return false, false, nil
}

// heldTooLong is what is said when a key is stuck.
const heldTooLong = "The key was held for more than twenty seconds. Let it go."

// notice is what begins and ends a phrase in the next sound: the key, where it is held to be
// heard and is there, or else the speech in the sound.
func (r *run) notice(u hear.Utterance, frame audio.Clip, all []key.Gesture) []audio.Event {
	if !r.holds() {
		return cut(r.ends, u, frame)
	}
	return r.keyed.gate.push(frame, all)
}

// holds reports whether nothing is heard unless the key is held.
func (r *run) holds() bool { return r.Key != nil && r.Taps.Hold && r.Key.There() }

// aloud plays a sound. The key ends it where it says "no" or is held to speak.
func (r *run) aloud(ctx context.Context, sound audio.Clip) error {
	if r.Key == nil {
		return r.Player.Play(ctx, sound)
	}
	playing, hush := context.WithCancel(ctx)
	defer hush()
	played := make(chan error, 1)
	go func() { played <- r.Player.Play(playing, sound) }()
	look := time.NewTicker(20 * time.Millisecond)
	defer look.Stop()
	hushed := false
	for {
		select {
		case err := <-played:
			r.keyed.spoke = time.Now()
			if hushed && ctx.Err() == nil {
				r.state, _ = talk.Step(r.state, talk.Interrupted{At: r.Now()})
				return nil
			}
			return err
		case <-look.C:
			for _, g := range r.Key.Next() {
				no := r.Taps.tap(g) == phrase.No
				if !no && (g.Kind == key.Tap || g.Kind == key.Double) {
					continue // what it answers is not said yet
				}
				r.keyed.kept = append(r.keyed.kept, g)
				if no || g.Kind == key.Held && r.Taps.Hold {
					hushed = true
					hush()
				}
			}
		}
	}
}

// A gate cuts what is said while the key is held out of the sound.
type gate struct {
	recent audio.Clip // before the key was held, as far as it may have been down
	sound  audio.Clip // since
	open   bool
	tail   int // samples that are still heard after it was let go; 0 while it is held
	heard  int // samples so far
}

// What is heard before the key counts as held, and after it is let go: it takes so long to
// know the one, and the sound comes so much later than the other.
const (
	gateLead = audio.Rate * 4 / 10
	gateTail = audio.Rate * 3 / 10
)

func (g *gate) shut() { *g = gate{heard: g.heard} }

// at is how much sound there was so far.
func (g *gate) at() time.Duration { return lasts(g.heard) }

// push takes the next sound and what was done with the key until its end.
func (g *gate) push(frame audio.Clip, all []key.Gesture) (events []audio.Event) {
	g.heard += len(frame)
	if g.open {
		g.sound = append(g.sound, frame...)
	} else {
		g.recent = append(g.recent, frame...)
		g.recent = g.recent[max(0, len(g.recent)-gateLead):]
	}
	end := func(truncated bool, after int) {
		p := audio.Phrase{Sound: g.sound, Start: g.at() - g.sound.Duration(), Spoken: g.at() - lasts(after), Truncated: truncated}
		if !truncated {
			events = append(events, audio.Event{Kind: audio.Paused, At: g.at(), Phrase: p})
		}
		events = append(events, audio.Event{Kind: audio.Ended, At: g.at(), Phrase: p})
		g.shut()
	}
	for _, x := range all {
		switch x.Kind {
		case key.Held:
			if g.open {
				end(false, 0) // let go and held again within the tail: another phrase
			}
			g.open, g.sound, g.recent = true, g.recent, nil
			events = append(events, audio.Event{Kind: audio.Started, At: g.at()})
		case key.Released:
			if g.open {
				g.tail = gateTail
			}
		case key.Stuck:
			if g.open {
				end(true, 0)
			}
		}
	}
	if g.open && g.tail > 0 {
		if g.tail -= len(frame); g.tail <= 0 {
			end(false, gateTail)
		}
	}
	return events
}
