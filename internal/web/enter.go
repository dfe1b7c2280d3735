// This file has the pages by which one comes in: the printed address, and pairing.

package web

import (
	"net/http"

	"waycall/internal/web/door"
)

// enter gives the person at this machine a session for the key of the printed
// address. It answers with a page that goes on by itself and not with a redirect: the
// cookie is only sent where a page of this server leads, and the address may have
// been opened from a page of another.
func (s *server) enter(w http.ResponseWriter, r *http.Request) {
	if !s.door.Enter(w, r.PathValue("key")) {
		s.fail(w, r, http.StatusForbidden, "This address is out of date", "Its key is not that of the server that is running.", "Open the address that waycall review printed when it was last started.")
		return
	}
	s.render(w, r, http.StatusOK, "enter", page{Title: "Review"})
}

// pairing is the content of the page where a device is paired.
type pairing struct {
	Failed string // why the last try did not work, as a sentence; "" at the start
	Field  int    // how much may be typed: a code, and what people put between
}

func (s *server) pairRoutes(mux *http.ServeMux) {
	if !s.door.Pairs() {
		return
	}
	mux.HandleFunc("GET /pair", func(w http.ResponseWriter, r *http.Request) {
		s.pairPage(w, r, http.StatusOK, "")
	})
	mux.HandleFunc("POST /pair", s.pair)
}

func (s *server) pairPage(w http.ResponseWriter, r *http.Request, status int, failed string) {
	s.render(w, r, status, "pair", page{Title: "Pair this device", Body: pairing{Failed: failed, Field: door.LongestTyped}})
}

// pair gives a device a session for the code that the terminal shows.
func (s *server) pair(w http.ResponseWriter, r *http.Request) {
	status, failed := s.door.PairForm(w, r)
	if failed != "" {
		s.pairPage(w, r, status, failed)
		return
	}
	http.Redirect(w, r, "/", status)
}
