package web

import (
	"bytes"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/mishap"
	"waycall/internal/report"
	"waycall/internal/web/jobcache"
)

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
	var o jobcache.Once[report.Schedule]
	for range 2 {
		if err := mishap.Do("make it", func() { o.Get(func() report.Schedule { panic("a fault") }) }); err == nil {
			t.Fatal("a schedule without anything in it is given out")
		}
	}
	want := report.Schedule{Format: 7}
	if got := o.Get(func() report.Schedule { return want }); got.Format != 7 {
		t.Errorf("afterwards it is %+v", got)
	}
}

// A fault in what is done beside is logged with its stack, and with nothing of a job.
func TestFaultBeside(t *testing.T) {
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
