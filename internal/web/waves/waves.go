// Package waves draws the outline of the sound of phrases, as the pages of a job show it
// beside what can be played, and keeps what it drew. Package web alone imports it.
package waves

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"
	"time"

	"waycall/internal/mishap"
	"waycall/internal/record"
	"waycall/internal/store"
	"waycall/internal/web/jobcache"
)

// Outline is the loudness of a phrase along its length, each column from 0 to 255,
// which is full scale.
type Outline struct {
	columns [columns]byte
	Seconds float32 // long
	Damaged bool
}

// columns of an outline, each 4 units of the viewBox wide.
const columns = 80

// Outlines keeps the outlines of phrases: reckoning one means reading its sound and
// decoding it, some milliseconds of work.
type Outlines struct {
	mu    sync.Mutex
	all   map[outlineOf]Outline
	ahead bool          // the rest of a job is being drawn
	stop  chan struct{} // closed by close
	done  sync.WaitGroup
	Note  func(error) // told of a fault in what is drawn beside
}

type outlineOf struct {
	job   string
	began time.Time // of its record: another may come to lie under the id
	heard int64
}

// maxOutlines is how many are kept, some 10 MB.
const maxOutlines = 50_000

// Of returns the outlines of phrases of a job, in their order, and goes on to draw
// the others of the job, so that its next pages need not wait.
func (o *Outlines) Of(ctx context.Context, jobs *jobcache.Folder, snap *jobcache.Snapshot, heard []int64) ([]Outline, error) {
	all, err := o.reckon(ctx, jobs, snap, heard, runtime.GOMAXPROCS(0))
	if err == nil {
		o.rest(jobs, snap)
	}
	return all, err
}

// reckon returns the outlines of phrases, made with atOnce sounds decoded side by side.
func (o *Outlines) reckon(ctx context.Context, jobs *jobcache.Folder, snap *jobcache.Snapshot, heard []int64, atOnce int) ([]Outline, error) {
	if len(heard) == 0 {
		return nil, nil
	}
	key := outlineOf{job: snap.ID, began: snap.Events[0].At}
	all := make([]Outline, len(heard))
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
	made := map[int64]Outline{}
	var fault error
	var mu sync.Mutex // of made and fault
	var drawing sync.WaitGroup
	room := make(chan struct{}, atOnce)
	err := jobs.Sounds(ctx, snap.ID, missing, func(h int64, sound []byte, err error) {
		room <- struct{}{}
		drawing.Go(mishap.Caught("draw the outline of a sound", func(err error) {
			mu.Lock()
			defer mu.Unlock()
			fault = err
		}, func() {
			defer func() { <-room }()
			one := outlineOfSound(sound, err)
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
		o.all = map[outlineOf]Outline{}
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
func (o *Outlines) rest(jobs *jobcache.Folder, snap *jobcache.Snapshot) {
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
	o.done.Go(mishap.Caught("draw the outlines of a job", o.Note, func() {
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
					o.Note(err)
				}
				return // the next page of the job tries again, and says what is wrong
			}
			next = next[:0]
		}
	}))
}

// Close ends what is drawn beside. Nothing is drawn ahead after it.
func (o *Outlines) Close() {
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

func outlineOfSound(sound []byte, err error) (o Outline) {
	var samples []int16
	var rate int
	if err == nil {
		samples, rate, err = store.Samples(sound)
	}
	if err != nil || rate <= 0 {
		o.Damaged = true
		return o
	}
	o.Seconds = float32(len(samples)) / float32(rate)
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

// Path draws the outline round the middle of a viewBox of 320 by 40. The height is
// relative to the loudest column, as far as that is more than noise.
func (o Outline) Path() string {
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
