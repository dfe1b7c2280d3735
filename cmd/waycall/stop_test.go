package main

import (
	"bytes"
	"context"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// program is waycall with a folder of jobs of its own, given up after a while.
func program(t *testing.T, data string, args ...string) *exec.Cmd {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	t.Cleanup(cancel)
	path, err := exec.LookPath("waycall")
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(ctx, path, args...)
	cmd.Env = append(os.Environ(), "WAYCALL_DATA="+data)
	return cmd
}

// The first of each signal ends a server, as Ctrl-C does.
func TestSignals(t *testing.T) {
	for _, stop := range []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP} {
		if signal.Ignored(stop) {
			t.Logf("%v is ignored here, and so it is in what the test starts", stop)
			continue
		}
		cmd := program(t, t.TempDir(), "review")
		var out output
		cmd.Stdout = &out
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for begun := time.Now(); !printed.MatchString(out.String()); time.Sleep(5 * time.Millisecond) {
			if time.Since(begun) > time.Minute {
				t.Fatalf("no address was printed: %s", &out)
			}
		}
		if err := cmd.Process.Signal(stop); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err != nil || !strings.Contains(out.String(), "Review ended.") {
			t.Errorf("after %v: %v, %s", stop, err, &out)
		}
	}
}

// A command that was started to outlive its terminal (nohup) does.
func TestNohup(t *testing.T) {
	sh, err := exec.LookPath("sh")
	if err != nil {
		t.Fatal(err)
	}
	cmd := program(t, t.TempDir())
	cmd.Path, cmd.Args = sh, []string{"sh", "-c", `trap '' HUP; exec waycall review`}
	var out output
	cmd.Stdout = &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for begun := time.Now(); !printed.MatchString(out.String()); time.Sleep(5 * time.Millisecond) {
		if time.Since(begun) > time.Minute {
			t.Fatalf("no address was printed: %s", &out)
		}
	}
	// The signals are taken in one after another, so the second would end it as the
	// first, and come to nothing after it.
	for _, one := range []os.Signal{syscall.SIGHUP, syscall.SIGTERM} {
		if err := cmd.Process.Signal(one); err != nil {
			t.Errorf("it had ended before %v: %v", one, err)
		}
		if one == syscall.SIGHUP {
			time.Sleep(300 * time.Millisecond)
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
}

// A command that has ended was not stopped: its end is not taken for a signal.
func TestEndIsNoStop(t *testing.T) {
	late := make(chan struct{})
	ctx, done := untilStopped(func() { close(late) })
	done()
	<-ctx.Done()
	select {
	case <-late:
		t.Error("it is ended as one that waits")
	case <-time.After(100 * time.Millisecond): // what was begun is long since done
	}
}

// The first SIGTERM ends a command that waits where it cannot be told to stop: here for
// somebody who reads what it prints.
func TestStopsWhileItWaits(t *testing.T) {
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer read.Close()
	if _, err := unix.FcntlInt(write.Fd(), unix.F_SETPIPE_SZ, 4096); err != nil {
		t.Fatal(err)
	}
	cmd := program(t, t.TempDir(), "schedule", "--schema")
	cmd.Stdout = write
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	write.Close()
	if _, err := io.ReadFull(read, make([]byte, 1)); err != nil { // it prints
		t.Fatal(err)
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if _ = cmd.Wait(); cmd.ProcessState.ExitCode() != exitStopped || !strings.Contains(said.String(), "stopped while it waited") {
		t.Errorf("%v: %s", cmd.ProcessState, &said)
	}
}

// An export that is killed at any moment leaves nothing of itself where it writes, or
// what the next one clears away.
func TestKilledExport(t *testing.T) {
	data, to := t.TempDir(), t.TempDir()
	if out, err := program(t, data, "new", rootPath(t, "testdata", "boards", "terrace.yaml")).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	file := filepath.Join(to, "out.zip")
	for range 12 {
		cmd := program(t, data, "export", "TER-0107", file)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(rand.IntN(60)) * time.Millisecond)
		_ = cmd.Process.Kill() // or it is done
		_ = cmd.Wait()
		entries, err := os.ReadDir(to)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if name := e.Name(); name != "out.zip" && strings.Contains(name, "out.zip") {
				t.Fatalf("left: %s", name)
			}
		}
		if err := os.Remove(file); err == nil {
			continue
		}
	}
	if out, err := program(t, data, "export", "TER-0107", file).CombinedOutput(); err != nil {
		t.Fatalf("after it: %v: %s", err, out)
	}
	left, err := filepath.Glob(filepath.Join(to, "*"))
	hidden, err2 := filepath.Glob(filepath.Join(to, ".*"))
	if err != nil || err2 != nil || !slices.Equal(append(left, hidden...), []string{file}) {
		t.Errorf("there is %v", append(left, hidden...))
	}
}
