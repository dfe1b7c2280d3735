package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"waycall/internal/plainfile"
)

// target reports whether a file that a person named may be written: asked before any
// work is done for it.
func target(path string) error {
	err := plainfile.CheckTarget(path)
	if errors.Is(err, plainfile.ErrTarget) {
		return usageError{err}
	}
	return err
}

// writeFile writes a file whole or not at all; with fresh only where there is none yet.
func writeFile(path string, mode fs.FileMode, fresh bool, write func(io.Writer) error) error {
	if err := target(path); err != nil {
		return err
	}
	err := plainfile.Write(path, mode, fresh, write)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrExist):
		return &thereError{path}
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s: %w; choose a folder that can be written to", path, err)
	}
	return fmt.Errorf("%s: %w; make room and try again", path, err)
}

// thereError is fs.ErrExist in words.
type thereError struct{ path string }

func (e *thereError) Error() string { return e.path + " is there already; choose another name" }
func (e *thereError) Unwrap() error { return fs.ErrExist }
