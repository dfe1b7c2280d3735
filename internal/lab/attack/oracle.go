package attack

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	_ "github.com/mattn/go-sqlite3" // the record is read with SQLite alone
)

// told is one event that was announced as stored.
type told struct {
	id     int64
	at     time.Time
	kind   string
	fields map[string]any // the rest
}

// readTold reads a fact as a session prints it.
func readTold(line []byte) (told, error) {
	var one struct {
		ID   int64     `json:"id"`
		At   time.Time `json:"at"`
		Kind string    `json:"kind"`
	}
	var fields map[string]any
	if err := json.Unmarshal(line, &one); err != nil {
		return told{}, err
	}
	if err := json.Unmarshal(line, &fields); err != nil {
		return told{}, err
	}
	return told{one.ID, one.At, one.Kind, without(fields)}, nil
}

// without leaves out what stands in columns of its own, and the address, which a session
// does not print.
func without(fields map[string]any) map[string]any {
	for _, f := range []string{"id", "at", "kind"} {
		delete(fields, f)
	}
	if job, ok := fields["job"].(map[string]any); ok {
		delete(job, "address")
	}
	return fields
}

// held is a record as SQLite alone reads it.
type held struct {
	file   string
	events []told
	head   string   // sum of the last event
	wrong  []string // what is wrong with it
}

// count is how many events it holds.
func (h held) count() int { return len(h.events) }

// readHeld reads the record at path from a copy, with its log or journal where there is one. The
// error is for a file that holds no record, or that SQLite refuses.
func readHeld(path, scratch string) (held, error) {
	h := held{file: path}
	dir, err := os.MkdirTemp(scratch, "read-")
	if err != nil {
		return h, err
	}
	defer os.RemoveAll(dir)
	copied := filepath.Join(dir, "record")
	if err := copyFile(path, copied); err != nil {
		return h, err
	}
	for _, end := range []string{"-wal", "-journal"} {
		if err := copyFile(path+end, copied+end); err != nil && !os.IsNotExist(err) {
			return h, err
		}
	}
	db, err := sql.Open("sqlite3", "file:"+copied+"?mode=rw&_busy_timeout=5000")
	if err != nil {
		return h, err
	}
	defer db.Close()
	return h, h.read(db)
}

func (h *held) read(db *sql.DB) error {
	var fine string
	if err := db.QueryRow("PRAGMA integrity_check(1)").Scan(&fine); err != nil {
		return err
	}
	if fine != "ok" {
		h.wrong = append(h.wrong, "SQLite: "+brief(fine))
	}
	rows, err := db.Query("SELECT id, at, kind, data, sha256, sound FROM events ORDER BY id")
	if err != nil {
		return err
	}
	defer rows.Close()
	before := make([]byte, sha256.Size)
	for rows.Next() {
		var e told
		var at, data string
		var sum, sound []byte
		if err := rows.Scan(&e.id, &at, &e.kind, &data, &sum, &sound); err != nil {
			return err
		}
		if want := int64(len(h.events)) + 1; e.id != want {
			h.wrong = append(h.wrong, fmt.Sprintf("event %d stands where %d should", e.id, want))
		}
		chain := sha256.New()
		chain.Write(before)
		fmt.Fprintf(chain, "%d\x00%s\x00%s\x00%s\x00", e.id, at, e.kind, data)
		chain.Write(sound)
		if before = chain.Sum(nil); string(before) != string(sum) {
			h.wrong = append(h.wrong, fmt.Sprintf("the sum of event %d", e.id))
			before = sum
		}
		if e.at, err = time.Parse(time.RFC3339Nano, at); err != nil {
			h.wrong = append(h.wrong, fmt.Sprintf("the time of event %d", e.id))
		}
		if err := json.Unmarshal([]byte(data), &e.fields); err != nil {
			h.wrong = append(h.wrong, fmt.Sprintf("the content of event %d", e.id))
		}
		e.fields = without(e.fields)
		h.events = append(h.events, e)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if len(h.events) > 0 {
		h.head = fmt.Sprintf("%x", before)
	}
	return h.sounds(db)
}

// sounds looks at the sound of every phrase.
func (h *held) sounds(db *sql.DB) error {
	rows, err := db.Query("SELECT events.id, events.sound, sounds.data FROM events LEFT JOIN sounds ON event_id = events.id WHERE kind = 'heard'")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var want, data []byte
		if err := rows.Scan(&id, &want, &data); err != nil {
			return err
		}
		if got := sha256.Sum256(data); string(got[:]) != string(want) {
			h.wrong = append(h.wrong, fmt.Sprintf("the sound of event %d", id))
		}
	}
	return rows.Err()
}

// lacks says what of what was told is not in the record as it was told.
func (h held) lacks(all []told) string {
	var missing []string
	for _, want := range all {
		switch {
		case want.id < 1 || want.id > int64(len(h.events)):
			missing = append(missing, fmt.Sprintf("%d (%s) is not there", want.id, want.kind))
		case !h.events[want.id-1].same(want):
			missing = append(missing, fmt.Sprintf("%d (%s) is there as another (%s)", want.id, want.kind, h.events[want.id-1].kind))
		}
	}
	if len(missing) == 0 {
		return ""
	}
	return fmt.Sprintf("%d of %d events that were announced: %s", len(missing), len(all), brief(strings.Join(missing, ", ")))
}

func (e told) same(other told) bool {
	return e.id == other.id && e.kind == other.kind && e.at.Equal(other.at) && reflect.DeepEqual(e.fields, other.fields)
}

// isIn fails the trial unless all that was told is in the record at path, which must be
// whole, and waycall agrees. It returns the record.
func (t *Trial) isIn(ctx context.Context, path string, all []told) held {
	h, err := readHeld(path, t.Dir)
	if err != nil {
		t.Failf("the record cannot be read: %v", err)
		return h
	}
	for _, w := range h.wrong {
		t.Failf("the record is not whole: %s", w)
	}
	if what := h.lacks(all); what != "" {
		t.Failf("lost: %s", what)
	}
	r := t.waycall(ctx, "verify", "--json", path)
	v := readVerdict(r)
	switch {
	case r.code != 0 || v.Events == nil:
		t.Failf("waycall does not find the record whole: %s", r)
	case *v.Events != int64(h.count()) || v.Head != h.head:
		t.Failf("waycall sees %d events up to %.8s, and there are %d up to %.8s", *v.Events, v.Head, h.count(), h.head)
	}
	return h
}

// verdict is what `waycall verify --json` prints.
type verdict struct {
	Events   *int64    `json:"events"`
	Head     string    `json:"head"`
	Problems []finding `json:"problems"`
	Notes    []finding `json:"notes"`
}

func readVerdict(r ran) verdict {
	var v verdict
	_ = json.Unmarshal([]byte(r.out), &v)
	return v
}

// everywhere returns all records below a folder, wherever they lie and whatever they are
// called.
func everywhere(dir, scratch string) []held {
	var all []held
	_ = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || !isSQLite(path) {
			return nil //nolint:nilerr // what cannot be read is no record
		}
		if h, err := readHeld(path, scratch); err == nil {
			all = append(all, h)
		}
		return nil
	})
	return all
}

// isSQLite reports whether a file begins as a database of SQLite does.
func isSQLite(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	begin := make([]byte, 16)
	_, err = io.ReadFull(f, begin)
	return err == nil && string(begin) == "SQLite format 3\x00"
}

// copyFile copies a plain file.
func copyFile(from, to string) error {
	b, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(to, b, 0o600)
}

// copyJob copies a job with all that lies beside it.
func copyJob(from, to string) error {
	beside, err := filepath.Glob(from + "*")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	for _, f := range beside {
		if err := copyFile(f, to+strings.TrimPrefix(f, from)); err != nil {
			return err
		}
	}
	return nil
}
