package session

import (
	"time"

	"waycall/internal/audio"
	"waycall/internal/hear"
)

// Free speech has pauses in it, and may be long.
const (
	notePause   = 1300 * time.Millisecond
	longestNote = 25 * time.Second // all that the speech model takes, less a margin
)

// forNote are the settings while a note is spoken.
func (r *run) forNote() audio.Settings {
	s := r.Settings
	s.Pause, s.Longest = max(s.Pause, notePause), longestNote
	return s
}

// dictation is a note while it is spoken. It is heard as free speech once it is over.
type dictation struct{ ear Ear }

func (dictation) Pause([]float32)                           {}
func (dictation) Over() bool                                { return false }
func (dictation) Drop()                                     {}
func (d dictation) End(sound []float32) (hear.Heard, error) { return d.ear.Note(sound) }
