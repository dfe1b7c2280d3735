package store

import (
	"errors"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"

	"waycall/internal/store/faults"
	"waycall/internal/store/internal/jobfile"
)

// While every write fails, Ready says so after the first Append that did, and once one
// succeeds work goes on.
func TestReadyTriesAfterAFailure(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 500))
	if err := faults.Begin(faults.Plan{At: 1, With: syscall.EIO, On: true}); err != nil {
		t.Fatal(err)
	}
	_, err := s.Append(ctx, phrase(1), wav(1, 500))
	ready := s.Ready()
	faults.End()
	refused(t, err, ErrDisk)
	refused(t, ready, ErrDisk)
	if err := s.Ready(); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(1), wav(1, 500))
	s.Close()
	must(t, path, 2, "after writes that failed")
}

// Another program that holds the job's lock is told from a disk that failed.
func TestReadyWhileAnotherProgramWrites(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 500))
	if _, err := s.db.Exec("PRAGMA busy_timeout = 20"); err != nil { // not five seconds of the test
		t.Fatal(err)
	}
	other := jobfile.OpenDB(path, "mode=rw&_txlock=immediate")
	defer other.Close()
	tx, err := other.Begin()
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.Append(ctx, phrase(1), wav(1, 500))
	refused(t, err, ErrInUse)
	refused(t, s.Ready(), ErrInUse)
	tx.Rollback()
	if err := s.Ready(); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(1), wav(1, 500))
}

// A batch that could not be made to last is in the file until Ready succeeds, and then
// is not: "may not be stored" becomes "was not stored".
func TestReadySettlesWhatWasUnsure(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 500))
	failed := make(chan error)
	go func() {
		runtime.LockOSThread() // and it ends with this goroutine, filter and all
		if err := failSyncs(false); err != nil {
			failed <- err
			return
		}
		_, err := s.Append(ctx, phrase(1), wav(1, 500))
		failed <- err
	}()
	if err := <-failed; !errors.Is(err, ErrUnsure) {
		t.Fatal(err)
	}
	// What the next opening would find, were this process killed now.
	events := func() int {
		to := filepath.Join(t.TempDir(), "killed")
		copyFile(t, path, to, -1)
		copyFile(t, path+"-wal", to+"-wal", -1)
		s, err := Open(to)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		return len(mustEvents(t, s))
	}
	if n := events(); n != 6 {
		t.Fatalf("%d events; the failure left nothing behind, so this tests nothing", n)
	}
	if err := s.Ready(); err != nil {
		t.Fatal(err)
	}
	if n := events(); n != 3 {
		t.Errorf("%d events, want the 3 before", n)
	}
	mustAppend(t, s, phrase(1), wav(1, 500))
}
