package jobcache

import (
	"context"
	"fmt"
	"testing"
	"time"

	"waycall/internal/jobs"
	"waycall/internal/mishap"
	"waycall/internal/record"
	"waycall/internal/store"
)

// begin sets up a job in a folder, with its first event alone.
func begin(t *testing.T, dir, reference string) {
	t.Helper()
	job, err := jobs.ReadBoard("../../../testdata/boards/terrace.yaml")
	if err != nil {
		t.Fatal(err)
	}
	job.Reference = reference
	s, err := jobs.Folder(dir).Create(t.Context(), job, time.Date(2026, 3, 18, 9, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// What is kept of a job is let go when others are used.
func TestLetsGo(t *testing.T) {
	dir := t.TempDir()
	for i := range Most + 3 {
		begin(t, dir, fmt.Sprintf("JOB-%d", i))
	}
	f := NewFolder(dir)
	for range 2 {
		if list, err := f.List(t.Context()); err != nil || len(list) != Most+3 {
			t.Fatalf("%d jobs are listed, %v", len(list), err)
		}
		for i := range Most + 3 {
			if _, err := f.Open(t.Context(), IDOf(fmt.Sprintf("JOB-%d", i))); err != nil {
				t.Fatal(err)
			}
		}
	}
	whole := 0
	for _, j := range f.jobs {
		if j.snap != nil {
			whole++
		}
	}
	if whole == 0 || whole > Most {
		t.Errorf("%d jobs are kept whole", whole)
	}
}

// faultyLog reads what there is, and panics.
type faultyLog struct{ follower }

func (f faultyLog) Read(ctx context.Context) (*jobs.Log, error) {
	_, _ = f.follower.Read(ctx)
	panic("a fault")
}

// soon runs f, which must not wait for ever.
func soon(t *testing.T, f func()) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		f()
	}()
	select {
	case <-done:
	case <-time.After(time.Minute):
		t.Fatal("something stays locked")
	}
}

// A panic while a job is read or changed gives back what was held, and what was read
// in it is not taken for shown.
func TestFaultGivesBack(t *testing.T) {
	dir := t.TempDir()
	begin(t, dir, "JOB-1")
	f, id := NewFolder(dir), IDOf("JOB-1")
	if _, err := f.Open(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	if err := f.Work(t.Context(), id, func(s *Snapshot) ([]record.Event, error) {
		return []record.Event{{ID: s.State.LastID + 1, At: s.State.LastAt, Kind: record.Said, Text: "Ready."}}, nil
	}); err != nil {
		t.Fatal(err)
	}
	j := f.jobs[id]
	for what, do := range map[string]func(){
		"open": func() { _, _ = f.Open(t.Context(), id) },
		"list": func() { _, _ = f.List(t.Context()) },
		"work": func() { _ = f.Work(t.Context(), id, nil) },
	} {
		soon(t, func() {
			j.mu.Lock()
			if j.log == nil { // a fault let it go
				j.log = jobs.Follow(j.path)
			}
			j.log = faultyLog{j.log}
			j.mu.Unlock()
			if err := mishap.Do(what, do); err == nil {
				t.Errorf("%s did not panic", what)
			}
		})
	}
	soon(t, func() {
		if s, err := f.Open(t.Context(), id); err != nil || len(s.Events) != 2 {
			t.Errorf("after the faults: %v", err)
		}
		if list, err := f.List(t.Context()); err != nil || len(list) != 1 || list[0].Problem != "" || store.Held(j.path) {
			t.Errorf("the list: %+v, %v", list, err)
		}
	})
}
