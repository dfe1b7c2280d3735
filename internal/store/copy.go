package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"waycall/internal/mishap"
	"waycall/internal/store/internal/jobfile"
)

// retryCopy is how long a copy that failed is left alone.
var retryCopy = 10 * time.Second

// copier keeps a copy of an open job in another folder. The first time, the whole
// job is copied by SQLite's online backup; after that each event is added to the
// copy once it is in the job, so that a slow stick keeps up. What lies there already
// is gone on with when it is the beginning of this very log, and never written over.
type copier struct {
	store  *Store
	dir    string
	device uint64 // the file system of dir: an empty mount point is not the stick
	to     string // the copy

	from *sql.DB           // the job
	db   *sql.DB           // the copy; nil while it is not open
	head *jobfile.HeadFile // how far the copy has come, beside it
	lock *jobfile.Lock     // on the copy
	mu   sync.Mutex
	err  error
}

// CopyTo begins to keep a copy of the job, up to date, in the folder dir, such as
// one on a USB stick. It is an error when dir is not a folder or is the job's own;
// everything else that goes wrong is told by Copied and tried again. The copy has
// the name of the job's file, is one plain file in between, and can be worked on
// like any job once this session is over.
func (s *Store) CopyTo(dir string) error {
	err := s.copyTo(dir)
	if err == nil {
		return nil
	}
	return fmt.Errorf("could not keep a copy in %s: %w; name a folder on another disk", dir, err)
}

func (s *Store) copyTo(dir string) error {
	switch {
	case s.readOnly:
		return errors.New("the job was opened for reading only")
	case s.copy != nil:
		return errors.New("a copy is kept already")
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	info, err := os.Stat(dir)
	if err != nil {
		return err
	}
	if !info.IsDir() {
		return errors.New("it is not a folder")
	}
	own, err := os.Stat(filepath.Dir(s.path))
	if err != nil {
		return err
	}
	if os.SameFile(own, info) {
		return errors.New("it is the folder of the job itself")
	}
	c := &copier{store: s, dir: dir, to: filepath.Join(dir, filepath.Base(s.path))}
	if c.device, err = jobfile.DeviceOf(dir); err != nil {
		return err
	}
	s.copy = c
	c.begin()
	return nil
}

// begin keeps the copy up to date, beside the work, until the store stops.
func (c *copier) begin() {
	stop, written := c.store.stop, c.store.changes.follow()
	c.store.beside.Go(mishap.Caught("keep the copy of a job", func(err error) {
		mishap.Note(err)
		c.mu.Lock()
		defer c.mu.Unlock()
		c.err = c.explain(err)
	}, func() { c.run(stop, written) }))
}

// Copied reports why the copy that CopyTo asked for is not up to date, or nil when
// it is or none was asked for. The same reason stays until it is put right.
func (s *Store) Copied() error {
	if s.copy == nil {
		return nil
	}
	s.copy.mu.Lock()
	defer s.copy.mu.Unlock()
	return s.copy.err
}

// run copies what is written until stop, and once more then.
func (c *copier) run(stop, written <-chan struct{}) {
	c.from = jobfile.OpenDB(c.store.path, "mode=ro", jobfile.ReaderPragmas...)
	defer c.from.Close()
	defer c.shut()
	for {
		err := c.update()
		c.mu.Lock()
		c.err = c.explain(err)
		c.mu.Unlock()
		var again <-chan time.Time
		if err != nil {
			c.shut()
			again = time.After(retryCopy)
		}
		select {
		case <-stop:
			// What was written since; a disk that failed just now is not waited for.
			if err == nil {
				err = c.update()
				c.mu.Lock()
				c.err = c.explain(err)
				c.mu.Unlock()
			}
			return
		case <-written:
			if err != nil {
				select { // not at every phrase
				case <-stop:
				case <-again:
				}
			}
		case <-again:
		}
	}
}

// whatToDoForCopy is the end of an error's text where jobfile.WhatToDo is about the job itself.
var whatToDoForCopy = map[error]string{
	ErrFull:        "the record itself is kept; make room there, and the next session with it brings the copy up to date",
	ErrReadOnly:    "the record itself is kept; name a folder that you may write to, or let this one be written to",
	ErrDisk:        "the record itself is kept; check that disk, or name a folder on another one",
	ErrGone:        "the record itself is kept; put the stick back, and the next session with it brings the copy up to date",
	ErrInUse:       "the record itself is kept; end what has the copy open",
	fs.ErrNotExist: "the record itself is kept; put the stick back or make the folder again, and the next session with it brings the copy up to date",
}

// explain says of the copy what failed and what to do.
func (c *copier) explain(err error) error {
	err = jobfile.Explain("keep a copy as", c.to, err)
	var e *jobfile.Error
	if errors.As(err, &e) && e.Do == jobfile.WhatToDo[e.Reason] {
		if do, ok := whatToDoForCopy[e.Reason]; ok {
			e.Do = do
		}
	}
	return err
}

// shut lets go of the copy.
func (c *copier) shut() {
	if c.db != nil {
		c.db.Close()
		c.db = nil
	}
	c.head.Close()
	c.head = nil
	if c.lock != nil {
		c.lock.Release()
		c.lock = nil
	}
}

// update brings the copy up to date, making it first where there is none.
func (c *copier) update() error {
	device, err := jobfile.DeviceOf(c.dir)
	if err != nil {
		return err
	}
	if device != c.device {
		return jobfile.Fault(ErrGone, "another disk is there than at the start", "put the stick back")
	}
	if c.db != nil {
		// SQLite would go on with a file that somebody has deleted.
		if _, err := os.Lstat(c.to); err != nil {
			return err
		}
		return c.catchUp()
	}
	if c.lock, err = jobfile.AcquireLock(c.to); err != nil {
		return err
	}
	if _, err := os.Lstat(c.to); errors.Is(err, fs.ErrNotExist) {
		if err := c.make(); err != nil {
			return err
		}
	} else if err != nil {
		return err
	}
	if err := c.open(); err != nil {
		return err
	}
	return c.catchUp()
}

// make copies the whole job by SQLite's online backup while the session goes on.
func (c *copier) make() (err error) {
	beside, clear := jobfile.NewBeside(c.to)
	clear() // what a pulled stick may have left
	defer func() {
		if err != nil {
			clear()
		}
	}()
	if err := jobfile.Backup(c.from, beside); err != nil {
		return err
	}
	if err := os.Rename(beside, c.to); err != nil {
		return err
	}
	return jobfile.SyncFolder(c.dir)
}

// open opens the copy that is there, if it is one.
func (c *copier) open() error {
	if _, err := jobfile.Locate(c.to); err != nil {
		return err
	}
	how, _, err := inspect(c.to)
	if err != nil {
		return err
	}
	c.db = jobfile.OpenDB(c.to, "mode=rw&_txlock=immediate", jobfile.CopyPragmas...)
	if err := jobfile.Migrate(c.db, how.version, len(jobfile.Migrations)); err != nil {
		return err
	}
	now, err := jobfile.HeadOf(context.Background(), c.db)
	if err == nil {
		c.head = jobfile.KeepHead(c.to, now)
	}
	return err
}

// catchUp adds to the copy what the job has more.
func (c *copier) catchUp() error {
	ctx := context.Background()
	to, err := c.db.Begin()
	if err != nil {
		return err
	}
	defer to.Rollback()
	id, sum, err := jobfile.LastSum(ctx, to)
	if err != nil {
		return err
	}
	from, err := c.from.Begin()
	if err != nil {
		return err
	}
	defer from.Rollback()
	var ours []byte
	if id > 0 {
		err := from.QueryRow("SELECT sha256 FROM events WHERE id = ?", id).Scan(&ours)
		if errors.Is(err, sql.ErrNoRows) || err == nil && string(ours) != string(sum) {
			return jobfile.Fault(ErrNotCopy, fmt.Sprintf("its event %d is not that of this job", id), "")
		}
		if err != nil {
			return err
		}
	}
	var first []byte
	rows, err := from.Query("SELECT "+jobfile.RowColumns+" FROM events WHERE id > ? ORDER BY id", id)
	if err != nil {
		return err
	}
	defer rows.Close()
	added := false
	for rows.Next() {
		var r jobfile.Row
		if err := r.Scan(rows); err != nil {
			return err
		}
		if string(r.Sum) != string(jobfile.SumEvent(sum, &r)) {
			return jobfile.Fault(ErrDamaged, fmt.Sprintf("event %d of the job does not match its sum", r.ID), "")
		}
		id, sum, added = r.ID, r.Sum, true
		if r.ID == 1 {
			first = r.Sum
		}
		var with jobfile.Sound
		if r.Sound != nil {
			if err := from.QueryRow("SELECT format, rate, data FROM sounds WHERE event_id = ?", r.ID).Scan(&with.Format, &with.Rate, &with.Data); err != nil {
				return err
			}
			if what := faultOfSound(r.ID, r.Sound, with.Data, true); what != "" {
				return jobfile.Fault(ErrDamaged, what, "")
			}
		}
		if err := r.Insert(context.Background(), to, with); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil || !added {
		return err
	}
	if err := to.Commit(); err != nil {
		return err
	}
	c.head.Stored(id, first, sum)
	return nil
}

// Snapshot writes the job at from, as it is now, to a new file at to: one plain
// file, checked, and brought up to date when an older waycall wrote it. It may be
// done while another session writes. Errors: as for OpenReadOnly and Create; then
// there is nothing at to.
func Snapshot(from, to string) (err error) {
	from, err = jobfile.Locate(from)
	if err != nil {
		return jobfile.Explain("copy the job", from, err)
	}
	if to, err = filepath.Abs(to); err != nil {
		return jobfile.Explain("copy the job to", to, err)
	}
	live := Held(from)
	db, c, err := openReader(from)
	if err != nil {
		return jobfile.Explain("copy the job", from, err)
	}
	defer db.Close()
	if _, err := c.refuseLost(context.Background(), db, live); err != nil {
		return jobfile.Explain("copy the job", from, err)
	}
	if _, err := os.Lstat(to); err == nil {
		return jobfile.Explain("copy the job to", to, fs.ErrExist)
	}
	if err := jobfile.Backup(db, to); err != nil {
		os.Remove(to)
		os.Remove(to + "-journal")
		return jobfile.Explain("copy the job to", to, err)
	}
	s, err := Open(to)
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		os.Remove(to)
		os.Remove(to + jobfile.HeadEnd)
	}
	return err
}

// Move gives the file of the job at from another name, or puts it into another
// folder of the same disk. Nobody may have it open, and nothing may be at to.
// Errors: as for Open, fs.ErrExist; then nothing was moved.
func Move(from, to string) error {
	from, err := jobfile.Locate(from)
	if err != nil {
		return jobfile.Explain("move the job", from, err)
	}
	if to, err = filepath.Abs(to); err != nil {
		return jobfile.Explain("move the job to", to, err)
	}
	s, err := Open(from)
	if err != nil {
		return err
	}
	lock := s.lock
	s.lock = nil // kept over the Close
	defer lock.Release()
	if err = s.rest(); err == nil {
		_, err = s.db.Exec("PRAGMA busy_timeout = 0; PRAGMA journal_mode = DELETE")
	}
	if err != nil {
		s.Close()
		return jobfile.Explain("move the job", from, err)
	}
	if err := s.Close(); err != nil {
		return err
	}
	if _, err := os.Lstat(from + "-wal"); err == nil {
		return jobfile.Explain("move the job", from, jobfile.Fault(ErrInUse, "another program reads it", "end that first"))
	}
	there, err := jobfile.AcquireLock(to)
	if err != nil {
		return jobfile.Explain("move the job to", to, err)
	}
	defer there.Release()
	if _, err := os.Lstat(to); err == nil {
		return jobfile.Explain("move the job to", to, fs.ErrExist)
	}
	if err := os.Rename(from, to); err != nil {
		return jobfile.Explain("move the job to", to, err)
	}
	moveBeside(from, to)
	return jobfile.Explain("move the job to", to, errors.Join(jobfile.SyncFolder(filepath.Dir(to)), jobfile.SyncFolder(filepath.Dir(from))))
}

// moveBeside lets what lies beside a job go with it when it was moved: the file of its
// head, and the folders of damaged files.
func moveBeside(from, to string) {
	os.Remove(to + jobfile.HeadEnd) // of a job that is gone
	_ = os.Rename(from+jobfile.HeadEnd, to+jobfile.HeadEnd)
	for n := 1; os.Rename(asideOf(from, n), asideOf(to, n)) == nil; n++ {
	}
}
