package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"unsafe"

	"golang.org/x/sys/unix"

	"waycall/internal/store/faults"
	"waycall/internal/store/internal/jobfile"
)

// long reports whether the tests are to try everything, as make test-long does:
// every write, every cut, 200 kills.
func long() bool { return os.Getenv("WAYCALL_TEST_LONG") != "" }

// must checks a job after a fault: it opens, its chain and every sound are whole,
// the phrases that were announced are there, and at most one that was not.
func must(t *testing.T, path string, announced int, what any) {
	t.Helper()
	if says := said(t, path); says != "" {
		t.Errorf("%v: a false alarm: %s", what, says)
	}
	s, err := Open(path)
	if err != nil {
		t.Fatalf("%v: %v", what, err)
	}
	defer s.Close()
	if n := len(checkLog(t, s)); n < 3*announced || n > 3*announced+3 {
		t.Fatalf("%v: %d phrases were announced, the log has %d events", what, announced, n)
	}
	n := int64(len(mustEvents(t, s)) / 3)
	mustAppend(t, s, phrase(n), wav(n, 100)) // and work goes on
}

// life is what a session does with a job, while the disk may fail: it opens it,
// writes, checkpoints and writes again, and tries again after an error. It returns
// how many phrases it announced in all.
func life(t *testing.T, path string, announced int, crash func(announced int)) int {
	t.Helper()
	s, err := Open(path)
	if err != nil {
		return announced
	}
	defer func() { s.Close() }()
	for i := range 6 {
		n := int64(announced)
		if _, err := s.Append(ctx, phrase(n), wav(n, 100+1500*i)); err == nil {
			announced++
		} else if errors.Is(err, ErrInvalid) || errors.Is(err, ErrForeign) || errors.Is(err, ErrNewer) {
			t.Fatalf("a failing disk is taken for something else: %v", err)
		}
		if events, err := s.Events(ctx); err == nil && len(events) != 3*announced {
			t.Fatalf("%d phrases were announced, the session sees %d events", announced, len(events))
		} else if errors.Is(err, ErrDamaged) {
			t.Fatal(err)
		}
		if i == 2 {
			_, _ = s.db.Exec("PRAGMA wal_checkpoint(PASSIVE)")
		}
	}
	crash(announced)
	return announced
}

// A disk that fails at any one write, or from it on, loses nothing that was
// announced, whether the session then ends or the power goes.
func TestEveryWriteFails(t *testing.T) {
	step, phase := 1, 0
	if !long() {
		step, phase = 9, rand.IntN(9)
	}
	total, runs := 0, 0
	for _, with := range []syscall.Errno{syscall.EIO, syscall.ENOSPC} {
		for _, on := range []bool{false, true} {
			for _, torn := range []bool{false, true} {
				for at := 1 + phase; ; at += step {
					plan := faults.Plan{At: at, With: with, On: on, Torn: torn}
					s, path := create(t)
					for n := range int64(2) {
						mustAppend(t, s, phrase(n), wav(n, 500))
					}
					s.Close()
					copied := filepath.Join(t.TempDir(), "after the power cut")
					left := -1
					if err := faults.Begin(plan); err != nil {
						t.Fatal(err)
					}
					announced := life(t, path, 2, func(announced int) {
						left = announced
						copyFile(t, path, copied, -1)
						for _, beside := range []string{"-wal", jobfile.HeadEnd} {
							if _, err := os.Stat(path + beside); err == nil {
								copyFile(t, path+beside, copied+beside, -1)
							}
						}
					})
					writes := faults.End()
					must(t, path, announced, plan)
					if left >= 0 {
						must(t, copied, left, fmt.Sprint(plan, ", then a power cut"))
					}
					runs++
					if total = max(total, writes); at > writes {
						break
					}
				}
			}
		}
	}
	t.Logf("%d runs; a session without faults makes %d writes", runs, total)
	if total < 20 {
		t.Errorf("only %d writes were seen; the faults tested nothing", total)
	}
}

// The same while a job is made: it is there whole or not at all.
func TestEveryWriteOfCreateFails(t *testing.T) {
	for _, with := range []syscall.Errno{syscall.EIO, syscall.ENOSPC} {
		for at := 1; ; at++ {
			path := filepath.Join(t.TempDir(), "job")
			if err := faults.Begin(faults.Plan{At: at, With: with, On: true}); err != nil {
				t.Fatal(err)
			}
			s, err := Create(path)
			if err == nil {
				s.Close()
			}
			writes := faults.End()
			if _, there := os.Stat(path); there == nil {
				must(t, path, 0, at)
			} else if err == nil {
				t.Fatal("a job was made and is not there")
			} else if s, err := Create(path); err != nil {
				t.Fatal(err)
			} else {
				s.Close()
			}
			if at > writes {
				break
			}
		}
	}
}

// The copy on the stick, too, is whole after any fault, or is not there.
func TestEveryWriteOfTheCopyFails(t *testing.T) {
	step := 1
	if !long() {
		step = 7
	}
	for at := 1; ; at += step {
		s, path := create(t)
		mustAppend(t, s, phrase(0), wav(0, 500))
		stick := t.TempDir()
		c := &copier{store: s, dir: stick, to: filepath.Join(stick, "job")}
		c.device, _ = jobfile.DeviceOf(stick)
		c.from = jobfile.OpenDB(path, "mode=ro", jobfile.ReaderPragmas...)
		if err := faults.Begin(faults.Plan{At: at, With: syscall.EIO, On: true}); err != nil {
			t.Fatal(err)
		}
		first := c.update()
		writes := faults.End()
		c.shut()
		if _, err := os.Stat(c.to); err == nil {
			if n := events(c.to); n != 3 {
				t.Fatalf("write %d of the first copy: it has %d events", at, n)
			}
		} else if first == nil {
			t.Fatal("the copy was made and is not there")
		}
		if err := c.update(); err != nil {
			t.Fatal(err)
		}
		// And while it is brought up to date; this session writes nothing meanwhile.
		mustAppend(t, s, phrase(1), wav(1, 500))
		if err := faults.Begin(faults.Plan{At: at, With: syscall.ENOSPC, On: true, Torn: true}); err != nil {
			t.Fatal(err)
		}
		second := c.update()
		writes = max(writes, faults.End())
		c.shut()
		if n := events(c.to); n != 6 && (second == nil || n != 3) {
			t.Fatalf("write %d of bringing it up to date (%v): it has %d events", at, second, n)
		}
		if err := c.update(); err != nil || events(c.to) != 6 {
			t.Fatal("it was not caught up with:", err)
		}
		c.shut()
		c.from.Close()
		if at > writes {
			break
		}
	}
}

// written returns where in a write-ahead log the last frame of its present round
// ends. After a checkpoint SQLite writes from the beginning again, over the frames
// of the round before. See "WAL file format" in sqlite.org/fileformat.
func written(t *testing.T, wal string) int {
	t.Helper()
	b, err := os.ReadFile(wal)
	if err != nil || len(b) < 32 {
		return 0
	}
	end, page := 32, int(binary.BigEndian.Uint32(b[8:]))
	for ; end+24+page <= len(b); end += 24 + page {
		if string(b[end+8:end+16]) != string(b[16:24]) { // salts
			break
		}
	}
	return end
}

// A power cut leaves the write-ahead log cut off anywhere: every phrase whose commit
// lies before the cut is there, and nothing of any other; so also after a checkpoint,
// when the log is written from its beginning over an older one.
func TestLogCutEverywhere(t *testing.T) {
	step := 512
	if !long() {
		step = 512 * 11
	}
	for _, checkpoint := range []bool{false, true} {
		t.Run(fmt.Sprint("after a checkpoint: ", checkpoint), func(t *testing.T) {
			s, path := create(t)
			before := 0
			var ends []int // of the phrases after the checkpoint
			for n := range int64(24) {
				mustAppend(t, s, phrase(n), wav(n, 200+int(n%7)*1500))
				ends = append(ends, written(t, path+"-wal"))
				if checkpoint && n == 13 {
					if _, err := s.db.Exec("PRAGMA wal_checkpoint(PASSIVE)"); err != nil {
						t.Fatal(err)
					}
					before, ends = len(ends), nil
				}
			}
			info, err := os.Stat(path + "-wal")
			if err != nil {
				t.Fatal(err)
			}
			cuts := 0
			for cut := 0; cut < int(info.Size())+step; cut += step {
				cut := min(cut, int(info.Size()))
				torn := filepath.Join(t.TempDir(), "torn")
				copyFile(t, path, torn, -1)
				copyFile(t, path+"-wal", torn+"-wal", cut)
				want := before
				for _, end := range ends {
					if end <= cut {
						want++
					}
				}
				s, err := Open(torn)
				if err != nil {
					t.Fatal(err)
				}
				if n := len(checkLog(t, s)); n != 3*want {
					t.Fatalf("cut at byte %d: %d events, want %d", cut, n, 3*want)
				}
				s.Close()
				cuts++
			}
			t.Logf("%d cuts of a log of %d bytes", cuts, info.Size())
		})
	}
}

// failSyncs makes every fsync of this process, or of this thread alone, fail with EIO
// from now on, and for good: a filter of the kernel (seccomp), because SQLite's calls of it cannot be
// replaced.
func failSyncs(all bool) error {
	load := func(k uint32) unix.SockFilter {
		return unix.SockFilter{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: k}
	}
	is := func(k uint32, then, otherwise uint8) unix.SockFilter {
		return unix.SockFilter{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, K: k, Jt: then, Jf: otherwise}
	}
	answer := func(k uint32) unix.SockFilter {
		return unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: k}
	}
	const retErrno, retAllow = 0x00050000, 0x7fff0000 // linux/seccomp.h
	filter := []unix.SockFilter{
		load(0), // the number of the call
		is(unix.SYS_FSYNC, 1, 0), is(unix.SYS_FDATASYNC, 0, 1),
		answer(retErrno | uint32(unix.EIO)),
		answer(retAllow),
	}
	prog := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	const setFilter, allThreads = 1, 1
	flags := uintptr(0)
	if all {
		flags = allThreads
	}
	if _, _, e := unix.Syscall(unix.SYS_SECCOMP, setFilter, flags, uintptr(unsafe.Pointer(&prog))); e != 0 {
		return e
	}
	return nil
}

// syncsFail is the life of a process whose disk stops taking what it was given.
func syncsFail(path string) {
	s, err := Open(path)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	events, _ := s.Events(ctx)
	for n := int64(len(events) / 3); n < 50; n++ { // in vain, if nothing fails
		if n == 5 {
			if err := failSyncs(true); err != nil {
				fmt.Println("no filter:", err)
				os.Exit(1)
			}
		}
		got, err := s.Append(ctx, phrase(n), wav(n, 3000))
		if err != nil {
			if !errors.Is(err, ErrDisk) || !errors.Is(err, ErrUnsure) || !strings.Contains(err.Error(), "it may be stored or not") || n < 5 {
				fmt.Println(err)
			}
			os.Exit(0)
		}
		fmt.Println(got[0].ID)
	}
}

// What could not be made to last is not announced.
func TestSyncFails(t *testing.T) {
	s, path := create(t)
	s.Close()
	c := startChild(t, "syncs fail", path)
	told := c.read(t, -1)
	c.cmd.Wait()
	if len(told) != 5 {
		t.Errorf("%d phrases were announced, want the 5 before the disk failed", len(told))
	}
	must(t, path, len(told), "fsync fails")
}
