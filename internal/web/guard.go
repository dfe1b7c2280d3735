package web

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"net/http"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"waycall/internal/mishap"
)

// maxBody is the largest body that a request may have, in bytes: a form of this
// server with every field as long as it may be has less than half.
const maxBody = 64 << 10

// bodyPatience is how long a form may take to arrive.
const bodyPatience = 30 * time.Second

// policy is the Content-Security-Policy of every answer: styles, scripts, pictures
// and sound from this server's own files and nothing else, no inline script or
// style, no frame around it, and forms that go nowhere else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard is what every request passes before a handler sees it, outermost first.
func (s *server) guard(mux *http.ServeMux) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(s.crossOrigin))
	var h http.Handler = mux
	h = s.limit(h)
	h = cross.Handler(h)
	h = s.visitorsOnly(h)
	h = s.knownHost(h)
	h = headers(h)
	return s.watch(mux, h)
}

// watch logs the kind of each request and keeps the server up when a handler
// fails. Paths, queries and addresses stay out of the log: they may hold keys.
func (s *server) watch(mux *http.ServeMux, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		out := &answer{ResponseWriter: w}
		defer func() {
			if why := recover(); why != nil {
				if err, ok := why.(error); ok && errors.Is(err, http.ErrAbortHandler) {
					panic(why)
				}
				// The reason may quote what was read from a job.
				s.Log.Error("a page failed", "kind", kindOf(mux, r), "stack", string(debug.Stack()))
				if out.status == 0 {
					s.fail(out, r, http.StatusInternalServerError, "This page failed", "waycall has a fault here; nothing was changed.", "Go back, and please report what you did.")
				}
			}
			s.Log.Info("request", "kind", kindOf(mux, r), "status", out.status, "ms", time.Since(began).Milliseconds())
		}()
		next.ServeHTTP(out, r)
	})
}

// note logs what went wrong beside the requests; a fault in waycall with its stack.
func (s *server) note(where string, err error) {
	var fault *mishap.Error
	if errors.As(err, &fault) {
		fault.Log(s.Log)
		return
	}
	s.Log.Warn(where, "trouble", trouble(err))
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
func (s *server) knownHost(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for _, h := range s.Hosts {
			if strings.EqualFold(r.Host, h) {
				next.ServeHTTP(w, r)
				return
			}
		}
		s.fail(w, r, http.StatusMisdirectedRequest, "Not at this address", "This server is not reached by that name.", "Open the address that waycall review printed.")
	})
}

func (s *server) limit(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			// A body that does not come must not hold a connection. The server has no
			// time-out of its own for reading: it would end the live views.
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(bodyPatience))
		}
		next.ServeHTTP(w, r)
	})
}

func (s *server) crossOrigin(w http.ResponseWriter, r *http.Request) {
	s.fail(w, r, http.StatusForbidden, "Nothing was changed", "The request came from another site.", "Open the page from here and send the form again.")
}

// open reports whether a request needs no session: the way in, and the files that
// make its pages look right.
func open(r *http.Request) bool {
	p := r.URL.Path
	return strings.HasPrefix(p, "/assets/") || strings.HasPrefix(p, "/enter/") || p == "/pair"
}

// visitorsOnly lets nobody in without the cookie of a session.
func (s *server) visitorsOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case open(r), s.visitors.of(r) != nil:
			next.ServeHTTP(w, r)
		case s.Code != nil && (r.Method == http.MethodGet || r.Method == http.MethodHead):
			http.Redirect(w, r, "/pair", http.StatusSeeOther)
		default:
			s.fail(w, r, http.StatusForbidden, "This browser has no session here", "The pages, and the sound in them, are for the person who started waycall review.", "Open the whole address that waycall review printed, with its key.")
		}
	})
}

// enter gives the person at this machine a session for the key of the printed
// address. It answers with a page that goes on by itself and not with a redirect: the
// cookie is only sent where a page of this server leads, and the address may have
// been opened from a page of another.
func (s *server) enter(w http.ResponseWriter, r *http.Request) {
	if key := r.PathValue("key"); !sameKey(key, s.Key) && !(sameKey(key, s.Once) && s.used.CompareAndSwap(false, true)) {
		s.fail(w, r, http.StatusForbidden, "This address is out of date", "Its key is not that of the server that is running.", "Open the address that waycall review printed when it was last started.")
		return
	}
	s.visitors.begin(w)
	s.render(w, r, http.StatusOK, "enter", page{Title: "Review"})
}

// sameKey reports whether a key is the one that is wanted, in a time that says nothing
// about it.
func sameKey(key, want string) bool {
	return want != "" && subtle.ConstantTimeCompare([]byte(key), []byte(want)) == 1
}

// visitor is one browser with a session. Its fields are read and written with the
// methods of visitors.
type visitor struct {
	initials string // as last given, to be offered again
}

// visitors are the sessions, by the sum of their cookie: who could read this
// memory would still have no cookie. They end with the server.
type visitors struct {
	cookie string // name; its own for each server, as cookies do not tell ports apart
	secure bool
	mu     sync.Mutex
	all    map[[sha256.Size]byte]*visitor
	order  [][sha256.Size]byte // oldest first
}

// maxVisitors is how many sessions are kept; the oldest goes first.
const maxVisitors = 256

func newVisitors(secure bool) *visitors {
	b := make([]byte, 4)
	rand.Read(b)
	name := "waycall-" + hex.EncodeToString(b)
	if secure {
		name = "__Host-" + name
	}
	return &visitors{cookie: name, secure: secure, all: map[[sha256.Size]byte]*visitor{}}
}

// begin gives the browser that w answers a session of its own.
func (v *visitors) begin(w http.ResponseWriter) {
	token := rand.Text() + rand.Text()
	sum := sha256.Sum256([]byte(token))
	v.mu.Lock()
	v.all[sum] = &visitor{}
	v.order = append(v.order, sum)
	if len(v.order) > maxVisitors {
		delete(v.all, v.order[0])
		v.order = v.order[1:]
	}
	v.mu.Unlock()
	http.SetCookie(w, &http.Cookie{Name: v.cookie, Value: token, Path: "/", HttpOnly: true, Secure: v.secure, SameSite: http.SameSiteStrictMode})
}

// of returns the visitor that a request comes from, or nil.
func (v *visitors) of(r *http.Request) *visitor {
	c, err := r.Cookie(v.cookie)
	if err != nil {
		return nil
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.all[sha256.Sum256([]byte(c.Value))]
}

// initials returns what the visitor last signed a change with.
func (v *visitors) initials(r *http.Request) string {
	who := v.of(r)
	if who == nil {
		return ""
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	return who.initials
}

func (v *visitors) remember(r *http.Request, initials string) {
	if who := v.of(r); who != nil {
		v.mu.Lock()
		defer v.mu.Unlock()
		who.initials = initials
	}
}

func (s *server) notFound(w http.ResponseWriter, r *http.Request) {
	s.fail(w, r, http.StatusNotFound, "There is no such page", "", "Go to the list of jobs and choose one.")
}

// problem is the content of an error page.
type problem struct {
	What, Why, Do string
	Back          string // a page of this server to go back to; "" for the list of jobs
}

// fail answers with an error page: what failed, why, and what to do.
func (s *server) fail(w http.ResponseWriter, r *http.Request, status int, what, why, do string) {
	s.render(w, r, status, "problem", page{Title: what, Body: problem{What: what, Why: why, Do: do}})
}
