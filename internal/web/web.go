// Package web is the review of jobs in a browser: a local web server over the
// folder where the jobs are kept.
//
// It shows what package record folds and package report derives, and turns what a
// reviewer asks for into events through package review; it judges nothing itself.
// Pages are made on the server from templates; the few scripts add keys, sound and
// the live view, and every page works without them.
//
//	a job       the boards as pictures, each way its readings, the session as a time line
//	the queue   what needs a person, one after another
//	changes     correct, let stand, take off, sign off: new events, never a change of an old one
//	downloads   the schedule as PDF, spreadsheet, CSV and JSON
//	set-up      a new job: its boards written into a form, from another job or from a table
//	live        a running session, followed from another screen
//
// # What keeps it to the person who started it
//
// Package door sees to that, before a request is answered here. No part of a request
// ever becomes part of a path on the disk: jobs and assets are found in lists.
package web

import (
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"waycall/internal/web/door"
	"waycall/internal/web/jobcache"
	"waycall/internal/web/setup"
	"waycall/internal/web/waves"
)

// Options is what a server is made of.
type Options struct {
	Jobs  *jobcache.Folder
	Hosts []string // what the Host header may be, with the port: "127.0.0.1:8090"
	// Key opens a session by /enter/KEY, the address that is printed for the person
	// at this machine. "" for a server that is only entered by pairing.
	Key string
	// Once is a second such key, which serves once: for a browser that is started
	// with the address, as other people on the machine can see how it is called.
	Once   string
	Secure bool // it is reached by TLS alone, so its cookies are kept to TLS
	// Code pairs another device through /pair; nil where there is no pairing.
	Code *door.Code
	// Paired is told of every try to pair, nil when it was the right code; may be nil.
	Paired func(error)
	Log    *slog.Logger     // one line for each request; nil for none
	Now    func() time.Time // nil for time.Now
	Linger time.Duration    // for which a job is followed after its last live view went; 0 for that of package live
}

// server is what the handlers share.
type server struct {
	Options
	door    *door.Door
	pages   map[string]*view
	gallery gallery
	live    *liveHub
	waves   waves.Outlines
	drafts  *setup.Drafts
}

// Server answers the requests of all pages.
type Server struct {
	http.Handler
	s *server
}

// Close ends the live views that are open, which would otherwise go on for ever, and
// what is worked out ahead.
func (s *Server) Close() {
	s.s.live.Close()
	s.s.waves.Close()
}

// New returns a Server; Close ends it. The error is for Options that cannot be.
func New(o Options) (*Server, error) {
	if o.Jobs == nil || len(o.Hosts) == 0 {
		return nil, fmt.Errorf("the server needs a folder of jobs and the addresses that it is reached by")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	pages, err := parsePages()
	if err != nil {
		return nil, err
	}
	s := &server{Options: o, pages: pages, drafts: setup.NewDrafts(string(o.Jobs.Dir()))}
	s.door = door.New(door.Options{Hosts: o.Hosts, Key: o.Key, Once: o.Once, Secure: o.Secure, Code: o.Code, Paired: o.Paired, Log: o.Log, Fail: s.fail})
	s.waves.Note = func(err error) { s.note("the outlines of sounds", err) }
	mux := http.NewServeMux()
	s.routes(mux)
	s.liveRoutes(mux)
	s.pairRoutes(mux)
	s.setupRoutes(mux)
	return &Server{s.door.Guard(mux), s}, nil
}

func (s *server) routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /assets/{version}/{name}", s.asset)
	mux.HandleFunc("GET /enter/{key}", s.enter)
	mux.HandleFunc("GET /{$}", s.home)
	mux.HandleFunc("GET /job/{job}", s.withJob(s.boards))
	mux.HandleFunc("GET /job/{job}/way/{board}/{way}", s.withJob(s.way))
	mux.HandleFunc("GET /job/{job}/session", s.withJob(s.session))
	mux.HandleFunc("GET /job/{job}/queue", s.withJob(s.queue))
	mux.HandleFunc("GET /job/{job}/edit", s.withJob(s.editForm))
	mux.HandleFunc("GET /job/{job}/sign", s.withJob(s.sign))
	mux.HandleFunc("GET /job/{job}/schedule", s.withJob(s.schedule))
	mux.HandleFunc("GET /job/{job}/sound/{id}", s.withJob(s.sound))
	mux.HandleFunc("GET /job/{job}/{file}", s.withJob(s.download))
	mux.HandleFunc("POST /job/{job}/edit", s.change(s.edit))
	mux.HandleFunc("POST /job/{job}/settle", s.change(s.settle))
	mux.HandleFunc("POST /job/{job}/withdraw", s.change(s.withdraw))
	mux.HandleFunc("POST /job/{job}/finish", s.change(s.finish))
	mux.HandleFunc("POST /job/{job}/sign", s.change(s.signOff))
	mux.HandleFunc("/", s.notFound)
}
