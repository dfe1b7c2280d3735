package phone

import (
	"bytes"
	"context"
	"embed"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"sync"
	"time"

	"waycall/internal/web/door"
)

//go:embed page
var files embed.FS

var pages = template.Must(template.ParseFS(files, "page/*.html"))

// Options is what a Server is made of.
type Options struct {
	Hosts  []string   // what the Host header may be, with the port
	Key    string     // lets a browser at this machine in; "" for none
	Secure bool       // it is reached by TLS alone
	Code   *door.Code // pairs a phone
	Paired func(error)
	Log    *slog.Logger
}

// Server has the pages of a phone on one Line.
type Server struct {
	http.Handler
	line *Line
	door *door.Door
	stop context.Context
	end  context.CancelFunc

	mu      sync.Mutex
	changed chan struct{}
	view    []byte // JSON
}

// NewServer returns the pages of a Line.
func NewServer(line *Line, o Options) *Server {
	s := &Server{line: line, changed: make(chan struct{}), view: []byte("null")}
	s.stop, s.end = context.WithCancel(context.Background())
	s.door = door.New(door.Options{Hosts: o.Hosts, Key: o.Key, Secure: o.Secure, Code: o.Code, Paired: o.Paired, Log: o.Log, Fail: fail})
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.page)
	mux.HandleFunc("GET /assets/{name}", asset)
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	mux.HandleFunc("GET /enter/{key}", s.enter)
	mux.HandleFunc("GET /pair", func(w http.ResponseWriter, r *http.Request) { s.pairPage(w, r, http.StatusOK, "") })
	mux.HandleFunc("POST /pair", s.pair)
	mux.HandleFunc("GET /events", s.events)
	mux.HandleFunc("POST /join", s.join)
	mux.HandleFunc("POST /still", s.still)
	mux.HandleFunc("POST /sound", s.sound)
	mux.HandleFunc("POST /played", s.played)
	s.Handler = s.door.Guard(mux)
	return s
}

// Close ends the streams of events, which would never end.
func (s *Server) Close() { s.end() }

// Show is told what the pages are to show.
func (s *Server) Show(v View) {
	text, err := json.Marshal(v)
	if err != nil {
		return // texts and flags alone: it cannot be
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.view = text
	close(s.changed)
	s.changed = make(chan struct{})
}

func (s *Server) shown() (view []byte, changed <-chan struct{}) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.view, s.changed
}

// render writes a page of ours.
func render(w http.ResponseWriter, status int, name string, data any) {
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, data); err != nil {
		http.Error(w, "the page could not be made", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // a phone that went needs no answer
}

func fail(w http.ResponseWriter, _ *http.Request, status int, what, why, do string) {
	render(w, status, "fail.html", struct{ What, Why, Do string }{what, why, do})
}

func (s *Server) page(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Permissions-Policy", "camera=(), microphone=(self), geolocation=(), screen-wake-lock=(self)")
	render(w, http.StatusOK, "phone.html", nil)
}

// kinds are the files that the page loads.
var kinds = map[string]string{"phone.js": "text/javascript; charset=utf-8", "catch.js": "text/javascript; charset=utf-8", "phone.css": "text/css; charset=utf-8"}

func asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	kind, ok := kinds[name]
	b, err := files.ReadFile("page/" + name)
	if !ok || err != nil {
		fail(w, r, http.StatusNotFound, "Not found", "There is no such file.", "Go back to the page.")
		return
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(b)
}

// enter lets a browser at this machine in, and goes on by itself.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	if !s.door.Enter(w, r.PathValue("key")) {
		fail(w, r, http.StatusForbidden, "This address is out of date", "Its key is not that of the session that is running.", "Open the address that waycall start printed.")
		return
	}
	render(w, http.StatusOK, "enter.html", nil)
}

// pairPage asks for the code; the address in the picture brings it along.
func (s *Server) pairPage(w http.ResponseWriter, r *http.Request, status int, failed string) {
	code := r.URL.Query().Get("code")
	if len(code) > door.LongestTyped {
		code = ""
	}
	render(w, status, "pair.html", struct {
		Failed, Code string
		Field        int
	}{failed, code, door.LongestTyped})
}

func (s *Server) pair(w http.ResponseWriter, r *http.Request) {
	status, failed := s.door.PairForm(w, r)
	if failed != "" {
		s.pairPage(w, r, status, failed)
		return
	}
	http.Redirect(w, r, "/", status)
}

// join makes a page the one at work.
func (s *Server) join(w http.ResponseWriter, r *http.Request) {
	played, err := s.line.Join(r.URL.Query().Get("page"), r.URL.Query().Get("take") == "1")
	answer(w, struct {
		Played int `json:"played"`
	}{played}, err)
}

func (s *Server) still(w http.ResponseWriter, r *http.Request) {
	answer(w, nil, s.line.Still(r.URL.Query().Get("page")))
}

func (s *Server) played(w http.ResponseWriter, r *http.Request) {
	n, err := strconv.Atoi(r.URL.Query().Get("n"))
	if err != nil {
		err = ErrBlock
	} else {
		err = s.line.Played(r.URL.Query().Get("page"), n)
	}
	answer(w, nil, err)
}

// sound takes a block, and answers which comes next and which are missing.
func (s *Server) sound(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	b := Block{Page: q.Get("page")}
	for name, to := range map[string]*int{"n": &b.N, "rate": &b.Rate, "after": &b.After, "quiet": &b.Quiet} {
		n, err := strconv.Atoi(q.Get(name))
		if err != nil && (name != "quiet" || q.Has(name)) {
			answer(w, nil, ErrBlock)
			return
		}
		*to = n
	}
	var err error
	if b.PCM, err = io.ReadAll(r.Body); err != nil { // longer than a form may be, or cut off
		answer(w, nil, ErrBlock)
		return
	}
	next, missing, err := s.line.Take(b)
	answer(w, struct {
		Next    int   `json:"next"`
		Missing []int `json:"missing,omitempty"`
	}{next, missing}, err)
}

// answer answers what the page's script asks.
func answer(w http.ResponseWriter, what any, err error) {
	status := http.StatusOK
	switch {
	case errors.Is(err, ErrTaken):
		status = http.StatusConflict
	case err != nil:
		status = http.StatusBadRequest
	}
	if err != nil {
		what = struct {
			Error string `json:"error"`
		}{err.Error()}
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	if what == nil {
		what = struct{}{}
	}
	_ = json.NewEncoder(w).Encode(what) // a phone that went needs no answer
}

// The times of a stream of events.
const (
	beat     = 2 * time.Second  // of silence until something is sent, so that the page knows
	patience = 15 * time.Second // for a phone to accept what it is sent
)

// events sends a page what it shows ("view"), what it is to say ("say", "hush"), and that
// another page has taken its place ("taken").
func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	page := r.URL.Query().Get("page")
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	out := http.NewResponseController(w)
	_ = out.SetReadDeadline(time.Time{}) // it would end the stream
	send := func(kind string, data []byte) bool {
		_ = out.SetWriteDeadline(time.Now().Add(patience))
		_, err := fmt.Fprintf(w, "event: %s\ndata: %s\n\n", kind, data)
		return err == nil && out.Flush() == nil
	}
	var sent []byte
	spoken := 0 // the number of what this page was told to say
	for {
		view, viewed := s.shown()
		if !bytes.Equal(view, sent) {
			if sent = view; !send("view", view) {
				return
			}
		}
		now := s.line.speaks(page)
		switch {
		case now.closed:
			send("ended", nil)
			return
		case now.taken:
			send("taken", nil)
			return
		case now.wav != nil && now.n != spoken:
			spoken = now.n
			text, err := json.Marshal(struct {
				N   int    `json:"n"`
				WAV string `json:"wav"`
			}{now.n, base64.StdEncoding.EncodeToString(now.wav)})
			if err != nil || !send("say", text) {
				return
			}
		case now.wav == nil && spoken > 0:
			if spoken = 0; !send("hush", nil) {
				return
			}
		}
		next := time.NewTimer(beat)
		select {
		case <-viewed:
		case <-now.changed:
		case <-next.C:
			if !send("beat", nil) {
				return
			}
		case <-r.Context().Done():
			return
		case <-s.stop.Done():
			return
		}
		next.Stop()
	}
}
