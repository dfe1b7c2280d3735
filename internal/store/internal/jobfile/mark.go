package jobfile

import (
	"os"
	"syscall"
)

// Mark is what a file looks like from outside, without opening it: the same as long as
// nobody writes to it or puts another in its place.
type Mark struct {
	Dev, Inode uint64
	size       int64
	Changed    int64 // Unix time, ns
}

// MarkOf looks at the file at path, through a link.
func MarkOf(path string) (Mark, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Mark{}, err
	}
	m := Mark{size: info.Size(), Changed: info.ModTime().UnixNano()}
	if sys, ok := info.Sys().(*syscall.Stat_t); ok {
		m.Dev, m.Inode = sys.Dev, sys.Ino
	}
	return m, nil
}
