package live

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"sync"
	"time"

	"waycall/internal/record"
)

// follower reads one job for all its viewers.
type follower struct {
	id      string
	o       *Options
	log     Log
	ready   chan struct{}      // closed once the log was read, or could not be
	cancel  context.CancelFunc // ends run
	viewers int                // guarded by Server.mu
	idle    *time.Timer        // guarded by Server.mu

	state record.State // used by run alone, as are these
	held  bool
	lost  bool   // state is behind the log
	tail  []line // the last few

	mu  sync.Mutex
	out snapshot
}

// snapshot is what a viewer is sent from. Nothing in it is changed once it was
// given out.
type snapshot struct {
	log     int      // counts the logs that lay under the job's name
	lines   [][]byte // of event i+1, as it goes into the stream
	version int      // of the view, from 1
	view    []byte   // as HTML
	shows   int      // the event that view is after
	frame   []byte   // view as it goes into the stream
	title   string
	spoken  string        // what changed, for who cannot see it
	changed chan struct{} // closed when there is a newer snapshot
	failed  error         // the log could not be read at all
	ended   bool          // the follower is at its end
}

func newFollower(id string, log Log, o *Options) *follower {
	return &follower{id: id, o: o, log: log, ready: make(chan struct{}), out: snapshot{log: 1, changed: make(chan struct{})}}
}

func (f *follower) now() snapshot {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.out
}

// run follows the log until ctx ends.
func (f *follower) run(ctx context.Context) {
	every := time.NewTicker(f.o.Every)
	defer every.Stop()
	var trouble string // that is shown
	first, looked := true, time.Time{}
	for {
		events, err := f.log.Next(ctx)
		if ctx.Err() != nil {
			return
		}
		held := f.held
		if time.Since(looked) > heldEvery || len(events) > 0 {
			held, looked = f.log.Held(), time.Now()
		}
		now := ""
		switch {
		case err == nil:
			if f.take(events); f.lost {
				now = "This view is behind: the log has something that does not follow. Go by what waycall says."
			}
		case f.o.Replaced(err) && f.reopen():
			trouble, first = "", true
			continue
		case errors.Is(err, fs.ErrNotExist):
			now = "This job is no longer there: it was renamed, put away or deleted."
		default:
			now = "The job cannot be read at the moment. The terminal that runs waycall review says why."
			if trouble != now {
				f.o.Note(err)
			}
		}
		if first || len(events) > 0 || held != f.held || now != trouble {
			f.held, trouble = held, now
			f.publish(trouble)
		}
		if first {
			if first = false; err != nil {
				f.mu.Lock()
				f.out.failed = err
				f.mu.Unlock()
			}
			f.begun()
		} else if err == nil && f.now().failed != nil {
			f.mu.Lock()
			f.out.failed = nil
			f.mu.Unlock()
		}
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
	}
}

// begun tells those who wait that there is something to show, or that there cannot be.
func (f *follower) begun() {
	select {
	case <-f.ready:
	default:
		close(f.ready)
	}
}

// end tells the viewers that nothing follows, and why.
func (f *follower) end(err error) {
	f.mu.Lock()
	old := f.out.changed
	f.out.ended, f.out.failed, f.out.changed = true, err, make(chan struct{})
	f.mu.Unlock()
	close(old)
	f.begun()
}

// heldEvery is how often it is looked whether a session runs, where nothing else
// happens.
const heldEvery = time.Second

// reopen begins the log that lies under the name now. Viewers begin anew, too.
func (f *follower) reopen() bool {
	log, err := f.o.Follow(f.id)
	if err != nil {
		return false
	}
	f.log, f.state, f.lost, f.tail = log, record.State{}, false, nil
	f.mu.Lock()
	defer f.mu.Unlock()
	old := f.out.changed
	f.out = snapshot{log: f.out.log + 1, version: f.out.version, changed: make(chan struct{})}
	close(old)
	return true
}

// take folds events into the state and makes their lines. Those that do not follow
// have a line all the same: none is left out.
func (f *follower) take(events []record.Event) {
	frames := make([][]byte, 0, len(events))
	for _, e := range events {
		if next, err := f.state.Follow(e); err == nil {
			f.state = next
		} else if !f.lost {
			f.lost = true
			f.o.Note(err)
		}
		l := lineOf(f.state, e)
		frames = append(frames, l.frame())
		if f.tail = append(f.tail, l); len(f.tail) > history {
			f.tail = append([]line{}, f.tail[len(f.tail)-history:]...)
		}
	}
	if len(events) > 0 {
		f.mu.Lock()
		// Older snapshots end before what is added here.
		f.out.lines = append(f.out.lines, frames...)
		f.mu.Unlock()
	}
}

// publish makes the view of the state and tells the viewers.
func (f *follower) publish(trouble string) {
	v := viewOf(f.state, f.held, trouble, f.tail)
	var b bytes.Buffer
	if err := views.ExecuteTemplate(&b, "view", v); err != nil {
		f.o.Note(fmt.Errorf("the live view could not be drawn: %w", err))
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	old := f.out.changed
	f.out.version++
	f.out.view, f.out.shows = b.Bytes(), len(f.out.lines)
	f.out.title, f.out.spoken = v.Title, v.Spoken
	f.out.frame = frame("view", 0, b.Bytes())
	f.out.changed = make(chan struct{})
	close(old)
}

// frame is one event of the stream. An id of 0 leaves the last one standing.
func frame(kind string, id int64, data []byte) []byte {
	var b bytes.Buffer
	if id > 0 {
		fmt.Fprintf(&b, "id: %d\n", id)
	}
	fmt.Fprintf(&b, "event: %s\n", kind)
	// A line of data ends at any of CR, LF, CRLF.
	data = bytes.ReplaceAll(data, []byte("\r"), []byte("\n"))
	for l := range bytes.Lines(data) {
		b.WriteString("data: ")
		b.Write(bytes.TrimSuffix(l, []byte("\n")))
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	return b.Bytes()
}

func (l line) frame() []byte {
	data, err := json.Marshal(l)
	if err != nil { // it has only numbers and text
		data = []byte("{}")
	}
	return frame("log", l.ID, data)
}
