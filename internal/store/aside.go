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

	"waycall/internal/store/internal/jobfile"
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
	path, err := jobfile.Locate(path)
	if err != nil {
		return Finding{}, jobfile.Explain("open the job", path, err)
	}
	lock, err := jobfile.AcquireLock(path)
	if err != nil {
		return Finding{}, jobfile.Explain("open the job", path, err)
	}
	defer lock.Release()
	f, err := putAside(path)
	if errors.Is(jobfile.ReasonFor(err), ErrFull) {
		err = jobfile.Fault(ErrFull, jobfile.OneLine(err.Error()), "nothing was changed; make room for a second copy of the job, and begin again")
	}
	return f, jobfile.Explain("put the damaged log aside of", path, err)
}

func putAside(path string) (Finding, error) {
	var with jobfile.Told
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
	alone := jobfile.OpenDB(path, "mode=ro&immutable=1", jobfile.ReaderPragmas...)
	defer alone.Close()
	without, errWithout := wholeHead(alone)
	if errWith != nil && errWithout != nil {
		return Finding{}, jobfile.Fault(ErrDamaged, "neither the file nor the file with its log is whole: "+jobfile.OneLine(errWith.Error()),
			"leave the files as they are and go on with a copy from a backup, the copy folder or an exported file")
	}
	ends := with
	byItself := errWith != nil || errWithout == nil && without.ID > with.ID
	if byItself {
		ends = without
	}
	found := Finding{}
	switch {
	case c.toldErr == nil && c.told.ID <= ends.ID:
		found.What = fmt.Sprintf("the write-ahead log of its last session is damaged; everything up to event %d, the last that was told to be stored, is in the file all the same", c.told.ID)
	case c.toldErr == nil:
		found.What = fmt.Sprintf("the write-ahead log of its last session is damaged or gone: %s stored and %s lost, readings or what was taken back among them",
			span(ends.ID+1, c.told.ID, "was", "were"), isAre(c.told.ID-ends.ID))
	default:
		found.What = fmt.Sprintf("the write-ahead log of its last session is damaged: what was stored after event %d is lost, readings or what was taken back among it", ends.ID)
	}
	dir, err := copyAside(path, found.What)
	if err != nil {
		return Finding{}, err
	}
	found.Event = ends.ID + 1
	found.Do = "look through what is recorded, and test again what is missing; the damaged files are in " + dir
	if db != nil {
		db.Close()
	}
	alone.Close()
	if err := leave(path, byItself); err != nil {
		return Finding{}, err
	}
	// Last, so that a kill before this is found again.
	jobfile.KeepHead(path, ends).Close()
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
		return jobfile.SyncFolder(filepath.Dir(path))
	}
	db := jobfile.OpenDB(path, "mode=rw", jobfile.WriterPragmas...)
	defer db.Close()
	return jobfile.TruncateLog(db)
}

// wholeHead reads all of an open job and returns its end, if it is whole.
func wholeHead(db *sql.DB) (jobfile.Told, error) {
	ctx := context.Background()
	version, err := jobfile.SchemaVersion(db)
	if err != nil {
		return jobfile.Told{}, err
	}
	if err := jobfile.CheckSchema(db, version); err != nil {
		return jobfile.Told{}, err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return jobfile.Told{}, err
	}
	defer tx.Rollback()
	if _, err := readEvents(ctx, tx); err != nil && version >= jobfile.Chained {
		return jobfile.Told{}, err
	}
	r := Report{Schema: version}
	for _, step := range []func(context.Context, *sql.Tx) error{r.pages, r.sounds} {
		if err := step(ctx, tx); err != nil {
			return jobfile.Told{}, err
		}
		if len(r.Problems) > 0 {
			return jobfile.Told{}, jobfile.Fault(ErrDamaged, r.Problems[0].What, "")
		}
	}
	return jobfile.HeadOf(ctx, tx)
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
	for _, end := range []string{"", "-wal", jobfile.HeadEnd} {
		from, err := jobfile.OpenPlain(path + end)
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
	if err := jobfile.SyncFolder(making); err != nil {
		return "", err
	}
	if err := os.Rename(making, dir); err != nil {
		return "", err
	}
	return dir, jobfile.SyncFolder(filepath.Dir(path))
}

// writeSynced writes a new file that lasts.
func writeSynced(name string, from io.Reader) error {
	to, err := jobfile.OpenBeside(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY)
	if err != nil {
		return err
	}
	_, err = io.Copy(to, from)
	return errors.Join(err, to.Sync(), to.Close())
}
