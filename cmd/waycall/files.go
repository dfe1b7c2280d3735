package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"
)

// writeFile writes a file whole or not at all.
func writeFile(path string, write func(io.Writer) error) error {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return fmt.Errorf("%s is a folder; name a file in it", path)
	}
	f, err := renameio.NewPendingFile(path, renameio.WithTempDir(filepath.Dir(path)), renameio.WithPermissions(0o644))
	if err != nil {
		return fmt.Errorf("%s: %w; choose a folder that can be written to", path, err)
	}
	defer func() { _ = f.Cleanup() }() // removes what was not finished
	if err = write(f); err == nil {
		err = f.CloseAtomicallyReplace()
	}
	if err != nil {
		return fmt.Errorf("%s: %w; make room and try again", path, err)
	}
	return nil
}
