package main

import (
	"fmt"
	"io"

	"waycall/internal/audio"
)

// tellSound returns what shows news of the sound devices where the session is shown.
func tellSound(watch any) func(audio.News) {
	if w, ok := watch.(interface{ Sound(audio.News) }); ok {
		return w.Sound
	}
	return func(audio.News) {}
}

func (s *screen) Sound(n audio.News) {
	if n.Text != "" {
		s.line(amber, "sound", n.Text)
	}
}

func (j jsonScreen) Sound(n audio.News) {
	j.print(jsonEvent{Event: "sound", Text: n.Text, Gone: n.Gone, Lost: n.Lost})
}

// soundEnd is what is said of the microphone when a session has ended.
type soundEnd struct {
	Device  string  `json:"device"`
	Rate    int     `json:"rate"`    // its own, in Hz
	Seconds float64 `json:"seconds"` // of sound that was listened to
	Lost    int     `json:"lost"`    // times that sound was lost while somebody listened
	GainDB  float64 `json:"gain_db"` // automatic gain at the end
}

func (e soundEnd) print(w io.Writer, asJSON bool) error {
	if asJSON {
		return printJSON(w, jsonEvent{Event: "ended", Sound: &e})
	}
	lost := "none of it was lost"
	if e.Lost > 0 {
		lost = fmt.Sprintf("some was lost %d times, and what was said then was asked for again", e.Lost)
	}
	_, err := fmt.Fprintf(w, "%8s  %.0f s from %s, %d Hz, listened to; %s; gain %.0f dB\n", "sound", e.Seconds, e.Device, e.Rate, lost, e.GainDB)
	return err
}
