package jobs

// How a job is set up, opened to be worked on, and read.

import (
	"context"
	"errors"
	"io/fs"
	"time"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/plainfile"
	"waycall/internal/record"
	"waycall/internal/show"
	"waycall/internal/store"
)

// Create sets a job up: its record holds that it was opened, at a time, and nothing else.
// Errors: fs.ErrExist where one of that reference is there, and those of package store.
func (f Folder) Create(ctx context.Context, job board.Job, at time.Time) (*store.Store, error) {
	opened := record.Open(job, at)
	if _, err := (record.State{}).Apply(opened); err != nil {
		return nil, err
	}
	if err := f.Make(); err != nil {
		return nil, err
	}
	s, err := store.Create(f.File(job.Reference))
	if err != nil {
		return nil, err
	}
	if _, err := s.Append(ctx, []record.Event{opened}, nil); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// Known is what is known of a job that was read.
type Known struct {
	State record.State
	Times []show.Times    // of the boards, where they were asked for
	Found []store.Finding // what opening its file found: the end of it may be missing
	Path  string          // of its file
}

// Read returns what is known of a job, without keeping others from it. Known.Path is set
// where the job could be named, whether or not it could be read.
func (f Folder) Read(ctx context.Context, job string) (Known, error) { return f.read(ctx, job, false) }

// ReadTimed is Read with Known.Times, for which it reads the log once more.
func (f Folder) ReadTimed(ctx context.Context, job string) (Known, error) {
	return f.read(ctx, job, true)
}

func (f Folder) read(ctx context.Context, job string, timed bool) (known Known, err error) {
	var s *store.Store
	if s, known.Path, err = f.open(job, store.OpenReadOnly); err != nil {
		return known, err
	}
	defer s.Close()
	known.Found = s.Found()
	if known.State, err = Fold(ctx, s); err == nil && timed {
		known.Times, err = Times(ctx, s)
	}
	return known, err
}

// OpenToRead opens a job to read it, without keeping others from it.
func (f Folder) OpenToRead(job string) (*store.Store, error) {
	s, _, err := f.open(job, store.OpenReadOnly)
	return s, err
}

// open opens a job by its reference or file; how is store.Open or store.OpenReadOnly.
func (f Folder) open(job string, how func(path string) (*store.Store, error)) (s *store.Store, path string, err error) {
	if path, err = f.Path(job); err != nil {
		return nil, "", err
	}
	if s, err = how(path); errors.Is(err, fs.ErrNotExist) {
		err = advice.Errorf("waycall jobs lists them, waycall new sets one up", "no job %s", job)
	}
	return s, path, err
}

// Fold returns what is known of a job that is open.
func Fold(ctx context.Context, s *store.Store) (record.State, error) {
	log, err := s.Events(ctx)
	if err != nil {
		return record.State{}, err
	}
	return record.Fold(log)
}

// OpenForWork opens the file of a job to work on. Where its write-ahead log is damaged it
// first has the damaged files put aside, whole; what is then missing is in the store's
// Found.
func OpenForWork(path string) (*store.Store, error) {
	s, err := store.Open(path)
	if !errors.Is(err, store.ErrLog) {
		return s, err
	}
	if _, err := store.PutLogAside(path); err != nil {
		return nil, err
	}
	return store.Open(path)
}

// OpenOrCreate opens a job to work on by its reference or file, or sets it up from a board
// file, where it is not there yet.
func (f Folder) OpenOrCreate(ctx context.Context, arg string, at time.Time) (*store.Store, error) {
	if !board.IsFile(arg) {
		s, _, err := f.open(arg, OpenForWork)
		return s, err
	}
	job, err := ReadBoard(arg)
	if err != nil {
		return nil, err
	}
	s, err := f.Create(ctx, job, at)
	if !errors.Is(err, fs.ErrExist) {
		return s, err
	}
	if s, err = OpenForWork(f.File(job.Reference)); err != nil {
		return nil, err
	}
	state, err := Fold(ctx, s)
	if err == nil && !state.Given.Same(job) {
		err = advice.Errorf("waycall start "+job.Reference+" goes on with it, or give this one another reference",
			"job %s was set up from another board file than %s", job.Reference, arg)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// ReadBoard reads a board file.
func ReadBoard(path string) (board.Job, error) {
	f, err := plainfile.Open(path)
	if err != nil {
		return board.Job{}, advice.Errorf("check its name", "board file: %w", err)
	}
	defer f.Close()
	return board.Read(f, path)
}

// ReadWays reads a board file whose ways come from a table.
func ReadWays(stub, table string) (board.Job, error) {
	b, err := plainfile.Open(stub)
	if err != nil {
		return board.Job{}, advice.Errorf("check its name", "board file: %w", err)
	}
	defer b.Close()
	t, err := plainfile.Open(table)
	if err != nil {
		return board.Job{}, advice.Errorf("check its name", "table of ways: %w", err)
	}
	defer t.Close()
	return board.ReadCSV(t, table, b, stub)
}
