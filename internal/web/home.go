package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"waycall/internal/web/jobcache"
	"waycall/internal/web/setup"
)

// listedJob is one job of the list, with its bar.
type listedJob struct {
	jobcache.Listed
	Bar bar
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

// jobsPerPage is how many jobs a page of the list shows.
const jobsPerPage = 48

// homePage is the list of jobs, and those that are not set up yet.
type homePage struct {
	All, Found    int // jobs in the folder, and of them those that are asked for
	Jobs          []listedJob
	Drafts        []setup.Listed
	Find, State   string
	States        [][2]string
	Page, Pages   int
	Before, After string // the pages beside this one; "" where there is none
}

func (s *server) home(w http.ResponseWriter, r *http.Request) {
	list, err := s.Jobs.List(r.Context())
	if err != nil {
		s.jobFailed(w, r, err)
		return
	}
	q := r.URL.Query()
	p := homePage{All: len(list), Find: strings.TrimSpace(q.Get("find")), State: q.Get("state"), States: jobcache.States}
	words := strings.Fields(strings.ToLower(p.Find))
	for _, l := range list {
		one := listedJob{l, barOf(l.Progress.Tests, l.Progress.Recorded, l.Progress.LeftOut)}
		if one.Is(p.State) && one.Has(words) {
			p.Jobs = append(p.Jobs, one)
		}
	}
	p.Found = len(p.Jobs)
	p.turn(q.Get("page"))
	if p.Page == 1 && p.Find == "" && p.State == "" {
		if p.Drafts, err = s.drafts.List(); err != nil {
			s.note("the drafts", err)
		}
	}
	s.render(w, r, http.StatusOK, "home", page{Title: "Jobs", Body: p})
}

// turn leaves the jobs of one page, the nearest to that which is asked for.
func (p *homePage) turn(asked string) {
	p.Pages = max(1, (p.Found+jobsPerPage-1)/jobsPerPage)
	n, err := strconv.Atoi(asked)
	if err != nil {
		n = 1
	}
	p.Page = min(max(n, 1), p.Pages)
	at := func(n int) string {
		if n < 1 || n > p.Pages {
			return ""
		}
		v := url.Values{"page": {strconv.Itoa(n)}}
		if p.Find != "" {
			v.Set("find", p.Find)
		}
		if p.State != "" {
			v.Set("state", p.State)
		}
		return "/?" + v.Encode()
	}
	p.Before, p.After = at(p.Page-1), at(p.Page+1)
	p.Jobs = p.Jobs[(p.Page-1)*jobsPerPage : min(p.Page*jobsPerPage, p.Found)]
}

// head is what stands at the top of every page of a job.
func (s *server) head(snap *seen) *jobHead {
	j := snap.State.Job
	return &jobHead{ID: snap.ID, Reference: j.Reference, Address: j.Address, Open: snap.Open(), Running: snap.Running(), Signed: snap.Signed()}
}
