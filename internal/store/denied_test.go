package store

import (
	"errors"
	"os"
	"runtime"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// asNobody runs do as somebody who may read what everybody may, and no more.
func asNobody(t *testing.T, do func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		do()
		return
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	// Of this thread alone, and for the file system alone.
	if err := unix.Setfsuid(65534); err != nil {
		t.Skip("there is no other user here: ", err)
	}
	defer func() {
		if err := unix.Setfsuid(0); err != nil {
			t.Fatal(err)
		}
	}()
	do()
}

// Who may not read a job is told that, and not that it was cut off.
func TestPermissionDenied(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 2000))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0); err != nil {
		t.Fatal(err)
	}
	asNobody(t, func() {
		_, reading := OpenReadOnly(path)
		_, writing := Open(path)
		_, looking := Verify(ctx, path)
		for _, err := range []error{reading, writing, looking} {
			if !errors.Is(err, ErrDenied) || !strings.Contains(err.Error(), "you may not read it") || strings.Contains(err.Error(), "cut off") {
				t.Errorf("%v", err)
			}
		}
	})
}

// Somebody removes the lock file. The next phrase's Ready makes it again, so that no
// second session begins; where one has begun, it says so, and what is wrong is not
// taken for a mistake in waycall.
func TestLockFileRemoved(t *testing.T) {
	first, path := create(t)
	mustAppend(t, first, phrase(0), wav(0, 2000))
	remove := func() {
		if err := os.Remove(path + ".lock"); err != nil {
			t.Fatal(err)
		}
	}
	remove()
	if err := first.Ready(); err != nil {
		t.Error(err)
	}
	if _, err := Open(path); !errors.Is(err, ErrInUse) {
		t.Errorf("a second session began, %v", err)
	}
	mustAppend(t, first, phrase(1), wav(1, 2000))

	remove()
	second, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	if err := first.Ready(); !errors.Is(err, ErrInUse) {
		t.Errorf("the first did not notice: %v", err)
	}
	mustAppend(t, second, phrase(2), wav(2, 2000))
	overtaken := func() {
		t.Helper()
		_, err := first.Append(ctx, phrase(2), wav(2, 2000))
		if !errors.Is(err, ErrOvertaken) || strings.Contains(err.Error(), "mistake in waycall") {
			t.Errorf("%v", err)
		}
	}
	overtaken()
	if err := second.Close(); err != nil {
		t.Fatal(err)
	}
	if err := first.Ready(); err != nil {
		t.Errorf("the second has ended: %v", err)
	}
	overtaken()
}
