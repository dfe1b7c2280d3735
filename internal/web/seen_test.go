package web

import (
	"fmt"
	"testing"

	"waycall/internal/web/jobcache"
)

// What was drawn of a job is used again until something new is known of it, and what was
// not looked at for a while is let go.
func TestGallery(t *testing.T) {
	var g gallery
	first, newer := &jobcache.Snapshot{ID: "a"}, &jobcache.Snapshot{ID: "a"}
	drawn := g.of(first)
	if g.of(first) != drawn {
		t.Error("it was drawn twice")
	}
	if again := g.of(newer); again == drawn || again.Snapshot != newer {
		t.Error("what was drawn of the snapshot before is shown of the new one")
	}
	kept := g.of(newer)
	for i := range jobcache.Most - 1 {
		g.of(&jobcache.Snapshot{ID: fmt.Sprint(i)})
	}
	if g.of(newer) != kept {
		t.Errorf("it was let go after %d others", jobcache.Most-1)
	}
	for i := range jobcache.Most {
		g.of(&jobcache.Snapshot{ID: fmt.Sprint("other", i)})
	}
	if g.of(newer) == kept || len(g.all) != jobcache.Most {
		t.Errorf("%d are kept", len(g.all))
	}
}
