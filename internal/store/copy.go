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

	"github.com/mattn/go-sqlite3"
	"golang.org/x/sys/unix"

	"waycall/internal/mishap"
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

	from *sql.DB   // the job
	db   *sql.DB   // the copy; nil while it is not open
	head *headFile // how far the copy has come, beside it
	lock *fileLock // on the copy
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
	if c.device, err = deviceOf(dir); err != nil {
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

func deviceOf(path string) (uint64, error) {
	var st unix.Stat_t
	err := unix.Stat(path, &st)
	return st.Dev, err
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
	c.from = openDB(c.store.path, "mode=ro", readerPragmas...)
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

// whatToDoForCopy is the end of an error's text where whatToDo is about the job itself.
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
	err = explain("keep a copy as", c.to, err)
	var e *storeError
	if errors.As(err, &e) && e.advice == whatToDo[e.reason] {
		if do, ok := whatToDoForCopy[e.reason]; ok {
			e.advice = do
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
	c.head.close()
	c.head = nil
	if c.lock != nil {
		c.lock.release()
		c.lock = nil
	}
}

// update brings the copy up to date, making it first where there is none.
func (c *copier) update() error {
	device, err := deviceOf(c.dir)
	if err != nil {
		return err
	}
	if device != c.device {
		return fault(ErrGone, "another disk is there than at the start", "put the stick back")
	}
	if c.db != nil {
		// SQLite would go on with a file that somebody has deleted.
		if _, err := os.Lstat(c.to); err != nil {
			return err
		}
		return c.catchUp()
	}
	if c.lock, err = acquireLock(c.to); err != nil {
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

// copyPragmas keep the copy one plain file between two transactions, so that it is
// whole on a stick that is pulled out.
var copyPragmas = []string{"PRAGMA journal_mode = DELETE", "PRAGMA synchronous = FULL"}

// make copies the whole job by SQLite's online backup while the session goes on.
func (c *copier) make() (err error) {
	beside, clear := beside(c.to)
	clear() // what a pulled stick may have left
	defer func() {
		if err != nil {
			clear()
		}
	}()
	if err := backup(c.from, beside); err != nil {
		return err
	}
	if err := os.Rename(beside, c.to); err != nil {
		return err
	}
	return syncFolder(c.dir)
}

// backup writes all of from, as it is at this moment, to a new database at path.
func backup(from *sql.DB, path string) error {
	ctx := context.Background()
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY|unix.O_NOFOLLOW, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	to := openDB(path, "mode=rw", copyPragmas...)
	defer to.Close()
	source, err := from.Conn(ctx)
	if err != nil {
		return err
	}
	defer source.Close()
	target, err := to.Conn(ctx)
	if err != nil {
		return err
	}
	defer target.Close()
	// In one read transaction the job stays the same for us, however often the
	// session writes meanwhile, and the backup need not begin again.
	tx, err := source.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var id int64
	var sum []byte
	if id, sum, err = head(ctx, tx); err != nil {
		return err
	}
	err = target.Raw(func(t any) error {
		return source.Raw(func(s any) error { return pages(t.(*sqlite3.SQLiteConn), s.(*sqlite3.SQLiteConn)) })
	})
	if err != nil {
		return err
	}
	if _, err := target.ExecContext(ctx, "PRAGMA journal_mode = DELETE"); err != nil {
		return err
	}
	target.Close()
	if err := quickCheck(to); err != nil {
		return err
	}
	copied, err := to.Begin()
	if err != nil {
		return err
	}
	defer copied.Rollback()
	if gotID, gotSum, err := head(ctx, copied); err != nil || gotID != id || string(gotSum) != string(sum) {
		return errors.Join(fault(ErrDisk, "the copy does not read back as it was written", ""), err)
	}
	copied.Rollback()
	return to.Close()
}

// pages copies every page. Nobody else has either of them locked: the one is new,
// the other is being read by us in WAL mode.
func pages(to, from *sqlite3.SQLiteConn) error {
	b, err := to.Backup("main", from, "main")
	if err != nil {
		return err
	}
	done, err := b.Step(-1)
	if err != nil {
		b.Close()
		return err
	}
	if err := b.Close(); err != nil || done {
		return err
	}
	return fault(ErrInUse, "another program reads it", "")
}

// open opens the copy that is there, if it is one.
func (c *copier) open() error {
	if _, err := locate(c.to); err != nil {
		return err
	}
	how, _, err := inspect(c.to)
	if err != nil {
		return err
	}
	c.db = openDB(c.to, "mode=rw&_txlock=immediate", copyPragmas...)
	if err := migrate(c.db, how.version, len(migrations)); err != nil {
		return err
	}
	now, err := headOf(context.Background(), c.db)
	if err == nil {
		c.head = keepHead(c.to, now)
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
	id, sum, err := head(ctx, to)
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
			return fault(ErrNotCopy, fmt.Sprintf("its event %d is not that of this job", id), "")
		}
		if err != nil {
			return err
		}
	}
	var first []byte
	rows, err := from.Query("SELECT "+rowColumns+" FROM events WHERE id > ? ORDER BY id", id)
	if err != nil {
		return err
	}
	defer rows.Close()
	added := false
	for rows.Next() {
		var r row
		if err := r.scan(rows); err != nil {
			return err
		}
		if string(r.sum) != string(sumEvent(sum, &r)) {
			return fault(ErrDamaged, fmt.Sprintf("event %d of the job does not match its sum", r.id), "")
		}
		id, sum, added = r.id, r.sum, true
		if r.id == 1 {
			first = r.sum
		}
		var with kept
		if r.sound != nil {
			if err := from.QueryRow("SELECT format, rate, data FROM sounds WHERE event_id = ?", r.id).Scan(&with.format, &with.rate, &with.data); err != nil {
				return err
			}
			if what := faultOfSound(r.id, r.sound, with.data, true); what != "" {
				return fault(ErrDamaged, what, "")
			}
		}
		if err := r.insert(context.Background(), to, with); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil || !added {
		return err
	}
	if err := to.Commit(); err != nil {
		return err
	}
	c.head.stored(id, first, sum)
	return nil
}

// Snapshot writes the job at from, as it is now, to a new file at to: one plain
// file, checked, and brought up to date when an older waycall wrote it. It may be
// done while another session writes. Errors: as for OpenReadOnly and Create; then
// there is nothing at to.
func Snapshot(from, to string) (err error) {
	from, err = locate(from)
	if err != nil {
		return explain("copy the job", from, err)
	}
	if to, err = filepath.Abs(to); err != nil {
		return explain("copy the job to", to, err)
	}
	live := Held(from)
	db, c, err := openReader(from)
	if err != nil {
		return explain("copy the job", from, err)
	}
	defer db.Close()
	if _, err := c.refuseLost(context.Background(), db, live); err != nil {
		return explain("copy the job", from, err)
	}
	if _, err := os.Lstat(to); err == nil {
		return explain("copy the job to", to, fs.ErrExist)
	}
	if err := backup(db, to); err != nil {
		os.Remove(to)
		os.Remove(to + "-journal")
		return explain("copy the job to", to, err)
	}
	s, err := Open(to)
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		os.Remove(to)
		os.Remove(to + headEnd)
	}
	return err
}

// Move gives the file of the job at from another name, or puts it into another
// folder of the same disk. Nobody may have it open, and nothing may be at to.
// Errors: as for Open, fs.ErrExist; then nothing was moved.
func Move(from, to string) error {
	from, err := locate(from)
	if err != nil {
		return explain("move the job", from, err)
	}
	if to, err = filepath.Abs(to); err != nil {
		return explain("move the job to", to, err)
	}
	s, err := Open(from)
	if err != nil {
		return err
	}
	lock := s.lock
	s.lock = nil // kept over the Close
	defer lock.release()
	if err = s.rest(); err == nil {
		_, err = s.db.Exec("PRAGMA busy_timeout = 0; PRAGMA journal_mode = DELETE")
	}
	if err != nil {
		s.Close()
		return explain("move the job", from, err)
	}
	if err := s.Close(); err != nil {
		return err
	}
	if _, err := os.Lstat(from + "-wal"); err == nil {
		return explain("move the job", from, fault(ErrInUse, "another program reads it", "end that first"))
	}
	there, err := acquireLock(to)
	if err != nil {
		return explain("move the job to", to, err)
	}
	defer there.release()
	if _, err := os.Lstat(to); err == nil {
		return explain("move the job to", to, fs.ErrExist)
	}
	if err := os.Rename(from, to); err != nil {
		return explain("move the job to", to, err)
	}
	moveBeside(from, to)
	return explain("move the job to", to, errors.Join(syncFolder(filepath.Dir(to)), syncFolder(filepath.Dir(from))))
}
