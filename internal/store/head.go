package store

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

// headEnd is the ending of the file beside a job, JOB.waycall-head, that says how far the
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
// is no damage of the record.
const headEnd = "-head"

// told is what that file says.
type told struct {
	first, sum [sha256.Size]byte
	id         int64 // of the last event, 0 when there is none
	unsure     int64
}

const headLine = "waycall-head 1 first=%x event=%019d sum=%x unsure=%019d"

func (t told) line() []byte {
	s := fmt.Sprintf(headLine, t.first, t.id, t.sum, t.unsure)
	return fmt.Appendf(nil, "%s check=%08x\n", s, crc32.ChecksumIEEE([]byte(s)))
}

// parseTold reads a line as told.line writes it, and nothing else.
func parseTold(line []byte) (t told, ok bool) {
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
	copy(t.first[:], first)
	copy(t.sum[:], sum)
	t.id, t.unsure = number(value(3, "event")), number(value(5, "unsure"))
	return t, t.id >= 0 && bytes.Equal(t.line(), line)
}

// readTold reads the file beside the job at path. There may be none: fs.ErrNotExist.
// ErrDamaged when it is not as it was written.
func readTold(path string) (told, error) {
	f, err := openPlain(path + headEnd)
	if err != nil {
		return told{}, err
	}
	defer f.Close()
	line, err := io.ReadAll(io.LimitReader(f, 1024))
	if err != nil {
		return told{}, err
	}
	t, ok := parseTold(line)
	if !ok {
		return told{}, ErrDamaged
	}
	return t, nil
}

// openBeside opens a file beside a job: a plain one, never a link, and no pipe that would
// have to be waited for.
func openBeside(name string, how int) (*os.File, error) {
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

// headFile keeps the file beside a job up to date. It is a help to find damage and in
// nobody's way: what cannot be written is left, and the file is then behind the record,
// which is no damage. A nil headFile keeps none.
type headFile struct {
	mu sync.Mutex
	f  *os.File
	at told
}

// keepHead makes the file beside the job at path anew, whole or not at all.
func keepHead(path string, at told) *headFile {
	name := path + headEnd
	os.Remove(name + ".new") // what a kill may have left
	f, err := openBeside(name+".new", os.O_CREATE|os.O_EXCL|os.O_WRONLY)
	if err != nil {
		return nil
	}
	if _, err = f.Write(at.line()); err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = os.Rename(name+".new", name)
	}
	if err != nil {
		f.Close()
		os.Remove(name + ".new")
		return nil
	}
	_ = syncFolder(filepath.Dir(name))
	return &headFile{f: f, at: at}
}

// stored notes that event id, with its sum, is the last that was told to be stored. first is
// the sum of event 1 when it is among those, else nil.
func (h *headFile) stored(id int64, first, sum []byte) {
	if h == nil {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if id <= h.at.id {
		return
	}
	h.at.id, h.at.unsure = id, 0
	copy(h.at.first[:], first) // none: it stays
	copy(h.at.sum[:], sum)
	h.write()
}

// unsure notes that the events up to id may be stored, and that this was said.
func (h *headFile) unsure(id int64) {
	if h == nil {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.at.unsure = id
	h.write()
}

func (h *headFile) write() { _, _ = h.f.WriteAt(h.at.line(), 0) }

// last makes the file last through a power cut.
func (h *headFile) last() {
	if h != nil {
		_ = h.f.Sync()
	}
}

func (h *headFile) close() {
	if h != nil {
		_ = h.f.Sync()
		h.f.Close()
	}
}

// rower is a *sql.DB or a *sql.Tx.
type rower interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// headOf returns what the file beside a job is to say of an open log.
func headOf(ctx context.Context, log rower) (t told, err error) {
	var first, sum []byte
	err = log.QueryRowContext(ctx, "SELECT id, sha256, (SELECT sha256 FROM events WHERE id = 1) FROM events ORDER BY id DESC LIMIT 1").Scan(&t.id, &sum, &first)
	if errors.Is(err, sql.ErrNoRows) {
		return told{}, nil
	}
	copy(t.sum[:], sum)
	copy(t.first[:], first)
	return t, err
}

// rowsQueryer is a *sql.DB or a *sql.Tx.
type rowsQueryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// sumAt returns the sum of an event of an open log, or nil where it has none.
func sumAt(ctx context.Context, log rower, id int64) (sum []byte, err error) {
	err = log.QueryRowContext(ctx, "SELECT sha256 FROM events WHERE id = ?", id).Scan(&sum)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return sum, err
}

// moveBeside lets what lies beside a job go with it when it was moved: the file of its
// head, and the folders of damaged files.
func moveBeside(from, to string) {
	os.Remove(to + headEnd) // of a job that is gone
	_ = os.Rename(from+headEnd, to+headEnd)
	for n := 1; os.Rename(asideOf(from, n), asideOf(to, n)) == nil; n++ {
	}
}
