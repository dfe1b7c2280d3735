package store

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"waycall/internal/store/internal/jobfile"
)

// attack is what somebody does to the files of an open job.
type attack struct {
	do   func(path, other string) error
	kept string // where all of it must be after that: its "place", "beside", or "" when not even the open file has it
}

func attacks() map[string]attack {
	mv := func(from, to string) error { return os.Rename(from, to) }
	cp := func(from, to string) error { // over it, in place
		b, err := os.ReadFile(from)
		if err != nil {
			return err
		}
		return os.WriteFile(to, b, 0o600)
	}
	return map[string]attack{
		"the file removed":                 {func(p, _ string) error { return os.Remove(p) }, "place"},
		"the file moved away":              {func(p, _ string) error { return mv(p, p+".away") }, "place"},
		"all three removed":                {func(p, _ string) error { return errors.Join(os.Remove(p), os.Remove(p+"-wal"), os.Remove(p+"-shm")) }, "place"},
		"the folder removed":               {func(p, _ string) error { return os.RemoveAll(filepath.Dir(p)) }, "place"},
		"the folder moved":                 {func(p, _ string) error { return mv(filepath.Dir(p), filepath.Dir(p)+".away") }, "place"},
		"the log removed":                  {func(p, _ string) error { return os.Remove(p + "-wal") }, "place"},
		"the index of the log removed":     {func(p, _ string) error { return os.Remove(p + "-shm") }, "place"},
		"another job moved over it":        {func(p, o string) error { return mv(o, p) }, "beside"},
		"an empty file moved over it":      {func(p, o string) error { return errors.Join(os.WriteFile(o, nil, 0o600), mv(o, p)) }, "beside"},
		"an old copy of it moved over it":  {func(p, _ string) error { return mv(p+".old", p) }, "beside"},
		"another job copied over it":       {func(p, o string) error { return cp(o, p) }, ""},
		"an old copy of it copied over it": {func(p, _ string) error { return cp(p+".old", p) }, ""},
		"cut to nothing":                   {func(p, _ string) error { return os.Truncate(p, 0) }, ""},
		"cut by a page":                    {func(p, _ string) error { return cut(p, 4096) }, ""},
		"a page in it overwritten":         {func(p, _ string) error { return smash(p, 2*4096) }, ""},
		"the log cut to nothing":           {func(p, _ string) error { return os.Truncate(p+"-wal", 0) }, ""},
		"the log cut by half":              {func(p, _ string) error { return cutHalf(p + "-wal") }, ""},
		"the log overwritten":              {func(p, _ string) error { return smash(p+"-wal", 3*4096) }, ""},
	}
}

func cut(name string, by int64) error {
	info, err := os.Stat(name)
	if err != nil {
		return err
	}
	return os.Truncate(name, info.Size()-by)
}

func cutHalf(name string) error {
	info, err := os.Stat(name)
	if err != nil {
		return err
	}
	return os.Truncate(name, info.Size()/2)
}

func smash(name string, at int64) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = f.WriteAt([]byte(strings.Repeat("not a page ", 372)), at)
	return err
}

// Nothing is said to be stored that is not where it is said to be, whatever is done to
// the files, and what the open file still holds is written out again. Before and after
// a checkpoint.
func TestFilesAreAttacked(t *testing.T) {
	for name, a := range attacks() {
		for _, checkpointed := range []bool{false, true} {
			t.Run(name+map[bool]string{true: ", checkpointed"}[checkpointed], func(t *testing.T) {
				otherJob, _ := create(t)
				mustAppend(t, otherJob, phrase(0), wav(77, 9000))
				otherJob.Close()
				path := filepath.Join(t.TempDir(), "jobs", "job.waycall")
				if err := os.Mkdir(filepath.Dir(path), 0o700); err != nil {
					t.Fatal(err)
				}
				s, err := Create(path)
				if err != nil {
					t.Fatal(err)
				}
				for n := range int64(4) {
					mustAppend(t, s, phrase(n), wav(n, 9000))
					if n == 1 {
						s.Close()
						copyFile(t, path, path+".old", -1)
						if s, err = Open(path); err != nil {
							t.Fatal(err)
						}
					}
				}
				if checkpointed {
					done, ok := s.held.checkpointing(path)
					if !ok {
						t.Fatal("no checkpoint is made of a file that nobody touched")
					}
					_, err := s.db.Exec("PRAGMA wal_checkpoint(PASSIVE)")
					done()
					if err != nil {
						t.Fatal(err)
					}
				}
				if err := a.do(path, otherJob.Path()); err != nil {
					t.Fatal(err)
				}
				told := 4
				for n := int64(4); n < 6; n++ {
					if _, err := s.Append(ctx, phrase(n), wav(n, 9000)); err != nil {
						t.Log(err)
						break
					}
					told++
				}
				if _, ok := s.held.checkpointing(path); told == 4 && ok {
					t.Error("the log would be moved into a file that is not ours")
				}
				closed := s.Close()
				at, _ := s.Rescued()
				if at == "" {
					at = path
				}
				if closed != nil && at == path && (a.kept != "" || told > 4) {
					t.Error(closed)
				}
				if a.kept == "place" && (at != path || told != 6) || a.kept == "beside" && at == path {
					t.Errorf("it is kept in %s, %d phrases were told", at, told)
				}
				if a.kept == "" && at == path && told == 4 {
					if !errors.Is(closed, ErrChanged) {
						t.Error("at the end it says", closed)
					}
					return // not even the open file has it
				}
				again, err := Open(at)
				if err != nil {
					t.Fatal(err)
				}
				defer again.Close()
				if n := len(checkLog(t, again)); n != 3*told {
					t.Errorf("%d events are in %s, and %d were told", n, at, 3*told)
				}
				if a.kept == "beside" {
					if _, err := os.Stat(path + "-wal"); err == nil {
						t.Error("our log lies beside a file that is not ours")
					}
				}
			})
		}
	}
}

// A file that was only read, linked, or changed in its rights is the same record.
func TestFilesAreTouched(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 500))
	for n, do := range []func() error{
		func() error { return os.Chmod(path, 0o640) },
		func() error { return os.Link(path, path+".link") },
		func() error { now := noon; return os.Chtimes(path, now, now) },
		func() error {
			other := jobfile.OpenDB(path, "mode=rw")
			defer other.Close()
			_, err := other.Exec("PRAGMA wal_checkpoint(PASSIVE)")
			return err
		},
		func() error { _, err := Verify(ctx, path); return err },
	} {
		if err := do(); err != nil {
			t.Fatal(err)
		}
		mustAppend(t, s, phrase(int64(n+1)), wav(int64(n+1), 500))
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// Where the disk itself was taken out, nothing is written into the empty folder; when it
// is back, so is the record.
func TestDiskTakenOut(t *testing.T) {
	dir := mount(t, "tmpfs", "tmpfs", 0, "size=16m")
	path := filepath.Join(dir, "job")
	s, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(0), wav(0, 500))
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=16m"); err != nil { // another one over it
		t.Fatal(err)
	}
	refused(t, s.Ready(), ErrGone, "put it back")
	if left := folder(t, dir); left != "" {
		t.Errorf("in the other disk lies %s", left)
	}
	if err := unix.Unmount(dir, 0); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(1), wav(1, 500))
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// A record that cannot be read just now, because no more files may be opened, is not
// taken for one that was changed: nothing of it is lost, moved or removed, and the
// session goes on with it as soon as it can be read.
func TestTouchedAndCannotBeRead(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 500))
	if err := os.Chtimes(path, noon, noon); err != nil { // so that it has to be read
		t.Fatal(err)
	}
	for range 2 {
		restore := noMoreFiles(t)
		_, err := s.Append(ctx, phrase(1), wav(1, 500))
		restore()
		if !errors.Is(err, ErrDisk) || errors.Is(err, ErrChanged) || errors.Is(err, ErrElsewhere) {
			t.Fatalf("a record that cannot be read is told to be: %v", err)
		}
	}
	if at, _ := s.Rescued(); at != "" {
		t.Errorf("it was written to %s", at)
	}
	mustAppend(t, s, phrase(1), wav(1, 500))
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	must(t, path, 2, "no more files")
}

// noMoreFiles lets no file be opened by this process until restore is called.
func noMoreFiles(t *testing.T) (restore func()) {
	t.Helper()
	var was unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &was); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(os.DevNull) // it has the lowest number that is free
	if err != nil {
		t.Fatal(err)
	}
	free := f.Fd()
	f.Close()
	if err := unix.Setrlimit(unix.RLIMIT_NOFILE, &unix.Rlimit{Cur: uint64(free), Max: was.Max}); err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := unix.Setrlimit(unix.RLIMIT_NOFILE, &was); err != nil {
			t.Fatal(err)
		}
	}
}
