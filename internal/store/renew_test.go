package store

import (
	"errors"
	"os"
	"syscall"
	"testing"
	"time"

	"waycall/internal/store/faults"
)

// A lock that could not be given back keeps SQLite out of the file for as long as this
// process has it open. Whichever it is, work goes on after one look at the record, and
// nothing that was announced is lost.
func TestEveryUnlockFails(t *testing.T) {
	step := 1
	if !long() {
		step = 3
	}
	jams := 0
	for at := 1; ; at += step {
		plan := faults.Plan{At: at, With: syscall.ENOLCK, Unlocks: true}
		s, path := create(t)
		mustAppend(t, s, phrase(0), wav(0, 500))
		if err := faults.Begin(plan); err != nil {
			t.Fatal(err)
		}
		for n := int64(1); n < 6; n++ {
			_, err := s.Append(ctx, phrase(n), wav(n, 500))
			if err != nil {
				jams++
				if errors.Is(err, ErrUnsure) {
					t.Errorf("%v: nothing was written, and it says: %v", plan, err)
				}
				if err := s.Ready(); err != nil {
					t.Fatalf("%v: it stays so: %v", plan, err)
				}
				mustAppend(t, s, phrase(n), wav(n, 500))
			}
			if n == 2 {
				_, _ = s.db.Exec("PRAGMA wal_checkpoint(PASSIVE)")
			}
			if err := s.Ready(); err != nil {
				t.Fatalf("%v: %v", plan, err)
			}
		}
		if err := s.Close(); err != nil {
			t.Errorf("%v: %v", plan, err)
		}
		unlocks := faults.End()
		must(t, path, 6, plan)
		if at > unlocks {
			t.Logf("%d unlocks, %d of those tried kept an Append out", unlocks, jams)
			break
		}
	}
	if jams == 0 {
		t.Error("none of them kept anything out, so this tests nothing")
	}
}

// The same where none can be given back any more, until the trouble is over.
func TestUnlocksGoOnFailing(t *testing.T) {
	step := 1
	if !long() {
		step = 4
	}
	for at := 1; at < 28; at += step {
		s, path := create(t)
		mustAppend(t, s, phrase(0), wav(0, 500))
		if err := faults.Begin(faults.Plan{At: at, With: syscall.ENOLCK, Unlocks: true, On: true}); err != nil {
			t.Fatal(err)
		}
		n := int64(1)
		for range 6 {
			if _, err := s.Append(ctx, phrase(n), wav(n, 500)); err == nil {
				n++
			}
			_ = s.Ready()
		}
		if err := faults.Begin(faults.Plan{Unlocks: true}); err != nil {
			t.Fatal(err)
		}
		s.renewed = time.Time{} // as long after that as another program is given
		// What jammed last is noticed by the next phrase.
		if _, err := s.Append(ctx, phrase(n), wav(n, 500)); err == nil {
			n++
		}
		if err := s.Ready(); err != nil {
			t.Fatalf("unlocks from %d on: it stays so: %v", at, err)
		}
		mustAppend(t, s, phrase(n), wav(n, 500))
		if err := s.Close(); err != nil {
			t.Errorf("unlocks from %d on: %v", at, err)
		}
		faults.End()
		must(t, path, int(n)+1, at)
	}
}

// A record that was opened anew and has more than was told to be stored is not gone on
// with: the conversation knows nothing of it.
func TestNotRenewedWithMore(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 500))
	if err := os.Remove(path + ".lock"); err != nil {
		t.Fatal(err)
	}
	other, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, other, phrase(1), wav(1, 500))
	other.Close()
	s.jammed.Store(true)
	err = s.Ready()
	refused(t, err, ErrOvertaken, "event 6", "event 3")
	refused(t, err, ErrUnsure)
	_, err = s.Append(ctx, phrase(1), wav(1, 500))
	refused(t, err, ErrOvertaken)
	refused(t, s.Close(), ErrOvertaken)
}
