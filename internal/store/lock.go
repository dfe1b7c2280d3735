package store

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// fileLock is an advisory lock (flock) on PATH.lock. The system drops it when
// the process ends in any way, so a killed session never locks its job out.
type fileLock struct {
	f    *os.File
	lost bool // its file was removed once, so another session may have written
}

// acquireLock takes the lock of the job at path, or fails at once with ErrInUse.
func acquireLock(path string) (*fileLock, error) {
	name := path + ".lock"
	for {
		f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR|unix.O_NOFOLLOW, 0o600)
		if err != nil {
			return nil, err
		}
		err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if errors.Is(err, unix.EWOULDBLOCK) {
			defer f.Close()
			return nil, fault(ErrInUse, holder(f), "")
		}
		if err != nil {
			f.Close()
			return nil, fault(ErrDisk, fmt.Sprintf("its file system cannot lock %s: %v", name, err), "keep the job on a local disk")
		}
		// The one before us may have removed the file between our opening and
		// our locking it; then our lock is on nothing that others can see.
		if !same(f, name) {
			f.Close()
			continue
		}
		// The number is a help to people only; a full disk must not stop work
		// that has room in the job itself.
		if f.Truncate(0) == nil {
			_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
		}
		return &fileLock{f: f}, nil
	}
}

// release removes the lock file and then gives up the lock, in this order so
// that nobody can have locked the file that goes.
func (l *fileLock) release() {
	os.Remove(l.f.Name())
	l.f.Close()
}

// held reports whether the lock file is still the one that was locked. Somebody may
// have removed it, and another session then begun.
func (l *fileLock) held() bool { return same(l.f, l.f.Name()) }

func same(f *os.File, name string) bool {
	ours, err := f.Stat()
	if err != nil {
		return false
	}
	there, err := os.Lstat(name)
	return err == nil && os.SameFile(ours, there)
}

// holder says which process wrote the lock file.
func holder(f *os.File) string {
	b, _ := io.ReadAll(io.LimitReader(f, 32))
	if pid, err := strconv.Atoi(strings.TrimSpace(string(b))); err == nil {
		return fmt.Sprintf("pid %d", pid)
	}
	return "pid not known"
}
