package jobfile

import (
	"context"
	"database/sql"
	"errors"
	"os"

	"github.com/mattn/go-sqlite3"
	"golang.org/x/sys/unix"
)

// CopyPragmas keep the copy one plain file between two transactions, so that it is
// whole on a stick that is pulled out.
var CopyPragmas = []string{"PRAGMA journal_mode = DELETE", "PRAGMA synchronous = FULL"}

// Backup writes all of from, as it is at this moment, to a new database at path.
func Backup(from *sql.DB, path string) error {
	ctx := context.Background()
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY|unix.O_NOFOLLOW, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	to := OpenDB(path, "mode=rw", CopyPragmas...)
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
	if id, sum, err = LastSum(ctx, tx); err != nil {
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
	if err := QuickCheck(to); err != nil {
		return err
	}
	copied, err := to.Begin()
	if err != nil {
		return err
	}
	defer copied.Rollback()
	if gotID, gotSum, err := LastSum(ctx, copied); err != nil || gotID != id || string(gotSum) != string(sum) {
		return errors.Join(Fault(ErrDisk, "the copy does not read back as it was written", ""), err)
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
	return Fault(ErrInUse, "another program reads it", "")
}
