package screen

import (
	"fmt"
	"io"

	"waycall/internal/audio"
	"waycall/internal/show"
)

// SoundOf returns what shows news of the sound devices where a session is shown.
func SoundOf(watch any) func(audio.News) {
	if w, ok := watch.(interface{ Sound(audio.News) }); ok {
		return w.Sound
	}
	return func(audio.News) {}
}

// Sound shows news of a sound device.
func (s *Lines) Sound(n audio.News) {
	if n.Text != "" {
		s.line(amber, "sound", n.Text)
	}
}

// Sound prints news of a sound device.
func (j JSON) Sound(n audio.News) {
	j.print(Event{Event: "sound", Text: n.Text, Gone: n.Gone, Lost: n.Lost})
}

// End is what is said of the microphone and of the time when a session has ended.
type End struct {
	Device  string  `json:"device"`
	Rate    int     `json:"rate"`    // its own, in Hz
	Seconds float64 `json:"seconds"` // of sound that was listened to
	Lost    int     `json:"lost"`    // times that sound was lost while somebody listened
	GainDB  float64 `json:"gain_db"` // automatic gain at the end

	Times []show.Times `json:"times,omitempty"` // how the time on each board went, in all sessions of the job
}

// Write prints it on w in lines, or as JSON.
func (e End) Write(w io.Writer, asJSON bool) error {
	if asJSON {
		return Print(w, Event{Event: "ended", Sound: &e})
	}
	lost := "none of it was lost"
	if e.Lost > 0 {
		lost = fmt.Sprintf("some was lost %d times, and what was said then was asked for again", e.Lost)
	}
	for _, t := range e.Times {
		if _, err := fmt.Fprintf(w, "%8s  board %d, %s\n", "time", t.Board, t); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(w, "%8s  %.0f s from %s, %d Hz, listened to; %s; gain %.0f dB\n", "sound", e.Seconds, e.Device, e.Rate, lost, e.GainDB)
	return err
}
