package store

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"

	"waycall/internal/record"
	"waycall/internal/store/internal/jobfile"
)

// Tail reads a job's log as it grows, whoever writes it: it gives each event once,
// in order, and checks it against the chain as it goes. It writes nothing and keeps
// nothing open between two calls, so it is in nobody's way. A Tail is used by one
// goroutine at a time.
type Tail struct {
	path  string
	chain jobfile.Chain
	seen  Look // before the file was read last
}

// NewTail returns a Tail at the start of the log of the job at path. Nothing is
// read yet.
func NewTail(path string) *Tail { return &Tail{path: path} }

// Next returns the events that were written since the last call, none when there
// are none. While the file has not changed that costs two looks at it and no more,
// so it may be called several times a second. Errors: fs.ErrNotExist, ErrReplaced
// when another log lies there now, and those of OpenReadOnly; it may be called again
// after any of them, and goes on where it was.
func (t *Tail) Next(ctx context.Context) ([]record.Event, error) {
	events, err := t.next(ctx)
	if err != nil {
		return nil, jobfile.Explain("follow the job", t.path, err)
	}
	return events, nil
}

// Head returns the sum of the last event that Next gave, in hexadecimal, or "" before
// the first. It stands for the whole log up to there: see Store.Sum.
func (t *Tail) Head() string {
	if t.chain.ID == 0 {
		return ""
	}
	return hex.EncodeToString(t.chain.Sum[:])
}

func (t *Tail) next(ctx context.Context) ([]record.Event, error) {
	path, err := jobfile.Locate(t.path)
	if err != nil {
		return nil, err
	}
	now, err := lookAt(path)
	if err != nil {
		return nil, err
	}
	if now.Same(t.seen) {
		return nil, nil
	}
	db, c, err := openReader(path)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if c.version < len(jobfile.Migrations) {
		return nil, jobfile.Fault(ErrReadOnly, "an older waycall wrote it", "open it once for work, which brings it up to date")
	}
	if t.chain.ID == 0 || now.file.Inode != t.seen.file.Inode {
		if _, err := c.refuseLost(ctx, db, Held(path)); err != nil {
			return nil, err
		}
		if err := jobfile.CheckSchema(db, c.version); err != nil {
			return nil, err
		}
	}
	events, end, err := t.read(ctx, db)
	if err != nil {
		return nil, err
	}
	t.chain, t.seen = end, now
	return events, nil
}

// read returns the events after the last one, and the chain up to them.
func (t *Tail) read(ctx context.Context, db *sql.DB) ([]record.Event, jobfile.Chain, error) {
	c := t.chain
	rows, err := db.QueryContext(ctx, "SELECT "+jobfile.RowColumns+" FROM events WHERE id >= ? ORDER BY id", max(1, c.ID))
	if err != nil {
		return nil, c, err
	}
	defer rows.Close()
	// The last event is read again: it tells this log from another one.
	known := c.ID == 0
	var events []record.Event
	for rows.Next() {
		var r jobfile.Row
		if err := r.Scan(rows); err != nil {
			return nil, c, err
		}
		if !known {
			if known = r.ID == c.ID && string(r.Sum) == string(c.Sum[:]); !known {
				break
			}
			continue
		}
		if what := c.Add(&r); what != "" {
			return nil, c, jobfile.Fault(ErrDamaged, what, "")
		}
		e, err := jobfile.Decode(r.ID, r.At, r.Kind, r.Data)
		if err != nil {
			return nil, c, jobfile.Fault(ErrDamaged, fmt.Sprintf("event %d: %v", r.ID, err), "")
		}
		events = append(events, e)
	}
	if err := rows.Err(); err != nil {
		return nil, c, err
	}
	if !known {
		return nil, c, jobfile.Fault(ErrReplaced, fmt.Sprintf("event %d is not the one that was there", c.ID), "")
	}
	return events, c, nil
}

// tick is more than a file's times are coarse by on a local disk.
const tick = 100 * time.Millisecond

// Look is what the file of a job looked like at some moment: what SQLite changes with
// every commit, in the file or in the log beside it. The zero Look is the same as none.
type Look struct {
	file, log jobfile.Mark
	at        time.Time
}

// LookAt looks at the file of the job at path, without opening it. Error:
// fs.ErrNotExist, and what keeps it from being looked at.
func LookAt(path string) (Look, error) {
	located, err := jobfile.Locate(path)
	if err == nil {
		var l Look
		if l, err = lookAt(located); err == nil {
			return l, nil
		}
	}
	return Look{}, jobfile.Explain("look at the job", path, err)
}

// Same reports whether nothing was written to the job between an earlier look and l. In
// doubt it is false: what was written within the same tick of the file system's clock
// as the earlier look may have left no trace that tells.
func (l Look) Same(earlier Look) bool {
	return l.file == earlier.file && l.log == earlier.log && earlier.at.Sub(earlier.written()) > tick
}

// written is when the job was written to last, by the clock of the file system.
func (l Look) written() time.Time { return time.Unix(0, max(l.file.Changed, l.log.Changed)) }

func lookAt(path string) (l Look, err error) {
	if l.file, err = jobfile.MarkOf(path); err != nil {
		return l, err
	}
	if l.log, err = jobfile.MarkOf(path + "-wal"); errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	l.at = time.Now()
	return l, err
}

// Held reports whether a process has the job at path open for writing: a session,
// most likely. It only looks, and so keeps none from beginning. Where the system
// does not tell (it is asked for /proc/locks) the answer is no.
func Held(path string) bool {
	path, err := jobfile.Locate(path)
	if err != nil {
		return false
	}
	info, err := os.Lstat(path + ".lock")
	if err != nil {
		return false
	}
	sys, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return false
	}
	f, err := os.Open("/proc/locks")
	if err != nil {
		return false
	}
	defer f.Close()
	// 3: FLOCK  ADVISORY  WRITE 4711 08:01:1835043 0 EOF
	inode := ":" + strconv.FormatUint(sys.Ino, 10)
	for s := bufio.NewScanner(f); s.Scan(); {
		if fields := strings.Fields(s.Text()); len(fields) >= 6 && fields[1] == "FLOCK" && strings.HasSuffix(fields[5], inode) {
			return true
		}
	}
	return false
}
