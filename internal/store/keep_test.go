package store

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"waycall/internal/record"
	"waycall/internal/store/internal/jobfile"
)

// copyOf opens a finished copy and checks that it is the same record.
func copyOf(t *testing.T, path string, phrases int) {
	t.Helper()
	s, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if n := len(checkLog(t, s)); n != 3*phrases {
		t.Errorf("the copy has %d events, want %d", n, 3*phrases)
	}
	r, err := Verify(ctx, path)
	if err != nil || r.Events != int64(3*phrases) {
		t.Errorf("verify says %+v, %v", r, err)
	}
}

// eventually waits for what is done beside the work.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for range 500 {
		if ok() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("it never came to be that", what)
}

// events is how many events the job at path has, or -1 unless it is whole, by SQLite's
// integrity check, too. The logs of some tests begin without a session; that alone
// Verify may hold against them.
func events(path string) int64 {
	r, err := Verify(ctx, path)
	if err != nil || slices.ContainsFunc(r.Problems, func(f Finding) bool { return !strings.Contains(f.What, "no session was opened") }) {
		return -1
	}
	return r.Events
}

func TestCopy(t *testing.T) {
	s, path := create(t)
	for n := range int64(3) {
		mustAppend(t, s, phrase(n), wav(n, 2000))
	}
	stick := t.TempDir()
	if err := s.CopyTo(stick); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(stick, filepath.Base(path))
	eventually(t, "the first copy is there", func() bool { return events(to) == 9 })
	for n := int64(3); n < 20; n++ {
		mustAppend(t, s, phrase(n), wav(n, 2000))
	}
	eventually(t, "the copy has what was added", func() bool { return events(to) == 60 })
	if _, err := Open(to); !errors.Is(err, ErrInUse) {
		t.Error("the copy can be written to while it is kept:", err)
	}
	mustAppend(t, s, phrase(20), wav(20, 2000))
	s.Close()
	if err := s.Copied(); err != nil {
		t.Error(err)
	}
	copyOf(t, to, 21)
	if left := folder(t, stick); left != filepath.Base(path)+" "+filepath.Base(path)+jobfile.HeadEnd {
		t.Errorf("on the stick lies %s", left)
	}

	// The next session goes on with it.
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.CopyTo(stick); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(21), wav(21, 2000))
	s.Close()
	copyOf(t, to, 22)

	// After a disaster the copy is worked on as the job.
	if s, err = Open(to); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(22), wav(22, 2000))
	s.Close()
	copyOf(t, to, 23)

	// Then it is ahead of the job, and is not written over.
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	if err := s.CopyTo(stick); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the copy is refused", func() bool { return s.Copied() != nil })
	refused(t, s.Copied(), ErrNotCopy, to, "move that file elsewhere")
	s.Close()
	copyOf(t, to, 23)
}

func TestCopyTrouble(t *testing.T) {
	defer func(d time.Duration) { retryCopy = d }(retryCopy)
	retryCopy = 20 * time.Millisecond
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 2000))
	for dir, says := range map[string]string{filepath.Dir(path): "folder of the job itself", path: "not a folder", filepath.Join(path, "x"): "not a directory"} {
		if err := s.CopyTo(dir); err == nil || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), "; name a folder") {
			t.Errorf("%s: %v", dir, err)
		}
	}
	stick := mount(t, "tmpfs", "tmpfs", 0, "size=200k")
	to := filepath.Join(stick, filepath.Base(path))
	if err := s.CopyTo(stick); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the copy is there", func() bool { return events(to) == 3 })
	n := int64(1)
	for ; n < 12; n++ { // far more than the stick holds
		mustAppend(t, s, phrase(n), wav(n, 16000))
	}
	eventually(t, "the stick is full", func() bool { return s.Copied() != nil })
	refused(t, s.Copied(), ErrFull, "the record itself is kept; make room there")
	if strings.Contains(s.Copied().Error(), "say it again") {
		t.Error("what is stored is to be said again:", s.Copied())
	}
	if err := unix.Mount("tmpfs", stick, "tmpfs", unix.MS_REMOUNT, "size=8m"); err != nil {
		t.Fatal(err)
	}
	eventually(t, "there is room again", func() bool { return s.Copied() == nil })
	copyWhenStill := func() {
		t.Helper()
		eventually(t, "the copy is up to date", func() bool { return events(to) == 3*n })
	}
	copyWhenStill()

	// The stick is pulled out: nothing is written into the empty folder below it.
	if err := unix.Unmount(stick, unix.MNT_DETACH); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(n), wav(n, 100))
	n++
	eventually(t, "the stick is missed", func() bool { return s.Copied() != nil })
	refused(t, s.Copied(), ErrGone, "put the stick back")
	if left := folder(t, stick); left != "" {
		t.Errorf("in the empty folder lies %s", left)
	}
	if err := unix.Mount("tmpfs", stick, "tmpfs", 0, "size=8m"); err != nil { // so that the clean-up finds one
		t.Fatal(err)
	}
	s.Close()
}

func TestCopyOverSomethingElse(t *testing.T) {
	other, _ := create(t)
	mustAppend(t, other, phrase(0), wav(77, 50))
	other.Close()
	for name, lies := range map[string]func(path string) error{
		"a text":      func(p string) error { return os.WriteFile(p, []byte(strings.Repeat("not a job\n", 99)), 0o600) },
		"nothing":     func(p string) error { return os.WriteFile(p, nil, 0o600) },
		"another job": func(p string) error { copyFile(t, other.Path(), p, -1); return nil },
		"a link":      func(p string) error { return os.Symlink("/etc/hostname", p) },
	} {
		t.Run(name, func(t *testing.T) {
			s, path := create(t)
			mustAppend(t, s, phrase(0), wav(0, 50))
			stick := t.TempDir()
			to := filepath.Join(stick, filepath.Base(path))
			if err := lies(to); err != nil {
				t.Fatal(err)
			}
			before, _ := os.ReadFile(to)
			if err := s.CopyTo(stick); err != nil {
				t.Fatal(err)
			}
			eventually(t, "it is refused", func() bool { return s.Copied() != nil })
			if err := s.Copied(); !errors.Is(err, ErrForeign) && !errors.Is(err, ErrNotCopy) {
				t.Error(err)
			}
			mustAppend(t, s, phrase(1), wav(1, 50))
			s.Close()
			if after, _ := os.ReadFile(to); string(after) != string(before) {
				t.Error("what lay there was changed")
			}
		})
	}
}

func TestReady(t *testing.T) {
	t.Run("ready", func(t *testing.T) {
		s, path := create(t)
		if err := s.Ready(); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(path + ".room"); err == nil {
			t.Error("the room that was tried is still taken")
		}
	})
	t.Run("full", func(t *testing.T) {
		dir := mount(t, "tmpfs", "tmpfs", 0, "size=4m")
		s, err := Create(filepath.Join(dir, "job"))
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		refused(t, s.Ready(), ErrFull, "make room")
		mustAppend(t, s, phrase(0), wav(0, 3000)) // it was warned in time: this still fits
		if err := unix.Mount("tmpfs", dir, "tmpfs", unix.MS_REMOUNT, "size=16m"); err != nil {
			t.Fatal(err)
		}
		if err := s.Ready(); err != nil {
			t.Error(err)
		}
	})
	t.Run("read only", func(t *testing.T) {
		dir := mount(t, "tmpfs", "tmpfs", 0, "size=16m")
		s, err := Create(filepath.Join(dir, "job"))
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		// A file system that is written to cannot be made read-only; the same
		// folder mounted again can be, as the kernel does after an error of the
		// disk.
		if err := unix.Mount(dir, dir, "", unix.MS_BIND, ""); err != nil {
			t.Fatal(err)
		}
		defer unix.Unmount(dir, unix.MNT_DETACH)
		if err := unix.Mount("", dir, "", unix.MS_REMOUNT|unix.MS_BIND|unix.MS_RDONLY, ""); err != nil {
			t.Fatal(err)
		}
		refused(t, s.Ready(), ErrReadOnly)
	})
}

// What Verify says of whole and of damaged jobs, and where.
func TestVerify(t *testing.T) {
	// As waycall would have written them: without what is hidden in a text.
	oneOfEach := func(t *testing.T) []record.Event {
		all := oneOfEach(t)
		all[2].Text = "Way three, confirm?"
		return all
	}
	whole := func(t *testing.T) string {
		s, path := create(t)
		batch := oneOfEach(t)
		mustAppend(t, s, batch[:5], wav(1, 100))
		s.Close()
		return path
	}
	t.Run("whole", func(t *testing.T) {
		path := whole(t)
		r, err := Verify(ctx, path)
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Head) != 64 || !r.Last.Equal(noon) {
			t.Errorf("head %q, last %v", r.Head, r.Last)
		}
		r.Head, r.Last = "", time.Time{}
		if d := cmp.Diff(Report{File: path, Schema: len(jobfile.Migrations), Events: 5, Sounds: 1, Problems: []Finding{}, Notes: []Finding{}}, r); d != "" {
			t.Error(d)
		}
	})
	t.Run("while it is written", func(t *testing.T) {
		s, path := create(t)
		mustAppend(t, s, oneOfEach(t)[:3], wav(1, 100))
		if r, err := Verify(ctx, path); err != nil || len(r.Problems) > 0 || r.Events != 3 {
			t.Error(r, err)
		}
	})
	t.Run("clock went back", func(t *testing.T) {
		s, path := create(t)
		batch := oneOfEach(t)[:3]
		batch[2].At = noon.Add(-90 * time.Minute)
		mustAppend(t, s, batch, wav(1, 100))
		r, err := Verify(ctx, path)
		if err != nil || len(r.Problems) > 0 {
			t.Error(r, err)
		}
		if d := cmp.Diff([]Finding{{3, "the clock went back by 1h30m0s before event 3", adviceClock}}, r.Notes); d != "" {
			t.Error(d)
		}
	})
	for name, c := range map[string]struct {
		sql  string
		want []int64 // events of the problems
		says string
	}{
		"one event changed":   {`UPDATE events SET data = '{"text":"other"}' WHERE id = 3`, []int64{3}, "event 3 does not match its sum"},
		"one event gone":      {"DELETE FROM events WHERE id = 3", []int64{4}, "event 3 is missing"},
		"two events changed":  {`UPDATE events SET at = '2027-03-14T12:00:00.000000000Z' WHERE id IN (3, 5)`, []int64{3, 5}, "event 3"},
		"a sound changed":     {"UPDATE sounds SET data = x'0011'", []int64{2}, "the sound of event 2 does not match"},
		"a sound gone":        {"DELETE FROM sounds", []int64{2}, "the sound of event 2 is missing"},
		"a sound of no event": {"INSERT INTO sounds SELECT 77, format, rate, data, sha256 FROM sounds", []int64{0}, "a sound belongs to no event"},
		"no JSON":             {"PRAGMA ignore_check_constraints = ON; UPDATE events SET data = 'x' WHERE id = 4", []int64{4, 4}, "event 4 does not match its sum"},
	} {
		t.Run(name, func(t *testing.T) {
			path := whole(t)
			withoutTriggers(t, path, c.sql)
			r, err := Verify(ctx, path)
			if err != nil {
				t.Fatal(err)
			}
			var got []int64
			for _, p := range r.Problems {
				got = append(got, p.Event)
				if p.Do == "" {
					t.Errorf("%q does not say what to do", p.What)
				}
			}
			if d := cmp.Diff(c.want, got); d != "" || !strings.Contains(r.Problems[0].What, c.says) {
				t.Errorf("%s; the first is %q", d, r.Problems[0].What)
			}
		})
	}
	t.Run("makes no sense", func(t *testing.T) {
		s, path := create(t)
		mustAppend(t, s, phrase(0), wav(0, 10)) // before any session was opened
		s.Close()
		if r, err := Verify(ctx, path); err != nil || len(r.Problems) != 1 || r.Problems[0].Event != 1 {
			t.Error(r, err)
		}
	})
	t.Run("schema version 1", func(t *testing.T) {
		path := version1(t)
		r, err := Verify(ctx, path)
		if err != nil || r.Events != 17 || r.Sounds != 2 || r.Head != "" || len(r.Notes) == 0 || r.Notes[0].Do != "waycall start brings it up to date" {
			t.Error(r, err)
		}
	})
	t.Run("damaged page", func(t *testing.T) {
		path := whole(t)
		b, _ := os.ReadFile(path)
		for i := len(b) - 4096; i < len(b); i++ {
			b[i] = 0x55
		}
		os.WriteFile(path, b, 0o600)
		if r, err := Verify(ctx, path); err == nil && len(r.Problems) == 0 {
			t.Error("not found")
		}
	})
}
