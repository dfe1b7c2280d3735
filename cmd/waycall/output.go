package main

// What commands read from and write to: the terminal, and files that a person named.

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"runtime/debug"

	"github.com/spf13/cobra"

	"waycall/internal/advice"
	"waycall/internal/bundle"
	"waycall/internal/command"
	"waycall/internal/english"
	"waycall/internal/plainfile"
	"waycall/internal/report"
	"waycall/internal/store"
)

// streams are what a command reads and prints to.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

func streamsOf(cmd *cobra.Command) streams {
	return streams{cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr()}
}

// noteFound says on stderr what opening a job found: what is printed of it may lack the end.
func noteFound(found []store.Finding) {
	for _, f := range found {
		complain(fmt.Errorf("note: %s", f))
	}
}

// target reports whether a file that a person named may be written: asked before any
// work is done for it.
func target(path string) error {
	err := plainfile.CheckTarget(path)
	if errors.Is(err, plainfile.ErrTarget) {
		return command.UsageError{Err: err}
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
		return advice.Errorf("choose a folder that can be written to", "%s: %w", path, err)
	}
	return advice.Errorf("make room and try again", "%s: %w", path, err)
}

// thereError is fs.ErrExist in words.
type thereError struct{ path string }

func (e *thereError) Error() string { return e.path + " is there already; choose another name" }
func (e *thereError) Unwrap() error { return fs.ErrExist }

// writeOut writes to the file out, whole or not at all, or without one to stdout.
func writeOut(out string, stdout io.Writer, write func(io.Writer) error) error {
	if out == "" {
		return write(stdout)
	}
	return writeFile(out, 0o644, false, write)
}

// readSchedule reads the JSON of a schedule.
func readSchedule(path string) (report.Schedule, error) {
	f, err := plainfile.Open(path)
	if err != nil {
		return report.Schedule{}, advice.Errorf("check its name", "schedule: %w", err)
	}
	defer f.Close()
	s, err := report.Read(f)
	if err != nil {
		return s, fmt.Errorf("schedule %s: %w", path, err)
	}
	return s, nil
}

// amount says how much is in a record: "1 event, 0 sounds".
func amount(events, sounds int64) string {
	return english.Count(int(events), "event") + ", " + english.Count(int(sounds), "sound")
}

// packedMemory is what Go clears up to stay within while it looks at what came from
// elsewhere, in bytes. With SQLite's own, an import stays below 256 MiB.
const packedMemory = 128 << 20

// openPacked checks a packed job, and keeps below packedMemory with it. scratch is as
// bundle.Open wants it.
func openPacked(ctx context.Context, file, scratch string) (*bundle.Packed, error) {
	debug.SetMemoryLimit(packedMemory)
	return bundle.Open(ctx, file, scratch)
}
