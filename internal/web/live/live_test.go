package live

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/demo"
	"waycall/internal/record"
	"waycall/internal/show"
	"waycall/internal/store"
)

var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

// opened is the event that begins the demonstration's job.
func opened(t testing.TB) record.Event {
	job, err := demo.Board()
	if err != nil {
		t.Fatal(err)
	}
	return record.Event{ID: 1, At: noon, Kind: record.Opened, Job: &job}
}

func said(id int64, text string) record.Event {
	return record.Event{ID: id, At: noon.Add(time.Duration(id) * time.Second), Kind: record.Said, Text: text}
}

// tailed is a job on the disk.
type tailed struct {
	*store.Tail
	path string
}

func (l tailed) Held() bool { return store.Held(l.path) }

// serve serves the job at path under every name but "none".
func serve(t testing.TB, path string, o Options) (*Server, string) {
	o.Follow = func(id string) (Log, error) {
		if id == "none" {
			return nil, fs.ErrNotExist
		}
		return tailed{store.NewTail(path), path}, nil
	}
	o.Replaced = func(err error) bool { return errors.Is(err, store.ErrReplaced) }
	s := New(o)
	t.Cleanup(s.Close)
	return s, serveHTTP(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch err := s.Stream(w, r, strings.TrimPrefix(r.URL.Path, "/")); {
		case errors.Is(err, ErrFull):
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
		case errors.Is(err, ErrLastEvent):
			http.Error(w, err.Error(), http.StatusBadRequest)
		case err != nil:
			http.Error(w, err.Error(), http.StatusNotFound)
		}
	}))
}

// serveHTTP serves h until the test ends, and returns the address.
func serveHTTP(t testing.TB, h http.Handler) (url string) {
	web := httptest.NewServer(h)
	t.Cleanup(func() {
		web.CloseClientConnections()
		web.Close()
	})
	return web.URL
}

// viewer is a browser's EventSource, as far as is needed here.
type viewer struct {
	body *bufio.Reader
	resp *http.Response
}

func watch(ctx context.Context, url, last string) (*viewer, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	if last != "" {
		r.Header.Set("Last-Event-ID", last)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, err
	}
	if resp.StatusCode != http.StatusOK {
		resp.Body.Close()
		return nil, fmt.Errorf("status %d", resp.StatusCode)
	}
	if got := resp.Header.Get("Content-Type"); got != "text/event-stream" {
		resp.Body.Close()
		return nil, fmt.Errorf("it is %s", got)
	}
	return &viewer{bufio.NewReader(resp.Body), resp}, nil
}

type message struct{ kind, id, data string }

// next returns the next event of the stream.
func (v *viewer) next() (message, error) {
	var m message
	for {
		text, err := v.body.ReadString('\n')
		if err != nil {
			return m, err
		}
		text = strings.TrimSuffix(text, "\n")
		name, value, _ := strings.Cut(text, ": ")
		switch {
		case text == "" && m.kind != "":
			return m, nil
		case name == "event":
			m.kind = value
		case name == "id":
			m.id = value
		case name == "data" && m.data != "":
			m.data += "\n" + value
		case name == "data":
			m.data = value
		}
	}
}

// Fifty viewers follow a job while it is written. Some are slow, and some lose
// their connection again and again; each sees every event, once and in order.
func TestFiftyViewers(t *testing.T) {
	const viewers, events = 50, 600
	path := filepath.Join(t.TempDir(), "job.waycall")
	s, err := store.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Append(t.Context(), []record.Event{opened(t)}, nil); err != nil {
		t.Fatal(err)
	}
	server, url := serve(t, path, Options{Every: 5 * time.Millisecond})

	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	var all sync.WaitGroup
	for n := range viewers {
		all.Go(func() {
			luck := rand.New(rand.NewPCG(1, uint64(n)))
			at, last, views, lines := 0, "", 0, 0
			for at < events {
				v, err := watch(ctx, url+"/job", last)
				if err != nil {
					t.Errorf("viewer %d at event %d: %v", n, at, err)
					return
				}
				for at < events {
					m, err := v.next()
					if err != nil {
						t.Errorf("viewer %d at event %d: %v", n, at, err)
						v.resp.Body.Close()
						return
					}
					switch m.kind {
					case "view":
						views++
					case "log":
						if at++; m.id != strconv.Itoa(at) || !strings.Contains(m.data, fmt.Sprintf(`"id":%d,`, at)) {
							t.Errorf("viewer %d had event %q where %d comes: %s", n, m.id, at, m.data)
							v.resp.Body.Close()
							return
						}
						last = m.id
						lines++
					}
					if n%5 == 1 && luck.IntN(20) == 0 {
						time.Sleep(20 * time.Millisecond) // slow
					}
					if n%5 == 2 && luck.IntN(60) == 0 {
						break // cut off
					}
				}
				v.resp.Body.Close()
			}
			if lines != events {
				t.Errorf("viewer %d had %d events", n, lines)
			}
			// The view comes after the events: one that was cut off before each of them
			// has it when it stays.
			if views == 0 {
				v, err := watch(ctx, url+"/job", last)
				if err != nil {
					t.Errorf("viewer %d after the last event: %v", n, err)
					return
				}
				m, err := v.next()
				v.resp.Body.Close()
				if err != nil || m.kind != "view" {
					t.Errorf("viewer %d has %s after the last event, %v", n, m.kind, err)
					return
				}
			}
		})
	}
	text := strings.Repeat("way seven, live and neutral to earth, ", 20)
	for id := int64(2); id <= events; {
		var batch []record.Event
		for range 1 + id%4 {
			if id <= events {
				batch = append(batch, said(id, text))
				id++
			}
		}
		if _, err := s.Append(t.Context(), batch, nil); err != nil {
			t.Fatal(err)
		}
	}
	all.Wait()
	server.mu.Lock()
	defer server.mu.Unlock()
	if len(server.jobs) != 1 {
		t.Errorf("%d readers follow one job", len(server.jobs))
	}
}

func TestStreamRefuses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "job.waycall")
	s, err := store.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Append(t.Context(), []record.Event{opened(t)}, nil); err != nil {
		t.Fatal(err)
	}
	_, url := serve(t, path, Options{Most: 1})
	for _, c := range []struct{ path, last, want string }{
		{"/none", "", "status 404"},
		{"/job", "x", "status 400"},
		{"/job", "-1", "status 400"},
		{"/job", "99999999999999", "status 400"},
		{"/job?after=1%0A", "", "status 400"},
	} {
		if _, err := watch(t.Context(), url+c.path, c.last); err == nil || err.Error() != c.want {
			t.Errorf("%s after %q: %v, want %s", c.path, c.last, err, c.want)
		}
	}
	// One that saw more than there is saw another log.
	v, err := watch(t.Context(), url+"/job", "7")
	if err != nil {
		t.Fatal(err)
	}
	if m, err := v.next(); err != nil || m.kind != "reset" {
		t.Errorf("after event 7 of 1: %+v, %v", m, err)
	}
	v.resp.Body.Close()

	for { // the place of the one before is free once the server has seen it go
		if v, err = watch(t.Context(), url+"/job?after=0", ""); err == nil {
			break
		}
	}
	defer v.resp.Body.Close()
	if _, err := watch(t.Context(), url+"/job", ""); err == nil || err.Error() != "status 503" {
		t.Errorf("one too many: %v", err)
	}
}

// feed is a log that the test writes.
type feed struct {
	mu     sync.Mutex
	events []record.Event
	err    error
	held   bool
}

func (f *feed) Next(context.Context) ([]record.Event, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	e := f.events
	f.events = nil
	return e, f.err
}

func (f *feed) Held() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.held
}

func (f *feed) put(err error, events ...record.Event) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.err, f.events = err, append(f.events, events...)
}

// until reads until a view has the text, and returns it.
func (v *viewer) until(t *testing.T, text string) string {
	t.Helper()
	for range 1000 {
		m, err := v.next()
		if err != nil {
			t.Fatalf("%q never came: %v", text, err)
		}
		if m.kind == "view" && strings.Contains(m.data, text) {
			return m.data
		}
	}
	t.Fatalf("%q never came", text)
	return ""
}

func TestViewSaysWhatIsWrong(t *testing.T) {
	log := &feed{events: []record.Event{opened(t)}}
	logs := []*feed{log}
	replaced := errors.New("replaced")
	s := New(Options{
		Follow: func(string) (Log, error) {
			if len(logs) == 0 {
				return nil, fs.ErrNotExist
			}
			next := logs[0]
			logs = logs[1:]
			return next, nil
		},
		Replaced: func(err error) bool { return errors.Is(err, replaced) },
		Every:    time.Millisecond, Beat: 20 * time.Millisecond,
	})
	defer s.Close()
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { s.Stream(w, r, "job") }))
	defer web.Close()
	defer web.CloseClientConnections()
	v, err := watch(t.Context(), web.URL, "")
	if err != nil {
		t.Fatal(err)
	}
	v.until(t, "NO SESSION IS RUNNING")
	for m := (message{}); m.kind != "beat"; {
		if m, err = v.next(); err != nil {
			t.Fatal(err)
		}
	}
	log.mu.Lock()
	log.held = true
	log.mu.Unlock()
	v.until(t, "SESSION RUNNING")
	log.put(nil, record.Event{ID: 2, At: noon, Kind: record.Paused})
	v.until(t, "PAUSED")
	log.put(errors.New("secret path /home/somebody"))
	if text := v.until(t, "cannot be read"); strings.Contains(text, "secret") {
		t.Error("the reason has what is nobody's business")
	}
	log.put(fs.ErrNotExist)
	v.until(t, "no longer there")
	log.put(nil, record.Event{ID: 3, At: noon, Kind: record.CarriedOn})
	if text := v.until(t, "SESSION RUNNING"); strings.Contains(text, "lv-trouble") {
		t.Error("it is well again, and the view says otherwise")
	}
	// What does not follow has a line, and the view says that it is behind.
	log.put(nil, record.Event{ID: 9, At: noon, Kind: record.Paused})
	v.until(t, "This view is behind")
	log.put(nil, said(10, "and goes on"))
	v.until(t, "and goes on")

	logs = []*feed{{events: []record.Event{opened(t), said(2, "another log")}}}
	log.put(replaced)
	for m := (message{}); m.kind != "reset"; {
		if m, err = v.next(); err != nil {
			t.Fatal(err)
		}
	}
	if v, err = watch(t.Context(), web.URL, ""); err != nil {
		t.Fatal(err)
	}
	v.until(t, "another log")
}

// What somebody put into a board file or said can do nothing on the page.
func TestHostileText(t *testing.T) {
	e := opened(t)
	job := *e.Job
	bad := "</p><script>alert(1)</script>\r\nevent: reset\r\n\r\nid: 99\u202egnp.exe\x00" + strings.Repeat("w", 10_000)
	job.Reference, job.Boards[0].Name = bad, bad
	for i := range job.Boards[0].Ways {
		job.Boards[0].Ways[i].Feeds = bad
	}
	e.Job = &job
	log := &feed{events: []record.Event{e, said(2, bad)}}
	s := New(Options{Follow: func(string) (Log, error) { return log, nil }, Every: time.Millisecond})
	defer s.Close()
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { s.Stream(w, r, "job") }))
	defer web.Close()
	defer web.CloseClientConnections()
	v, err := watch(t.Context(), web.URL, "")
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"log", "log", "view"} {
		m, err := v.next()
		if err != nil || m.kind != want || m.kind == "log" && m.id != strconv.Itoa(i+1) {
			t.Fatalf("event %d is %s %s, %v", i, m.kind, m.id, err)
		}
		for _, never := range []string{"<script", "\u202e", "\x00", strings.Repeat("w", show.Longest+1)} {
			if strings.Contains(m.data, never) {
				t.Errorf("%s %s has %.20q", m.kind, m.id, never)
			}
		}
	}
	page, err := s.Page(t.Context(), "job")
	if err != nil || page.Last != 2 || strings.Contains(string(page.View), "<script") {
		t.Errorf("the page is after event %d, %v", page.Last, err)
	}
}

// A viewer that takes nothing any more holds nothing up: it is disconnected, and
// when it comes back it has all the same every event.
func TestStuckViewer(t *testing.T) {
	log := &feed{events: []record.Event{opened(t)}}
	s := New(Options{Follow: func(string) (Log, error) { return log, nil }, Every: time.Millisecond, Patience: 20 * time.Millisecond})
	defer s.Close()
	var once sync.Once
	ended := make(chan struct{}) // closed when the first stream is
	web := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.Stream(w, r, "job")
		once.Do(func() { close(ended) })
	}))
	// Small buffers on the way, so that it is soon full.
	web.Config.ConnState = func(c net.Conn, at http.ConnState) {
		if at == http.StateNew {
			c.(*net.TCPConn).SetWriteBuffer(4 << 10)
		}
	}
	web.Start()
	defer web.Close()
	defer web.CloseClientConnections()
	stuck, err := net.Dial("tcp", strings.TrimPrefix(web.URL, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer stuck.Close()
	if err := stuck.(*net.TCPConn).SetReadBuffer(4 << 10); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(stuck, "GET / HTTP/1.1\r\nHost: here\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	const events = 20_000 // 6 MB
	for id := int64(2); id <= events; {
		var batch []record.Event
		for ; id <= events && len(batch) < 500; id++ {
			batch = append(batch, said(id, strings.Repeat("x", show.Longest)))
		}
		log.put(nil, batch...)
	}
	select {
	case <-ended: // without a byte read
	case <-time.After(time.Minute):
		t.Fatal("it is not disconnected")
	}
	// It may have ended before all was read, and nobody has seen what was not.
	for limit := time.Now().Add(time.Minute); followed(s, "job") < events; time.Sleep(time.Millisecond) {
		if time.Now().After(limit) {
			t.Fatalf("%d of %d events are read", followed(s, "job"), events)
		}
	}
	// It comes back after what it had, here the first half of an event.
	v, err := watch(t.Context(), web.URL+"?after=1000", "")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { v.resp.Body.Close() }()
	for at := 1000; at < events; {
		m, err := v.next()
		switch {
		case err != nil: // too slow for 20 ms on this machine
			v.resp.Body.Close()
			if v, err = watch(t.Context(), web.URL, strconv.Itoa(at)); err != nil {
				t.Fatal(err)
			}
		case m.kind == "log":
			if at++; m.id != strconv.Itoa(at) {
				t.Fatalf("event %s where %d comes", m.id, at)
			}
		}
	}
}

// followed returns how many events of the job are read, 0 where nobody follows it.
func followed(s *Server, id string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	f := s.jobs[id]
	if f == nil {
		return 0
	}
	return len(f.now().lines)
}

// Whatever the data, a frame is one event, and has all of it.
func FuzzFrame(f *testing.F) {
	f.Add("view", int64(3), []byte("<p>one</p>\n<p>two</p>"))
	f.Add("log", int64(0), []byte("\r\nevent: reset\r\rid: 9\n\n"))
	f.Add("beat", int64(1), []byte{})
	f.Fuzz(func(t *testing.T, kind string, id int64, data []byte) {
		if kind != "view" && kind != "log" {
			kind = "beat"
		}
		v := viewer{body: bufio.NewReader(bytes.NewReader(append(frame(kind, id, data), "event: after\ndata: \n\n"...)))}
		m, err := v.next()
		if err != nil || m.kind != kind || id > 0 && m.id != strconv.FormatInt(id, 10) || id <= 0 && m.id != "" {
			t.Fatalf("%q is read as %+v, %v", data, m, err)
		}
		want := strings.TrimSuffix(strings.ReplaceAll(string(data), "\r", "\n"), "\n")
		if strings.TrimLeft(m.data, "\n") != strings.TrimLeft(want, "\n") {
			t.Fatalf("%q is read as %q", data, m.data)
		}
		if m, err = v.next(); err != nil || m.kind != "after" {
			t.Fatalf("%q goes on: %+v, %v", data, m, err)
		}
	})
}

func TestFollowersEnd(t *testing.T) {
	log := &feed{events: []record.Event{opened(t)}}
	s := New(Options{Follow: func(string) (Log, error) { return log, nil }, Every: time.Millisecond, Linger: time.Millisecond})
	if _, err := s.Page(t.Context(), "job"); err != nil {
		t.Fatal(err)
	}
	for { // hangs if it never ends
		s.mu.Lock()
		n := len(s.jobs)
		s.mu.Unlock()
		if n == 0 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	s.Close()
	if _, err := s.Page(t.Context(), "job"); !errors.Is(err, context.Canceled) {
		t.Errorf("after its end: %v", err)
	}
	bad := &feed{err: errors.New("damaged")}
	s = New(Options{Follow: func(string) (Log, error) { return bad, nil }})
	defer s.Close()
	if _, err := s.Page(t.Context(), "job"); !errors.Is(err, bad.err) {
		t.Errorf("of a log that cannot be read: %v", err)
	}
}
