package bundle

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board/boardtest"
	"waycall/internal/record"
	"waycall/internal/store"
)

var (
	ctx  = context.Background()
	noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
)

func wav(samples []int16) []byte {
	le := binary.LittleEndian
	b := append([]byte("RIFF"), le.AppendUint32(nil, uint32(36+2*len(samples)))...)
	b = append(b, "WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00"...)
	b = le.AppendUint32(b, 16000)
	b = le.AppendUint32(b, 32000)
	b = append(b, "\x02\x00\x10\x00data"...)
	b = le.AppendUint32(b, uint32(2*len(samples)))
	for _, s := range samples {
		b = le.AppendUint16(b, uint16(s))
	}
	return b
}

// ramp is a sound that differs for every seed.
func ramp(seed, n int) []int16 {
	s := make([]int16, n)
	for i := range s {
		s[i] = int16(i*seed + seed)
	}
	return s
}

// job makes a job with some phrases.
func job(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "TER-0107.waycall")
	described := boardtest.Read(t, "terrace.yaml")
	s, err := store.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Append(ctx, []record.Event{{ID: 1, At: noon, Kind: record.Opened, Job: &described}}, nil); err != nil {
		t.Fatal(err)
	}
	for n := range 3 {
		first := int64(2 + 2*n)
		batch := []record.Event{
			{ID: first, At: noon, Kind: record.Heard, Phrase: &record.Phrase{Outcome: "command", Text: "repeat"}},
			{ID: first + 1, At: noon, Kind: record.Said, Text: "Way one."},
		}
		if _, err := s.Append(ctx, batch, wav(ramp(n+1, 5000))); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

func packed(t testing.TB, path string) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := Write(ctx, path, t.TempDir(), &b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// take opens a packed job and, when it is accepted, keeps it.
func take(t testing.TB, zipped []byte) (string, error) {
	t.Helper()
	file, dir := filepath.Join(t.TempDir(), "in.zip"), t.TempDir()
	if err := os.WriteFile(file, zipped, 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := Open(ctx, file, dir)
	if err == nil {
		defer p.Close()
		path := filepath.Join(dir, "in.waycall")
		if err := p.Keep(path); err != nil {
			t.Fatal(err)
		}
		if left, _ := os.ReadDir(dir); len(left) != 2 || left[1].Name() != "in.waycall-head" {
			t.Errorf("beside the job lies %v", left)
		}
		return path, nil
	}
	if left, _ := os.ReadDir(dir); len(left) != 0 {
		t.Errorf("a file that was refused left %v", left)
	}
	if !strings.HasPrefix(err.Error(), "could not take in ") || !strings.Contains(err.Error(), "; ") {
		t.Errorf("the error does not say what failed and what to do: %v", err)
	}
	return "", err
}

func TestOutAndIn(t *testing.T) {
	path := job(t)
	before, err := store.Verify(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	got, err := take(t, packed(t, path))
	if err != nil {
		t.Fatal(err)
	}
	after, err := store.Verify(ctx, got)
	if err != nil {
		t.Fatal(err)
	}
	before.File, after.File = "", ""
	if d := cmp.Diff(before, after); d != "" {
		t.Error(d)
	}
	if before.Sounds != 3 {
		t.Errorf("%d sounds", before.Sounds)
	}
	info, _ := os.Stat(got)
	if info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v", info.Mode())
	}
}

// A job is packed while a session writes to it, and the file opens elsewhere.
func TestPackedWhileWritten(t *testing.T) {
	path := job(t)
	s, err := store.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Append(ctx, []record.Event{{ID: 8, At: noon, Kind: record.Said, Text: "more"}}, nil); err != nil {
		t.Fatal(err)
	}
	got, err := take(t, packed(t, path))
	if err != nil {
		t.Fatal(err)
	}
	if r, _ := store.Verify(ctx, got); r.Events != 8 {
		t.Errorf("%d events", r.Events)
	}
}

// entry is a file in a zip that is made by hand.
type entry struct {
	zip.FileHeader
	data []byte
	raw  bool // data is what lies in the zip, and the header stands as it is
}

func unzip(t testing.TB, b []byte) []entry {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var all []entry
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, entry{FileHeader: zip.FileHeader{Name: f.Name, Method: f.Method}, data: data})
	}
	return all
}

func rezip(t testing.TB, all []entry) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range all {
		h := e.FileHeader
		create := z.CreateHeader
		if e.raw {
			create = z.CreateRaw
		}
		w, err := create(&h)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(e.data); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func find(all []entry, name string) *entry {
	for i := range all {
		if all[i].Name == name {
			return &all[i]
		}
	}
	return nil
}

// manifest changes the manifest.
func manifest(t testing.TB, all []entry, change func(*Manifest)) {
	t.Helper()
	e := find(all, manifestName)
	var m Manifest
	if err := json.Unmarshal(e.data, &m); err != nil {
		t.Fatal(err)
	}
	change(&m)
	e.data, _ = json.Marshal(m)
}

// put replaces a file and makes the manifest agree, as one would who means harm.
func put(t testing.TB, all []entry, name string, data []byte) {
	t.Helper()
	find(all, name).data = data
	sum := sha256.Sum256(data)
	manifest(t, all, func(m *Manifest) {
		f := m.listed(name)
		f.Size, f.SHA256 = int64(len(data)), hex.EncodeToString(sum[:])
	})
}

// database makes a SQLite file with SQL, beginning with one that is there.
func database(t testing.TB, from []byte, statements string) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "db")
	if from != nil {
		if err := os.WriteFile(path, from, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(statements); err != nil {
		t.Fatal(err)
	}
	db.Close()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestHostileFiles(t *testing.T) {
	good := packed(t, job(t))
	other := func(name string, mode fs.FileMode) func(*testing.T, []entry) []entry {
		return func(t *testing.T, all []entry) []entry {
			e := entry{FileHeader: zip.FileHeader{Name: name}, data: []byte("x")}
			e.SetMode(mode)
			if strings.HasSuffix(name, "/") {
				e.data = nil
			}
			return append(all, e)
		}
	}
	meta := func(change func(*Manifest)) func(*testing.T, []entry) []entry {
		return func(t *testing.T, all []entry) []entry { manifest(t, all, change); return all }
	}
	replaced := func(name string, data func(t *testing.T, old []byte) []byte) func(*testing.T, []entry) []entry {
		return func(t *testing.T, all []entry) []entry {
			put(t, all, name, data(t, find(all, name).data))
			return all
		}
	}
	const first = "sounds/000002.flac"
	for name, c := range map[string]struct {
		do     func(t *testing.T, all []entry) []entry
		reason error
		says   string
	}{
		"above":         {other("../up.waycall", 0o600), ErrNotPacked, "points outside"},
		"above, hidden": {other("sounds/../../up", 0o600), ErrNotPacked, "points outside"},
		"absolute":      {other("/etc/cron.d/x", 0o600), ErrNotPacked, "points outside"},
		"backslashes":   {other(`..\up`, 0o600), ErrNotPacked, "points outside"},
		"drive":         {other(`C:/up`, 0o600), ErrNotPacked, "points outside"},
		"link":          {other("sounds/000099.flac", fs.ModeSymlink|0o777), ErrNotPacked, "is a link"},
		"device":        {other("sounds/000099.flac", fs.ModeDevice|0o600), ErrNotPacked, "not a plain file"},
		"folder":        {other("sounds/", fs.ModeDir|0o700), ErrNotPacked, "not a plain file"},
		"something":     {other("readme.txt", 0o600), ErrNotPacked, "which no packed job has"},
		"not listed":    {other("sounds/000099.flac", 0o600), ErrAltered, "not in manifest.json"},
		"twice":         {func(_ *testing.T, all []entry) []entry { return append(all, *find(all, databaseName)) }, ErrAltered, "in it twice"},
		"no manifest": {func(_ *testing.T, all []entry) []entry {
			return slices.DeleteFunc(all, func(e entry) bool { return e.Name == manifestName })
		}, ErrNotPacked, "has no manifest.json"},
		"sound missing": {func(_ *testing.T, all []entry) []entry {
			return slices.DeleteFunc(all, func(e entry) bool { return e.Name == first })
		}, ErrAltered, "is missing"},
		"sound missing and not listed": {func(t *testing.T, all []entry) []entry {
			manifest(t, all, func(m *Manifest) {
				m.Files = slices.DeleteFunc(m.Files, func(f File) bool { return f.Name == first })
			})
			return slices.DeleteFunc(all, func(e entry) bool { return e.Name == first })
		}, ErrAltered, "2 sounds beside a record with 3"},
		"record missing": {func(t *testing.T, all []entry) []entry {
			manifest(t, all, func(m *Manifest) {
				m.Files = slices.DeleteFunc(m.Files, func(f File) bool { return f.Name == databaseName })
			})
			return slices.DeleteFunc(all, func(e entry) bool { return e.Name == databaseName })
		}, ErrAltered, "is missing"},
		"bad sum":        {meta(func(m *Manifest) { m.listed(databaseName).SHA256 = strings.Repeat("0", 64) }), ErrAltered, "does not match its sum"},
		"bad sum, sound": {meta(func(m *Manifest) { m.listed(first).SHA256 = "" }), ErrAltered, "does not match its sum"},
		"bad size":       {meta(func(m *Manifest) { m.listed(first).Size-- }), ErrAltered, "and should have"},
		"listed twice":   {meta(func(m *Manifest) { m.Files = append(m.Files, m.Files[0]) }), ErrAltered, "twice"},
		"another layout": {meta(func(m *Manifest) { m.Format = "holiday photos" }), ErrNotPacked, "holiday photos"},
		"newer layout":   {meta(func(m *Manifest) { m.Version = 2 }), ErrNewer, "version 2 of the layout"},
		"version 0":      {meta(func(m *Manifest) { m.Version = 0 }), ErrNotPacked, "version 0"},
		"another head":   {meta(func(m *Manifest) { m.Head = strings.Repeat("0", 64) }), ErrAltered, "not the one"},
		"fewer events":   {meta(func(m *Manifest) { m.Events-- }), ErrAltered, "not the one"},
		"newer, more in it": {func(_ *testing.T, all []entry) []entry {
			find(all, manifestName).data = []byte(`{"format":"waycall job","version":7,"colour":"blue"}`)
			return all
		}, ErrNewer, "version 7"},
		"more in it": {func(_ *testing.T, all []entry) []entry {
			find(all, manifestName).data = []byte(`{"format":"waycall job","version":1,"colour":"blue"}`)
			return all
		}, ErrAltered, "colour"},
		"no JSON":        {func(_ *testing.T, all []entry) []entry { find(all, manifestName).data = []byte("{"); return all }, ErrNotPacked, "manifest.json"},
		"no database":    {replaced(databaseName, func(*testing.T, []byte) []byte { return []byte(strings.Repeat("hello ", 99)) }), store.ErrForeign, "another program's"},
		"empty database": {replaced(databaseName, func(*testing.T, []byte) []byte { return nil }), store.ErrForeign, "another program's"},
		"another program's": {replaced(databaseName, func(t *testing.T, _ []byte) []byte {
			return database(t, nil, "CREATE TABLE events (x)")
		}), store.ErrForeign, "another program's"},
		"newer schema": {replaced(databaseName, func(t *testing.T, b []byte) []byte { return database(t, b, "PRAGMA user_version = 99") }), store.ErrNewer, "schema version 99"},
		"cut short":    {replaced(databaseName, func(_ *testing.T, b []byte) []byte { return b[:len(b)/2] }), ErrAltered, "its database ends at"},
		"an event altered": {replaced(databaseName, func(t *testing.T, b []byte) []byte {
			return database(t, b, `PRAGMA writable_schema = ON; DELETE FROM sqlite_schema WHERE name = 'events_stay'; PRAGMA writable_schema = RESET;
				UPDATE events SET data = '{"text":"other"}' WHERE id = 3`)
		}), store.ErrDamaged, "tables or triggers"},
		"an event altered, triggers kept": {replaced(databaseName, func(_ *testing.T, b []byte) []byte {
			return bytes.Replace(b, []byte("Way one."), []byte("Way two."), 1)
		}), ErrAltered, "event 7 does not match its sum"},
		"a trap in the schema": {replaced(databaseName, func(t *testing.T, b []byte) []byte {
			return database(t, b, "CREATE VIEW trap AS SELECT load_extension('x')")
		}), store.ErrDamaged, "tables or triggers"},
		"another sound": {replaced(first, func(t *testing.T, _ []byte) []byte {
			b, err := toFLAC(wav(ramp(9, 5000)))
			if err != nil {
				t.Fatal(err)
			}
			return b
		}), ErrAltered, "is not the sound in the record"},
		"no sound": {replaced(first, func(*testing.T, []byte) []byte { return []byte("fLaC and so on") }), ErrAltered, "FLAC"},
		"sound of another event": {func(t *testing.T, all []entry) []entry {
			find(all, first).Name = "sounds/000003.flac"
			manifest(t, all, func(m *Manifest) { m.listed(first).Name = "sounds/000003.flac" })
			return all
		}, ErrAltered, "the sound of no event"},
		"number written otherwise": {func(t *testing.T, all []entry) []entry {
			find(all, first).Name = "sounds/0000002.flac"
			manifest(t, all, func(m *Manifest) { m.listed(first).Name = "sounds/0000002.flac" })
			return all
		}, ErrAltered, "no event has the number"},
		"bomb: announced": {func(t *testing.T, all []entry) []entry {
			e := find(all, databaseName)
			e.UncompressedSize64, e.CompressedSize64, e.raw = 9<<30, uint64(len(e.data)), true
			return all
		}, ErrTooMuch, "9663676416 bytes"},
		"bomb: ratio": {func(t *testing.T, all []entry) []entry {
			e := find(all, databaseName)
			e.UncompressedSize64, e.CompressedSize64, e.raw = 1<<30, uint64(len(e.data)), true
			manifest(t, all, func(m *Manifest) { m.listed(databaseName).Size = 1 << 30 })
			return all
		}, ErrTooMuch, "bytes out of"},
		"bomb: more than announced": {func(t *testing.T, all []entry) []entry {
			// A megabyte of zeros that says it has a hundred bytes.
			var b bytes.Buffer
			z := zip.NewWriter(&b)
			w, _ := z.CreateHeader(&zip.FileHeader{Name: "x", Method: zip.Deflate})
			w.Write(make([]byte, 1<<20))
			z.Close()
			r, _ := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
			raw, _ := r.File[0].OpenRaw()
			e := find(all, first)
			e.data, _ = io.ReadAll(raw)
			e.FileHeader = zip.FileHeader{Name: first, Method: zip.Deflate, CRC32: r.File[0].CRC32, CompressedSize64: uint64(len(e.data)), UncompressedSize64: 100}
			e.raw = true
			manifest(t, all, func(m *Manifest) { m.listed(first).Size = 100 })
			return all
		}, ErrAltered, "does not unpack"},
		"sound of silence without end": {func(t *testing.T, all []entry) []entry {
			b, err := toFLAC(wav(make([]int16, 3<<20)))
			if err != nil {
				t.Fatal(err)
			}
			put(t, all, first, b)
			return all
		}, ErrAltered, "is not the sound in the record"},
		"locked": {func(_ *testing.T, all []entry) []entry {
			e := find(all, first)
			e.Flags, e.raw = 1, true
			e.UncompressedSize64, e.CompressedSize64 = uint64(len(e.data)), uint64(len(e.data))
			return all
		}, ErrNotPacked, "packed or locked in another way"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := take(t, rezip(t, c.do(t, unzip(t, good))))
			if !errors.Is(err, c.reason) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v", err)
			}
		})
	}
	t.Run("rezipped alone is fine", func(t *testing.T) {
		if _, err := take(t, rezip(t, unzip(t, good))); err != nil {
			t.Error(err)
		}
	})
	for name, b := range map[string][]byte{"empty": {}, "text": []byte("hello"), "cut short": good[:len(good)-30], "only the end": good[len(good)-22:]} {
		t.Run(name, func(t *testing.T) {
			if _, err := take(t, b); !errors.Is(err, ErrNotPacked) {
				t.Error(err)
			}
		})
	}
}

// Whatever byte is altered: it is refused, or it was none that counts and the
// record is the same.
func TestFlippedBytes(t *testing.T) {
	path := job(t)
	good := packed(t, path)
	want, _ := store.Verify(ctx, path)
	rapid.Check(t, func(r *rapid.T) {
		b := slices.Clone(good)
		b[rapid.IntRange(0, len(b)-1).Draw(r, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(r, "bit")
		got, err := take(t, b)
		if err != nil {
			return
		}
		if after, err := store.Verify(ctx, got); err != nil || after.Head != want.Head || len(after.Problems) > 0 {
			r.Fatalf("it was taken in as %+v, %v", after, err)
		}
	})
}

// A job that is not whole is not packed.
func TestDamagedJobIsNotPacked(t *testing.T) {
	path := job(t)
	b, _ := os.ReadFile(path)
	if err := os.WriteFile(path, bytes.Replace(b, []byte("Way one."), []byte("Way two."), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	_, err := Write(ctx, path, dir, io.Discard)
	if err == nil || !strings.Contains(err.Error(), "event 7 does not match its sum") {
		t.Error(err)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("it left %v", left)
	}
}

func TestKeepWritesOverNothing(t *testing.T) {
	path := job(t)
	file := filepath.Join(t.TempDir(), "in.zip")
	os.WriteFile(file, packed(t, path), 0o600)
	p, err := Open(ctx, file, filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	before, _ := os.ReadFile(path)
	if err := p.Keep(path); !errors.Is(err, fs.ErrExist) {
		t.Error(err)
	}
	p.Close()
	if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
		t.Error("the job that was there has changed")
	}
	if left, _ := os.ReadDir(filepath.Dir(path)); len(left) != 2 || left[1].Name() != filepath.Base(path)+"-head" {
		t.Errorf("it left %v", left)
	}
}

// Every sound comes back from FLAC as it was.
func TestFLAC(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.SampledFrom([]int{0, 1, 2, 15, 16, 17, 192, 4095, 4096, 4097, 9000}).Draw(r, "samples")
		samples := make([]int16, n)
		switch rapid.SampledFrom([]string{"silence", "constant", "ramp", "noise", "loud"}).Draw(r, "sound") {
		case "constant":
			c := rapid.Int16().Draw(r, "value")
			for i := range samples {
				samples[i] = c
			}
		case "ramp":
			samples = ramp(rapid.IntRange(1, 999).Draw(r, "seed"), n)
		case "noise":
			x := rapid.Uint32().Draw(r, "seed")
			for i := range samples {
				x = x*1664525 + 1013904223
				samples[i] = int16(x >> 16)
			}
		case "loud":
			for i := range samples {
				samples[i] = int16(-32768 + 65535*(i%2))
			}
		}
		b, err := toFLAC(wav(samples))
		if err != nil {
			r.Fatal(err)
		}
		got, rate, err := store.Samples(b)
		if err != nil || rate != 16000 || !slices.Equal(got, samples) {
			r.Fatalf("%d samples came back as %d at %d, %v", n, len(got), rate, err)
		}
	})
}

// Nothing that is read as a packed job may crash, fill the memory or leave a file.
func FuzzOpen(f *testing.F) {
	good := packed(f, job(f))
	f.Add(good)
	f.Add(good[:len(good)/2])
	f.Fuzz(func(t *testing.T, b []byte) { _, _ = take(t, b) })
}
