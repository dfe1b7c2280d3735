package store

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"waycall/internal/record"
)

// appendForEver is the life of a process that is going to be killed: it tells
// the first ID of each batch once Append has returned.
func appendForEver(path string) {
	s, err := Open(path)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	events, err := s.Events(ctx)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	for n := int64(len(events) / 3); ; n++ {
		got, err := s.Append(ctx, phrase(n), wav(n, 200+int(n%7)*3000))
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Println(got[0].ID)
	}
}

// createForEver makes jobs until it is killed.
func createForEver(folder string) {
	for n := 0; ; n++ {
		s, err := Create(filepath.Join(folder, strconv.Itoa(n)))
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Println(n)
		s.Close()
	}
}

type child struct {
	cmd *exec.Cmd
	out *bufio.Scanner
}

func startChild(t *testing.T, as, path string) *child {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "WAYCALL_STORE_TEST_AS="+as, "WAYCALL_STORE_TEST_JOB="+path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	c := &child{cmd, bufio.NewScanner(out)}
	t.Cleanup(c.kill)
	return c
}

// read returns up to n numbers that the child told; -1 reads to its end.
func (c *child) read(t *testing.T, n int) []int64 {
	t.Helper()
	var told []int64
	for len(told) != n && c.out.Scan() {
		id, err := strconv.ParseInt(c.out.Text(), 10, 64)
		if err != nil {
			t.Fatal("the child says:", c.out.Text())
		}
		told = append(told, id)
	}
	return told
}

func (c *child) kill() { c.cmd.Process.Signal(unix.SIGKILL) }

// checkLog reads a whole log of phrases and fails if one is not there in full
// with its own sound.
func checkLog(t *testing.T, s *Store) []record.Event {
	t.Helper()
	events := mustEvents(t, s)
	if len(events)%3 != 0 {
		t.Errorf("%d events: a phrase of three is there in part", len(events))
	}
	for _, e := range events {
		if e.Kind != record.Heard {
			continue
		}
		n, err := strconv.ParseInt(strings.TrimPrefix(e.Phrase.Text, "confirm "), 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		sound, err := s.Sound(ctx, e.ID)
		if err != nil || string(sound) != string(wav(n, (len(sound)-44)/2)) {
			t.Errorf("event %d: not the sound that was stored (%v)", e.ID, err)
		}
	}
	intact(t, s)
	return events
}

// intact fails unless SQLite finds the whole file in order, its indexes and references
// among it.
func intact(t *testing.T, s *Store) {
	t.Helper()
	var found string
	if err := s.db.QueryRow("PRAGMA integrity_check").Scan(&found); err != nil || found != "ok" {
		t.Errorf("integrity_check: %s (%v)", found, err)
	}
	var loose int
	if err := s.db.QueryRow("SELECT count(*) FROM pragma_foreign_key_check").Scan(&loose); err != nil || loose != 0 {
		t.Errorf("foreign_key_check: %d (%v)", loose, err)
	}
}

func TestKilledWriter(t *testing.T) {
	rounds := 20
	if testing.Short() {
		rounds = 4
	}
	if long() {
		rounds = 200
	}
	s, path := create(t)
	s.Close()
	before := 0
	for range rounds {
		c := startChild(t, "writer", path)
		told := c.read(t, 1+rand.IntN(12))
		time.Sleep(time.Duration(rand.IntN(4000)) * time.Microsecond)
		c.kill()
		told = append(told, c.read(t, -1)...)
		c.cmd.Wait()
		s, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		events := checkLog(t, s)
		if len(told) == 0 || told[0] != int64(before)+1 {
			t.Fatalf("the child began with %v after %d events", told, before)
		}
		if last := told[len(told)-1] + 2; int64(len(events)) < last || int64(len(events)) > last+3 {
			t.Errorf("told of %d events, the log has %d; one phrase may be there that was not yet told", last, len(events))
		}
		before = len(events)
		s.Close()
	}
	t.Logf("%d events over %d kills", before, rounds)
}

// A session killed while it makes a job leaves a whole job or none.
func TestKilledCreator(t *testing.T) {
	for range 8 {
		dir := t.TempDir()
		c := startChild(t, "creator", dir)
		told := c.read(t, 1+rand.IntN(2))
		time.Sleep(time.Duration(rand.IntN(8000)) * time.Microsecond)
		c.kill()
		told = append(told, c.read(t, -1)...)
		c.cmd.Wait()
		next := filepath.Join(dir, strconv.Itoa(len(told)))
		s, err := Open(next)
		if errors.Is(err, fs.ErrNotExist) {
			s, err = Create(next)
		}
		if err != nil {
			t.Fatal(err)
		}
		mustAppend(t, s, phrase(0), wav(0, 10))
		intact(t, s)
		s.Close()
		for _, n := range told {
			if s, err = Open(filepath.Join(dir, strconv.Itoa(int(n)))); err != nil {
				t.Fatal(err)
			}
			intact(t, s)
			s.Close()
		}
	}
}

// copyFile copies what there is of path, cut to size bytes when size >= 0.
func copyFile(t *testing.T, from, to string, size int) []byte {
	t.Helper()
	b, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if size >= 0 {
		b = b[:size]
	}
	if err := os.WriteFile(to, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return b
}

// A write-ahead log that was torn by a power cut, or damaged, gives back the
// phrases before the tear and nothing of the one that was torn.
func TestTornLog(t *testing.T) {
	s, path := create(t)
	for n := range int64(12) {
		mustAppend(t, s, phrase(n), wav(n, 2000))
	}
	wal, err := os.Stat(path + "-wal")
	if err != nil {
		t.Fatal(err)
	}
	size := int(wal.Size())
	lengths := map[int]bool{}
	for i := range 40 {
		torn := filepath.Join(t.TempDir(), "torn")
		copyFile(t, path, torn, -1)
		if i%2 == 0 {
			copyFile(t, path+"-wal", torn+"-wal", rand.IntN(size+1))
		} else {
			b := copyFile(t, path+"-wal", torn+"-wal", -1)
			b[rand.IntN(size)] ^= 1 << rand.IntN(8)
			if err := os.WriteFile(torn+"-wal", b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		got, err := Open(torn)
		if errors.Is(err, ErrLog) && i%2 == 1 { // more is damaged than a power cut does
			if _, err := PutLogAside(torn); err != nil {
				t.Fatal(err)
			}
			got, err = Open(torn)
		}
		if err != nil {
			t.Fatal(err)
		}
		before := len(checkLog(t, got))
		lengths[before] = true
		if e := mustAppend(t, got, phrase(int64(before/3)), wav(int64(before/3), 100)); e[0].ID != int64(before)+1 {
			t.Errorf("work goes on with event %d after %d", e[0].ID, before)
		}
		checkLog(t, got)
		got.Close()
	}
	if len(lengths) < 3 {
		t.Errorf("the tears gave only %d different lengths; they tested nothing", len(lengths))
	}
}

// Whatever byte of a job is damaged, it is found, or it was not one that holds
// the record: a log never comes back other than it was written.
func TestFlippedBytes(t *testing.T) {
	s, path := create(t)
	for n := range int64(20) {
		mustAppend(t, s, phrase(n), wav(n, 300))
	}
	want := mustEvents(t, s)
	s.Close()
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(t.TempDir(), "bad")
	try := func(open func(string) (*Store, error)) error {
		s, err := open(bad)
		if err != nil {
			return err
		}
		defer s.Close()
		got, err := s.Events(ctx)
		if err != nil {
			return err
		}
		for n := range int64(20) {
			sound, err := s.Sound(ctx, 3*n+1)
			if err != nil {
				return err
			}
			if string(sound) != string(wav(n, 300)) {
				t.Error("a sound came back other than it was stored")
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error("the log came back other than it was written:", d)
		}
		return nil
	}
	found, trials := 0, 600
	if testing.Short() {
		trials = 60
	}
	for i := range trials {
		b := append([]byte(nil), good...)
		at := rand.IntN(len(b))
		if i < 100 {
			at = i // the file's header
		}
		b[at] ^= 1 << rand.IntN(8)
		if err := os.WriteFile(bad, b, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, open := range []func(string) (*Store, error){OpenReadOnly, Open} {
			err := try(open)
			if err == nil {
				continue
			}
			found++
			if !strings.HasPrefix(err.Error(), "could not ") || !strings.Contains(err.Error(), "; ") {
				t.Errorf("byte %d: the error does not say what to do: %v", at, err)
			}
			if errors.Is(err, ErrInvalid) || errors.Is(err, ErrFull) || errors.Is(err, ErrInUse) {
				t.Errorf("byte %d: damage is taken for something else: %v", at, err)
			}
		}
	}
	if found < trials {
		t.Errorf("only %d of %d damaged files were refused", found, 2*trials)
	}
	// Damage that nobody could miss.
	for name, b := range map[string][]byte{
		"cut short":      good[:len(good)/2],
		"middle is gone": append(append(good[:len(good)/3:len(good)/3], make([]byte, len(good)/3)...), good[2*len(good)/3:]...),
	} {
		os.Remove(bad + "-wal")
		if err := os.WriteFile(bad, b, 0o600); err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) {
			refused(t, try(Open), ErrDamaged, bad, "copy from a backup")
			refused(t, try(OpenReadOnly), ErrDamaged, bad)
		})
	}
}

// mount puts a file system of its own on a new folder, or skips the test where
// that is not allowed.
func mount(t *testing.T, source, kind string, flags uintptr, data string) string {
	t.Helper()
	dir := t.TempDir()
	if err := unix.Mount(source, dir, kind, flags, data); err != nil {
		t.Skipf("cannot mount here (%v); run as root to have this tested", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

func TestFullDisk(t *testing.T) {
	dir := mount(t, "tmpfs", "tmpfs", 0, "size=512k")
	path := filepath.Join(dir, "job")
	s, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	untilFull(t, s)

	// Room is made, and the same session goes on.
	if err := unix.Mount("tmpfs", dir, "tmpfs", unix.MS_REMOUNT, "size=4m"); err != nil {
		t.Fatal(err)
	}
	before := len(mustEvents(t, s))
	if e := mustAppend(t, s, phrase(int64(before/3)), wav(int64(before/3), 3000)); e[0].ID != int64(before)+1 {
		t.Errorf("work goes on with event %d after %d", e[0].ID, before)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	if n := len(checkLog(t, s)); n != before+3 {
		t.Errorf("%d events after opening again, want %d", n, before+3)
	}
}

// A session that ends on a full disk cannot move its log into the file, and may
// get half way. The job is whole all the same, there and once room is made.
func TestCloseOnFullDisk(t *testing.T) {
	for _, size := range []string{"400k", "512k", "700k", "1m"} {
		t.Run(size, func(t *testing.T) {
			dir := mount(t, "tmpfs", "tmpfs", 0, "size="+size)
			path := filepath.Join(dir, "job")
			s, err := Create(path)
			if err != nil {
				t.Fatal(err)
			}
			untilFull(t, s)
			stored := len(mustEvents(t, s))
			s.Close()
			for _, open := range []func(string) (*Store, error){OpenReadOnly, Open} {
				switch s, err := open(path); {
				case err == nil:
					if n := len(checkLog(t, s)); n != stored {
						t.Errorf("on the full disk there are %d events, %d were stored", n, stored)
					}
					s.Close()
				case !errors.Is(err, ErrFull):
					t.Errorf("on the full disk: %v", err)
				}
			}
			if err := unix.Mount("tmpfs", dir, "tmpfs", unix.MS_REMOUNT, "size=8m"); err != nil {
				t.Fatal(err)
			}
			if s, err = Open(path); err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			if n := len(checkLog(t, s)); n != stored {
				t.Errorf("once there was room there are %d events, %d were stored", n, stored)
			}
		})
	}
}

// A full disk where nothing can be mounted: SQLite's own limit in its place.
func TestFullDatabase(t *testing.T) {
	s, _ := create(t)
	if _, err := s.db.Exec("PRAGMA max_page_count = 60"); err != nil {
		t.Fatal(err)
	}
	untilFull(t, s)
	if _, err := s.db.Exec("PRAGMA max_page_count = 6000"); err != nil {
		t.Fatal(err)
	}
	next := int64(len(mustEvents(t, s)) / 3)
	mustAppend(t, s, phrase(next), wav(next, 3000))
	checkLog(t, s)
}

// untilFull appends phrases until there is no room, and checks that what was
// stored before is all there and nothing of what was refused.
func untilFull(t *testing.T, s *Store) {
	t.Helper()
	stored := 0
	for n := int64(0); ; n++ {
		_, err := s.Append(ctx, phrase(n), wav(n, 3000))
		if err == nil {
			stored += 3
			continue
		}
		refused(t, err, ErrFull, "nothing of this was stored", "make room")
		break
	}
	for range 3 { // and again, as a person would
		_, err := s.Append(ctx, phrase(int64(stored/3)), wav(1, 3000))
		refused(t, err, ErrFull)
	}
	if n := len(checkLog(t, s)); n != stored || n == 0 {
		t.Errorf("the log has %d events, %d were stored", n, stored)
	}
}

func TestCreateOnFullDisk(t *testing.T) {
	dir := mount(t, "tmpfs", "tmpfs", 0, "size=16k")
	_, err := Create(filepath.Join(dir, "job"))
	refused(t, err, ErrFull, "make room")
	if left := folder(t, dir); left != "" {
		t.Errorf("a job that could not be made left %s", left)
	}
}

func TestReadOnlyFolder(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 10))
	s.Close()
	dir := mount(t, filepath.Dir(path), "", unix.MS_BIND, "")
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT|unix.MS_BIND|unix.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	_, err := Create(filepath.Join(dir, "new job"))
	refused(t, err, ErrReadOnly, "may write to")
	_, err = Open(filepath.Join(dir, filepath.Base(path)))
	refused(t, err, ErrReadOnly, "may write to")
	reader, err := OpenReadOnly(filepath.Join(dir, filepath.Base(path)))
	if err != nil {
		t.Fatal("a job in a read-only folder cannot be looked at:", err)
	}
	if n := len(checkLog(t, reader)); n != 3 {
		t.Errorf("%d events, want 3", n)
	}
	reader.Close()

	// The same for a job that is in WAL mode, as after a kill, with and without
	// something in its log.
	alter(t, path, "PRAGMA journal_mode = WAL")
	if reader, err = OpenReadOnly(filepath.Join(dir, filepath.Base(path))); err != nil {
		t.Fatal("a job in WAL mode in a read-only folder cannot be looked at:", err)
	}
	if n := len(checkLog(t, reader)); n != 3 {
		t.Errorf("%d events, want 3", n)
	}
	reader.Close()
	c := startChild(t, "writer", path)
	told := c.read(t, 3)
	c.kill()
	c.cmd.Wait()
	for _, beside := range []string{"with", "without"} {
		if beside == "without" {
			os.Remove(path + "-shm")
		}
		reader, err = OpenReadOnly(filepath.Join(dir, filepath.Base(path)))
		if err != nil {
			refused(t, err, ErrReadOnly, "cut off", "-wal") // never a log without its end
			continue
		}
		if n := len(checkLog(t, reader)); int64(n) < told[2]+2 {
			t.Errorf("%s -shm: %d events, and event %d was told", beside, n, told[2]+2)
		}
		reader.Close()
	}
}
