// Package jobfile is a job as it lies on the disk: the tables of its SQLite file and their
// versions, the chain of sums over its events, the write-ahead log that SQLite leaves, the
// lock and the head beside it, and what fails there.
//
// It holds formats, and what one look or one step does with them. When a job is opened,
// written, copied or put aside is for package store to decide, which alone imports this
// one: whoever wants a job opens it there.
package jobfile

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"embed"
	"fmt"
	"io/fs"
	"net/url"
	"slices"

	"github.com/mattn/go-sqlite3"
)

// ApplicationID is SQLite's application_id of a job: 'wayc' in ASCII. The first
// migration writes it.
const ApplicationID = 0x77617963

// migrationFiles holds one .sql file for each schema version, in order. A file
// that was released is never changed; a new version is a new file.
//
//go:embed migrations/*.sql
var migrationFiles embed.FS

// Migrations are the texts of migrationFiles: Migrations[0] makes version 1.
var Migrations = func() []string {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql")
	if err != nil {
		panic(err)
	}
	slices.Sort(names)
	texts := make([]string, len(names))
	for i, name := range names {
		b, err := migrationFiles.ReadFile(name)
		if err != nil {
			panic(err)
		}
		texts[i] = string(b)
	}
	return texts
}()

// Chained is the schema version from which on the log is a chain.
const Chained = 2

// pragmas run on every connection before anything else. A job may come from
// anywhere, so its own schema is not trusted to call functions.
var pragmas = []string{
	"PRAGMA trusted_schema = OFF",
	"PRAGMA cell_size_check = ON",
	"PRAGMA foreign_keys = ON",
	fmt.Sprintf("PRAGMA busy_timeout = %d", BusyWait),
}

// BusyWait is how long another program that writes is waited for, in ms.
const BusyWait = 5000

var (
	// WriterPragmas make every commit reach the disk before it returns (synchronous=FULL);
	// in WAL mode SQLite's default would not. Checkpoints are made beside the
	// work; wal_autocheckpoint (pages) is for when they keep failing.
	WriterPragmas = []string{"PRAGMA journal_mode = WAL", "PRAGMA synchronous = FULL", "PRAGMA wal_autocheckpoint = 32768"}
	// ReaderPragmas keep a reader from writing.
	ReaderPragmas = []string{"PRAGMA query_only = ON"}
)

// connector opens SQLite connections with our pragmas and, unlike sql.Open,
// without registering a driver for the whole program.
type connector struct {
	dsn     string
	pragmas []string
}

func (c connector) Driver() driver.Driver {
	return &sqlite3.SQLiteDriver{ConnectHook: func(conn *sqlite3.SQLiteConn) error {
		conn.SetLimit(sqlite3.SQLITE_LIMIT_LENGTH, mostRow)
		for _, p := range append(slices.Clone(pragmas), c.pragmas...) {
			if _, err := conn.Exec(p, nil); err != nil {
				return err
			}
		}
		return nil
	}}
}

func (c connector) Connect(context.Context) (driver.Conn, error) { return c.Driver().Open(c.dsn) }

// OpenDB prepares a connection to the database at path, an absolute path; it is
// made at the first use. There is only ever one, which keeps writers in line.
func OpenDB(path, options string, pragmas ...string) *sql.DB {
	file := url.URL{Scheme: "file", Path: path, RawQuery: options}
	db := sql.OpenDB(connector{file.String(), pragmas})
	db.SetMaxOpenConns(1)
	return db
}

// Peek returns the schema version of the file at path, or says why it is not a
// job that this program can use. Where no log lies beside the file it reads
// without locks and leaves nothing there, so a database of another program is not
// disturbed.
func Peek(path string) (version int, err error) {
	// SQLite does the reading, because closing a descriptor of our own would
	// drop the locks that another Store in this process holds on the file. A log
	// beside the file must be read with it: a checkpoint that a full disk or a
	// kill cut off leaves the file alone in pieces, and whole with its log.
	how := "mode=ro"
	if !HasLog(path) {
		how += "&immutable=1"
	}
	db := OpenDB(path, how, ReaderPragmas...)
	defer db.Close()
	var id int64
	if err := db.QueryRow("PRAGMA application_id").Scan(&id); err != nil {
		return 0, err
	}
	if id != ApplicationID {
		return 0, Fault(ErrForeign, "another program's database", "")
	}
	return SchemaVersion(db)
}

// mostVersions is more schema versions than there will be. A larger number is damage.
const mostVersions = 100

// SchemaVersion returns the version of an open job, refusing a newer one.
func SchemaVersion(db *sql.DB) (int, error) {
	var version int
	if err := db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return 0, err
	}
	if version > mostVersions {
		return 0, Fault(ErrDamaged, fmt.Sprintf("schema version %d, and there have never been so many", version), "")
	}
	if version > len(Migrations) {
		return 0, Fault(ErrNewer, fmt.Sprintf("schema version %d, this waycall knows up to %d", version, len(Migrations)), "")
	}
	if version < 0 {
		return 0, Fault(ErrDamaged, fmt.Sprintf("schema version %d", version), "")
	}
	return version, nil
}

// Migrate brings the schema from one version to a later one, in one transaction.
func Migrate(db *sql.DB, version, to int) error {
	if version == to {
		return nil
	}
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	for i, text := range Migrations[version:to] {
		if _, err := tx.Exec(text); err != nil {
			return err
		}
		if version+i+1 == Chained {
			if err := chainLog(tx); err != nil {
				return err
			}
		}
	}
	if _, err := tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", to)); err != nil {
		return err
	}
	return tx.Commit()
}

// QuickCheck reads every page and row of the file for damage.
func QuickCheck(db *sql.DB) error {
	var found string
	if err := db.QueryRow("PRAGMA quick_check(1)").Scan(&found); err != nil {
		return err
	}
	if found != "ok" {
		return Fault(ErrDamaged, OneLine(found), "")
	}
	return nil
}

// CheckSchema refuses a file whose tables and triggers are not exactly those
// that the migrations up to a version make: without its triggers a log is not append-only.
func CheckSchema(db queryer, version int) error {
	fresh := sql.OpenDB(connector{":memory:", nil})
	fresh.SetMaxOpenConns(1)
	defer fresh.Close()
	if err := Migrate(fresh, 0, version); err != nil {
		return err
	}
	want, err := schema(fresh)
	if err != nil {
		return err
	}
	got, err := schema(db)
	if err != nil {
		return err
	}
	if !slices.Equal(got, want) {
		return Fault(ErrDamaged, "its tables or triggers are not those of a waycall job", "")
	}
	return nil
}

// queryer is a *sql.DB or a *sql.Tx.
type queryer interface {
	Query(query string, args ...any) (*sql.Rows, error)
}

func schema(db queryer) ([]string, error) {
	rows, err := db.Query("SELECT type || ' ' || name || ' ' || tbl_name || ' ' || coalesce(sql, '') FROM sqlite_schema ORDER BY type, name")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []string
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			return nil, err
		}
		all = append(all, s)
	}
	return all, rows.Err()
}

// TruncateLog moves the whole log into the file and leaves it empty. It does not wait long
// for who reads it: ErrInUse.
func TruncateLog(db *sql.DB) error {
	if _, err := db.Exec("PRAGMA busy_timeout = 100"); err != nil {
		return err
	}
	defer func() { _, _ = db.Exec(fmt.Sprintf("PRAGMA busy_timeout = %d", BusyWait)) }()
	var busy, frames, moved int
	if err := db.QueryRow("PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved); err != nil {
		return err
	}
	if busy != 0 {
		return Fault(ErrInUse, "another program reads it", "end that first")
	}
	return nil
}
