package store

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"waycall/internal/store/internal/jobfile"
)

// hotCopy is a copy of a job with phrases, cut off in the middle of writing one more: its
// file is in pieces, and whole with its journal. Where grown is set its first page was
// written, and not yet the end that it speaks of: SQLite takes that for no database.
func hotCopy(t *testing.T, phrases int64, grown bool) (job *Store, copy string) {
	t.Helper()
	s, path := create(t)
	for n := range phrases {
		mustAppend(t, s, phrase(n), wav(n, 2000))
	}
	whole := filepath.Join(t.TempDir(), filepath.Base(path))
	if err := Snapshot(path, whole); err != nil {
		t.Fatal(err)
	}
	db := jobfile.OpenDB(whole, "mode=rw&_txlock=immediate", append(slices.Clone(jobfile.CopyPragmas), "PRAGMA cache_size = 1", "PRAGMA cache_spill = 1")...)
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	// What is too much for its cache SQLite writes to the file before the end.
	if _, err := tx.Exec("CREATE TABLE more AS SELECT * FROM sounds; DROP TABLE sounds"); err != nil {
		t.Fatal(err)
	}
	hot := filepath.Join(t.TempDir(), filepath.Base(path))
	copyFile(t, whole, hot, -1)
	copyFile(t, whole+"-journal", hot+"-journal", -1)
	if grown {
		const pages = 28 // where the header has how many there are
		b, err := os.ReadFile(hot)
		if err != nil {
			t.Fatal(err)
		}
		binary.BigEndian.PutUint32(b[pages:], 1<<20)
		os.WriteFile(hot, b, 0o600)
	}
	if _, err := jobfile.Peek(hot); (err != nil) != grown {
		t.Fatal("the first look says", err)
	}
	alone := copied(t, hot, "")
	if r, err := Verify(ctx, alone); err == nil && len(r.Problems) == 0 {
		t.Fatal("the copy is whole without its journal, so this tests nothing")
	}
	return s, hot
}

// A copy that was cut off while it was written is put back to its last whole phrase by
// whoever reads it, and the next session goes on with it.
func TestCopyCutOffInWriting(t *testing.T) {
	const phrases = 40
	for name, read := range map[string]func(t *testing.T, s *Store, path string) int64{
		"verify": func(t *testing.T, _ *Store, path string) int64 {
			r, err := Verify(ctx, path)
			if err != nil || len(r.Problems) > 0 && said(t, path) != "" {
				t.Fatal(err, r.Problems)
			}
			return r.Events
		},
		"read": func(t *testing.T, _ *Store, path string) int64 {
			s, err := OpenReadOnly(path)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			return int64(len(mustEvents(t, s)))
		},
		"work": func(t *testing.T, _ *Store, path string) int64 {
			s, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			return int64(len(mustEvents(t, s)))
		},
		"copy": func(t *testing.T, s *Store, path string) int64 {
			mustAppend(t, s, phrase(phrases), wav(phrases, 500))
			if err := s.CopyTo(filepath.Dir(path)); err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			if err := s.Copied(); err != nil {
				t.Fatal(err)
			}
			return events(path) - 3
		},
	} {
		for _, grown := range []bool{false, true} {
			s, path := hotCopy(t, phrases, grown)
			if n := read(t, s, path); n != 3*phrases {
				t.Errorf("%s: it has %d events, want %d", name, n, 3*phrases)
			}
			if left := folder(t, filepath.Dir(path)); strings.Contains(left, "-journal") || strings.Contains(left, ".lock") {
				t.Errorf("%s: the folder holds %s", name, left)
			}
			if says := said(t, path); says != "" {
				t.Error(name, says)
			}
		}
	}
}

// A journal from elsewhere that would have SQLite remove another file is not followed.
func TestJournalNamesAnother(t *testing.T) {
	_, path := hotCopy(t, 40, false)
	bait := filepath.Join(t.TempDir(), "bait")
	os.WriteFile(bait, []byte("mine"), 0o600)
	journal, err := os.ReadFile(path + "-journal")
	if err != nil {
		t.Fatal(err)
	}
	// The page number past the end of the file, the name, its length, the sum of its
	// bytes, and the magic.
	name := []byte(bait)
	sum := uint32(0)
	for _, b := range name {
		sum += uint32(int8(b))
	}
	four := func(n uint32) []byte { return []byte{byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)} }
	const lockPage = 1<<30/4096 + 1
	for _, part := range [][]byte{four(lockPage), name, four(uint32(len(name))), four(sum), {0xd9, 0xd5, 0x05, 0xf9, 0x20, 0xa1, 0x63, 0xd7}} {
		journal = append(journal, part...)
	}
	if err := os.WriteFile(path+"-journal", journal, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = Open(path)
	refused(t, err, ErrDamaged, "names another file")
	if _, err := Verify(ctx, path); err == nil {
		t.Error("it is read without its journal")
	}
	if _, err := os.Stat(bait); err != nil {
		t.Error(err)
	}
}
