package waves

import (
	"strings"
	"testing"
	"time"

	"waycall/internal/record"
	"waycall/internal/web/jobcache"
)

// A fault in what is drawn beside is told, and drawing goes on with the next page.
func TestFaultBeside(t *testing.T) {
	snap := &jobcache.Snapshot{ID: "x", Events: []record.Event{{ID: 1, Kind: record.Opened}, {ID: 2, Kind: record.Heard}}}
	told := make(chan error, 1)
	o := &Outlines{Note: func(err error) { told <- err }}
	o.rest(nil, snap) // no folder to read from
	select {
	case err := <-told:
		if !strings.Contains(err.Error(), "outlines") {
			t.Errorf("told: %v", err)
		}
	case <-time.After(time.Minute):
		t.Fatal("nothing was told")
	}
	o.done.Wait()
	if o.ahead {
		t.Error("it still draws")
	}
}
