package live

import (
	"context"
	"errors"
	"io/fs"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/mishap"
	"waycall/internal/record"
)

// faulty is a log that panics once it was told to.
type faulty struct {
	feed
	now chan struct{}
}

func (f *faulty) Next(ctx context.Context) ([]record.Event, error) {
	select {
	case <-f.now:
		panic("a name out of the record")
	default:
		return f.feed.Next(ctx)
	}
}

// A follower that panics ends neither the server nor what else it shows: its viewers
// are ended, the log is told with a stack, and the job is followed anew.
func TestFollowerPanics(t *testing.T) {
	bad, well := &faulty{now: make(chan struct{})}, &feed{events: []record.Event{opened(t)}}
	bad.put(nil, opened(t))
	again := &feed{events: []record.Event{opened(t), said(2, "way one")}}
	logs := []Log{bad, again}
	var mu sync.Mutex
	var noted []error
	s := New(Options{Every: time.Millisecond, Follow: func(id string) (Log, error) {
		if id == "other" {
			return well, nil
		}
		next := logs[0]
		logs = logs[1:]
		return next, nil
	}, Note: func(err error) {
		mu.Lock()
		defer mu.Unlock()
		noted = append(noted, err)
	}})
	defer s.Close()
	url := streams(t, s)
	var viewers []*viewer
	for _, path := range []string{"/job", "/job", "/other"} {
		v, err := watch(t.Context(), url+path, "")
		if err != nil {
			t.Fatal(err)
		}
		defer v.resp.Body.Close()
		v.until(t, "NO SESSION IS RUNNING")
		viewers = append(viewers, v)
	}
	close(bad.now)
	for n, v := range viewers[:2] {
		for {
			if _, err := v.next(); err != nil {
				break // ended
			}
		}
		v, err := watch(t.Context(), url+"/job", "1") // as the browser comes back
		if err != nil {
			t.Fatalf("viewer %d: %v", n, err)
		}
		defer v.resp.Body.Close()
		if m, err := v.next(); err != nil || m.kind != "log" || m.id != "2" {
			t.Errorf("viewer %d has %+v, %v", n, m, err)
		}
	}
	well.put(nil, said(2, "way one"))
	for m := (message{}); m.kind != "log" || m.id != "2"; {
		var err error
		if m, err = viewers[2].next(); err != nil {
			t.Fatalf("the other job: %v", err)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	var fault *mishap.Error
	if len(noted) != 1 || !errors.As(noted[0], &fault) || !strings.Contains(string(fault.Stack), "faulty") || strings.Contains(fault.Error(), "record") {
		t.Errorf("noted: %v", noted)
	}
}

// One that panics before it showed anything answers those who wait.
func TestFollowerPanicsAtOnce(t *testing.T) {
	bad := &faulty{now: make(chan struct{})}
	close(bad.now)
	s := New(Options{Follow: func(string) (Log, error) { return bad, nil }})
	defer s.Close()
	var fault *mishap.Error
	if _, err := s.Page(t.Context(), "job"); !errors.As(err, &fault) {
		t.Errorf("the page: %v", err)
	}
	empty(t, s)
}

// A fault while a job is looked for is that request's alone: nothing stays locked.
func TestFollowPanics(t *testing.T) {
	broken := true
	s := New(Options{Follow: func(string) (Log, error) {
		if broken {
			panic("broken")
		}
		return nil, fs.ErrNotExist
	}})
	defer s.Close()
	if err := mishap.Do("page", func() { _, _ = s.Page(t.Context(), "job") }); err == nil {
		t.Fatal("it did not panic")
	}
	broken = false
	done := make(chan error)
	go func() {
		_, err := s.Page(t.Context(), "job")
		done <- err
	}()
	select {
	case err := <-done:
		if !errors.Is(err, fs.ErrNotExist) {
			t.Error(err)
		}
	case <-time.After(time.Minute):
		t.Fatal("it stays locked")
	}
}
