package fullscreen

import (
	"waycall/internal/audio"
	"waycall/internal/show"
)

// facts is everything that the screen shows; it is drawn from nothing else. Its
// texts may hold anything: they are made harmless when they are drawn.
type facts struct {
	show.Facts // what the record says
	turn       turn
	said       string     // the last thing that waycall said
	heard      string     // the last thing that it heard, with what became of it
	choices    string     // what may be said now
	stage      string     // what a demonstration shows
	level      float64    // of the microphone, dB relative to full scale
	sound      audio.News // the last of the sound devices
}

// say is what may be said now, or "" while nobody listens.
func (f facts) say() string {
	if f.choices == "" || f.turn != listening && f.turn != paused {
		return ""
	}
	return "Say " + f.choices
}

// turn says whose turn it is.
type turn int

const (
	starting turn = iota
	listening
	speaking
	paused
	finished
)
