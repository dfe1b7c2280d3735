package jobs

// How a job is followed while somebody else writes to it.

import (
	"context"
	"errors"

	"waycall/internal/record"
	"waycall/internal/store"
)

// Log is what is known of a job up to one event. It is never changed.
type Log struct {
	State  record.State
	Events []record.Event // all of them; its end is written to by the newest Log alone
	Head   string         // sum of the last event, which stands for the whole log
}

// Follower reads the log of a job, and at each further reading what was added to it,
// whoever wrote that. Its methods are not for several goroutines at once.
type Follower struct {
	path string
	tail tail
	log  *Log // what was read so far; nil before the first reading
}

// tail is the log of a job as it grows: *store.Tail, but in tests.
type tail interface {
	Next(ctx context.Context) ([]record.Event, error)
	Head() string
}

// Follow returns a follower of the job with the file at path, which is not opened yet.
func Follow(path string) *Follower { return &Follower{path: path} }

// Read returns what is known of the job now: the same as before where nothing was added.
// Where another file lies there by now it is that one's. After an error of reading what
// was known still stands, and the next Read tries again. Errors: those of store.Tail.
func (f *Follower) Read(ctx context.Context) (*Log, error) {
	whole := false
	defer func() {
		if !whole { // what the tail has read may not be in the log
			f.tail = nil
		}
	}()
	if f.tail == nil {
		f.tail, f.log = store.NewTail(f.path), nil
	}
	added, err := f.tail.Next(ctx)
	if errors.Is(err, store.ErrReplaced) { // another file lies there now: begin again
		f.tail, f.log = store.NewTail(f.path), nil
		added, err = f.tail.Next(ctx)
	}
	if err != nil {
		whole = true
		return nil, err
	}
	if f.log != nil && len(added) == 0 {
		whole = true
		return f.log, nil
	}
	next, err := f.log.with(added)
	if err != nil {
		return nil, err
	}
	next.Head = f.tail.Head()
	f.log, whole = next, true
	return next, nil
}

// with returns the log with events added; l may be nil.
func (l *Log) with(added []record.Event) (*Log, error) {
	if l == nil {
		state, err := record.Fold(added)
		return &Log{State: state, Events: added}, err
	}
	next := &Log{State: l.State, Events: append(l.Events, added...)}
	for _, e := range added {
		var err error
		if next.State, err = next.State.Apply(e); err != nil {
			return nil, err
		}
	}
	return next, nil
}
