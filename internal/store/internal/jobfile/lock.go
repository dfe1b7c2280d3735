package jobfile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// Lock is an advisory lock (flock) on PATH.lock. The system drops it when
// the process ends in any way, so a killed session never locks its job out.
type Lock struct {
	File *os.File
	Lost bool // its file was removed once, so another session may have written
}

// AcquireLock takes the lock of the job at path, or fails at once with ErrInUse.
func AcquireLock(path string) (*Lock, error) {
	name := path + ".lock"
	for {
		f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR|unix.O_NOFOLLOW, 0o600)
		if err != nil {
			return nil, err
		}
		err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if errors.Is(err, unix.EWOULDBLOCK) {
			defer f.Close()
			return nil, Fault(ErrInUse, holder(f), "")
		}
		if err != nil {
			f.Close()
			return nil, Fault(ErrDisk, fmt.Sprintf("its file system cannot lock %s: %v", name, err), "keep the job on a local disk")
		}
		// The one before us may have removed the file between our opening and
		// our locking it; then our lock is on nothing that others can see.
		if !SameFile(f, name) {
			f.Close()
			continue
		}
		// The number is a help to people only; a full disk must not stop work
		// that has room in the job itself.
		if f.Truncate(0) == nil {
			_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
		}
		return &Lock{File: f}, nil
	}
}

// Release removes the lock file and then gives up the lock, in this order so
// that nobody can have locked the file that goes.
func (l *Lock) Release() {
	os.Remove(l.File.Name())
	l.File.Close()
}

// Held reports whether the lock file is still the one that was locked. Somebody may
// have removed it, and another session then begun.
func (l *Lock) Held() bool { return SameFile(l.File, l.File.Name()) }

// SameFile reports whether name is still the name of the open file f.
func SameFile(f *os.File, name string) bool {
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
