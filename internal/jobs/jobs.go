// Package jobs is the folder where jobs are kept: what a job is called there, which are
// there, and how one is set up, opened, read and put away.
//
// A job is one file, REFERENCE.waycall, with what SQLite and package store keep beside
// it. Those that were put away lie in the folder archive below it.
package jobs

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/store"
)

// Ending is the ending of a job's file: a SQLite database.
const Ending = board.JobEnding

// archive is the folder below that of the jobs for those that are put away.
const archive = "archive"

// ErrName is the reason of an error about a name that cannot be a job's. The error says
// more, and what to do.
var ErrName = errors.New("not the name of a job")

// nameError is ErrName in words.
type nameError struct{ error }

func (e nameError) Unwrap() []error { return []error{e.error, ErrName} }

func badName(do, what string, args ...any) error { return nameError{advice.Errorf(do, what, args...)} }

// Folder is the path of a folder of jobs. It need not exist before a job is set up in it.
type Folder string

// Usual returns the folder that is used where none is named, by the XDG base directory
// specification.
func Usual() (Folder, error) {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return Folder(filepath.Join(dir, "waycall")), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", advice.Errorf("name a folder with --data", "where jobs are kept: %w", err)
	}
	return Folder(filepath.Join(home, ".local", "share", "waycall")), nil
}

// File returns the file of the job with a reference.
func (f Folder) File(reference string) string { return filepath.Join(string(f), reference+Ending) }

// Path returns the file of a job as a person names it: that file itself, by its ending,
// else the job of that reference in the folder. Errors: ErrName.
func (f Folder) Path(job string) (string, error) {
	switch {
	case strings.HasSuffix(job, Ending):
		return job, nil
	case board.IsFile(job):
		return "", badName("waycall new "+job+" sets a job up from it", "%s is a board file, not a job", job)
	case job == "" || strings.ContainsAny(job, "/\\\x00") || strings.HasPrefix(job, "."):
		return "", badName("give its reference, or the path of its "+Ending+" file", "%q is not a job", job)
	}
	return f.File(job), nil
}

// names is what a job may be called in its folder: a reference, as board files have it.
var names = regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9_.-]{0,63}$`)

// IsName reports whether a job may be called so in a folder.
func IsName(name string) bool { return names.MatchString(name) && !strings.HasSuffix(name, Ending) }

// Named returns the file of a job in the folder by its name there. Errors: ErrName.
func (f Folder) Named(name string) (string, error) {
	if !IsName(name) {
		return "", badName("use up to 64 letters, figures, hyphens, underscores and points, beginning with a letter or figure", "%q cannot name a job", name)
	}
	return f.File(name), nil
}

// NamedAnew is Named for a name that a job is yet to be given.
func (f Folder) NamedAnew(name string) (string, error) {
	path, err := f.Named(name)
	if err == nil && board.CheckReference(name) != nil {
		err = badName("leave the end off", "%q cannot name a job, as it ends like the name of a file", name)
	}
	return path, err
}

// Archive returns the folder of those that are put away.
func (f Folder) Archive() Folder { return Folder(filepath.Join(string(f), archive)) }

// Make makes the folder where it is not there, for its owner alone.
func (f Folder) Make() error {
	if err := os.MkdirAll(string(f), 0o700); err != nil {
		return advice.Errorf("name another with --data", "folder for jobs: %w", err)
	}
	return nil
}

// List returns the files of the jobs in the folder, in the order of their names. A folder
// that is not there has none, and a folder in it is no job, whatever it is called.
func (f Folder) List() ([]string, error) {
	entries, err := os.ReadDir(string(f))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var files []string
	for _, e := range entries {
		if name, ok := strings.CutSuffix(e.Name(), Ending); ok && name != "" && !e.IsDir() {
			files = append(files, filepath.Join(string(f), e.Name()))
		}
	}
	return files, nil
}

// Next writes what one would do next, by what is in the folder: three commands.
func (f Folder) Next(w io.Writer) error {
	last, err := f.Last()
	if err != nil {
		return err
	}
	steps := [][2]string{
		{"waycall ready", "look whether this machine and its headset can run a session"},
		{"waycall review --open", "set up a job, in the browser"},
		{"waycall demo", "see and hear a recorded session, without a headset"},
	}
	if last != "" {
		steps = [][2]string{
			{"waycall start " + last, "begin or go on with the job that was written last"},
			{"waycall review --open", "set up another, review, sign off and hand over, in the browser"},
			{"waycall schedule " + last, "print its schedule of test results"},
		}
	}
	fmt.Fprintln(w, "waycall takes the readings that you say at a distribution board. Next:")
	for _, s := range steps {
		fmt.Fprintf(w, "  %-26s %s\n", s[0], s[1])
	}
	_, err = fmt.Fprintln(w, "It does not prove that anything is dead. waycall --help lists every command.")
	return err
}

// Last returns the name of the job in the folder that was written last, "" where there
// is none.
func (f Folder) Last() (string, error) {
	files, err := f.List()
	if err != nil {
		return "", advice.Errorf("check the folder, or name another with --data", "folder of jobs: %w", err)
	}
	last, at := "", time.Time{}
	for _, file := range files {
		for _, part := range []string{file, file + "-wal"} { // what was written last is in either
			info, err := os.Stat(part)
			if err == nil && IsName(Name(file)) && (last == "" || info.ModTime().After(at)) {
				last, at = Name(file), info.ModTime()
			}
		}
	}
	return last, nil
}

// Name returns what the job of a file is called in its folder.
func Name(file string) string { return strings.TrimSuffix(filepath.Base(file), Ending) }

// Rename moves the job that is called from to the name to, with what is kept beside its
// file, and returns where it is. Errors: ErrName, and those of Move.
func (f Folder) Rename(from, to string) (string, error) {
	here, err := f.Named(from)
	if err != nil {
		return "", err
	}
	there, err := f.NamedAnew(to)
	if err != nil {
		return "", err
	}
	return there, move(from, here, there)
}

// PutAway moves a job to those that are put away, and returns where it is then. Errors:
// ErrName, no such job there, a job of that name there already.
func (f Folder) PutAway(name string) (string, error) {
	here, err := f.Named(name)
	if err != nil {
		return "", err
	}
	away := f.Archive()
	if _, err := os.Stat(here); err == nil { // else there is nothing to put away
		if err := os.MkdirAll(string(away), 0o700); err != nil {
			return "", advice.Errorf("make room or name another folder with --data", "folder for archived jobs: %w", err)
		}
	}
	there := away.File(name)
	if err := move(name, here, there); err != nil {
		os.Remove(string(away)) // where it is empty: it was made for nothing
		return "", err
	}
	return there, nil
}

// Fetch is PutAway the other way round.
func (f Folder) Fetch(name string) (string, error) {
	here, err := f.Named(name)
	if err != nil {
		return "", err
	}
	return here, move(name, f.Archive().File(name), here)
}

// move moves the file of a job, and says what failed in the user's words.
func move(job, from, to string) error {
	err := store.Move(from, to)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return advice.Errorf("waycall jobs lists them, waycall jobs --archived those put away", "no job %s there", job)
	case errors.Is(err, fs.ErrExist):
		return advice.Errorf("choose another name", "there is a job in %s already", to)
	}
	return err
}
