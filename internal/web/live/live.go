// Package live shows a running session in a browser, say on a tablet that stands
// beside the board: the way and the test that are due, the last reading with its
// verdict, and what is left, to be read from three metres.
//
// The session runs in another process, which this one never touches: it reads the
// job's log as it grows. One goroutine reads for each job that somebody looks at,
// and folds what it reads into the state; all viewers are given the same bytes.
//
//	log file --Tail--> follower --+--> viewer, at event 812
//	                              +--> viewer, at event 815
//	                              +--> viewer, back after a minute, at event 640
//
// The follower keeps a line of every event, so a viewer is a number: the event that
// it was sent last. One that is slow, or comes back with the Last-Event-ID of a
// connection that broke, is sent what lies between, in order; none is ever left out.
//
// A stream of server-sent events holds
//
//	log    one event of the log; the id is that of the log. JSON: see line
//	view   the view after the events sent so far, as HTML
//	beat   nothing has happened for a while, and the connection is good
//	reset  another log lies under this name now: load the page anew
//
// What cannot be known from a log is not shown: whether waycall listens or speaks at
// this moment, and the level of the microphone. The terminal shows these.
package live

import (
	"context"
	"embed"
	"errors"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"waycall/internal/mishap"
	"waycall/internal/record"
	"waycall/internal/show"
)

// Log is the log of one job, as it grows. *store.Tail with store.Held is one.
type Log interface {
	// Next returns the events since the last call, none when there are none.
	Next(ctx context.Context) ([]record.Event, error)
	// Held reports whether a process is writing the log, a session most likely.
	Held() bool
}

// Options are what a Server needs. The zero values of the times are usable.
type Options struct {
	// Follow returns the log of a job from its start; fs.ErrNotExist when there is
	// no such job. The id came from a request and may be anything.
	Follow func(id string) (Log, error)
	// Replaced reports whether an error of Log.Next says that the log is another
	// one than it was.
	Replaced func(error) bool
	// Note is told what went wrong, for the terminal; nil drops it. A fault in waycall is
	// a *mishap.Error.
	Note func(err error)

	Every  time.Duration // between two looks at a log; 100 ms
	Beat   time.Duration // of silence until a beat is sent; 10 s
	Linger time.Duration // for which a job is followed after the last viewer went; 30 s
	Most   int           // streams at once; 200
	// Patience is how long a viewer may take to accept what it is sent, 15 s. One that
	// takes longer is disconnected, and comes back with the number of its last event.
	Patience time.Duration
}

// Server follows jobs and serves their streams.
type Server struct {
	o    Options
	stop context.Context
	end  context.CancelFunc
	done sync.WaitGroup

	mu      sync.Mutex
	jobs    map[string]*follower
	streams int
}

// New returns a Server. Close ends it.
func New(o Options) *Server {
	if o.Every <= 0 {
		o.Every = 100 * time.Millisecond
	}
	if o.Beat <= 0 {
		o.Beat = 10 * time.Second
	}
	if o.Linger <= 0 {
		o.Linger = 30 * time.Second
	}
	if o.Most <= 0 {
		o.Most = 200
	}
	if o.Patience <= 0 {
		o.Patience = 15 * time.Second
	}
	if o.Replaced == nil {
		o.Replaced = func(error) bool { return false }
	}
	if o.Note == nil {
		o.Note = func(error) {}
	}
	s := &Server{o: o, jobs: map[string]*follower{}}
	s.stop, s.end = context.WithCancel(context.Background())
	return s
}

// Close ends every stream and stops following. It returns when nothing reads any
// more.
func (s *Server) Close() {
	s.end()
	s.done.Wait()
}

//go:embed live.tmpl
var files embed.FS

var views = template.Must(template.New("").Funcs(template.FuncMap{
	"at":     show.AtPlace,
	"lower":  strings.ToLower,
	"option": func(i int) int { return i + 1 },
}).ParseFS(files, "live.tmpl"))

// Page is the live view of a job as it is now, to begin with.
type Page struct {
	Title  string
	View   template.HTML // what the events of kind view replace
	Spoken string        // View in a sentence or two, for who cannot see it
	Last   int           // the event that View is after: the stream goes on from here
}

// Page returns the live view of a job as it is now. Errors: that of Options.Follow,
// or of its log when it could not be read.
func (s *Server) Page(ctx context.Context, id string) (Page, error) {
	f, leave, err := s.join(ctx, id)
	if err != nil {
		return Page{}, err
	}
	defer leave()
	now := f.now()
	return Page{Title: now.title, View: template.HTML(now.view), Spoken: now.spoken, Last: now.shows}, nil
}

// ErrFull is returned when there are as many streams as there may be.
var ErrFull = errors.New("too many screens follow a session at once; close some of them, then reload this page")

// chunk is how many events are sent at most before the deadline is set anew.
const chunk = 256

// Stream serves the events of a job until the viewer goes, or the Server is closed.
// An error means that nothing was sent yet: ErrFull, ErrLastEvent, or as of Page.
func (s *Server) Stream(w http.ResponseWriter, r *http.Request, id string) error {
	after, err := lastEvent(r)
	if err != nil {
		return err
	}
	if !s.enter() {
		return ErrFull
	}
	defer s.exit()
	f, leave, err := s.join(r.Context(), id)
	if err != nil {
		return err
	}
	defer leave()
	s.stream(w, r, f, after)
	return nil
}

// enter reports whether there is room for one stream more, and takes it; exit gives it
// back.
func (s *Server) enter() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.streams >= s.o.Most {
		return false
	}
	s.streams++
	return true
}

func (s *Server) exit() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.streams--
}

func (s *Server) stream(w http.ResponseWriter, r *http.Request, f *follower, after int) {
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Accel-Buffering", "no")
	out := http.NewResponseController(w)
	// The deadline for reading the request would end the stream. A server that has
	// none, or cannot set any, needs nothing.
	_ = out.SetReadDeadline(time.Time{})
	send := func(what ...[]byte) bool {
		// A server that cannot set it has a deadline of its own or none at all.
		_ = out.SetWriteDeadline(time.Now().Add(s.o.Patience))
		for _, b := range what {
			if _, err := w.Write(b); err != nil {
				return false
			}
		}
		return out.Flush() == nil
	}
	if !send([]byte("retry: 1000\n\n")) {
		return
	}
	now := f.now()
	log, shown := now.log, 0
	if now.ended {
		return
	}
	if after > len(now.lines) { // it has seen more than there is
		send([]byte("event: reset\ndata:\n\n"))
		return
	}
	beat := time.NewTimer(s.o.Beat)
	defer beat.Stop()
	for {
		if now.log != log {
			send([]byte("event: reset\ndata:\n\n"))
			return
		}
		for after < len(now.lines) {
			to := min(after+chunk, len(now.lines))
			if !send(now.lines[after:to]...) {
				return
			}
			after = to
		}
		if now.version != shown {
			if !send(now.frame) {
				return
			}
			shown = now.version
		}
		beat.Reset(s.o.Beat)
		select {
		case <-now.changed:
		case <-beat.C:
			if !send([]byte("event: beat\ndata:\n\n")) {
				return
			}
		case <-r.Context().Done():
			return
		case <-s.stop.Done():
			return
		}
		if now = f.now(); now.ended {
			return
		}
	}
}

// ErrLastEvent is returned for a request whose last event is not one.
var ErrLastEvent = errors.New("the last event is not a number; reload the page")

// lastEvent returns the number of the last event that the viewer has: what the
// browser sends when it comes back, or what the page says that it shows.
func lastEvent(r *http.Request) (int, error) {
	text := r.Header.Get("Last-Event-ID")
	if text == "" {
		text = r.URL.Query().Get("after")
	}
	if text == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || len(text) > 12 {
		return 0, ErrLastEvent
	}
	return n, nil
}

// join returns the follower of a job, begun if nobody follows it yet, once it has
// read what there is. leave must be called.
func (s *Server) join(ctx context.Context, id string) (_ *follower, leave func(), err error) {
	// What is called later, leave, must not hold a result: a return changes it.
	f, err := s.follow(id)
	if err != nil {
		return nil, nil, err
	}
	select {
	case <-f.ready:
		err = f.now().failed
	case <-ctx.Done():
		err = ctx.Err()
	case <-s.stop.Done():
		err = s.stop.Err()
	}
	if err != nil {
		s.leave(f)
		return nil, nil, err
	}
	return f, func() { s.leave(f) }, nil
}

// follow returns the follower of a job with one viewer more, begun if nobody follows
// the job yet.
func (s *Server) follow(id string) (*follower, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if f := s.jobs[id]; f != nil {
		f.viewers++
		if f.idle != nil {
			f.idle.Stop()
		}
		return f, nil
	}
	log, err := s.o.Follow(id)
	if err == nil {
		err = s.stop.Err()
	}
	if err != nil {
		return nil, err
	}
	f := newFollower(id, log, &s.o)
	f.viewers = 1
	s.jobs[id] = f
	ctx, cancel := context.WithCancel(s.stop)
	f.cancel = cancel
	s.done.Go(mishap.Caught("follow a job", func(err error) { s.broken(f, err) }, func() { f.run(ctx) }))
	return f, nil
}

// leave takes a viewer off. The job is followed a while longer after the last one.
func (s *Server) leave(f *follower) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if f.viewers--; f.viewers == 0 {
		f.idle = time.AfterFunc(s.o.Linger, mishap.Caught("let a job go", s.o.Note, func() { s.drop(f) }))
	}
}

// broken ends a follower that failed by a fault in it. Its viewers are ended; when they
// come back, the job is followed anew.
func (s *Server) broken(f *follower, err error) {
	s.o.Note(err)
	s.mu.Lock()
	if s.jobs[f.id] == f {
		delete(s.jobs, f.id)
	}
	s.mu.Unlock()
	f.cancel()
	f.end(err)
}

// drop ends a follower that nobody looks at.
func (s *Server) drop(f *follower) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if f.viewers == 0 && s.jobs[f.id] == f {
		delete(s.jobs, f.id)
		f.cancel()
	}
}
