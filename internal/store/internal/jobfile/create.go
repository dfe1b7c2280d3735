package jobfile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// NewBeside returns where a database is made before it takes its place at path, and
// what removes it from there.
func NewBeside(path string) (name string, clear func()) {
	name = path + ".new"
	return name, func() {
		os.Remove(name)
		os.Remove(name + "-journal")
	}
}

// Create writes an empty job beside path and moves it there once it is whole.
// The caller holds the lock, so nobody else is building it.
func Create(path string) (err error) {
	if _, err := os.Lstat(path); err == nil {
		return fs.ErrExist
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	beside, clear := NewBeside(path)
	clear()                   // what a killed Create may have left
	os.Remove(path + HeadEnd) // of a job that is gone
	defer func() {
		if err != nil {
			clear()
		}
	}()
	// SQLite gives its own files the mode of the database, so this one decides.
	f, err := os.OpenFile(beside, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	db := OpenDB(beside, "mode=rw", "PRAGMA synchronous = EXTRA")
	if err := Migrate(db, 0, len(Migrations)); err != nil {
		db.Close()
		return err
	}
	if err := db.Close(); err != nil {
		return err
	}
	if err := os.Rename(beside, path); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(path))
}
