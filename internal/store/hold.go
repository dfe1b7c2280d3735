package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"waycall/internal/store/internal/jobfile"
)

// An open job's files can be deleted, moved, replaced, cut or written over by somebody
// else, and SQLite notices none of it: what it writes then is nowhere, or in pieces. So
// they are looked at before and after each commit, which costs four looks at names; only
// when they are not as this process left them is the record read again, whole. While the
// open file still holds what was stored, it is written out to a file again (keepSafe).

// held is what the files of an open job looked like when this process wrote to them last.
type held struct {
	mu             sync.Mutex
	file, log, shm jobfile.Mark
	dir            uint64 // the file system of the folder: an empty mount point is not the stick
	moving         bool   // the log is being moved into the file, so that its times change
	id             int64  // of the last event that was told to be stored
	sum            []byte // its sum
}

// take notes how the files at path are now.
func (h *held) take(path string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.mark(path)
}

func (h *held) mark(path string) (err error) {
	if h.dir, err = jobfile.DeviceOf(filepath.Dir(path)); err != nil {
		return err
	}
	if h.file, err = jobfile.MarkOf(path); err != nil {
		return err
	}
	if h.log, err = jobfile.MarkOf(path + "-wal"); err != nil {
		return err
	}
	h.shm, err = jobfile.MarkOf(path + "-shm")
	return err
}

// errMoved says that the record has to be read to know whether it is whole.
var errMoved = errors.New("somebody wrote to it")

// look reports what is not as it was left: ErrGone, ErrReplaced, or errMoved. After a
// commit the log may be longer.
func (h *held) look(path string, committed bool) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, f := range []struct {
		name string
		was  jobfile.Mark
		free bool // its size and times may be others
	}{{path, h.file, h.moving}, {path + "-wal", h.log, committed}} {
		now, err := jobfile.MarkOf(f.name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return jobfile.Fault(ErrGone, filepath.Base(f.name)+" is not there any more", "")
		case err != nil:
			return err
		case now.Dev != f.was.Dev || now.Inode != f.was.Inode:
			return jobfile.Fault(ErrReplaced, filepath.Base(f.name)+" is another file than before", "")
		case now != f.was && !f.free:
			return errMoved
		}
	}
	if committed {
		var err error
		h.log, err = jobfile.MarkOf(path + "-wal")
		return err
	}
	return nil
}

// checkpointing tells that the log is about to be moved into the file, or reports that
// it must not be, because the file is not ours as we left it. It is over when done is
// called.
func (h *held) checkpointing(path string) (done func(), ok bool) {
	if h.look(path, false) != nil {
		return nil, false
	}
	set := func(on bool) {
		h.mu.Lock()
		defer h.mu.Unlock()
		if now, err := jobfile.MarkOf(path); !on && err == nil && now.Inode == h.file.Inode {
			h.file = now
		}
		h.moving = on
	}
	set(true)
	return func() { set(false) }, true
}

// stored notes the last event that was told to be stored.
func (h *held) stored(id int64, sum []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.id, h.sum = id, sum
}

// last returns the last event that was told to be stored.
func (h *held) last() (id int64, sum []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.id, h.sum
}

// secure makes sure that the files of the job are there as this store left them, and
// writes them anew where they are not and the open file still holds all. Errors:
// ErrGone, ErrReplaced, ErrChanged, ErrElsewhere; where the files cannot be read just now
// nothing is done to them, and the error is what keeps them from being read.
func (s *Store) secure(committed bool) error {
	if s.abandoned != nil {
		return s.abandoned
	}
	err := s.held.look(s.path, committed)
	if errors.Is(err, errMoved) {
		if err = s.checkRecord(s.path); err == nil {
			return s.held.take(s.path)
		}
		if jobfile.Unread(err) {
			return err
		}
		err = jobfile.Fault(ErrChanged, because(err), "")
	}
	if err == nil || !errors.Is(err, ErrGone) && !errors.Is(err, ErrReplaced) && !errors.Is(err, ErrChanged) {
		return err
	}
	return s.keepSafe(err)
}

// checkRecord reads the record at path through a connection of its own, every page, sum
// and sound, and looks in it for the last event that was told to be stored. What another
// session wrote behind that is no damage; Append tells of it.
func (s *Store) checkRecord(path string) error {
	db := jobfile.OpenDB(path, "mode=ro", jobfile.ReaderPragmas...)
	defer db.Close()
	if err := jobfile.QuickCheck(db); err != nil {
		return err
	}
	ctx := context.Background()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	id, sum := s.held.last()
	if err := followChain(ctx, tx, id, sum); err != nil {
		return err
	}
	r := Report{Schema: len(jobfile.Migrations)}
	if err := r.sounds(ctx, tx); err != nil {
		return err
	}
	if len(r.Problems) > 0 {
		return jobfile.Fault(ErrDamaged, r.Problems[0].What, "")
	}
	return nil
}

// followChain checks the sum of every event, and that event id, if not 0, has the one given.
func followChain(ctx context.Context, tx *sql.Tx, id int64, sum []byte) error {
	rows, err := tx.QueryContext(ctx, "SELECT "+jobfile.RowColumns+" FROM events ORDER BY id")
	if err != nil {
		return err
	}
	defer rows.Close()
	var c jobfile.Chain
	there := id == 0
	for rows.Next() {
		var e jobfile.Row
		if err := e.Scan(rows); err != nil {
			return err
		}
		if what := c.Add(&e); what != "" {
			return jobfile.Fault(ErrDamaged, what, "")
		}
		there = there || e.ID == id && string(e.Sum) == string(sum)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if !there {
		return jobfile.Fault(ErrDamaged, fmt.Sprintf("event %d, the last that was stored, is not in it", id), "")
	}
	return nil
}

// because is why something failed, in brackets behind what that means.
func because(err error) string {
	var e *jobfile.Error
	if errors.As(err, &e) && e.Detail != "" {
		return e.Detail
	}
	return jobfile.OneLine(err.Error())
}

// Rescued says what became of a record whose file was taken away or changed while this
// store had it open: where all of it lies now, or "" when nothing was done, and when that
// was. It is the job's own place when it could be written back there; then the store goes
// on with it.
func (s *Store) Rescued() (path string, at time.Time) { return s.rescued, s.rescuedAt }

// keepSafe writes what the open file holds to a file again: to its place where nothing
// lies, or beside it under another name; then the store is not used any more. It returns
// nil when the store can go on, and otherwise why, with what is to be done.
func (s *Store) keepSafe(why error) error {
	dir := filepath.Dir(s.path)
	if device, err := jobfile.DeviceOf(dir); errors.Is(err, fs.ErrNotExist) {
		if up, err := jobfile.DeviceOf(filepath.Dir(dir)); err != nil || up != s.held.dir || os.Mkdir(dir, 0o700) != nil {
			return why
		}
	} else if err != nil || device != s.held.dir {
		return why // the disk was taken out; what lies in its place is not ours
	}
	to := s.path
	if now, err := jobfile.MarkOf(s.path); err == nil && (now.Inode != s.held.file.Inode || errors.Is(why, ErrChanged)) {
		to = s.otherName()
	}
	if err := s.writeOut(to); err != nil {
		if errors.Is(why, ErrChanged) {
			s.abandoned = jobfile.Fault(ErrChanged, "not all of what was stored is there any more: "+because(err), "leave it as it is and go on with the copy, or with one from a backup")
			return s.abandoned
		}
		return why
	}
	s.rescued, s.rescuedAt = to, time.Now()
	// The log beside what lies there now is ours, and would be taken for a part of that.
	for name, was := range map[string]jobfile.Mark{s.path + "-wal": s.held.log, s.path + "-shm": s.held.shm} {
		if now, err := jobfile.MarkOf(name); err == nil && now.Inode == was.Inode && now.Dev == was.Dev {
			os.Remove(name)
		}
	}
	if to != s.path {
		s.abandoned = jobfile.Fault(ErrElsewhere, to, "")
		return s.abandoned
	}
	return s.reopen()
}

// otherName is a name beside the job that is free.
func (s *Store) otherName() string {
	end := filepath.Ext(s.path)
	stem := strings.TrimSuffix(s.path, end) + "-rescued"
	for n := 1; ; n++ {
		name := stem + end
		if n > 1 {
			name = fmt.Sprintf("%s-%d%s", stem, n, end)
		}
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			return name
		}
	}
}

// writeOut writes all that the open file holds to a file at path, checked.
func (s *Store) writeOut(path string) error {
	name, clear := jobfile.NewBeside(path)
	clear()
	if err := jobfile.Backup(s.spare, name); err != nil {
		clear()
		return err
	}
	if err := s.checkRecord(name); err != nil {
		clear()
		return err
	}
	if err := os.Rename(name, path); err != nil {
		clear()
		return err
	}
	return jobfile.SyncFolder(filepath.Dir(path))
}

// checkEnd looks whether the file that was closed is the record.
func (s *Store) checkEnd() error {
	how := "mode=ro"
	if !jobfile.HasLog(s.path) && !jobfile.HasJournal(s.path) {
		how += "&immutable=1"
	}
	db := jobfile.OpenDB(s.path, how, jobfile.ReaderPragmas...)
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	id, want := s.held.last()
	sum, err := jobfile.SumAt(context.Background(), tx, id)
	if jobfile.Unread(err) {
		return err
	}
	if err != nil || id > 0 && string(sum) != string(want) {
		return errors.Join(jobfile.Fault(ErrChanged, fmt.Sprintf("event %d, the last that was stored, is not in it", id), ""), err)
	}
	return nil
}

// reopen closes every connection and goes on with the file that lies at the job's place. It
// can be called again where it failed.
func (s *Store) reopen() error {
	if s.stop != nil {
		close(s.stop)
		s.beside.Wait()
		s.stop = nil
	}
	// Where the file is another one than before, SQLite sees that and leaves what has its
	// name alone.
	s.spare.Close()
	s.db.Close()
	s.head.Close()
	s.head = nil
	if !jobfile.SameFile(s.lock.File, s.path+".lock") {
		lock, err := jobfile.AcquireLock(s.path)
		if err != nil {
			return err
		}
		s.lock.File.Close()
		s.lock = lock
	}
	if err := s.open(); err != nil {
		return err
	}
	if s.copy != nil {
		s.copy.begin()
	}
	return nil
}
