package session

import (
	"context"
	"time"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/record"
	"waycall/internal/talk"
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

// unheard is an utterance that no witness listens to: what is said is heard as free
// speech once it is over.
type unheard struct{}

func (unheard) Pause([]float32)                   {}
func (unheard) Drop()                             {}
func (unheard) End([]float32) (hear.Heard, error) { return hear.Heard{Outcome: hear.None}, nil }

// dictated hears the text of a note.
func (r *run) dictated(ctx context.Context, ended audio.Event) (done bool, err error) {
	p := ended.Phrase
	if p.Truncated {
		// Answered once they stop: the rest must not be taken for a phrase.
		r.Watch.TooLong(p.Sound.Duration())
		r.cut = true
		return false, nil
	}
	start := time.Now()
	h, err := r.Ear.Note(p.Sound)
	if err != nil {
		return false, err
	}
	r.timing = &Timing{Pause: ended.At - p.Spoken, Hearing: time.Since(start)}
	defer func() { r.timing = nil }()
	r.Watch.Heard(h)
	if stuck, err := r.stuck(ctx, true); stuck || err != nil {
		return false, err
	}
	said := record.Phrase{Outcome: string(h.Outcome), Text: h.Best().Text, Words: h.Words, Scores: h.Scores}
	return r.answer(ctx, talk.Dictated{At: r.Now(), Phrase: said}, p.Sound)
}
