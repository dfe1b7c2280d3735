// This file keeps what was drawn of the jobs that were looked at last.

package web

import (
	"context"
	"html/template"
	"slices"
	"sync"

	"waycall/internal/record"
	"waycall/internal/show"
	"waycall/internal/web/jobcache"
)

// seen is a job as its pages show it: what is known of it, and what was drawn of that,
// once.
type seen struct {
	*jobcache.Snapshot
	picturesOnce jobcache.Once[boardsPage]
	railsOnce    jobcache.Once[template.HTML] // the boards of the boards page, drawn
	entriesOnce  jobcache.Once[[]entry]
	timesOnce    jobcache.Once[[]show.Times]
}

// gallery keeps what was drawn of a few jobs, of each the newest that is known. The zero
// value is ready; its methods may be called from several goroutines.
type gallery struct {
	mu  sync.Mutex
	all []*seen // that which was used last first
}

// of returns what was drawn of a snapshot, which is nothing at its first use.
func (g *gallery) of(snap *jobcache.Snapshot) *seen {
	g.mu.Lock()
	defer g.mu.Unlock()
	one := &seen{Snapshot: snap}
	if i := slices.IndexFunc(g.all, func(s *seen) bool { return s.ID == snap.ID }); i >= 0 {
		if g.all[i].Snapshot == snap {
			one = g.all[i]
		}
		g.all = slices.Delete(g.all, i, i+1)
	}
	g.all = slices.Insert(g.all, 0, one)
	if len(g.all) > jobcache.Most {
		g.all = slices.Delete(g.all, jobcache.Most, len(g.all))
	}
	return one
}

// work adds events to a job, as Folder.Work does.
func (s *server) work(ctx context.Context, id string, make func(*seen) ([]record.Event, error)) error {
	return s.Jobs.Work(ctx, id, func(now *jobcache.Snapshot) ([]record.Event, error) { return make(s.gallery.of(now)) })
}
