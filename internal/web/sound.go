package web

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"waycall/internal/sound"
	"waycall/internal/store"
	"waycall/internal/web/waves"
)

// play is what it takes to listen to a phrase.
type play struct {
	Source  string
	Label   string
	Session string // where the phrase stands in the session; "" where that is here
	Wave    string // the outline of the sound as an SVG path; "" where it is not drawn
	Length  string // of the sound, in seconds
	Span    string // class that makes a longer sound wider
	Damaged bool
}

// draw puts in the outline of the sound.
func (p *play) draw(o waves.Outline) {
	p.Damaged = o.Damaged
	if o.Damaged {
		return
	}
	p.Wave, p.Length = o.Path(), fmt.Sprintf("%.1f s", o.Seconds)
	switch {
	case o.Seconds < 0.8:
		p.Span = "w1"
	case o.Seconds < 1.6:
		p.Span = "w2"
	case o.Seconds < 2.8:
		p.Span = "w3"
	default:
		p.Span = "w4"
	}
}

// sessionPath is where a phrase stands in the session.
func sessionPath(id string, heard int64) string {
	return fmt.Sprintf("/job/%s/session?at=%d#e%d", url.PathEscape(id), heard, heard)
}

func soundPath(id string, heard int64) string {
	return fmt.Sprintf("/job/%s/sound/%d", url.PathEscape(id), heard)
}

// sound serves the sound of one phrase as a WAV file, whatever it is kept as, or a
// part of it, as players ask for.
func (s *server) sound(w http.ResponseWriter, r *http.Request, snap *seen) {
	heard, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		s.fail(w, r, http.StatusNotFound, "There is no such sound", "", "Go back to the session and choose a phrase.")
		return
	}
	kept, err := s.Jobs.Sound(r.Context(), snap.ID, heard)
	switch {
	case errors.Is(err, store.ErrNoSound):
		s.fail(w, r, http.StatusNotFound, "There is no such sound", "", "Go back to the session and choose a phrase.")
		return
	case err != nil && !errors.Is(err, store.ErrDamaged):
		s.jobFailed(w, r, err)
		return
	}
	var samples []int16
	var rate int
	if err == nil {
		samples, rate, err = store.Samples(kept)
	}
	if err != nil {
		s.fail(w, r, http.StatusUnprocessableEntity, "This sound is damaged", "It cannot be played. What was heard is kept in words.", "Run waycall verify on the job; a backup may have the sound whole.")
		return
	}
	w.Header().Set("Content-Type", "audio/wav")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(sound.EncodeWAV(samples, rate)))
}

// drawSounds puts the outline of its sound into each reading that has one.
func (s *server) drawSounds(r *http.Request, snap *seen, lists ...[]readingView) error {
	var heard []int64
	for _, list := range lists {
		for _, v := range list {
			if v.Play != nil {
				heard = append(heard, v.Heard)
			}
		}
	}
	all, err := s.waves.Of(r.Context(), s.Jobs, snap.Snapshot, heard)
	if err != nil {
		return err
	}
	for _, list := range lists {
		for _, v := range list {
			if v.Play != nil {
				v.Play.draw(all[0])
				all = all[1:]
			}
		}
	}
	return nil
}
