package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// asideWhy is the text in a folder of damaged files that says why they were put there.
const asideWhy = "why.txt"

// asideOf is the n-th folder of damaged files beside the job at path, from 1.
func asideOf(path string, n int) string { return fmt.Sprintf("%s-damaged-%d", path, n) }

// PutLogAside lets work go on with a job that Open refuses with ErrLog: it copies the
// job's file and its log as they are into a folder beside it, JOB.waycall-damaged-1, and
// then leaves what is whole of the record in the file: what the file has with the part of
// the log that is sound, or what it has by itself, whichever is longer. The Finding says
// what is missing; Verify and Store.Found go on saying it while that folder is there. For
// a job whose log is not damaged it does nothing and the Finding is empty. No Store of this
// process may have the job open. Errors: as for Open; ErrDamaged also when nothing of the
// record is whole. Until the copy is on the disk nothing is changed.
func PutLogAside(path string) (Finding, error) {
	path, err := locate(path)
	if err != nil {
		return Finding{}, explain("open the job", path, err)
	}
	lock, err := acquireLock(path)
	if err != nil {
		return Finding{}, explain("open the job", path, err)
	}
	defer lock.release()
	f, err := putAside(path)
	if errors.Is(reasonFor(err), ErrFull) {
		err = fault(ErrFull, oneLine(err.Error()), "nothing was changed; make room for a second copy of the job, and begin again")
	}
	return f, explain("put the damaged log aside of", path, err)
}

func putAside(path string) (Finding, error) {
	var with told
	var x examined
	db, c, errWith := openReader(path)
	if errWith == nil {
		defer db.Close()
		if x, errWith = c.examine(context.Background(), db, false); errWith == nil {
			with, errWith = wholeHead(db)
		}
	}
	if x.lost == nil && (errWith == nil || !errors.Is(c.blameLog(errWith, false), ErrLog)) {
		return Finding{}, errWith
	}
	// The file by itself, as if there were no log.
	alone := openDB(path, "mode=ro&immutable=1", readerPragmas...)
	defer alone.Close()
	without, errWithout := wholeHead(alone)
	if errWith != nil && errWithout != nil {
		return Finding{}, fault(ErrDamaged, "neither the file nor the file with its log is whole: "+oneLine(errWith.Error()),
			"leave the files as they are and go on with a copy from a backup, the copy folder or an exported file")
	}
	ends := with
	byItself := errWith != nil || errWithout == nil && without.id > with.id
	if byItself {
		ends = without
	}
	found := Finding{}
	switch {
	case c.toldErr == nil && c.told.id <= ends.id:
		found.What = fmt.Sprintf("the write-ahead log of its last session is damaged; everything up to event %d, the last that was told to be stored, is in the file all the same", c.told.id)
	case c.toldErr == nil:
		found.What = fmt.Sprintf("the write-ahead log of its last session is damaged or gone: %s stored and %s lost, readings or what was taken back among them",
			span(ends.id+1, c.told.id, "was", "were"), isAre(c.told.id-ends.id))
	default:
		found.What = fmt.Sprintf("the write-ahead log of its last session is damaged: what was stored after event %d is lost, readings or what was taken back among it", ends.id)
	}
	dir, err := copyAside(path, found.What)
	if err != nil {
		return Finding{}, err
	}
	found.Event = ends.id + 1
	found.Do = "look through what is recorded, and test again what is missing; the damaged files are in " + dir
	if db != nil {
		db.Close()
	}
	alone.Close()
	if err := leave(path, byItself); err != nil {
		return Finding{}, err
	}
	// Last, so that a kill before this is found again.
	keepHead(path, ends).close()
	return found, nil
}

// leave leaves the job at path without a log: with what is sound of it, or by itself.
func leave(path string, byItself bool) error {
	if byItself {
		for _, end := range []string{"-wal", "-shm"} {
			if err := os.Remove(path + end); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
		return syncFolder(filepath.Dir(path))
	}
	db := openDB(path, "mode=rw", writerPragmas...)
	defer db.Close()
	return truncateLog(db)
}

// truncateLog moves the whole log into the file and leaves it empty. It does not wait long
// for who reads it: ErrInUse.
func truncateLog(db *sql.DB) error {
	if _, err := db.Exec("PRAGMA busy_timeout = 100"); err != nil {
		return err
	}
	defer func() { _, _ = db.Exec(fmt.Sprintf("PRAGMA busy_timeout = %d", busyWait)) }()
	var busy, frames, moved int
	if err := db.QueryRow("PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved); err != nil {
		return err
	}
	if busy != 0 {
		return fault(ErrInUse, "another program reads it", "end that first")
	}
	return nil
}

// wholeHead reads all of an open job and returns its end, if it is whole.
func wholeHead(db *sql.DB) (told, error) {
	ctx := context.Background()
	version, err := schemaVersion(db)
	if err != nil {
		return told{}, err
	}
	if err := checkSchema(db, version); err != nil {
		return told{}, err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return told{}, err
	}
	defer tx.Rollback()
	if _, err := readEvents(ctx, tx); err != nil && version >= chained {
		return told{}, err
	}
	r := Report{Schema: version}
	for _, step := range []func(context.Context, *sql.Tx) error{r.pages, r.sounds} {
		if err := step(ctx, tx); err != nil {
			return told{}, err
		}
		if len(r.Problems) > 0 {
			return told{}, fault(ErrDamaged, r.Problems[0].What, "")
		}
	}
	return headOf(ctx, tx)
}

// copyAside copies the files of the job at path, as they are, into the next folder for
// damaged ones, whole or not at all.
func copyAside(path, why string) (dir string, err error) {
	n := 1
	for ; ; n++ {
		dir = asideOf(path, n)
		if _, err := os.Lstat(dir); errors.Is(err, fs.ErrNotExist) {
			break
		} else if err != nil {
			return "", err
		}
	}
	making := path + "-damaged.new"
	if err := os.RemoveAll(making); err != nil { // what a kill may have left
		return "", err
	}
	if err := os.Mkdir(making, 0o700); err != nil {
		return "", err
	}
	defer func() {
		if err != nil {
			os.RemoveAll(making)
		}
	}()
	for _, end := range []string{"", "-wal", headEnd} {
		from, err := openPlain(path + end)
		if end != "" && errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return "", err
		}
		err = writeSynced(filepath.Join(making, filepath.Base(path)+end), from)
		from.Close()
		if err != nil {
			return "", err
		}
	}
	if err := writeSynced(filepath.Join(making, asideWhy), strings.NewReader(why+"\n")); err != nil {
		return "", err
	}
	if err := syncFolder(making); err != nil {
		return "", err
	}
	if err := os.Rename(making, dir); err != nil {
		return "", err
	}
	return dir, syncFolder(filepath.Dir(path))
}

// writeSynced writes a new file that lasts.
func writeSynced(name string, from io.Reader) error {
	to, err := openBeside(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY)
	if err != nil {
		return err
	}
	_, err = io.Copy(to, from)
	return errors.Join(err, to.Sync(), to.Close())
}
