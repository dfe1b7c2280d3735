package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"waycall/internal/board"
	"waycall/internal/record"
	"waycall/internal/store/internal/jobfile"
)

// version1 copies the job that the waycall of schema version 1 wrote: one event
// of each kind, and a phrase with a FLAC sound.
func version1(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "old.waycall")
	b, err := os.ReadFile(filepath.Join("testdata", "version1.waycall"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func wantOfVersion1(t testing.TB) []record.Event {
	want := oneOfVersion1(t)
	n := int64(len(want))
	batch := number(n+1, phrase(0))
	batch[1].HeardID = n + 1
	want = append(want, batch...)
	for i := range want {
		want[i].At = want[i].At.UTC()
	}
	return want
}

// A job of schema version 1 comes through the migration without loss, and its
// log is a chain afterwards which goes on.
func TestVersion1IsChained(t *testing.T) {
	path := version1(t)
	_, err := OpenReadOnly(path)
	refused(t, err, ErrReadOnly, "open it once for work")
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	want := wantOfVersion1(t)
	check := func() {
		t.Helper()
		if d := cmp.Diff(want, mustEvents(t, s)); d != "" {
			t.Error(d)
		}
		flac, _ := os.ReadFile(filepath.Join("testdata", "tone.flac"))
		for id, sound := range map[int64][]byte{2: wav(1, 1000), int64(len(oneOfVersion1(t))) + 1: flac} {
			if got, err := s.Sound(ctx, id); err != nil || string(got) != string(sound) {
				t.Errorf("sound of event %d: %d bytes, %v", id, len(got), err)
			}
		}
	}
	check()
	more := number(int64(len(want))+1, phrase(0))
	more[1].HeardID = more[0].ID
	want = append(want, mustAppend(t, s, more, wav(9, 100))...)
	check()
	s.Close()
	if s, err = OpenReadOnly(path); err != nil {
		t.Fatal(err)
	}
	check()
	s.Close()
}

// A job of schema version 2, which the waycall before notes wrote, comes through as
// it is, its sums too, and then takes a note and an observation.
func TestVersion2TakesNotes(t *testing.T) {
	path := filepath.Join(t.TempDir(), "old.waycall")
	copyFile(t, filepath.Join("testdata", "version2.waycall"), path, -1)
	before, err := Verify(ctx, path)
	if err != nil || before.Schema != 2 || before.Head == "" {
		t.Fatal(before, err)
	}
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	want := wantOfVersion1(t)
	if d := cmp.Diff(want, mustEvents(t, s)); d != "" {
		t.Error(d)
	}
	for _, e := range mustEvents(t, s) {
		if e.Job != nil && e.Job.JudgedBy() != board.A2 {
			t.Errorf("a job of before is judged by %s", e.Job.JudgedBy())
		}
	}
	s.Close()
	if after, err := Verify(ctx, path); err != nil || after.Head != before.Head || after.Schema != len(jobfile.Migrations) {
		t.Error(after, err)
	}
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	n := int64(len(want))
	more := number(n+1, []record.Event{
		{At: noon, Kind: record.Heard, Phrase: &record.Phrase{Outcome: "note", Text: "a lid is cracked"}},
		{At: noon, Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 6}, Code: "C3", Text: "a lid is cracked", HeardID: n + 1},
		{At: noon, Kind: record.Noted, Slot: &record.Slot{Board: 1}, Text: "a lid is cracked", HeardID: n + 1},
		{At: noon, Kind: record.Withdrawn, Of: n + 2, Reason: "scratched"},
	})
	want = append(want, mustAppend(t, s, more, wav(3, 100))...)
	if d := cmp.Diff(want, mustEvents(t, s)); d != "" {
		t.Error(d)
	}
	for name, e := range map[string]record.Event{
		"a code that is none":       {Kind: record.Observed, Slot: &record.Slot{Board: 1}, Code: "C9", Text: "x", HeardID: n + 1},
		"an observation without":    {Kind: record.Observed, Slot: &record.Slot{Board: 1}, Text: "x", HeardID: n + 1},
		"a note with a code":        {Kind: record.Noted, Slot: &record.Slot{Board: 1}, Code: "C1", Text: "x", HeardID: n + 1},
		"a note without sound":      {Kind: record.Noted, Slot: &record.Slot{Board: 1}, Text: "x"},
		"withdrawn twice over":      {Kind: record.Withdrawn, Slot: &record.Slot{Board: 1, Way: 3, Test: "LN-E"}, Of: n + 2},
		"withdrawn, but not what":   {Kind: record.Withdrawn},
		"a note on board a hundred": {Kind: record.Noted, Slot: &record.Slot{Board: 100}, Text: "x", HeardID: n + 1},
	} {
		e.ID, e.At = n+5, noon
		if _, err := s.Append(ctx, []record.Event{e}, nil); !errors.Is(err, ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A migration that is killed or finds no room leaves the old job.
func TestVersion1OnFullDisk(t *testing.T) {
	dir := mount(t, "tmpfs", "tmpfs", 0, "size=16k")
	path := filepath.Join(dir, "old.waycall")
	copyFile(t, filepath.Join("testdata", "version1.waycall"), path, -1)
	_, err := Open(path)
	refused(t, err, ErrFull, "make room")
	if err := unix.Mount("tmpfs", dir, "tmpfs", unix.MS_REMOUNT, "size=4m"); err != nil {
		t.Fatal(err)
	}
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if d := cmp.Diff(wantOfVersion1(t), mustEvents(t, s)); d != "" {
		t.Error(d)
	}
}

// Damage in an old job is not sealed in by the new sums.
func TestDamagedVersion1(t *testing.T) {
	for name, c := range map[string]struct{ sql, says string }{
		"a value changed": {`DROP TRIGGER events_stay; UPDATE events SET data = '{"text":"other"}' WHERE id = 3;`, "event 3 does not match its sum"},
		"an event gone":   {"DROP TRIGGER events_are_kept; DELETE FROM events WHERE id = 7;", "event 7 is missing"},
		"a sound changed": {"DROP TRIGGER sounds_stay; UPDATE sounds SET data = x'00' WHERE event_id = 2;", "the sound of event 2 does not match its sum"},
		"a sound gone":    {"DROP TRIGGER sounds_are_kept; DELETE FROM sounds WHERE event_id = 2;", "the sound of event 2 is missing"},
	} {
		t.Run(name, func(t *testing.T) {
			path := version1(t)
			withoutTriggers(t, path, c.sql)
			before, _ := os.ReadFile(path)
			_, err := Open(path)
			refused(t, err, ErrDamaged, c.says)
			if after, _ := os.ReadFile(path); len(after) == 0 || version(t, path) != 1 {
				t.Errorf("the old job was touched: %d bytes were %d", len(after), len(before))
			}
		})
	}
}

func version(t testing.TB, path string) int {
	t.Helper()
	db := jobfile.OpenDB(path, "mode=ro")
	defer db.Close()
	var v int
	if err := db.QueryRow("PRAGMA user_version").Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

// withoutTriggers alters a job as one would who knows its triggers: they are put
// back afterwards.
func withoutTriggers(t testing.TB, path, statements string) {
	t.Helper()
	db := jobfile.OpenDB(path, "mode=rw", "PRAGMA foreign_keys = OFF")
	rows, err := db.Query("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var names, texts []string
	for rows.Next() {
		var name, text string
		if err := rows.Scan(&name, &text); err != nil {
			t.Fatal(err)
		}
		names, texts = append(names, name), append(texts, text)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	db.Close()
	before := "PRAGMA foreign_keys = OFF;"
	for _, name := range names {
		if !strings.Contains(statements, "DROP TRIGGER "+name) {
			before += "DROP TRIGGER " + name + ";"
		}
	}
	alter(t, path, before+statements+";"+strings.Join(texts, ";"))
}

// sealed is SQL that gives an event the sum that belongs to it where it stands,
// as one would who alters a single event and knows how sums are made.
func sealed(t testing.TB, path string, id int64) string {
	t.Helper()
	db := jobfile.OpenDB(path, "mode=ro")
	defer db.Close()
	rows, err := db.Query("SELECT "+jobfile.RowColumns+" FROM events WHERE id <= ? ORDER BY id", id)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var c jobfile.Chain
	var sum []byte
	for rows.Next() {
		var r jobfile.Row
		if err := r.Scan(rows); err != nil {
			t.Fatal(err)
		}
		sum = jobfile.SumEvent(c.Sum[:], &r)
		c.Add(&r)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("UPDATE events SET sha256 = x'%x' WHERE id = %d", sum, id)
}

// What sums of single events could not find.
func TestChain(t *testing.T) {
	swap := func(table, key, column string, a, b int) string {
		return fmt.Sprintf("CREATE TEMP TABLE t AS SELECT %[3]s AS x FROM %[1]s WHERE %[2]s = %[4]d; UPDATE %[1]s SET %[3]s = (SELECT %[3]s FROM %[1]s WHERE %[2]s = %[5]d) WHERE %[2]s = %[4]d; UPDATE %[1]s SET %[3]s = (SELECT x FROM t) WHERE %[2]s = %[5]d; DROP TABLE t",
			table, key, column, a, b)
	}
	for name, c := range map[string]struct {
		sql  string
		seal int64
		says string
	}{
		"changed and sealed anew": {`UPDATE events SET data = '{"text":"other"}' WHERE id = 6`, 6, "event 7 does not match its sum"},
		"two events exchanged":    {"UPDATE events SET id = 99 WHERE id = 3; UPDATE events SET id = 3 WHERE id = 6; UPDATE events SET id = 6 WHERE id = 99", 0, "event 3 does not match its sum"},
		"an event taken out":      {"DELETE FROM events WHERE id = 9; UPDATE events SET id = id - 1 WHERE id > 9", 0, "event 9 does not match its sum"},
		"a time moved":            {"UPDATE events SET at = '2026-03-14T13:00:00.000000000Z' WHERE id = 5", 0, "event 5 does not match its sum"},
		"sounds exchanged":        {swap("sounds", "event_id", "data", 1, 4) + ";" + swap("sounds", "event_id", "sha256", 1, 4), 0, "the sound of event 1 does not match its sum"},
		"sounds and sums exchanged": {swap("sounds", "event_id", "data", 1, 4) + ";" + swap("sounds", "event_id", "sha256", 1, 4) + ";" + swap("events", "id", "sound", 1, 4),
			0, "event 1 does not match its sum"},
	} {
		t.Run(name, func(t *testing.T) {
			s, path := create(t)
			for n := range int64(4) {
				mustAppend(t, s, phrase(n), wav(n, 100))
			}
			s.Close()
			withoutTriggers(t, path, c.sql)
			if c.seal > 0 {
				withoutTriggers(t, path, sealed(t, path, c.seal))
			}
			s, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			_, err = s.Events(ctx)
			if err == nil {
				_, err = s.Sound(ctx, 1)
			}
			refused(t, err, ErrDamaged, c.says)
		})
	}
}
