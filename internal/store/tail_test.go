package store

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"waycall/internal/record"
)

// upTo reads with t until event id is there.
func upTo(t *testing.T, tail *Tail, id int64) []record.Event {
	t.Helper()
	var all []record.Event
	for begun := time.Now(); len(all) == 0 || all[len(all)-1].ID < id; time.Sleep(time.Millisecond) {
		more, err := tail.Next(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if all = append(all, more...); time.Since(begun) > time.Minute {
			t.Fatalf("event %d never came; %d events are there", id, len(all))
		}
	}
	return all
}

func TestTailGivesEachEventOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "job.waycall")
	s, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	tail := NewTail(path)
	if got, err := tail.Next(ctx); err != nil || len(got) != 0 {
		t.Fatalf("an empty log gave %v, %v", got, err)
	}
	var want, got []record.Event
	for _, e := range oneOfEach(t) {
		var sound []byte
		if e.Kind == record.Heard {
			sound = wav(1, 800)
		}
		stored, err := s.Append(ctx, []record.Event{e}, sound)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, stored...)
		if e.ID%3 == 0 { // also several at a time
			got = append(got, upTo(t, tail, e.ID)...)
		}
	}
	// The end of the session takes the log away from beside the file.
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	got = append(got, upTo(t, tail, want[len(want)-1].ID)...)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if more, err := tail.Next(ctx); err != nil || len(more) != 0 {
		t.Errorf("after the end it gave %v, %v", more, err)
	}
}

// Another process writes as fast as it can, until it is killed.
func TestTailFollowsAnotherProcess(t *testing.T) {
	path := filepath.Join(t.TempDir(), "job.waycall")
	if s, err := Create(path); err != nil {
		t.Fatal(err)
	} else {
		s.Close()
	}
	if Held(path) {
		t.Error("nobody has the job, and it is held")
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "WAYCALL_STORE_TEST_JOB="+path, "WAYCALL_STORE_TEST_AS=writer")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	tail := NewTail(path)
	got := upTo(t, tail, 100)
	if _, err := os.Stat("/proc/locks"); err == nil && !Held(path) {
		t.Error("another process has the job, and it is not held")
	}
	cmd.Process.Kill()
	cmd.Wait()
	if Held(path) {
		t.Error("the process was killed, and the job is held")
	}
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	intact(t, s)
	want, err := s.Events(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if last := want[len(want)-1].ID; got[len(got)-1].ID < last {
		got = append(got, upTo(t, tail, last)...)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestTailFaults(t *testing.T) {
	path := filepath.Join(t.TempDir(), "job.waycall")
	tail := NewTail(path)
	if _, err := tail.Next(ctx); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	make := func(events ...record.Event) {
		t.Helper()
		os.Remove(path)
		s, err := Create(path)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if _, err := s.Append(ctx, events, nil); err != nil {
			t.Fatal(err)
		}
	}
	say := func(id int64, text string) record.Event {
		return record.Event{ID: id, At: noon, Kind: record.Said, Text: text}
	}
	make(say(1, "one"), say(2, "two"))
	upTo(t, tail, 2)

	make(say(1, "one"), say(2, "something else"), say(3, "three"))
	_, err := tail.Next(ctx)
	if !errors.Is(err, ErrReplaced) || !strings.HasPrefix(err.Error(), "could not follow the job "+path) {
		t.Errorf("another log under the name: %v", err)
	}
	make(say(1, "one"))
	if _, err := tail.Next(ctx); !errors.Is(err, ErrReplaced) {
		t.Errorf("a shorter log under the name: %v", err)
	}
	make(say(1, "one"), say(2, "two"), say(3, "three"))
	if got := upTo(t, tail, 3); len(got) != 1 {
		t.Errorf("after the log was put back it gave %v", got)
	}
	if err := os.WriteFile(path, []byte("<script>not a job</script>"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := tail.Next(ctx); !errors.Is(err, ErrForeign) && !errors.Is(err, ErrDamaged) {
		t.Errorf("no job at all: %v", err)
	}
}

func BenchmarkTailUnchanged(b *testing.B) {
	path := filepath.Join(b.TempDir(), "job.waycall")
	s, err := Create(path)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	tail := NewTail(path)
	time.Sleep(2 * tick)
	for range b.N {
		if _, err := tail.Next(ctx); err != nil {
			b.Fatal(err)
		}
	}
}

// What was written within a tick of the last reading may have left the same stamp on
// the file: the log beside it is written over from its start after a checkpoint.
func TestTailSameStamp(t *testing.T) {
	path := filepath.Join(t.TempDir(), "job.waycall")
	s, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for id, c := range map[int64]struct {
		after time.Duration
		want  int
	}{1: {tick / 2, 1}, 2: {2 * tick, 0}} {
		tail := NewTail(path)
		if _, err := tail.Next(ctx); err != nil {
			t.Fatal(err)
		}
		last := tail.chain.ID
		if _, err := s.Append(ctx, []record.Event{{ID: last + 1, At: noon, Kind: record.Said, Text: "more"}}, nil); err != nil {
			t.Fatal(err)
		}
		if tail.seen, err = lookAt(path); err != nil {
			t.Fatal(err)
		}
		tail.seen.at = tail.seen.written().Add(c.after)
		if got, err := tail.Next(ctx); err != nil || len(got) != c.want {
			t.Errorf("case %d, read %v after it was written: %d events, %v", id, c.after, len(got), err)
		}
	}
}
