package web

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/jobs"
	"waycall/internal/mishap"
	"waycall/internal/report"
)

// faultyLog reads what there is, and panics.
type faultyLog struct{ follower }

func (f faultyLog) Read(ctx context.Context) (*jobs.Log, error) {
	_, _ = f.follower.Read(ctx)
	panic("a fault")
}

// soon runs f, which must not wait for ever.
func soon(t *testing.T, f func()) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		f()
	}()
	select {
	case <-done:
	case <-time.After(time.Minute):
		t.Fatal("something stays locked")
	}
}

// A request that panics while it reads a job or changes it gives back what it holds,
// and what it has read is not taken for shown.
func TestFaultGivesBack(t *testing.T) {
	c, job, _ := office(t)
	id, folder := strings.TrimPrefix(job, "/job/"), c.server.s.Jobs
	before := events(c, job)
	if code, _ := c.post(job+"/settle", settling(c, job)); code != http.StatusSeeOther {
		t.Fatalf("settling gave %d", code)
	}
	j := folder.jobs[id]
	for what, f := range map[string]func(){
		"open": func() { _, _ = folder.Open(t.Context(), id) },
		"list": func() { _, _ = folder.List(t.Context()) },
		"work": func() { _ = folder.Work(t.Context(), id, nil) },
	} {
		soon(t, func() {
			j.mu.Lock()
			j.log = faultyLog{j.log}
			j.mu.Unlock()
			if err := mishap.Do(what, f); err == nil {
				t.Errorf("%s did not panic", what)
			}
		})
	}
	soon(t, func() {
		if now := events(c, job); now != before+1 {
			t.Errorf("%d events are shown, not %d", now, before+1)
		}
		if list, err := folder.List(t.Context()); err != nil || len(list) != 1 || list[0].Problem != "" || list[0].Running {
			t.Errorf("the list: %+v, %v", list, err)
		}
	})
}

// A fault in a change answers that request, changes nothing and leaves the job free.
func TestFaultInChange(t *testing.T) {
	var log lockedBuffer
	broken := false
	c, job, _ := office(t, func(o *Options) {
		o.Log = slog.New(slog.NewTextHandler(&log, nil))
		o.Now = func() time.Time {
			if broken {
				panic("a fault")
			}
			return time.Now()
		}
	})
	before := events(c, job)
	form := settling(c, job)
	broken = true
	for _, path := range []string{"/settle", "/withdraw", "/edit"} {
		f := url.Values{"value": {"0.11"}}
		for k, v := range form {
			f[k] = v
		}
		if code, page := c.post(job+path, f); code != http.StatusInternalServerError {
			t.Errorf("%s gave %d: %s", path, code, text(page))
		}
	}
	broken = false
	if now := events(c, job); now != before {
		t.Errorf("%d events, not %d", now, before)
	}
	if !strings.Contains(log.String(), "TestFaultInChange") {
		t.Errorf("no stack is logged: %s", log.String())
	}
	soon(t, func() {
		if code, page := c.post(job+"/settle", form); code != http.StatusSeeOther {
			t.Errorf("after it: %d: %s", code, text(page))
		}
	})
}

// What could not be derived once is not taken for derived, and empty.
func TestOnceIsNotEmpty(t *testing.T) {
	var o once[report.Schedule]
	for range 2 {
		if err := mishap.Do("make it", func() { o.get(func() report.Schedule { panic("a fault") }) }); err == nil {
			t.Fatal("a schedule without anything in it is given out")
		}
	}
	want := report.Schedule{Format: 7}
	if got := o.get(func() report.Schedule { return want }); got.Format != 7 {
		t.Errorf("afterwards it is %+v", got)
	}
}

// A fault in what is drawn beside is logged with its stack, and drawing goes on with
// the next page.
func TestFaultBeside(t *testing.T) {
	c, job, _ := office(t)
	snap, err := c.server.s.Jobs.Open(t.Context(), strings.TrimPrefix(job, "/job/"))
	if err != nil {
		t.Fatal(err)
	}
	told := make(chan error, 1)
	o := &outlines{note: func(err error) { told <- err }}
	o.rest(nil, snap) // no folder to read from
	soon(t, func() {
		if err := <-told; !strings.Contains(err.Error(), "outlines") {
			t.Errorf("told: %v", err)
		}
		o.done.Wait()
	})
	if o.ahead {
		t.Error("it still draws")
	}
	var log lockedBuffer
	s := &server{Options: Options{Log: slog.New(slog.NewTextHandler(&log, nil))}}
	s.note("here", mishap.Do("draw", func() { panic("secret of a job") }))
	if text := log.String(); !strings.Contains(text, "TestFaultBeside") || strings.Contains(text, "secret") {
		t.Errorf("logged: %s", text)
	}
}

// lockedBuffer is a buffer for several goroutines.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
