package store

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"waycall/internal/store/faults"
	"waycall/internal/store/internal/jobfile"
)

// inUse makes a job as a session leaves it that was killed, and returns how many events
// were told to be stored. After the first moved phrases the log was moved into the file, so
// that the others begin it anew over an older round.
func inUse(t *testing.T, phrases, moved int64) (path string, stored int64) {
	t.Helper()
	s, path := create(t)
	for n := range phrases {
		mustAppend(t, s, phrase(n), wav(n, 200+int(n%7)*1500))
		if n == moved-1 {
			if _, err := s.db.Exec("PRAGMA wal_checkpoint(PASSIVE)"); err != nil {
				t.Fatal(err)
			}
		}
	}
	return copied(t, path, "", "-wal", jobfile.HeadEnd), 3 * phrases
}

// copied copies a job, open or not, by those of its files that are named.
func copied(t *testing.T, path string, ends ...string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "D-104.waycall")
	for _, end := range ends {
		if _, err := os.Stat(path + end); err == nil {
			copyFile(t, path+end, to+end, -1)
		}
	}
	return to
}

// sqliteSees is how many events SQLite finds in a job, -1 if it finds damage.
func sqliteSees(t *testing.T, path string) (n int64) {
	t.Helper()
	db := jobfile.OpenDB(copied(t, path, "", "-wal"), "mode=rw")
	defer db.Close()
	if _, err := readEvents(ctx, db); err != nil || jobfile.QuickCheck(db) != nil {
		return -1
	}
	if err := db.QueryRow("SELECT count(*) FROM events").Scan(&n); err != nil {
		return -1
	}
	return n
}

// said is what Verify says is wrong, but for that the logs of these tests begin without a
// session.
func said(t *testing.T, path string) string {
	t.Helper()
	r, err := Verify(ctx, path)
	if err != nil {
		return err.Error()
	}
	for _, f := range r.Problems {
		if !strings.Contains(f.What, "no session was opened") {
			return f.String()
		}
	}
	return ""
}

// noted are the notes of Verify in one line.
func noted(t *testing.T, path string) string {
	t.Helper()
	r, err := Verify(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, f := range r.Notes {
		all = append(all, f.String())
	}
	return strings.Join(all, "\n")
}

// A write-ahead log that was damaged or cut short never takes away what was said to be
// stored without a word, and whoever goes on first puts aside what there is.
func TestDamagedLog(t *testing.T) {
	t.Run("begun anew", func(t *testing.T) {
		gone, harmless := damageLog(t, 18, 13)
		if gone == 0 || harmless == 0 {
			t.Error("the damage tested nothing")
		}
	})
	// Then SQLite goes back behind what is in the file, or mixes the two.
	t.Run("moved whole", func(t *testing.T) {
		if gone, _ := damageLog(t, 12, 12); gone == 0 {
			t.Error("the damage tested nothing")
		}
	})
}

func damageLog(t *testing.T, phrases, moved int64) (gone, harmless int) {
	flips, cuts := 24, 8
	if long() {
		flips, cuts = 370, 100
	}
	path, stored := inUse(t, phrases, moved)
	wal, err := os.ReadFile(path + "-wal")
	if err != nil {
		t.Fatal(err)
	}
	if got := sqliteSees(t, path); got != stored || said(t, path) != "" {
		t.Fatalf("before any damage %d events of %d, and %q", got, stored, said(t, path))
	}
	recovered := 0
	end := written(t, path+"-wal")
	for i := range flips + cuts {
		bad := copied(t, path, "", jobfile.HeadEnd)
		b := append([]byte(nil), wal...)
		at := rand.IntN(len(b))
		switch {
		case i < 6: // the header
			at = rand.IntN(32 /* bytes of its header */)
			b[at] ^= 1 << rand.IntN(8)
		case i < flips:
			if i%2 == 0 {
				at = rand.IntN(end)
			}
			b[at] ^= 1 << rand.IntN(8)
		case i == flips:
			b = nil
		default:
			b = b[:at]
		}
		if err := os.WriteFile(bad+"-wal", b, 0o600); err != nil {
			t.Fatal(err)
		}
		sees, says := sqliteSees(t, bad), said(t, bad)
		if sees == stored {
			harmless++
			if says != "" && !strings.Contains(says, "though nothing that was told to be stored is missing") {
				t.Errorf("trial %d at byte %d: nothing is lost, and verify says %s", i, at, says)
			}
			continue
		}
		gone++
		if !strings.Contains(says, "-wal") && !strings.Contains(says, "damaged") {
			t.Errorf("trial %d at byte %d: %d events of %d are there, and verify says %q", i, at, sees, stored, says)
			continue
		}
		before, _ := os.ReadFile(bad)
		for _, open := range []func(string) (*Store, error){Open, OpenReadOnly} {
			if _, err := open(bad); !errors.Is(err, ErrLog) || !errors.Is(err, ErrDamaged) {
				t.Fatalf("trial %d: opened all the same: %v", i, err)
			}
		}
		if after, _ := os.ReadFile(bad); string(after) != string(before) {
			t.Fatalf("trial %d: the file was refused and changed", i)
		}
		if after, _ := os.ReadFile(bad + "-wal"); string(after) != string(b) {
			t.Fatalf("trial %d: the log was refused and changed", i)
		}
		found, err := PutLogAside(bad)
		if err != nil {
			t.Fatalf("trial %d at byte %d: %v", i, at, err)
		}
		recovered++
		kept, err := os.ReadFile(filepath.Join(bad+"-damaged-1", filepath.Base(bad)+"-wal"))
		if err != nil || string(kept) != string(b) {
			t.Fatalf("trial %d: the log was not kept as it was: %v", i, err)
		}
		s, err := Open(bad)
		if err != nil {
			t.Fatal(err)
		}
		n := int64(len(checkLog(t, s)))
		if n < sees || n+1 != found.Event || n > stored || n < 3*moved || moved == phrases && n != stored {
			t.Errorf("trial %d: %d events are left of %d where SQLite saw %d; %s", i, n, stored, sees, found)
		}
		if f := s.Found(); len(f) != 1 || !strings.Contains(f[0].What, "-damaged-1") || !strings.HasPrefix(s.Warning(), "Damaged files") {
			t.Errorf("trial %d: opening it found %v", i, f)
		}
		mustAppend(t, s, phrase(n/3), wav(n/3, 100))
		s.Close()
		if says := said(t, bad); says != "" || !strings.Contains(noted(t, bad), "-damaged-1") {
			t.Errorf("trial %d: afterwards verify says %q and notes %q", i, says, noted(t, bad))
		}
	}
	t.Logf("%d damaged logs: %d with readings gone, all told; %d harmless; work went on with %d", flips+cuts, gone, harmless, recovered)
	return gone, harmless
}

// Without the file that says how far the record had come, a log with commits behind the
// place where it fails is still damage, and all else is a note.
func TestDamagedLogWithoutHead(t *testing.T) {
	path, stored := inUse(t, 12, 4)
	if alone := copied(t, path, "", "-wal"); said(t, alone) != "" || !strings.Contains(noted(t, alone), "cannot be told") {
		t.Errorf("whole: %q and %q", said(t, alone), noted(t, alone))
	}
	bad := copied(t, path, "", "-wal")
	b, _ := os.ReadFile(bad + "-wal")
	for at := 24 + 32; at < written(t, path+"-wal"); at += 24 + 4096 { // each frame
		c := append([]byte(nil), b...)
		c[at+99] ^= 4
		os.WriteFile(bad+"-wal", c, 0o600)
		says := said(t, bad)
		if says == "" {
			says = noted(t, bad)
		} else if !strings.Contains(says, "behind it") {
			t.Errorf("byte %d: %q", at, says)
		}
		if says == "" || !strings.Contains(says, "-wal") && !strings.Contains(says, jobfile.HeadEnd) {
			t.Errorf("byte %d: %d of %d events, and %q", at, sqliteSees(t, bad), stored, says)
		}
	}
	// The file by itself, as a file manager copies it.
	only := copied(t, path, "")
	for range 2 { // and again, as looking makes an empty log
		if says := noted(t, only); !strings.Contains(says, "is not here") || said(t, only) != "" {
			t.Errorf("without its log: %q and %q", said(t, only), says)
		}
	}
	s, err := Open(only)
	if err != nil {
		t.Fatal("work does not go on:", err)
	}
	if f := s.Found(); len(f) != 1 || !strings.Contains(f[0].What, "is not here") {
		t.Errorf("opening it found %v", f)
	}
	s.Close()
	// With its head it is known what is missing.
	if says := said(t, copied(t, path, "", jobfile.HeadEnd)); !strings.Contains(says, "36") || !strings.Contains(says, "is gone or empty") {
		t.Errorf("without its log, with its head: %q", says)
	}
}

// Batches that failed leave frames behind the end of the log, with the marks of commits.
// They are no damage, though a power cut then leaves the head behind, too.
func TestFailedBatchesAreNoDamage(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 500))
	writes := func(samples int) int {
		c, err := Open(copied(t, path, "", "-wal", jobfile.HeadEnd))
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if err := faults.Begin(faults.Plan{}); err != nil {
			t.Fatal(err)
		}
		mustAppend(t, c, phrase(1), wav(1, samples))
		return faults.End()
	}
	for _, samples := range []int{60000, 40000, 20000} {
		n := writes(samples)
		failed := false
		for at := n + 4; at > n-6 && !failed; at-- { // the last write of the commit
			if err := faults.Begin(faults.Plan{At: at, With: syscall.EIO}); err != nil {
				t.Fatal(err)
			}
			_, err := s.Append(ctx, phrase(1), wav(1, samples))
			faults.End()
			if failed = err != nil; !failed {
				t.Skipf("write %d of %d did not fail", at, n)
			}
		}
	}
	old := copied(t, path, "", "-wal", jobfile.HeadEnd)
	mustAppend(t, s, phrase(1), wav(1, 100))
	now := copied(t, path, "", "-wal")
	copyFile(t, old+jobfile.HeadEnd, now+jobfile.HeadEnd, -1)
	if says := said(t, now); says != "" {
		t.Error(says)
	}
	if says := said(t, path); says != "" {
		t.Error(says)
	}
}

// What the file beside a job says is held against the record; what it cannot know is no
// damage.
func TestHead(t *testing.T) {
	s, path := create(t)
	for n := range int64(4) {
		mustAppend(t, s, phrase(n), wav(n, 100))
	}
	s.Close()
	old := copied(t, path, "")
	s, _ = Open(path)
	for n := int64(4); n < 6; n++ {
		mustAppend(t, s, phrase(n), wav(n, 100))
	}
	s.Close()
	got, err := jobfile.ReadTold(path)
	if r, _ := Verify(ctx, path); err != nil || got.ID != 18 || r.Head != fmt.Sprintf("%x", got.Sum) {
		t.Fatalf("%+v, %v", got, err)
	}
	other, _ := create(t)
	mustAppend(t, other, phrase(0), wav(9, 10))
	other.Close()
	for name, c := range map[string]struct {
		lay   func(p string)
		notes string
	}{
		"as it is":       {func(string) {}, ""},
		"gone":           {func(p string) { os.Remove(p + jobfile.HeadEnd) }, ""},
		"damaged":        {func(p string) { os.WriteFile(p+jobfile.HeadEnd, []byte("waycall-head 1"), 0o600) }, "is damaged"},
		"empty":          {func(p string) { os.Truncate(p+jobfile.HeadEnd, 0) }, "is damaged"},
		"one bit":        {func(p string) { flipBit(t, p+jobfile.HeadEnd, 100) }, "is damaged"},
		"a folder":       {func(p string) { os.Remove(p + jobfile.HeadEnd); os.Mkdir(p+jobfile.HeadEnd, 0o700) }, "cannot be read (it is not a plain file)"},
		"a pipe":         {func(p string) { os.Remove(p + jobfile.HeadEnd); syscall.Mkfifo(p+jobfile.HeadEnd, 0o600) }, "cannot be read (it is not a plain file)"},
		"a link":         {func(p string) { os.Remove(p + jobfile.HeadEnd); os.Symlink("/etc/hostname", p+jobfile.HeadEnd) }, "cannot be read (it is not a plain file)"},
		"of another job": {func(p string) { copyFile(t, other.Path()+jobfile.HeadEnd, p+jobfile.HeadEnd, -1) }, "is of another job"},
		"older than the job": {func(p string) {
			os.WriteFile(p+jobfile.HeadEnd, jobfile.Told{First: got.First, ID: 3, Sum: sumOf(t, p, 3)}.Line(), 0o600)
		}, ""},
		"an older copy":  {func(p string) { copyFile(t, old, p, -1) }, "it is shorter than it was: it ends with event 12, and here event 18 had been stored"},
		"another record": {func(p string) { os.WriteFile(p+jobfile.HeadEnd, jobfile.Told{First: got.First, ID: 18}.Line(), 0o600) }, "its event 18 is another one"},
	} {
		t.Run(name, func(t *testing.T) {
			p := copied(t, path, "", jobfile.HeadEnd)
			c.lay(p)
			if says := said(t, p); says != "" {
				t.Error("a false alarm:", says)
			}
			if says := noted(t, p); (says == "") != (c.notes == "") || !strings.Contains(says, c.notes) {
				t.Errorf("it notes %q, want %q", says, c.notes)
			}
			s, err := Open(p)
			if err != nil {
				t.Fatal(err)
			}
			if f := s.Found(); len(f) > 0 != (c.notes != "") {
				t.Errorf("opening it found %v", f)
			}
			n := int64(len(mustEvents(t, s)) / 3)
			mustAppend(t, s, phrase(n), wav(n, 10))
			s.Close()
			if says := said(t, p) + noted(t, p); says != "" {
				t.Error("after a session it still says", says)
			}
		})
	}
	// It goes with a job that is moved, and a new job has none of an old one's.
	to := filepath.Join(filepath.Dir(path), "other.waycall")
	if err := Move(path, to); err != nil {
		t.Fatal(err)
	}
	if left := folder(t, filepath.Dir(path)); left != "other.waycall other.waycall-head" || noted(t, to) != "" {
		t.Errorf("after a move the folder holds %s; %q", left, noted(t, to))
	}
	os.Rename(to+jobfile.HeadEnd, path+jobfile.HeadEnd)
	if s, err = Create(path); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if len(s.Found()) > 0 {
		t.Error(s.Found())
	}
}

// flipBit flips the lowest bit of the byte of a file at an offset.
func flipBit(t *testing.T, path string, at int) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[at] ^= 1
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// A folder in the place of that file which holds something is left as it is. Work goes on,
// and it is said each time.
func TestHeadUnderAFolder(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 100))
	s.Close()
	os.Remove(path + jobfile.HeadEnd)
	os.MkdirAll(filepath.Join(path+jobfile.HeadEnd, "ours"), 0o700)
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(1), wav(1, 100))
	s.Close()
	if _, err := os.Stat(filepath.Join(path+jobfile.HeadEnd, "ours")); err != nil {
		t.Error(err)
	}
	if says := noted(t, path); !strings.Contains(says, "cannot be read") {
		t.Errorf("it notes %q", says)
	}
	if says := said(t, path); says != "" {
		t.Error("a false alarm:", says)
	}
}

func sumOf(t *testing.T, path string, id int64) (sum [32]byte) {
	t.Helper()
	db := jobfile.OpenDB(path, "mode=ro")
	defer db.Close()
	b, err := jobfile.SumAt(ctx, db, id)
	if err != nil || len(b) != len(sum) {
		t.Fatal(err)
	}
	copy(sum[:], b)
	return sum
}

// After a disk that failed while a phrase was made to last, the next opening says whether
// it is there.
func TestUnsureIsTold(t *testing.T) {
	s, path := create(t)
	s.Close()
	c := startChild(t, "syncs fail", path)
	stored := int64(3 * len(c.read(t, -1)))
	c.cmd.Wait()
	bare := copied(t, path, "", jobfile.HeadEnd)
	wal, err := os.ReadFile(path + "-wal")
	if err != nil {
		t.Fatal(err)
	}
	for name, size := range map[string]int{"are stored": len(wal), "are not stored": len(wal) - 100} {
		t.Run(name, func(t *testing.T) {
			p := copied(t, bare, "", jobfile.HeadEnd)
			os.WriteFile(p+"-wal", wal[:size], 0o600)
			if says := said(t, p); says != "" {
				t.Error("a false alarm:", says)
			}
			s, err := Open(p)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			if f := s.Found(); len(f) != 1 || f[0].Event != stored+1 || !strings.HasPrefix(f[0].What, "events 16 to 18 were said to be stored or not, and "+name) || !strings.HasSuffix(strings.TrimSuffix(s.Warning(), " Say it again."), "is"+strings.TrimPrefix(name, "are")+".") {
				t.Errorf("of %d events found %v", stored, f)
			}
			n := int64(len(mustEvents(t, s)) / 3)
			mustAppend(t, s, phrase(n), wav(n, 10))
			s.Close()
			if s, err = Open(p); err != nil || len(s.Found()) > 0 {
				t.Error("it is said again:", s.Found(), err)
			}
		})
	}
}

// One flipped bit in the number of the schema is not a newer waycall, and a damaged schema
// is told without the text of its tables.
func TestWordsOfDamage(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 10))
	s.Close()
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const userVersion = 60 // where SQLite keeps it, 4 bytes, big-endian
	for bit := range 32 {
		b := append([]byte(nil), good...)
		b[userVersion+3-bit/8] ^= 1 << (bit % 8)
		os.WriteFile(path, b, 0o600)
		s, err := Open(path)
		if err == nil {
			s.Close()
			if bit > 1 { // 2 and 1 are older ones
				t.Errorf("bit %d of the version: opened", bit)
			}
		}
		if bit >= 7 && !errors.Is(err, ErrDamaged) {
			t.Errorf("bit %d of the version: %v", bit, err)
		}
	}
	at := strings.Index(string(good), "CREATE TABLE events")
	tried := 0
	for i := at - 60; i < at+400; i += 3 {
		b := append([]byte(nil), good...)
		b[i] ^= 1 << (i % 7)
		os.WriteFile(path, b, 0o600)
		s, err := Open(path)
		if err == nil {
			s.Close()
			continue
		}
		tried++
		if strings.Contains(strings.ToUpper(err.Error()), "CREATE") || len(err.Error()) > 600+len(path) {
			t.Errorf("byte %d: %v", i, err)
		}
	}
	if tried < 50 {
		t.Errorf("only %d damaged schemas were refused", tried)
	}
}

// A power cut in the middle of a commit leaves any of its sectors on the disk and not the
// others, over nothing or over an older round, and the head perhaps as it was long before:
// that is no damage, and the record has all that was told.
func TestPowerCutIsNoDamage(t *testing.T) {
	const sector = 512
	for _, moved := range []int64{0, 6} {
		s, path := create(t)
		var heads []string // after each phrase
		for n := range int64(8) {
			mustAppend(t, s, phrase(n), wav(n, 200+int(n%3)*3000))
			heads = append(heads, copied(t, path, jobfile.HeadEnd))
			if n == moved-1 {
				if _, err := s.db.Exec("PRAGMA wal_checkpoint(PASSIVE)"); err != nil {
					t.Fatal(err)
				}
			}
		}
		before, err := os.ReadFile(path + "-wal")
		if err != nil {
			t.Fatal(err)
		}
		file := copied(t, path, "")
		mustAppend(t, s, phrase(8), wav(8, 5000))
		after, err := os.ReadFile(path + "-wal")
		if err != nil {
			t.Fatal(err)
		}
		if n := len(after) - len(before); n > 0 {
			before = append(before, make([]byte, n)...)
		}
		trials := 30
		if long() {
			trials = 300
		}
		lengths := map[int]bool{}
		for i := range trials {
			cut := copied(t, file, "")
			b := append([]byte(nil), before...)
			for at := 0; at < len(b); at += sector {
				if rand.IntN(8) < i%9 {
					copy(b[at:min(at+sector, len(b))], after[at:])
				}
			}
			os.WriteFile(cut+"-wal", b, 0o600)
			switch i % 3 {
			case 0:
				copyFile(t, heads[7]+jobfile.HeadEnd, cut+jobfile.HeadEnd, -1)
			case 1:
				copyFile(t, heads[rand.IntN(8)]+jobfile.HeadEnd, cut+jobfile.HeadEnd, -1)
			}
			if says := said(t, cut); says != "" {
				t.Errorf("moved %d, trial %d: a false alarm: %s", moved, i, says)
			}
			s, err := Open(cut)
			if err != nil {
				t.Fatal(err)
			}
			n := len(checkLog(t, s))
			if lengths[n] = true; n != 24 && n != 27 {
				t.Errorf("moved %d, trial %d: %d events, 24 were told to be stored", moved, i, n)
			}
			s.Close()
		}
		if len(lengths) != 2 {
			t.Errorf("the cuts gave only logs of %v events", lengths)
		}
	}
}

// BenchmarkHead is a phrase of two seconds, by turns without the head beside the job and
// with it.
func BenchmarkHead(b *testing.B) {
	s, _ := create(b)
	sound, n := wav(1, 32000), int64(0)
	head := s.head
	took := map[bool][]time.Duration{}
	for b.Loop() {
		for _, with := range []bool{n%2 == 0, n%2 == 1} {
			if s.head = nil; with {
				s.head = head
			}
			start := time.Now()
			mustAppend(b, s, phrase(n), sound)
			took[with] = append(took[with], time.Since(start))
			n++
		}
	}
	s.head = head
	for with, name := range map[bool]string{false: "without", true: "with"} {
		all := took[with]
		slices.Sort(all)
		for part, at := range map[string]int{"p50": len(all) / 2, "p99": len(all) * 99 / 100} {
			b.ReportMetric(float64(all[at].Microseconds())/1000, part+"-"+name+"-ms")
		}
	}
	start := time.Now()
	for i := range 10000 {
		head.Stored(1<<40+int64(i), nil, nil)
	}
	b.ReportMetric(float64(time.Since(start).Nanoseconds())/1e7, "write-us")
}
