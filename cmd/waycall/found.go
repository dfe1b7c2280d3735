package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"waycall/internal/record"
	"waycall/internal/store"
)

// openForWork opens a job to work on. Where its write-ahead log is damaged it first has the
// damaged files put aside, whole; what is then missing is in the store's Found.
func openForWork(path string) (*store.Store, error) {
	s, err := store.Open(path)
	if !errors.Is(err, store.ErrLog) {
		return s, err
	}
	if _, err := store.PutLogAside(path); err != nil {
		return nil, err
	}
	return store.Open(path)
}

// tellFound says what opening a job for a session found, before it is worked on: on stderr,
// and to who reads JSON on stdout, too.
func tellFound(stdout io.Writer, asJSON bool, found []store.Finding) {
	noteFound(found)
	for _, f := range found {
		if asJSON {
			jsonScreen{stdout}.print(jsonEvent{Event: "found", Text: f.String()})
		}
	}
}

// noteFound says on stderr what opening a job found: what is printed of it may lack the end.
func noteFound(found []store.Finding) {
	for _, f := range found {
		complain(fmt.Errorf("note: %s", f))
	}
}

// readNoted is readJob with what opening the job found.
func (d *dataFlag) readNoted(ctx context.Context, job string) (record.State, []store.Finding, string, error) {
	s, path, err := d.open(job, store.OpenReadOnly)
	if err != nil {
		return record.State{}, nil, path, err
	}
	defer s.Close()
	state, err := fold(ctx, s)
	return state, s.Found(), path, err
}
