package web

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"

	"waycall/internal/audio"
	"waycall/internal/mishap"
	"waycall/internal/record"
	"waycall/internal/store"
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
func (p *play) draw(o outline) {
	p.Damaged = o.damaged
	if o.damaged {
		return
	}
	p.Wave, p.Length = o.path(), fmt.Sprintf("%.1f s", o.seconds)
	switch {
	case o.seconds < 0.8:
		p.Span = "w1"
	case o.seconds < 1.6:
		p.Span = "w2"
	case o.seconds < 2.8:
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
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(audio.EncodeWAV16(samples, rate)))
}

// outline is the loudness of a phrase along its length, each column from 0 to 255,
// which is full scale.
type outline struct {
	columns [columns]byte
	seconds float32
	damaged bool
}

// columns of an outline, each 4 units of the viewBox wide.
const columns = 80

// outlines keeps the outlines of phrases: reckoning one means reading its sound and
// decoding it, some milliseconds of work.
type outlines struct {
	mu    sync.Mutex
	all   map[outlineOf]outline
	ahead bool          // the rest of a job is being drawn
	stop  chan struct{} // closed by close
	done  sync.WaitGroup
	note  func(error) // told of a fault in what is drawn beside
}

type outlineOf struct {
	job   string
	began time.Time // of its record: another may come to lie under the id
	heard int64
}

// maxOutlines is how many are kept, some 10 MB.
const maxOutlines = 50_000

// of returns the outlines of phrases of a job, in their order, and goes on to draw
// the others of the job, so that its next pages need not wait.
func (o *outlines) of(ctx context.Context, jobs *Folder, snap *Snapshot, heard []int64) ([]outline, error) {
	all, err := o.reckon(ctx, jobs, snap, heard, runtime.GOMAXPROCS(0))
	if err == nil {
		o.rest(jobs, snap)
	}
	return all, err
}

// reckon returns the outlines of phrases, made with atOnce sounds decoded side by side.
func (o *outlines) reckon(ctx context.Context, jobs *Folder, snap *Snapshot, heard []int64, atOnce int) ([]outline, error) {
	if len(heard) == 0 {
		return nil, nil
	}
	key := outlineOf{job: snap.ID, began: snap.Events[0].At}
	all := make([]outline, len(heard))
	var missing []int64
	o.mu.Lock()
	for i, h := range heard {
		key.heard = h
		var ok bool
		if all[i], ok = o.all[key]; !ok {
			missing = append(missing, h)
		}
	}
	o.mu.Unlock()
	if len(missing) == 0 {
		return all, nil
	}
	// Decoding is what takes the time, and each sound is by itself.
	made := map[int64]outline{}
	var fault error
	var mu sync.Mutex // of made and fault
	var drawing sync.WaitGroup
	room := make(chan struct{}, atOnce)
	err := jobs.sounds(ctx, snap.ID, missing, func(h int64, sound []byte, err error) {
		room <- struct{}{}
		drawing.Go(mishap.Caught("draw the outline of a sound", func(err error) {
			mu.Lock()
			defer mu.Unlock()
			fault = err
		}, func() {
			defer func() { <-room }()
			one := draw(sound, err)
			mu.Lock()
			defer mu.Unlock()
			made[h] = one
		}))
	})
	drawing.Wait()
	if err = cmp.Or(err, fault); err != nil {
		return nil, err
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.all == nil || len(o.all) > maxOutlines {
		o.all = map[outlineOf]outline{}
	}
	for i, h := range heard {
		if one, ok := made[h]; ok {
			key.heard = h
			all[i], o.all[key] = one, one
		}
	}
	return all, nil
}

// rest draws what is not drawn yet of a job, a little at a time, beside all else. It
// does not while a session runs on the job: the session needs the machine.
func (o *outlines) rest(jobs *Folder, snap *Snapshot) {
	if snap.Running() {
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.ahead {
		return
	}
	if o.stop == nil {
		o.stop = make(chan struct{})
	}
	select {
	case <-o.stop:
		return
	default:
	}
	o.ahead = true
	o.done.Go(mishap.Caught("draw the outlines of a job", o.note, func() {
		defer func() {
			o.mu.Lock()
			defer o.mu.Unlock()
			o.ahead = false
		}()
		const few = 8
		var next []int64
		for i := range snap.Events {
			if snap.Events[i].Kind == record.Heard {
				next = append(next, snap.Events[i].ID)
			}
			if len(next) < few && i < len(snap.Events)-1 {
				continue
			}
			select {
			case <-o.stop:
				return
			default:
			}
			if _, err := o.reckon(context.Background(), jobs, snap, next, 1); err != nil {
				if fault := (*mishap.Error)(nil); errors.As(err, &fault) {
					o.note(err)
				}
				return // the next page of the job tries again, and says what is wrong
			}
			next = next[:0]
		}
	}))
}

// close ends what is drawn beside. Nothing is drawn ahead after it.
func (o *outlines) close() {
	o.mu.Lock()
	if o.stop == nil {
		o.stop = make(chan struct{})
	}
	select {
	case <-o.stop:
	default:
		close(o.stop)
	}
	o.mu.Unlock()
	o.done.Wait()
}

func draw(sound []byte, err error) (o outline) {
	var samples []int16
	var rate int
	if err == nil {
		samples, rate, err = store.Samples(sound)
	}
	if err != nil || rate <= 0 {
		o.damaged = true
		return o
	}
	o.seconds = float32(len(samples)) / float32(rate)
	for i := range o.columns {
		peak := 0
		for _, x := range samples[i*len(samples)/columns : (i+1)*len(samples)/columns] {
			if x < 0 {
				peak = max(peak, -int(x))
			}
			peak = max(peak, int(x))
		}
		o.columns[i] = byte(min(255, peak*255/32767))
	}
	return o
}

// path draws the outline round the middle of a viewBox of 320 by 40. The height is
// relative to the loudest column, as far as that is more than noise.
func (o outline) path() string {
	top := 24
	for _, c := range o.columns {
		top = max(top, int(c))
	}
	var b strings.Builder
	for i, c := range o.columns {
		h := max(1, int(c)*38/top)
		fmt.Fprintf(&b, "M%d %gv%d", 4*i+2, 20-float64(h)/2, h)
	}
	return b.String()
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
	all, err := s.waves.of(r.Context(), s.Jobs, snap.Snapshot, heard)
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
