// This file keeps the sessions of browsers.

package door

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"sync"
)

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
