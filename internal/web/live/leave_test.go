package live

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"waycall/internal/record"
)

// slowFeed is a log whose first reading waits for the test.
type slowFeed struct {
	feed
	open <-chan struct{} // closed by the test
}

func (f *slowFeed) Next(ctx context.Context) ([]record.Event, error) {
	select {
	case <-f.open:
		return f.feed.Next(ctx)
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// empty waits until the server follows nothing and streams to nobody.
func empty(t *testing.T, s *Server) {
	t.Helper()
	for limit := time.Now().Add(time.Minute); ; time.Sleep(time.Millisecond) {
		s.mu.Lock()
		jobs, streams := len(s.jobs), s.streams
		s.mu.Unlock()
		if jobs == 0 && streams == 0 {
			return
		}
		if time.Now().After(limit) {
			t.Fatalf("%d jobs are followed and %d streams held with nobody there", jobs, streams)
		}
	}
}

// Viewers leave at every point of a stream, three hundred at once. What is dropped
// behind them must not end the server: it goes on to serve, and holds nothing of them.
func TestLeaveAtEveryPoint(t *testing.T) {
	var gate atomic.Pointer[chan struct{}]
	s := New(Options{
		Follow: func(id string) (Log, error) {
			if id == "none" {
				return nil, fs.ErrNotExist
			}
			// Each has its own: a client that was slow to be let in takes nothing away.
			log := &slowFeed{open: *gate.Load()}
			log.put(nil, opened(t), said(2, "way one"), said(3, "way two"))
			return log, nil
		},
		Every: time.Millisecond, Linger: time.Millisecond, Most: 1000,
	})
	defer s.Close()
	url := streams(t, s)
	address := strings.TrimPrefix(url, "http://")
	const all = "\r\nHost: here\r\n\r\n"
	for _, c := range []struct {
		name   string
		read   bool   // the log can be read at once
		send   string // of the request
		answer int    // how many bytes of the answer are taken
	}{
		{"before it asks", true, "", 0},
		{"in the request", true, "GET /job HT", 0},
		{"before the log is read", false, "GET /job HTTP/1.1" + all, 0},
		{"at once", true, "GET /job HTTP/1.1" + all, 0},
		{"in the headers", true, "GET /job HTTP/1.1" + all, 20},
		{"in the first event", true, "GET /job HTTP/1.1" + all, 300},
		{"in the view", true, "GET /job HTTP/1.1" + all, 1000},
		{"after an error", true, "GET /none HTTP/1.1" + all, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			open := make(chan struct{})
			gate.Store(&open)
			if c.read {
				close(open)
			}
			var gone sync.WaitGroup
			for n := range 300 {
				gone.Go(func() {
					conn, err := net.Dial("tcp", address)
					if err != nil {
						t.Error(err)
						return
					}
					defer conn.Close()
					if n%2 == 0 {
						_ = conn.(*net.TCPConn).SetLinger(0) // with a reset
					}
					if _, err := fmt.Fprint(conn, c.send); err != nil {
						t.Error(err)
					}
					for taken, buf := 0, make([]byte, 1024); taken < c.answer; {
						n, err := conn.Read(buf[:min(len(buf), c.answer-taken)])
						if taken += n; err != nil {
							t.Errorf("after %d bytes: %v", taken, err)
							return
						}
					}
				})
			}
			gone.Wait()
			empty(t, s)
			// Whoever comes then is served.
			if !c.read {
				close(open)
			}
			v, err := watch(t.Context(), url+"/job", "")
			if err != nil {
				t.Fatal(err)
			}
			defer v.resp.Body.Close()
			for at := 1; at <= 3; {
				m, err := v.next()
				if err != nil {
					t.Fatalf("at event %d: %v", at, err)
				}
				if m.kind == "log" {
					at++
				}
			}
		})
	}
}

// One page that was given up while the log was not read yet, and nobody else: the
// follower goes when its time is up, and the job can be followed anew.
func TestPageGivenUp(t *testing.T) {
	open := make(chan struct{})
	log := &slowFeed{open: open}
	log.put(nil, opened(t))
	s := New(Options{Follow: func(string) (Log, error) { return log, nil }, Every: time.Millisecond, Linger: time.Millisecond})
	defer s.Close()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Page(ctx, "job"); !errors.Is(err, context.Canceled) {
		t.Fatalf("given up: %v", err)
	}
	empty(t, s)
	close(open)
	if _, err := s.Page(t.Context(), "job"); err != nil {
		t.Errorf("after it: %v", err)
	}
}

// Pages and streams come and go on one job, some given up, while it is dropped and
// begun again all the time: for the race detector.
func TestComeAndGo(t *testing.T) {
	s := New(Options{Follow: func(string) (Log, error) {
		return &feed{events: []record.Event{opened(t)}}, nil
	}, Every: time.Millisecond, Linger: time.Microsecond})
	defer s.Close()
	var all sync.WaitGroup
	for n := range 8 {
		all.Go(func() {
			for i := range 100 {
				ctx, cancel := context.WithTimeout(t.Context(), time.Duration((i*7+n)%20)*100*time.Microsecond)
				if i%10 == 0 {
					ctx = t.Context()
				}
				if _, err := s.Page(ctx, "job"); err != nil && ctx.Err() == nil {
					t.Error(err)
				}
				cancel()
			}
		})
	}
	all.Wait()
	empty(t, s)
}

// streams serves the streams of s.
func streams(t *testing.T, s *Server) string {
	t.Helper()
	return serveHTTP(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := s.Stream(w, r, strings.TrimPrefix(r.URL.Path, "/")); err != nil {
			http.Error(w, err.Error(), http.StatusNotFound)
		}
	}))
}
