package web

import (
	"net/http"

	"waycall/internal/web/jobcache"
	"waycall/internal/web/setup"
)

// listedJob is one job of the list, with its bar.
type listedJob struct {
	jobcache.Listed
	Bar bar
}

// homePage is the list of jobs, and those that are not set up yet.
type homePage struct {
	Jobs   []listedJob
	Drafts []setup.Listed
}

// bar shows how much of the work is done.
type bar struct{ Percent, Recorded, Tests, LeftOut int }

func barOf(tests, recorded, leftOut int) bar {
	b := bar{Recorded: recorded, Tests: tests, LeftOut: leftOut}
	if tests > 0 {
		b.Percent = 100 * (recorded + leftOut) / tests
	}
	return b
}

func (s *server) home(w http.ResponseWriter, r *http.Request) {
	list, err := s.Jobs.List(r.Context())
	if err != nil {
		s.jobFailed(w, r, err)
		return
	}
	all := make([]listedJob, len(list))
	for i, l := range list {
		all[i] = listedJob{l, barOf(l.Progress.Tests, l.Progress.Recorded, l.Progress.LeftOut)}
	}
	drafts, err := s.drafts.List()
	if err != nil {
		s.note("the drafts", err)
	}
	s.render(w, r, http.StatusOK, "home", page{Title: "Jobs", Body: homePage{all, drafts}})
}

// head is what stands at the top of every page of a job.
func (s *server) head(snap *seen) *jobHead {
	j := snap.State.Job
	return &jobHead{ID: snap.ID, Reference: j.Reference, Address: j.Address, Open: snap.Open(), Running: snap.Running(), Signed: snap.Signed()}
}
