package bench

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/lab/noise"
	"waycall/internal/phrase"
)

// Pauses says what becomes of the pauses within and after the phrases of a set: whether
// a session would have ended a phrase that went on. It is the worst case, in which the
// meaning is known as soon as a pause is noticed.
type Pauses struct {
	Set     string `json:"set"`
	Phrases int    `json:"phrases"`
	Within  int    `json:"within"` // pauses after which the phrase went on, its own and those put in
	Cut     []Cut  `json:"cut"`    // of them: the phrase would have ended there, and its rest been lost
	Tail    int    `json:"tail"`   // of them: it would have ended there, and all of it had been understood
	Early   int    `json:"early"`  // phrases that end without waiting for the rest of their last pause
}

// Cut is a phrase that would have been cut.
type Cut struct {
	File  string `json:"file"`
	Said  string `json:"said"`
	Heard string `json:"heard"` // up to the pause
}

// Listener hears whole phrases; *hear.Ear is one.
type Listener interface {
	Hear(s phrase.Scope, sound []float32) (hear.Heard, error)
}

// MeasurePauses puts silences of the given lengths into each phrase of the set, one at a
// time, at its quietest points, so many of them, and hears what comes before each pause,
// said where the scope says. step is called after each phrase.
func MeasurePauses(ctx context.Context, g *phrase.Grammar, e Listener, scope phrase.Scope, set Set, points int, lengths []time.Duration, step func()) (Pauses, error) {
	out := Pauses{Set: set.Name, Phrases: len(set.Items), Cut: []Cut{}}
	for _, it := range set.Items {
		clip, err := set.sound(it)
		if err != nil {
			return out, fmt.Errorf("%s: %w", it.File, err)
		}
		within, last := allPausesOf(clip, points, lengths)
		for _, p := range within {
			if err := ctx.Err(); err != nil {
				return out, err
			}
			h, err := e.Hear(scope, p.Sound)
			if err != nil {
				return out, err
			}
			out.Within++
			switch {
			case h.Whole && nearest(g, it, Answer{Meaning: h.Best().Meaning}):
				out.Tail++ // a silence within the last word
			case h.Whole:
				out.Cut = append(out.Cut, Cut{it.File, it.Text, h.Best().Text})
			}
		}
		if last != nil {
			h, err := e.Hear(scope, last.Sound)
			if err != nil {
				return out, err
			}
			if h.Whole {
				out.Early++
			}
		}
		step()
	}
	return out, nil
}

// allPausesOf returns the pauses within a sound as it is and with each silence put in,
// each once, and the last of the sound as it is.
func allPausesOf(clip audio.Clip, points int, lengths []time.Duration) (within []audio.Phrase, last *audio.Phrase) {
	within, last = pausesOf(clip)
	same := func(a audio.Phrase) func(audio.Phrase) bool {
		return func(b audio.Phrase) bool { return a.Start == b.Start && len(a.Sound) == len(b.Sound) }
	}
	for k, at := range noise.Quietest(clip, points) {
		more, _ := pausesOf(noise.PauseAt(clip, at, lengths[k%len(lengths)]))
		for _, p := range more {
			if !slices.ContainsFunc(within, same(p)) {
				within = append(within, p)
			}
		}
	}
	return within, last
}

// pausesOf returns what a session would hear at each pause of a sound after which speech
// goes on, and at the last.
func pausesOf(sound audio.Clip) (within []audio.Phrase, last *audio.Phrase) {
	const longest = 5 * time.Second // no pause ends the phrase
	ends := audio.NewEndpointer(audio.Settings{Pause: longest, Longest: 25 * time.Second})
	for _, e := range ends.Push(append(sound[:len(sound):len(sound)], make(audio.Clip, audio.Rate/2)...)) {
		switch e.Kind {
		case audio.Paused:
			last = &e.Phrase
		case audio.Resumed:
			within = append(within, *last)
			last = nil
		}
	}
	return within, last
}

// Write prints the counts, and each phrase that would have been cut.
func (p Pauses) Write(w io.Writer) {
	fmt.Fprintf(w, "%-22s %4d phrases, %4d pauses within: %d cut, %d within the last word; %d end early\n", p.Set, p.Phrases, p.Within, len(p.Cut), p.Tail, p.Early)
	for _, c := range p.Cut {
		fmt.Fprintf(w, "  %s: %q was cut after %q\n", c.File, c.Said, c.Heard)
	}
}
