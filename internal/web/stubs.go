package web

import "net/http"

func (s *server) boards(w http.ResponseWriter, r *http.Request, snap *Snapshot)   {}
func (s *server) way(w http.ResponseWriter, r *http.Request, snap *Snapshot)      {}
func (s *server) session(w http.ResponseWriter, r *http.Request, snap *Snapshot)  {}
func (s *server) queue(w http.ResponseWriter, r *http.Request, snap *Snapshot)    {}
func (s *server) editForm(w http.ResponseWriter, r *http.Request, snap *Snapshot) {}
func (s *server) sign(w http.ResponseWriter, r *http.Request, snap *Snapshot)     {}
func (s *server) schedule(w http.ResponseWriter, r *http.Request, snap *Snapshot) {}
func (s *server) sound(w http.ResponseWriter, r *http.Request, snap *Snapshot)    {}
func (s *server) download(w http.ResponseWriter, r *http.Request, snap *Snapshot) {}
func (s *server) edit(w http.ResponseWriter, r *http.Request)                     {}
func (s *server) settle(w http.ResponseWriter, r *http.Request)                   {}
func (s *server) withdraw(w http.ResponseWriter, r *http.Request)                 {}
func (s *server) signOff(w http.ResponseWriter, r *http.Request)                  {}
func (s *server) change(next http.HandlerFunc) http.HandlerFunc                   { return next }

type derived struct{}

func (s *Snapshot) open() int    { return 0 }
func (s *Snapshot) signed() bool { return false }
