package jobfile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// DeviceOf returns which file system path lies on.
func DeviceOf(path string) (uint64, error) {
	var st unix.Stat_t
	err := unix.Stat(path, &st)
	return st.Dev, err
}

// SyncFolder makes a file's new name last through a power cut.
func SyncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// Locate returns the one true path of an existing job, so that a job reached by
// a link has the same lock. It never opens what is not a plain file.
func Locate(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return path, err
	}
	real, err := filepath.EvalSymlinks(abs)
	if err != nil {
		return abs, denied(err)
	}
	info, err := os.Stat(real)
	if err != nil {
		return real, denied(err)
	}
	switch {
	case !info.Mode().IsRegular():
		return real, Fault(ErrForeign, "it is not a plain file", "")
	case info.Size() == 0:
		return real, Fault(ErrForeign, "the file is empty", "")
	}
	// Asked without opening the files: to close one drops the locks that another Store
	// in this process holds on it. SQLite says only that it could not open them.
	for _, file := range []string{real, real + "-wal"} {
		if err := unix.Faccessat(unix.AT_FDCWD, file, unix.R_OK, unix.AT_EACCESS); errors.Is(err, fs.ErrPermission) {
			return real, Fault(ErrDenied, filepath.Base(file), "")
		}
	}
	return real, nil
}

// denied turns what the system says of a path that may not be followed into ErrDenied.
func denied(err error) error {
	if errors.Is(err, fs.ErrPermission) {
		return Fault(ErrDenied, err.Error(), "")
	}
	return err
}

// HasLog reports whether something may lie in the write-ahead log beside path.
func HasLog(path string) bool {
	info, err := os.Stat(path + "-wal")
	return err == nil && info.Size() > 0 || err != nil && !errors.Is(err, fs.ErrNotExist)
}
