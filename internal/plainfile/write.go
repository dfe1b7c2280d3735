package plainfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"golang.org/x/sys/unix"
)

// ErrTarget is returned for a name that nothing may be written to.
var ErrTarget = errors.New("nothing is written there")

type targetError struct{ path, why string }

func (e *targetError) Error() string {
	return fmt.Sprintf("%s: %s; nothing is written there, name another file", e.path, e.why)
}
func (e *targetError) Is(target error) bool { return target == ErrTarget }

// ofJob matches the names of a job and of what lies beside it.
var ofJob = regexp.MustCompile(`(?i)\.waycall(-wal|-shm|-journal|\.lock|\.new|\.new-journal)?$`)

// What a database, and its log, begin with: the file format of SQLite, from memory.
var (
	database = []byte("SQLite format 3\x00")
	logs     = [][]byte{{0x37, 0x7f, 0x06, 0x82}, {0x37, 0x7f, 0x06, 0x83}}
)

// CheckTarget reports whether a file may be written at path: it is not there yet, or is
// a plain file that is no job and no other database. To be asked before any work.
// Errors: ErrTarget, which says why; that the folder is not there.
func CheckTarget(path string) error {
	refuse := func(why string) error { return &targetError{path, why} }
	if path == "" || strings.HasSuffix(path, "/") {
		return refuse("that names no file")
	}
	if ofJob.MatchString(filepath.Base(path)) {
		return refuse("it is the name of a job")
	}
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		folder, err := os.Stat(filepath.Dir(path))
		switch {
		case err != nil:
			return fmt.Errorf("%w; choose a folder that is there", err)
		case !folder.IsDir():
			return refuse(filepath.Dir(path) + " is not a folder")
		}
		return nil
	}
	if err != nil {
		return fmt.Errorf("%w; choose a folder that can be written to", err)
	}
	if !info.Mode().IsRegular() {
		return refuse(notPlain(info.Mode()).Error())
	}
	f, err := Open(path)
	if err != nil {
		return fmt.Errorf("what is there cannot be looked at: %w; name another file", err)
	}
	defer f.Close()
	begin := make([]byte, len(database))
	n, err := io.ReadFull(f, begin)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("what is there cannot be looked at: %w; name another file", err)
	}
	for _, b := range append(logs, database) {
		if bytes.HasPrefix(begin[:n], b) {
			return refuse("it holds a record, or another database")
		}
	}
	return nil
}

// File is a file that is being written. It has no name until it is whole, so whatever
// ends the program leaves nothing behind; where the file system cannot do that, as on a
// stick, it is beside its place under a name that the next try takes over.
type File struct {
	*os.File
	path string
	part string // its name until it is whole; "" while it has none
}

// nameless says whether files without a name are tried; tests turn it off.
var nameless = true

// Create begins a file at path. Errors: those of CheckTarget and of the disk.
func Create(path string, mode fs.FileMode) (*File, error) {
	if err := CheckTarget(path); err != nil {
		return nil, err
	}
	if nameless {
		f, err := os.OpenFile(filepath.Dir(path), os.O_RDWR|unix.O_TMPFILE, mode)
		if err == nil {
			return &File{f, path, ""}, nil
		}
		if !errors.Is(err, unix.EOPNOTSUPP) && !errors.Is(err, unix.EISDIR) && !errors.Is(err, unix.ENOENT) && !errors.Is(err, unix.EINVAL) {
			return nil, err
		}
	}
	part := partOf(path)
	f, err := os.OpenFile(part, os.O_RDWR|os.O_CREATE|unix.O_NOFOLLOW|unix.O_NONBLOCK, mode)
	if err != nil {
		return nil, err
	}
	if err := own(f, part); err != nil {
		f.Close()
		return nil, err
	}
	return &File{f, path, part}, nil
}

// partOf is where a file is until it is whole.
func partOf(path string) string {
	return filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+".part")
}

// own takes over what a killed program may have left, and nothing that another writes.
func own(f *os.File, part string) error {
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return fmt.Errorf("%s is being written by another waycall (%w); wait until it is done", part, err)
	}
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if now, err := os.Lstat(part); err != nil || !os.SameFile(now, info) || !info.Mode().IsRegular() {
		return fmt.Errorf("%s is not to be written to; move it away", part)
	}
	return f.Truncate(0)
}

// Drop throws away what was written. It does nothing after Commit.
func (f *File) Drop() {
	if f.part != "" {
		os.Remove(f.part)
		f.part = ""
	}
	f.Close()
}

// Commit puts the file in its place once it is on the disk. What was there before is
// there until then; with fresh, nothing may be there: fs.ErrExist. After an error the
// file is thrown away.
func (f *File) Commit(fresh bool) error {
	defer f.Drop()
	if err := f.Sync(); err != nil {
		return err
	}
	if err := CheckTarget(f.path); err != nil {
		return err
	}
	if err := f.place(fresh); err != nil {
		return err
	}
	folder, err := os.Open(filepath.Dir(f.path))
	if err != nil {
		return err
	}
	defer folder.Close()
	return folder.Sync()
}

func (f *File) place(fresh bool) error {
	if f.part == "" {
		err := f.link(f.path)
		if fresh || !errors.Is(err, fs.ErrExist) {
			return err
		}
		// What is there is replaced, which only a rename can do.
		part := partOf(f.path)
		os.Remove(part) // what a killed program left
		if err := f.link(part); err != nil {
			return err
		}
		f.part = part
	}
	var err error
	if fresh {
		err = unix.Renameat2(unix.AT_FDCWD, f.part, unix.AT_FDCWD, f.path, unix.RENAME_NOREPLACE)
		if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) { // this file system cannot
			if _, there := os.Lstat(f.path); there == nil {
				return fs.ErrExist
			}
			err = os.Rename(f.part, f.path)
		}
	} else {
		err = os.Rename(f.part, f.path)
	}
	if err == nil {
		f.part = ""
	}
	return err
}

// link gives a file without a name one.
func (f *File) link(name string) error {
	return unix.Linkat(unix.AT_FDCWD, fmt.Sprintf("/proc/self/fd/%d", f.Fd()), unix.AT_FDCWD, name, unix.AT_SYMLINK_FOLLOW)
}

// Write writes a file whole or not at all. Errors: those of Create, write and Commit.
func Write(path string, mode fs.FileMode, fresh bool, write func(io.Writer) error) error {
	f, err := Create(path, mode)
	if err != nil {
		return err
	}
	defer f.Drop()
	if err := write(f); err != nil {
		return err
	}
	return f.Commit(fresh)
}
