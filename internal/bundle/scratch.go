package bundle

import (
	"cmp"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// scratchNames are what temporary folders are called.
var scratchNames = []string{".waycall-import-*", ".waycall-export-*"}

// scratch is a temporary folder. While there is one, the folder that it is in is
// locked, shared with others of the kind, so that Tidy leaves it alone.
type scratch struct {
	dir  string
	lock *os.File
}

// newScratch makes one in parent, or where the system keeps such folders, and clears
// up there first.
func newScratch(parent, name string) (*scratch, error) {
	parent = cmp.Or(parent, os.TempDir())
	Tidy(parent)
	lock, err := os.Open(parent)
	if err != nil {
		return nil, err
	}
	// Where a folder cannot be locked, nothing is ever tidied up in it either.
	_ = unix.Flock(int(lock.Fd()), unix.LOCK_SH)
	dir, err := os.MkdirTemp(parent, name)
	if err != nil {
		lock.Close()
		return nil, err
	}
	return &scratch{dir, lock}, nil
}

func (s *scratch) remove() error {
	defer s.lock.Close()
	return os.RemoveAll(s.dir)
}

// Tidy removes from a folder what an export or an import left there that was killed.
// It does nothing while one goes on in the folder. What it cannot remove stays: it is
// only in the way.
func Tidy(folder string) {
	var left []string
	for _, name := range scratchNames {
		dirs, _ := filepath.Glob(filepath.Join(folder, name))
		left = append(left, dirs...)
	}
	if len(left) == 0 {
		return
	}
	lock, err := os.Open(folder)
	if err != nil {
		return
	}
	defer lock.Close()
	if unix.Flock(int(lock.Fd()), unix.LOCK_EX|unix.LOCK_NB) != nil {
		return
	}
	for _, dir := range left {
		// A link with such a name is nothing of ours.
		if info, err := os.Lstat(dir); err == nil && info.IsDir() {
			os.RemoveAll(dir)
		}
	}
}
