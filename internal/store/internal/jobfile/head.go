package jobfile

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"sync"

	"golang.org/x/sys/unix"
)

// HeadEnd is the ending of the file beside a job, JOB.waycall-head, that says how far the
// record had come when it was last said to be stored. A write-ahead log that lost its end
// looks like one that never had it; this file tells them apart. It is one line:
//
//	waycall-head 1 first=SUM event=NUMBER sum=SUM unsure=NUMBER check=CRC
//
// first is the sum of event 1, which tells jobs apart; event and sum are the last event
// that was told to be stored; unsure is the last event of a batch of which it was said
// that it may be stored (ErrUnsure), or 0; check is the CRC-32 of all before it. Sums are
// SHA-256 in hexadecimal, numbers have 19 digits, so that the line always has the same
// length and lies in one sector.
//
// The line is written over in place after each commit, without waiting for the disk: it
// survives a kill, and after a power cut it may be behind the record, never ahead of it.
// It is made to last at each checkpoint. A file that is missing, damaged or of another job
// is no damage of the record. One that is damaged is noted, and made anew by the next
// session; one that is missing is not, as none comes with a job from elsewhere.
const HeadEnd = "-head"

// Told is what that file says.
type Told struct {
	First, Sum [sha256.Size]byte
	ID         int64 // of the last event, 0 when there is none
	Unsure     int64
}

const headLine = "waycall-head 1 first=%x event=%019d sum=%x unsure=%019d"

// Line is the line that the file holds of t.
func (t Told) Line() []byte {
	s := fmt.Sprintf(headLine, t.First, t.ID, t.Sum, t.Unsure)
	return fmt.Appendf(nil, "%s check=%08x\n", s, crc32.ChecksumIEEE([]byte(s)))
}

// parseTold reads a line as Told.Line writes it, and nothing else.
func parseTold(line []byte) (t Told, ok bool) {
	words := bytes.Fields(line)
	if len(words) != 7 {
		return t, false
	}
	value := func(i int, name string) string {
		v, _ := bytes.CutPrefix(words[i], []byte(name+"="))
		return string(v)
	}
	number := func(s string) int64 { n, _ := strconv.ParseInt(s, 10, 64); return n }
	first, _ := hex.DecodeString(value(2, "first"))
	sum, _ := hex.DecodeString(value(4, "sum"))
	copy(t.First[:], first)
	copy(t.Sum[:], sum)
	t.ID, t.Unsure = number(value(3, "event")), number(value(5, "unsure"))
	return t, t.ID >= 0 && bytes.Equal(t.Line(), line)
}

// ReadTold reads the file beside the job at path. There may be none: fs.ErrNotExist.
// ErrDamaged when it is not as it was written.
func ReadTold(path string) (Told, error) {
	f, err := OpenPlain(path + HeadEnd)
	if err != nil {
		return Told{}, err
	}
	defer f.Close()
	line, err := io.ReadAll(io.LimitReader(f, 1024))
	if err != nil {
		return Told{}, err
	}
	t, ok := parseTold(line)
	if !ok {
		return Told{}, ErrDamaged
	}
	return t, nil
}

// OpenBeside opens a file beside a job: a plain one, never a link, and no pipe that would
// have to be waited for.
func OpenBeside(name string, how int) (*os.File, error) {
	f, err := os.OpenFile(name, how|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0o600)
	if err != nil {
		return nil, err
	}
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		f.Close()
		return nil, errors.Join(err, fmt.Errorf("%s is not a plain file", name))
	}
	return f, nil
}

// HeadFile keeps the file beside a job up to date. It is a help to find damage and in
// nobody's way: what cannot be written is left, and the file is then behind the record,
// which is no damage. A nil HeadFile keeps none.
type HeadFile struct {
	mu sync.Mutex
	f  *os.File
	at Told
}

// KeepHead makes the file beside the job at path anew, whole or not at all.
func KeepHead(path string, at Told) *HeadFile {
	name := path + HeadEnd
	os.Remove(name + ".new") // what a kill may have left
	f, err := OpenBeside(name+".new", os.O_CREATE|os.O_EXCL|os.O_WRONLY)
	if err != nil {
		return nil
	}
	if _, err = f.Write(at.Line()); err == nil {
		err = f.Sync()
	}
	if err == nil {
		if err = os.Rename(name+".new", name); err != nil && os.Remove(name) == nil { // an empty folder lay there
			err = os.Rename(name+".new", name)
		}
	}
	if err != nil {
		f.Close()
		os.Remove(name + ".new")
		return nil
	}
	_ = SyncFolder(filepath.Dir(name))
	return &HeadFile{f: f, at: at}
}

// Stored notes that event id, with its sum, is the last that was told to be stored. first is
// the sum of event 1 when it is among those, else nil.
func (h *HeadFile) Stored(id int64, first, sum []byte) {
	if h == nil {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if id <= h.at.ID {
		return
	}
	h.at.ID, h.at.Unsure = id, 0
	copy(h.at.First[:], first) // none: it stays
	copy(h.at.Sum[:], sum)
	h.write()
}

// Unsure notes that the events up to id may be stored, and that this was said.
func (h *HeadFile) Unsure(id int64) {
	if h == nil {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.at.Unsure = id
	h.write()
}

func (h *HeadFile) write() { _, _ = h.f.WriteAt(h.at.Line(), 0) }

// Last makes the file last through a power cut.
func (h *HeadFile) Last() {
	if h != nil {
		_ = h.f.Sync()
	}
}

// Close makes the file last, and lets go of it.
func (h *HeadFile) Close() {
	if h != nil {
		_ = h.f.Sync()
		h.f.Close()
	}
}

// Rower is a *sql.DB or a *sql.Tx.
type Rower interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// HeadOf returns what the file beside a job is to say of an open log.
func HeadOf(ctx context.Context, log Rower) (t Told, err error) {
	var first, sum []byte
	err = log.QueryRowContext(ctx, "SELECT id, sha256, (SELECT sha256 FROM events WHERE id = 1) FROM events ORDER BY id DESC LIMIT 1").Scan(&t.ID, &sum, &first)
	if errors.Is(err, sql.ErrNoRows) {
		return Told{}, nil
	}
	copy(t.Sum[:], sum)
	copy(t.First[:], first)
	return t, err
}

// RowsQueryer is a *sql.DB or a *sql.Tx.
type RowsQueryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// SumAt returns the sum of an event of an open log, or nil where it has none.
func SumAt(ctx context.Context, log Rower, id int64) (sum []byte, err error) {
	err = log.QueryRowContext(ctx, "SELECT sha256 FROM events WHERE id = ?", id).Scan(&sum)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return sum, err
}

// LastSum returns the ID and the sum of the last event, 0 and the sum before the
// first when there is none.
func LastSum(ctx context.Context, tx *sql.Tx) (id int64, sum []byte, err error) {
	err = tx.QueryRowContext(ctx, "SELECT id, sha256 FROM events ORDER BY id DESC LIMIT 1").Scan(&id, &sum)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, make([]byte, sha256.Size), nil
	}
	return id, sum, err
}
