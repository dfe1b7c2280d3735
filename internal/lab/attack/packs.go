package attack

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"waycall/internal/printable"
)

const groupHostile = "hostile files"

// mostMemory is what an import may take, and mostAtAll what any command may, in bytes.
// What the machine's own libraries take is in it.
const (
	mostMemory = 256 << 20
	mostAtAll  = 768 << 20
)

var packAttacks = []Attack{
	{
		Name: "import", Group: groupHostile, Title: "hostile exports: traversal, names twice, bombs, huge manifests, zeros behind the database, things that are no zip",
		Bar: "refused with words, or the right record; nothing written elsewhere or left behind; at most 256 MiB", Long: 6 * len(hostilePacks), Short: 5, Trial: hostilePack,
	},
	{
		Name: "forged", Group: groupHostile, Title: "forged records with right sums and hostile fields, six commands each",
		Bar: "refused, or printed without control characters; never a crash", Long: 250, Short: 4, Trial: forgedRecord,
	},
}

// entry is one file of a zip.
type entry struct {
	name   string
	data   []byte
	stored bool // not compressed
	mode   fs.FileMode
	zeros  int64 // so many of them in place of data
}

type hostilePackKind struct {
	name string
	make func(t *Trial, good []entry) []byte
}

// hostilePacks are ways to make a hostile export from a good one.
var hostilePacks = []hostilePackKind{
	{"traversal", func(t *Trial, good []entry) []byte {
		name := []string{"../../evil", "/tmp/waycall-evil", "..\\..\\evil", "sounds/../../../evil.flac", "a/./../../evil", "C:\\evil", "sounds/000002.flac/../../x"}[t.Rand.IntN(7)]
		return zipped(append(good, entry{name: name, data: []byte("evil")}))
	}},
	{"a name for the database that leaves", func(t *Trial, good []entry) []byte {
		good[t.Rand.IntN(len(good))].name = "../../../evil"
		return zipped(good)
	}},
	{"a name twice", func(t *Trial, good []entry) []byte {
		again := good[t.Rand.IntN(len(good))]
		if t.Rand.IntN(2) == 0 {
			again.data = append([]byte(nil), again.data...)
			again.data = flip(t.Rand, again.data)
		}
		return zipped(append(good, again))
	}},
	{"a link", func(t *Trial, good []entry) []byte {
		return zipped(append(good, entry{name: "sounds/999999.flac", data: []byte("/etc/passwd"), mode: fs.ModeSymlink | 0o777}))
	}},
	{"a bomb", func(t *Trial, good []entry) []byte {
		return zipped(append(good, entry{name: "sounds/999999.flac", zeros: 400 << 20}))
	}},
	{"a huge manifest", func(t *Trial, good []entry) []byte {
		return zipped(replaced(good, "manifest.json", bytes.Repeat([]byte("{},"), 12<<20)))
	}},
	{"a manifest with a huge list", func(t *Trial, good []entry) []byte {
		m := []byte(`{"format":"waycall job","version":1,"files":[` + strings.Repeat("{},", 10<<20) + "{}]}")
		return zipped(replaced(good, "manifest.json", m))
	}},
	{"a manifest nested deep", func(t *Trial, good []entry) []byte {
		return zipped(replaced(good, "manifest.json", bytes.Repeat([]byte("["), 4<<20)))
	}},
	{"zeros behind the database", func(t *Trial, good []entry) []byte {
		n := []int{1, 512, 4096, 1 << 20, 40 << 20}[t.Rand.IntN(5)]
		for i := range good {
			if good[i].name == "job.waycall" {
				good[i].data = append(append([]byte(nil), good[i].data...), make([]byte, n)...)
			}
		}
		return zipped(remanifested(good))
	}},
	{"no manifest", func(t *Trial, good []entry) []byte { return zipped(dropped(good, "manifest.json")) }},
	{"no database", func(t *Trial, good []entry) []byte { return zipped(remanifested(dropped(good, "job.waycall"))) }},
	{"a sound too few", func(t *Trial, good []entry) []byte {
		return zipped(remanifested(dropped(good, good[1+t.Rand.IntN(len(good)-2)].name)))
	}},
	{"a file too many", func(t *Trial, good []entry) []byte {
		return zipped(remanifested(append(good, entry{name: "sounds/888888.flac", data: junk(t.Rand, 1000)})))
	}},
	{"another sound", func(t *Trial, good []entry) []byte {
		for i := range good {
			if strings.HasPrefix(good[i].name, "sounds/") && t.Rand.IntN(3) == 0 {
				good[i].data = junk(t.Rand, 5000)
			}
		}
		return zipped(remanifested(good))
	}},
	{"a database of something else", func(t *Trial, good []entry) []byte {
		return zipped(remanifested(replaced(good, "job.waycall", t.foreign())))
	}},
	{"a database that is junk", func(t *Trial, good []entry) []byte {
		return zipped(remanifested(replaced(good, "job.waycall", junk(t.Rand, 1<<16))))
	}},
	{"60,000 files", func(t *Trial, good []entry) []byte {
		for i := range 60_000 {
			good = append(good, entry{name: fmt.Sprintf("sounds/%06d.flac", 100_000+i)})
		}
		return zipped(good)
	}},
	{"junk behind PK", func(t *Trial, good []entry) []byte {
		return append([]byte("PK\x03\x04"), junk(t.Rand, 1+t.Rand.IntN(1<<20))...)
	}},
	{"something before and behind it", func(t *Trial, good []entry) []byte {
		return append(append(junk(t.Rand, 100), zipped(good)...), junk(t.Rand, 100)...)
	}},
	{"a wrong directory", func(t *Trial, good []entry) []byte {
		b := zipped(good)
		for range 1 + t.Rand.IntN(8) {
			b[len(b)-1-t.Rand.IntN(min(len(b), 600))] ^= 1 << t.Rand.IntN(8)
		}
		return b
	}},
}

func zipped(all []entry) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range all {
		h := &zip.FileHeader{Name: e.name, Method: zip.Deflate}
		if e.stored {
			h.Method = zip.Store
		}
		if e.mode != 0 {
			h.SetMode(e.mode)
		}
		f, err := w.CreateHeader(h)
		if err != nil {
			continue
		}
		if e.zeros > 0 {
			block := make([]byte, 1<<20)
			for n := e.zeros; n > 0; n -= int64(len(block)) {
				_, _ = f.Write(block)
			}
			continue
		}
		_, _ = f.Write(e.data)
	}
	_ = w.Close()
	return b.Bytes()
}

func unzipped(path string) ([]entry, error) {
	r, err := zip.OpenReader(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	var all []entry
	for _, f := range r.File {
		in, err := f.Open()
		if err != nil {
			return nil, err
		}
		data, err := io.ReadAll(in)
		in.Close()
		if err != nil {
			return nil, err
		}
		all = append(all, entry{name: f.Name, data: data, stored: f.Method == zip.Store})
	}
	return all, nil
}

func replaced(all []entry, name string, data []byte) []entry {
	for i := range all {
		if all[i].name == name {
			all[i].data = data
		}
	}
	return all
}

func dropped(all []entry, name string) []entry {
	var kept []entry
	for _, e := range all {
		if e.name != name {
			kept = append(kept, e)
		}
	}
	return kept
}

// remanifested gives the manifest the sizes and sums of what is there.
func remanifested(all []entry) []entry {
	for i := range all {
		if all[i].name != "manifest.json" {
			continue
		}
		var m map[string]any
		if json.Unmarshal(all[i].data, &m) != nil {
			return all
		}
		var files []any
		for _, e := range all {
			if e.name != "manifest.json" {
				files = append(files, map[string]any{"name": e.name, "size": len(e.data), "sha256": fmt.Sprintf("%x", sha256.Sum256(e.data))})
			}
		}
		m["files"] = files
		all[i].data, _ = json.Marshal(m)
	}
	return all
}

// foreign is a database of another program.
func (t *Trial) foreign() []byte {
	path := t.path("foreign")
	db, err := sql.Open("sqlite3", path)
	t.must(err)
	_, err = db.Exec("CREATE TABLE notes (id INTEGER PRIMARY KEY, text TEXT); INSERT INTO notes VALUES (1, 'x')")
	t.must(err)
	t.must(db.Close())
	b, err := os.ReadFile(path)
	t.must(err)
	return b
}

func hostilePack(ctx context.Context, t *Trial) {
	kind := hostilePacks[(t.Number-1)%len(hostilePacks)]
	from := t.packed(ctx)
	want, err := readHeld(t.job(), t.Dir)
	t.must(err)
	t.wipe()
	good, err := unzipped(from)
	t.must(err)
	hostile := t.path("hostile.zip")
	t.must(os.WriteFile(hostile, kind.make(t, good), 0o600))
	before := listing(t.Dir, t.jobs())
	r := t.waycall(ctx, "import", hostile)
	switch {
	case r.crashed():
		t.Failf("%s: %s", kind.name, r)
	case r.code == 0:
		h, err := readHeld(t.job(), t.Dir)
		if err != nil || h.head != want.head || len(h.wrong) > 0 {
			t.Failf("%s: imported something else: %v %v", kind.name, err, h.wrong)
		}
		if a, err := os.Stat(t.job()); err == nil && a.Size() > int64(len(good[0].data))+1<<24 {
			t.Failf("%s: %d bytes of nothing were taken in", kind.name, a.Size())
		}
		t.Saw("imported, the same")
	default:
		t.Saw("refused")
		t.nothingLeft()
		if !strings.Contains(r.err, ";") {
			t.Failf("%s: the error does not say what to do: %s", kind.name, r)
		}
	}
	if r.peak > mostMemory {
		t.Failf("%s: %d MiB of memory", kind.name, r.peak>>20)
	}
	if now := listing(t.Dir, t.jobs()); now != before {
		t.Failf("%s: written elsewhere: %s, before %s", kind.name, now, before)
	}
	for _, evil := range []string{filepath.Join(filepath.Dir(t.Dir), "evil"), filepath.Join(t.Out, "evil"), "/tmp/waycall-evil", "/tmp/evil"} {
		if _, err := os.Stat(evil); err == nil {
			t.Failf("%s: wrote %s", kind.name, evil)
			_ = os.Remove(evil)
		}
	}
	t.printable(kind.name, r)
}

// listing names all files below a folder but those in another.
func listing(dir, but string) string {
	var all []string
	_ = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && !strings.HasPrefix(path, but) {
			all = append(all, strings.TrimPrefix(path, dir))
		}
		return nil
	})
	return strings.Join(all, " ")
}

// printable fails where what was printed could move the cursor of a terminal or turn the
// order of letters round.
func (t *Trial) printable(what string, r ran) {
	for _, out := range []string{r.out, r.err} {
		for _, c := range strings.ReplaceAll(out, "\r\n", "\n") { // as lines of CSV end
			if c != '\n' && c != '\t' && printable.Hidden(c) {
				t.Failf("%s: %s prints %U", what, strings.Join(r.args, " "), c)
				return
			}
		}
	}
}

// evil are values that a field of a forged record may have.
var evil = []any{
	"", "\x1b[2J\x1b]0;pwn\x07", "\u202eabc\u2066", "\u009b31m", "a\x00b", "<script>alert(1)</script>", "=cmd|'/c calc'!A1", "../../../evil", strings.Repeat("x", 1<<16),
	-1, 0, 1e308, -1e308, 1 << 53, "NaN", nil, true, []any{}, map[string]any{}, []any{[]any{[]any{}}}, "ZZ", "x.waycall", "Ω µ é 漢 \ufffd", "\n\n\n", "' OR 1=1 --",
}

// forgedRecord changes fields of a record at random and makes all sums anew, so that
// nothing but its sense speaks against it.
func forgedRecord(ctx context.Context, t *Trial) {
	from := t.packed(ctx)
	good, err := unzipped(from)
	t.must(err)
	t.must(t.forge(t.job()))
	b, err := os.ReadFile(t.job())
	t.must(err)
	h, err := readHeld(t.job(), t.Dir)
	t.must(err)
	forged := remanifested(replaced(good, "job.waycall", b))
	for i := range forged {
		if forged[i].name == "manifest.json" {
			forged[i].data = bytes.Replace(forged[i].data, []byte(headOf(forged[i].data)), []byte(h.head), 1)
		}
	}
	t.must(os.WriteFile(t.path("forged.zip"), zipped(forged), 0o600))
	for _, args := range [][]string{
		{"verify", t.job()}, {"show", jobName}, {"schedule", jobName}, {"schedule", "--format", "csv", jobName}, {"jobs"}, {"check", jobName},
		{"export", jobName, t.path("again.zip")}, {"due", jobName}, {"import", "--as", "FORGED", t.path("forged.zip")}, {"show", "FORGED"},
	} {
		r := t.waycall(ctx, args...)
		if r.crashed() || r.peak > mostAtAll {
			t.Failf("%d MiB, %s", r.peak>>20, r)
		}
		t.printable("forged", r)
		if args[0] == "import" {
			t.Saw(map[bool]string{true: "taken in", false: "refused"}[r.code == 0])
		}
	}
}

func headOf(manifest []byte) string {
	var m struct {
		Head string `json:"head"`
	}
	_ = json.Unmarshal(manifest, &m)
	return m.Head
}

// forge changes some fields of the record at path and makes all sums anew.
func (t *Trial) forge(path string) error {
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		return err
	}
	defer db.Close()
	triggers, err := rowsOf(db, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
	if err != nil {
		return err
	}
	for _, tr := range triggers {
		if _, err := db.Exec("DROP TRIGGER " + tr[0]); err != nil {
			return err
		}
	}
	events, err := rowsOf(db, "SELECT id, at, kind, data, ifnull(hex(sound), '') FROM events ORDER BY id")
	if err != nil {
		return err
	}
	changed := map[int]bool{0: t.Rand.IntN(2) == 0} // the first holds the job
	for range 1 + t.Rand.IntN(3) {
		changed[t.Rand.IntN(len(events))] = true
	}
	before := make([]byte, sha256.Size)
	for i, e := range events {
		if changed[i] {
			var v any
			if err := json.Unmarshal([]byte(e[3]), &v); err != nil {
				return err
			}
			for range 1 + t.Rand.IntN(3) {
				v = t.twist(v)
			}
			if _, ok := v.(map[string]any); ok {
				b, err := json.Marshal(v)
				if err != nil {
					return err
				}
				e[3] = string(b)
			}
			if t.Rand.IntN(10) == 0 {
				e[1] = []string{"0001-01-01T00:00:00.000000000Z", "9999-12-31T23:59:59.000000000Z", "x"}[t.Rand.IntN(3)]
			}
		}
		var sound []byte
		if _, err := fmt.Sscanf(e[4], "%x", &sound); err != nil && e[4] != "" {
			return err
		}
		sum := sha256.New()
		sum.Write(before)
		fmt.Fprintf(sum, "%s\x00%s\x00%s\x00%s\x00", e[0], e[1], e[2], e[3])
		sum.Write(sound)
		before = sum.Sum(nil)
		if _, err := db.Exec("UPDATE events SET at = ?, data = ?, sha256 = ? WHERE id = ?", e[1], e[3], before, e[0]); err != nil {
			return err
		}
	}
	for _, tr := range triggers {
		if _, err := db.Exec(tr[1]); err != nil {
			return err
		}
	}
	return nil
}

// twist changes one thing somewhere in a value of JSON.
func (t *Trial) twist(v any) any {
	switch v := v.(type) {
	case map[string]any:
		keys := make([]string, 0, len(v))
		for k := range v {
			keys = append(keys, k)
		}
		if len(keys) == 0 {
			return v
		}
		sortStrings(keys)
		k := keys[t.Rand.IntN(len(keys))]
		switch t.Rand.IntN(12) {
		case 0:
			delete(v, k)
		case 1:
			v["unknown"] = evil[t.Rand.IntN(len(evil))]
		default:
			v[k] = t.twist(v[k])
		}
		return v
	case []any:
		if len(v) == 0 || t.Rand.IntN(6) == 0 {
			return append(v, v...)
		}
		i := t.Rand.IntN(len(v))
		v[i] = t.twist(v[i])
		return v
	}
	return evil[t.Rand.IntN(len(evil))]
}

// rowsOf returns all rows of a query, as text.
func rowsOf(db *sql.DB, query string) ([][]string, error) {
	rows, err := db.Query(query)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	cols, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	var all [][]string
	for rows.Next() {
		row := make([]string, len(cols))
		at := make([]any, len(cols))
		for i := range row {
			at[i] = &row[i]
		}
		if err := rows.Scan(at...); err != nil {
			return nil, err
		}
		all = append(all, row)
	}
	return all, rows.Err()
}
