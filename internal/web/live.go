package web

import (
	"context"
	"errors"
	"io/fs"
	"net/http"

	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/store"
	"waycall/internal/web/jobcache"
	"waycall/internal/web/live"
)

// liveHub follows the jobs that somebody has the live view of open.
type liveHub = live.Server

func (s *server) liveRoutes(mux *http.ServeMux) {
	s.live = live.New(live.Options{
		Follow: func(id string) (live.Log, error) {
			path, err := s.Jobs.Path(id)
			if err != nil {
				return nil, err
			}
			return followed{store.NewTail(path), path}, nil
		},
		Replaced: func(err error) bool { return errors.Is(err, store.ErrReplaced) },
		Note:     func(err error) { s.note("the live view", err) },
		Linger:   s.Linger,
	})
	mux.HandleFunc("GET /live/{job}", s.livePage)
	mux.HandleFunc("GET /live/{job}/events", func(w http.ResponseWriter, r *http.Request) {
		if err := s.live.Stream(w, r, r.PathValue("job")); err != nil {
			s.liveFailed(w, r, err)
		}
	})
}

// followed is the log of a job for package live.
type followed struct {
	tail *store.Tail
	path string
}

func (f followed) Next(ctx context.Context) ([]record.Event, error) { return f.tail.Next(ctx) }
func (f followed) Held() bool                                       { return store.Held(f.path) }

// livePage is the live view as it is now; its script keeps it so.
func (s *server) livePage(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("job")
	now, err := s.live.Page(r.Context(), id)
	if err != nil {
		s.liveFailed(w, r, err)
		return
	}
	s.render(w, r, http.StatusOK, "live", page{Title: "Live: " + now.Title, Live: true, Body: struct {
		ID string
		live.Page
	}{id, now}})
}

func (s *server) liveFailed(w http.ResponseWriter, r *http.Request, err error) {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		s.jobFailed(w, r, jobcache.ErrNoJob)
	case errors.Is(err, live.ErrLastEvent):
		s.fail(w, r, http.StatusBadRequest, "The live view cannot go on from there", english.Sentence(err.Error()), "")
	case errors.Is(err, live.ErrFull):
		w.Header().Set("Retry-After", "5")
		s.fail(w, r, http.StatusServiceUnavailable, "No more screens can follow", english.Sentence(err.Error()), "")
	default:
		s.jobFailed(w, r, err)
	}
}
