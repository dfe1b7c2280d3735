// Package door keeps the review to the person who started it.
//
// Whoever is on the same machine or network may talk to the server, and any page
// that the browser has open may try to. So each request passes the layers of guard.go:
// its Host must be one that the server was started for (a name that an attacker points
// here is refused), it needs the cookie of a session (given for the printed address, or
// after pairing), and a request that changes something must come from a page of this
// server. Every answer carries a Content-Security-Policy under which nothing written into
// a page can run. What is logged is the kind of request, never an address, a name or a
// key.
package door

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"log/slog"
	"net/http"
	"strconv"
	"sync/atomic"

	"waycall/internal/english"
)

// Options is what a door is made of.
type Options struct {
	Hosts []string // what the Host header may be, with the port: "127.0.0.1:8090"
	// Key lets the person at this machine in. "" for a door that is only entered by
	// pairing.
	Key string
	// Once is a second such key, which serves once: for a browser that is started
	// with the address, as other people on the machine can see how it is called.
	Once   string
	Secure bool // it is reached by TLS alone, so its cookies are kept to TLS
	// Code pairs another device; nil where there is no pairing.
	Code *Code
	// Paired is told of every try to pair, nil when it was the right code; may be nil.
	Paired func(error)
	Log    *slog.Logger // one line for each request
	// Fail answers a request that is refused or failed with a page: what failed, why, and
	// what to do.
	Fail func(w http.ResponseWriter, r *http.Request, status int, what, why, do string)
}

// Door is what lets requests in. Its methods may be called from several goroutines.
type Door struct {
	o        Options
	visitors *visitors
	used     atomic.Bool // Options.Once
}

// New returns a Door; Log and Fail of its options must be there.
func New(o Options) *Door { return &Door{o: o, visitors: newVisitors(o.Secure)} }

// NewKey returns a key for Options.Key or Options.Once.
func NewKey() string {
	b := make([]byte, 16)
	rand.Read(b) // never fails
	return hex.EncodeToString(b)
}

// Enter gives the browser that w answers a session where key is the one of the printed
// address, and reports whether it is.
func (d *Door) Enter(w http.ResponseWriter, key string) bool {
	if !sameKey(key, d.o.Key) && !(sameKey(key, d.o.Once) && d.used.CompareAndSwap(false, true)) {
		return false
	}
	d.visitors.begin(w)
	return true
}

// Pair gives the browser that w answers a session for the code that the terminal shows.
// Errors: those of Code.Take.
func (d *Door) Pair(w http.ResponseWriter, text string) error {
	err := d.o.Code.Take(text)
	if d.o.Paired != nil {
		d.o.Paired(err)
	}
	if err == nil {
		d.visitors.begin(w)
	}
	return err
}

// PairForm pairs the browser that sent the form of a page with a field code, and returns the
// status to answer with: 303 when it is let in, else with why it was not, as a sentence.
func (d *Door) PairForm(w http.ResponseWriter, r *http.Request) (status int, failed string) {
	if err := r.ParseForm(); err != nil {
		return http.StatusBadRequest, "The form could not be read. Type the code again."
	}
	err := d.Pair(w, r.PostForm.Get("code"))
	switch {
	case err == nil:
		return http.StatusSeeOther, ""
	case errors.Is(err, ErrTooFast):
		w.Header().Set("Retry-After", strconv.Itoa(int(GuessEvery.Seconds())))
		return http.StatusTooManyRequests, english.Sentence(err.Error())
	}
	return http.StatusForbidden, english.Sentence(err.Error())
}

// Pairs reports whether devices can be paired.
func (d *Door) Pairs() bool { return d.o.Code != nil }

// Initials returns what the visitor last signed a change with; "" for none.
func (d *Door) Initials(r *http.Request) string { return d.visitors.initials(r) }

// Remember keeps what the visitor signed a change with, to be offered again.
func (d *Door) Remember(r *http.Request, initials string) { d.visitors.remember(r, initials) }

// sameKey reports whether a key is the one that is wanted, in a time that says nothing
// about it.
func sameKey(key, want string) bool {
	return want != "" && subtle.ConstantTimeCompare([]byte(key), []byte(want)) == 1
}
