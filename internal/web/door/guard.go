// This file is what every request passes, layer by layer in reading order.

package door

import (
	"errors"
	"net/http"
	"runtime/debug"
	"strings"
	"time"
)

// MaxBody is the largest body that a request may have, in bytes: a form of this
// server with every field as long as it may be has less than half.
const MaxBody = 64 << 10

// MaxSetup is the same for a form by which a job is set up: a board file as large as
// package board takes, sent by a form, which writes some characters as three.
const MaxSetup = 4 << 20

// bodyPatience is how long a form may take to arrive.
const bodyPatience = 30 * time.Second

// policy is the Content-Security-Policy of every answer: styles, scripts, pictures
// and sound from this server's own files and nothing else, no inline script or
// style, no frame around it, and forms that go nowhere else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Guard is what every request passes before a handler sees it, outermost first.
func (d *Door) Guard(mux *http.ServeMux) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(d.crossOrigin))
	var h http.Handler = mux
	h = d.limit(h)
	h = cross.Handler(h)
	h = d.visitorsOnly(h)
	h = d.knownHost(h)
	h = headers(h)
	return d.watch(mux, h)
}

// watch logs the kind of each request and keeps the server up when a handler
// fails. Paths, queries and addresses stay out of the log: they may hold keys.
func (d *Door) watch(mux *http.ServeMux, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		out := &answer{ResponseWriter: w}
		defer func() {
			if why := recover(); why != nil {
				if err, ok := why.(error); ok && errors.Is(err, http.ErrAbortHandler) {
					panic(why)
				}
				// The reason may quote what was read from a job.
				d.o.Log.Error("a page failed", "kind", kindOf(mux, r), "stack", string(debug.Stack()))
				if out.status == 0 {
					d.o.Fail(out, r, http.StatusInternalServerError, "This page failed", "waycall has a fault here; nothing was changed.", "Go back, and please report what you did.")
				}
			}
			d.o.Log.Info("request", "kind", kindOf(mux, r), "status", out.status, "ms", time.Since(began).Milliseconds())
		}()
		next.ServeHTTP(out, r)
	})
}

// kindOf returns the pattern that a request matches: it names no job.
func kindOf(mux *http.ServeMux, r *http.Request) string {
	_, pattern := mux.Handler(r)
	if pattern == "" || pattern == "/" {
		return "other"
	}
	return pattern
}

// answer remembers the status that was sent.
type answer struct {
	http.ResponseWriter
	status int
}

func (a *answer) WriteHeader(status int) {
	if a.status == 0 {
		a.status = status
	}
	a.ResponseWriter.WriteHeader(status)
}

func (a *answer) Write(b []byte) (int, error) {
	if a.status == 0 {
		a.status = http.StatusOK
	}
	return a.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController flush and set deadlines.
func (a *answer) Unwrap() http.ResponseWriter { return a.ResponseWriter }

func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// knownHost refuses a request whose Host is not one of the server's. A page of
// another site whose name was made to point at this machine (DNS rebinding) has
// its own name there.
func (d *Door) knownHost(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for _, h := range d.o.Hosts {
			if strings.EqualFold(r.Host, h) {
				next.ServeHTTP(w, r)
				return
			}
		}
		d.o.Fail(w, r, http.StatusMisdirectedRequest, "Not at this address", "This server is not reached by that name.", "Open the address that waycall review printed.")
	})
}

func (d *Door) limit(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		most := int64(MaxBody)
		if strings.HasPrefix(r.URL.Path, "/new") {
			most = MaxSetup
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			// A body that does not come must not hold a connection. The server has no
			// time-out of its own for reading: it would end the live views.
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(bodyPatience))
		}
		next.ServeHTTP(w, r)
	})
}

func (d *Door) crossOrigin(w http.ResponseWriter, r *http.Request) {
	d.o.Fail(w, r, http.StatusForbidden, "Nothing was changed", "The request came from another site.", "Open the page from here and send the form again.")
}

// open reports whether a request needs no session: the way in, and the files that
// make its pages look right.
func open(r *http.Request) bool {
	p := r.URL.Path
	return strings.HasPrefix(p, "/assets/") || strings.HasPrefix(p, "/enter/") || p == "/pair"
}

// visitorsOnly lets nobody in without the cookie of a session.
func (d *Door) visitorsOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case open(r), d.visitors.of(r) != nil:
			next.ServeHTTP(w, r)
		case d.o.Code != nil && (r.Method == http.MethodGet || r.Method == http.MethodHead):
			http.Redirect(w, r, "/pair", http.StatusSeeOther)
		default:
			d.o.Fail(w, r, http.StatusForbidden, "This browser has no session here", "The pages, and the sound in them, are for the person who started waycall review.", "Open the whole address that waycall review printed, with its key.")
		}
	})
}
