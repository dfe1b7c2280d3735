// Package store keeps the event log of one job, with the sound it rests on, in
// one SQLite file.
//
// The log is append-only: what was heard, said, proposed, confirmed or taken
// back is added and never changed, and the file itself refuses an UPDATE or a
// DELETE. Everything else that is known about a job is folded from the log by
// package record. Two tables hold it, described in migrations/:
//
//	events  id, at, kind, data (the other fields of record.Event as JSON), sha256, sound
//	sounds  event_id (a heard event), format (wav or flac), rate, data, sha256
//
// The log is a chain: the sum of an event covers the sum of the event before it,
// and the sum of its sound. What was taken out, put in, moved or changed anywhere
// is found, and Verify says where.
//
// Append writes a phrase, its sound and every fact that follows from it in one
// transaction, and returns only when they are on the disk (SQLite's WAL with
// synchronous=FULL). So what a read-back calls stored survives a crash, a kill
// and a power cut, and a phrase is never there without its sound. The sound of
// talk that was not for the tool is never given to this package.
//
// The chain finds damage and carelessness. It does not prove that nobody altered
// the file: who can write to it can also make the sums anew, or take events off its
// end. Against that, keep the sum of the last event elsewhere; Verify tells it.
//
// One process writes at a time, held off from others by a lock on PATH.lock.
// Any number may read alongside it.
package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/mattn/go-sqlite3"

	"waycall/internal/mishap"
	"waycall/internal/record"
	"waycall/internal/store/internal/jobfile"
)

// Store is an open job. Its methods may be called from several goroutines.
type Store struct {
	path     string
	db       *sql.DB
	lock     *jobfile.Lock // nil when open for reading only
	readOnly bool
	found    []Finding         // what opening found
	aloud    []string          // the same, as far as it is to be spoken
	head     *jobfile.HeadFile // how far the record has come, beside it; nil when none can be kept
	failed   atomic.Bool       // an Append failed, and its frames may lie behind the end of the log
	jammed   atomic.Bool       // SQLite may be waiting for a lock that nobody gives back
	renewed  time.Time         // when it was opened anew because of that

	held      held    // what its files look like
	spare     *sql.DB // reads them beside the work, and has them open, too
	abandoned error   // why it is not used any more
	rescued   string  // where the record was written to when its file was gone
	rescuedAt time.Time

	tryFirst atomic.Bool    // an Append failed, and nothing was written since
	changes  changes        // told after every Append
	stop     chan struct{}  // closed to end what runs beside; nil until it runs
	beside   sync.WaitGroup // the checkpoints and the copy
	copy     *copier        // nil when none is kept
}

// Create makes a new, empty job at path, with access for its owner only, and
// opens it for writing. The file appears whole or not at all. Errors: fs.ErrExist
// when something is there already, ErrInUse, ErrReadOnly, ErrFull, ErrDisk.
func Create(path string) (*Store, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, jobfile.Explain("create the job", path, err)
	}
	lock, err := jobfile.AcquireLock(path)
	if err != nil {
		return nil, jobfile.Explain("create the job", path, err)
	}
	if err := jobfile.Create(path); err != nil {
		lock.Release()
		return nil, jobfile.Explain("create the job", path, err)
	}
	return openLocked(path, lock)
}

// Open opens the job at path for writing, and brings a job of an older waycall
// up to date. The whole file is checked for damage first. Errors:
// fs.ErrNotExist, ErrInUse when another session has it, ErrForeign, ErrNewer,
// ErrDamaged (ErrLog, too, when PutLogAside can help), ErrReadOnly, ErrFull, ErrDisk;
// none of them changes the file. Found says what else was found.
func Open(path string) (*Store, error) {
	path, err := jobfile.Locate(path)
	if err != nil {
		return nil, jobfile.Explain("open the job", path, err)
	}
	lock, err := jobfile.AcquireLock(path)
	if err != nil {
		return nil, jobfile.Explain("open the job", path, err)
	}
	return openLocked(path, lock)
}

// openLocked opens path for writing. It owns lock, also when it fails.
func openLocked(path string, lock *jobfile.Lock) (*Store, error) {
	s := &Store{path: path, lock: lock}
	opened := false
	defer func() {
		if !opened { // nor by a panic: a server would keep the job locked
			s.Close()
		}
	}()
	if err := s.open(); err != nil {
		return nil, jobfile.Explain("open the job", path, err)
	}
	opened = true
	return s, nil
}

func (s *Store) open() error {
	c, x, err := inspect(s.path)
	if err != nil {
		return err
	}
	s.found, s.aloud = x.notes, x.aloud
	s.db = jobfile.OpenDB(s.path, "mode=rw&_txlock=immediate", jobfile.WriterPragmas...)
	var mode string
	if err := s.db.QueryRow("PRAGMA journal_mode").Scan(&mode); err != nil {
		return err
	}
	if mode != "wal" {
		return jobfile.Fault(ErrDisk, "its file system cannot share memory between programs", "keep the job on a local disk")
	}
	if err := jobfile.Migrate(s.db, c.version, len(jobfile.Migrations)); err != nil {
		return err
	}
	// Nothing old is left to lie in the log. Where it cannot be done, because somebody reads
	// or the disk is full, nothing is lost.
	_ = jobfile.TruncateLog(s.db)
	// It has the files open, too, and reads them when their names are gone.
	s.spare = jobfile.OpenDB(s.path, "mode=ro", jobfile.ReaderPragmas...)
	now, err := jobfile.HeadOf(context.Background(), s.spare)
	if err != nil {
		return err
	}
	if s.jammed.Load() {
		if err := s.goesOn(now); err != nil {
			return err
		}
	}
	if f, aloud := c.ofUnsure(now); aloud != "" {
		s.found, s.aloud = append(s.found, f), append(s.aloud, aloud)
	}
	s.head = jobfile.KeepHead(s.path, now)
	s.held.stored(now.ID, now.Sum[:])
	if err := s.held.take(s.path); err != nil {
		return err
	}
	s.stop = make(chan struct{})
	s.beside.Go(mishap.Caught("move the newest of a job into its file", mishap.Note, func() { s.checkpoints(s.stop) }))
	return nil
}

// Found returns what opening the job found that a person should know, and that kept
// nobody from opening it: a session that was cut off, events that may not have been stored
// and are, damaged files that were put aside, another record than was here.
func (s *Store) Found() []Finding { return s.found }

// Warning is what of Found somebody at work must hear before he goes on, in words to be
// spoken; "" when there is nothing.
func (s *Store) Warning() string { return strings.Join(s.aloud, " ") }

// inspect goes through the whole job at path without writing to it, because a file that
// is refused stays as it is, and returns how it lies there. A transaction that was cut off
// in the middle is undone first. The caller holds the lock.
func inspect(path string) (condition, examined, error) {
	if err := jobfile.RollBack(path); err != nil {
		return condition{path: path}, examined{}, err
	}
	db, c, x, err := openWhole(path, false)
	if err != nil {
		return c, x, err
	}
	defer db.Close()
	return c, x, c.blameLog(jobfile.CheckSchema(db, c.version), false)
}

// OpenReadOnly opens the job at path for reading. It may be done while another
// session writes, and in a folder that cannot be written to. The whole file is
// checked for damage first. Errors: fs.ErrNotExist, ErrForeign, ErrNewer,
// ErrDamaged, ErrReadOnly, ErrDisk.
func OpenReadOnly(path string) (*Store, error) {
	path, err := jobfile.Locate(path)
	if err != nil {
		return nil, jobfile.Explain("open the job", path, err)
	}
	s := &Store{path: path, readOnly: true}
	if err := s.openReadOnly(); err != nil {
		s.Close()
		return nil, jobfile.Explain("open the job", path, err)
	}
	return s, nil
}

func (s *Store) openReadOnly() error {
	db, c, x, err := openWhole(s.path, Held(s.path))
	if err != nil {
		return err
	}
	s.db, s.found = db, x.notes
	if c.version < len(jobfile.Migrations) {
		return jobfile.Fault(ErrReadOnly, "an older waycall wrote it", "open it once for work, which brings it up to date")
	}
	return c.blameLog(jobfile.CheckSchema(s.db, c.version), Held(s.path))
}

// openWhole is openReader for a file whose every page and row is sound, and of which
// nothing is known to be lost. live says that a session may have it open.
func openWhole(path string, live bool) (*sql.DB, condition, examined, error) {
	db, c, err := openReader(path)
	if err != nil {
		return nil, c, examined{}, c.blameLog(err, live)
	}
	x, err := c.refuseLost(context.Background(), db, live)
	if err == nil {
		err = jobfile.QuickCheck(db)
	}
	if err != nil {
		db.Close()
		return nil, c, x, c.blameLog(err, live)
	}
	return db, c, x, nil
}

// openReader opens the job at path for reading only and returns how it lies there.
func openReader(path string) (*sql.DB, condition, error) {
	rollBack(path)
	c := condition{path: path, hadLog: jobfile.HasLog(path)}
	// Before the log is looked at, which a session may write meanwhile: what was told to
	// be stored by now is in what is read after this.
	c.told, c.toldErr = jobfile.ReadTold(path)
	cutOff := jobfile.Fault(ErrReadOnly, "its last session was cut off and has to be recovered",
		"copy it, with the file of the same name that ends in -wal or -journal, to a folder that you may write to")
	version, err := jobfile.Peek(path)
	if jobfile.IsReadOnly(err) {
		return nil, c, cutOff
	}
	if err != nil {
		return nil, c, err
	}
	c.version = version
	db := jobfile.OpenDB(path, "mode=ro", jobfile.ReaderPragmas...)
	var tables int
	look := func() error { return db.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&tables) }
	if err = look(); jobfile.IsReadOnly(err) && !jobfile.HasLog(path) && !jobfile.HasJournal(path) {
		// The log beside the file cannot be made in a read-only folder. As
		// there is none, nothing is missing from the file itself.
		db.Close()
		db = jobfile.OpenDB(path, "mode=ro&immutable=1", jobfile.ReaderPragmas...)
		err, c.cut = look(), true
	} else if jobfile.IsReadOnly(err) {
		err = cutOff
	}
	var mode string
	if err == nil && !c.cut {
		err = db.QueryRow("PRAGMA journal_mode").Scan(&mode)
		c.cut = mode == "wal"
	}
	if err != nil {
		db.Close()
		return nil, c, err
	}
	return db, c, nil
}

// rollBack is jobfile.RollBack for who only reads, where nobody has the job open and its
// folder can be written to: otherwise SQLite says what keeps it from being read.
func rollBack(path string) {
	if !jobfile.HasJournal(path) {
		return
	}
	if lock, err := jobfile.AcquireLock(path); err == nil {
		defer lock.Release()
		_ = jobfile.RollBack(path)
	}
}

// Path returns the absolute path of the job's file.
func (s *Store) Path() string { return s.path }

// Close ends the use of the job, once the copy that CopyTo asked for has what was
// written last; Copied still says whether it has. Errors: as for Append, when the file
// is not there with all that was stored. When nobody else has it open, the job is then
// one plain file, which may be copied.
func (s *Store) Close() error {
	worked := s.stop != nil || s.jammed.Load()
	err := s.rest()
	if s.db != nil && err == nil {
		if s.lock != nil {
			// Out of WAL mode the job can be read without a log made beside it,
			// also where none can be made. While somebody reads it cannot be
			// done, which is no loss: the next session does it. Then at least nothing
			// is left in the log.
			_, _ = s.db.Exec("PRAGMA busy_timeout = 0; PRAGMA wal_checkpoint(TRUNCATE)")
			_, _ = s.db.Exec("PRAGMA journal_mode = DELETE")
		}
		if err = s.db.Close(); err == nil && worked {
			err = s.checkEnd()
		}
	}
	// Otherwise the connection stays: closing it would write to what is not ours.
	s.head.Close()
	s.head = nil
	if s.lock != nil {
		s.lock.Release()
		s.lock = nil
	}
	return jobfile.Explain("close the job", s.path, err)
}

// rest ends what runs beside the work, once the files were looked at: before anything is
// moved into the file or removed beside it.
func (s *Store) rest() error {
	if s.stop == nil {
		return s.abandoned
	}
	err := s.secure(false)
	if s.stop != nil { // else it could not be opened again
		close(s.stop)
		s.beside.Wait()
		s.stop = nil
	}
	if err == nil {
		s.spare.Close()
	}
	return err
}

// Append adds a batch of events to the log, all or none, and returns them as
// they will be read back: times in UTC, and a byte that is not UTF-8 replaced by
// U+FFFD. It returns once they are on the disk.
//
// The events carry their IDs already, as package record says: the batch goes on
// where the log ends, without a gap. A batch that does not was made from a state
// that is not that of the log, and is refused.
//
// A batch holds at most one Heard event. When it holds one, sound is what was
// heard: a 16-bit mono WAV or FLAC file; otherwise sound is nil. An event may
// rest on (HeardID) a Heard event of an earlier batch or of its own, before it.
//
// ctx is looked at before the work begins and not after, so that a Ctrl-C
// cannot leave it in doubt whether a phrase was stored. Errors: ErrInvalid for
// a batch that cannot be stored, ErrFull, ErrReadOnly, ErrInUse, ErrDamaged,
// ErrDisk; ErrGone, ErrReplaced, ErrChanged and ErrElsewhere when the files of the job were looked at
// and are not what this store left (see Rescued). After any of them this store goes on as if nothing of the batch had been
// stored, and can be used again. Where the error is ErrUnsure, too, the disk failed
// while the batch was made to last: if the session ends there, the next opening may
// find it in the log, whole. After any other nothing of it is in the file.
func (s *Store) Append(ctx context.Context, batch []record.Event, sound []byte) ([]record.Event, error) {
	stored, err := s.append(ctx, batch, sound)
	if err != nil {
		s.tryFirst.Store(true)
		s.failed.Store(true)
		s.noteJam(err)
		return nil, jobfile.Explain("store in the job", s.path, err)
	}
	return stored, nil
}

func (s *Store) append(ctx context.Context, batch []record.Event, sound []byte) ([]record.Event, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if s.readOnly {
		return nil, jobfile.Fault(ErrReadOnly, "it was opened for reading only", "open it for work")
	}
	format, rate, err := checkBatch(batch, sound)
	if err != nil {
		return nil, err
	}
	if len(batch) == 0 {
		return nil, nil
	}
	ctx = context.WithoutCancel(ctx)
	if err := s.usable(); err != nil {
		return nil, err
	}
	s.afterFailure()
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback() // does nothing after a commit

	last, before, err := jobfile.LastSum(ctx, tx)
	if err != nil {
		return nil, err
	}
	stored := slices.Clone(batch)
	var first []byte // the sum of event 1, if it is in this batch
	for i := range stored {
		e := &stored[i]
		if next := last + 1 + int64(i); e.ID < next && (s.lock.Lost || !s.lock.Held()) {
			return nil, jobfile.Fault(ErrOvertaken, filepath.Base(s.lock.File.Name())+" was removed, which keeps sessions apart", "")
		} else if e.ID != next {
			return nil, wrongEvent(i, e, fmt.Errorf("it is numbered %d where the log goes on with %d", e.ID, next))
		}
		rests := []int64{e.HeardID}
		for _, f := range e.Then {
			rests = append(rests, f.HeardID)
		}
		for _, on := range rests {
			if on == 0 {
				continue
			}
			if err := checkHeard(ctx, tx, on); err != nil {
				return nil, wrongEvent(i, e, err)
			}
		}
		if want := hex.EncodeToString(before); e.Kind == record.Signed && e.Sum != want {
			return nil, wrongEvent(i, e, fmt.Errorf("it signs a log that ends with the sum %.8s, and this one ends with %.8s", e.Sum, want))
		}
		at, data, err := jobfile.Encode(e)
		if err != nil {
			return nil, wrongEvent(i, e, err)
		}
		r := jobfile.Row{ID: e.ID, At: at, Kind: string(e.Kind), Data: data}
		if e.Kind == record.Heard {
			sum := sha256.Sum256(sound)
			r.Sound = sum[:]
		}
		r.Sum = jobfile.SumEvent(before, &r)
		if before = r.Sum; r.ID == 1 {
			first = r.Sum
		}
		if err := r.Insert(ctx, tx, jobfile.Sound{Format: format, Rate: rate, Data: sound}); err != nil {
			return nil, err
		}
	}
	if err := tx.Commit(); err != nil {
		if err = jobfile.InDoubt(err); errors.Is(err, ErrUnsure) {
			s.head.Unsure(stored[len(stored)-1].ID)
		}
		return nil, err
	}
	s.tryFirst.Store(false)
	s.held.stored(stored[len(stored)-1].ID, before)
	s.head.Stored(stored[len(stored)-1].ID, first, before)
	// It is in the open file; whether that can be found by its name is another thing.
	if err := s.secure(true); err != nil {
		return nil, jobfile.AlsoUnsure(err)
	}
	s.changes.tell()
	return stored, nil
}

// afterFailure begins a new round of the log after an Append that failed: what that left
// behind the end of the log would look like damage, where the next batch is shorter.
func (s *Store) afterFailure() {
	if s.failed.Load() && jobfile.TruncateLog(s.db) == nil {
		s.failed.Store(false)
		_ = s.held.take(s.path) // where that fails the next look tells
	}
}

// wrongEvent is a fault of the event at index i of a batch. An error of SQLite
// while looking is passed on as it is.
func wrongEvent(i int, e *record.Event, err error) error {
	var lite sqlite3.Error
	if errors.As(err, &lite) {
		return err
	}
	return jobfile.Fault(ErrInvalid, fmt.Sprintf("event %d of the batch, %q: %v", i+1, e.Kind, err), "")
}

// checkHeard refuses an id that is not of a Heard event in the log or earlier
// in the batch.
func checkHeard(ctx context.Context, tx *sql.Tx, id int64) error {
	var kind string
	err := tx.QueryRowContext(ctx, "SELECT kind FROM events WHERE id = ?", id).Scan(&kind)
	if errors.Is(err, sql.ErrNoRows) || err == nil && record.Kind(kind) != record.Heard {
		return fmt.Errorf("it rests on event %d, which is not a heard phrase before it", id)
	}
	return err
}

// Events returns the whole log in the order of writing. Every event is checked
// against its sum, and so is its place in the chain. Errors: ErrDamaged, ErrDisk.
func (s *Store) Events(ctx context.Context) ([]record.Event, error) {
	events, err := s.events(ctx)
	if err != nil {
		return nil, jobfile.Explain("read the job", s.path, err)
	}
	return events, nil
}

func (s *Store) events(ctx context.Context) ([]record.Event, error) { return readEvents(ctx, s.db) }

func readEvents(ctx context.Context, log jobfile.RowsQueryer) (events []record.Event, err error) {
	err = eachEvent(ctx, log, func(e record.Event) error {
		events = append(events, e)
		return nil
	})
	return events, err
}

// Fold returns the state that the whole log leads to, as record.Fold does, without
// holding the log in memory. Errors: as of Events, and those of record.Fold.
func (s *Store) Fold(ctx context.Context) (state record.State, err error) {
	var folding error
	err = eachEvent(ctx, s.db, func(e record.Event) error {
		state, folding = state.Follow(e)
		return folding
	})
	if folding != nil {
		return state, folding
	}
	return state, jobfile.Explain("read the job", s.path, err)
}

// eachEvent gives do every event of the log, in order and checked, until it fails.
func eachEvent(ctx context.Context, log jobfile.RowsQueryer, do func(record.Event) error) error {
	rows, err := log.QueryContext(ctx, "SELECT "+jobfile.RowColumns+" FROM events ORDER BY id")
	if err != nil {
		return err
	}
	defer rows.Close()
	var c jobfile.Chain
	for rows.Next() {
		var r jobfile.Row
		if err := r.Scan(rows); err != nil {
			return err
		}
		if what := c.Add(&r); what != "" {
			return jobfile.Fault(ErrDamaged, what, "")
		}
		e, err := jobfile.Decode(r.ID, r.At, r.Kind, r.Data)
		if err != nil {
			return jobfile.Fault(ErrDamaged, fmt.Sprintf("event %d: %v", r.ID, err), "")
		}
		if err := do(e); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Sound returns the sound of the Heard event with the given ID, the WAV or FLAC
// file that was stored, checked against its sum. Errors: ErrNoSound when there
// is no such Heard event, ErrDamaged, ErrDisk.
func (s *Store) Sound(ctx context.Context, heardID int64) ([]byte, error) {
	sound, err := readSound(ctx, s.db, heardID)
	if err != nil {
		return nil, jobfile.Explain("read a sound of the job", s.path, err)
	}
	return sound, nil
}

// SoundOf returns a sound of the job at path as Store.Sound does, without looking
// at the rest of the file, which OpenReadOnly does first. Errors: as there, and as
// for OpenReadOnly.
func SoundOf(ctx context.Context, path string, heardID int64) (sound []byte, err error) {
	failed := SoundsOf(ctx, path, []int64{heardID}, func(_ int64, one []byte, e error) { sound, err = one, e })
	return sound, errors.Join(failed, err)
}

// SoundsOf gives each the sounds of several phrases, one after another in the order
// of their IDs here, with the error that SoundOf would return for one of them. The
// error that it returns is for the file.
func SoundsOf(ctx context.Context, path string, heardIDs []int64, each func(id int64, sound []byte, err error)) error {
	doing := "read a sound of the job"
	path, err := jobfile.Locate(path)
	if err != nil {
		return jobfile.Explain(doing, path, err)
	}
	db, _, err := openReader(path)
	if err != nil {
		return jobfile.Explain(doing, path, err)
	}
	defer db.Close()
	for _, id := range heardIDs {
		if err := ctx.Err(); err != nil {
			return err
		}
		sound, err := readSound(ctx, db, id)
		each(id, sound, jobfile.Explain(doing, path, err))
	}
	return nil
}

func readSound(ctx context.Context, db *sql.DB, heardID int64) ([]byte, error) {
	var kind string
	var sound, want []byte
	var there bool
	err := db.QueryRowContext(ctx, "SELECT kind, sound, sounds.data, event_id IS NOT NULL FROM events LEFT JOIN sounds ON event_id = id WHERE id = ?",
		heardID).Scan(&kind, &want, &sound, &there)
	switch {
	case errors.Is(err, sql.ErrNoRows) || err == nil && record.Kind(kind) != record.Heard:
		return nil, jobfile.Fault(ErrNoSound, fmt.Sprintf("event %d is not a heard phrase", heardID), "")
	case err != nil:
		return nil, err
	}
	if what := faultOfSound(heardID, want, sound, there); what != "" {
		return nil, jobfile.Fault(ErrDamaged, what, "")
	}
	return sound, nil
}

// faultOfSound says what is wrong with the sound of a heard event, whose sum is
// want, or nothing.
func faultOfSound(id int64, want, sound []byte, there bool) string {
	switch got := sha256.Sum256(sound); {
	case !there:
		return fmt.Sprintf("the sound of event %d is missing", id)
	case string(want) != string(got[:]):
		return fmt.Sprintf("the sound of event %d does not match its sum", id)
	}
	return ""
}
