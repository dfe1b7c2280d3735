// Package plainfile opens files that a person named to be read, and writes those that he
// named to be written, by one rule each: plain files alone. A pipe that nobody writes
// into would be waited for without end, and a device, a link or a record that is
// written over is gone.
package plainfile

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// ErrNotPlain is returned for what is no plain file: a folder, a pipe, a device, a socket.
var ErrNotPlain = errors.New("not a plain file")

// notPlain says what a thing of a mode is in place of a plain file.
func notPlain(mode fs.FileMode) error {
	what := "a device"
	switch {
	case mode.IsDir():
		what = "a folder"
	case mode&fs.ModeNamedPipe != 0:
		what = "a pipe"
	case mode&fs.ModeSocket != 0:
		what = "a socket"
	case mode&fs.ModeSymlink != 0:
		what = "a link to something else"
	}
	return notPlainError(what)
}

type notPlainError string

func (e notPlainError) Error() string        { return "it is " + string(e) + ", not a plain file" }
func (e notPlainError) Is(target error) bool { return target == ErrNotPlain }

// Open opens a plain file for reading, through links. It waits for nobody. Errors:
// ErrNotPlain, and those of os.Open; all are *fs.PathError, with the name.
func Open(path string) (*os.File, error) {
	info, err := os.Stat(path) // to open a device can set it in motion
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: path, Err: notPlain(info.Mode())}
	}
	// It may have become a pipe since.
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if info, err = f.Stat(); err == nil && !info.Mode().IsRegular() {
		err = &fs.PathError{Op: "open", Path: path, Err: notPlain(info.Mode())}
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}
