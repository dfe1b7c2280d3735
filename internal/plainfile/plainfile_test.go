package plainfile

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// put puts a file there.
func put(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// things makes what is no plain file, by what it is.
func things(t *testing.T, dir string) map[string]string {
	t.Helper()
	pipe := filepath.Join(dir, "pipe")
	if err := unix.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	return map[string]string{"a pipe": pipe, "a folder": dir, "a device": "/dev/full"}
}

func TestOpen(t *testing.T) {
	dir := t.TempDir()
	for what, path := range things(t, dir) {
		done := make(chan error, 1)
		go func() {
			_, err := Open(path)
			done <- err
		}()
		select {
		case err := <-done:
			if !errors.Is(err, ErrNotPlain) || !strings.Contains(err.Error(), what) || !strings.Contains(err.Error(), path) {
				t.Errorf("%s: %v", what, err)
			}
		case <-time.After(time.Minute):
			t.Fatalf("%s is waited for", what)
		}
	}
	if _, err := Open(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	link := filepath.Join(dir, "link")
	if err := os.Symlink(put(t, filepath.Join(dir, "file"), "text"), link); err != nil {
		t.Fatal(err)
	}
	f, err := Open(link)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if text, err := io.ReadAll(f); err != nil || string(text) != "text" {
		t.Errorf("%q, %v", text, err)
	}
}

// each runs a test on file systems with and without files that have no name.
func each(t *testing.T, test func(t *testing.T)) {
	for _, nameless = range []bool{true, false} {
		t.Run(fmt.Sprintf("nameless=%v", nameless), test)
	}
	nameless = true
}

func TestTargets(t *testing.T) {
	each(t, func(t *testing.T) {
		dir := t.TempDir()
		refused := things(t, dir)
		job := put(t, filepath.Join(dir, "x.waycall"), "SQLite format 3\x00 and more")
		for name, path := range map[string]string{
			"a job": job, "a new job": filepath.Join(dir, "y.WayCall"), "its log": job + "-wal", "its lock": job + ".lock",
			"a copy of a job": put(t, filepath.Join(dir, "copy.db"), "SQLite format 3\x00 and more"),
			"a copied log":    put(t, filepath.Join(dir, "copy.log"), "\x37\x7f\x06\x82 and more"),
			"no name":         "", "a folder's name": filepath.Join(dir, "new") + "/",
		} {
			refused[name] = path
		}
		for name, to := range map[string]string{"a link to a file": put(t, filepath.Join(dir, "plain"), "plain"), "a link to nothing": "nothing", "a link to a job": job} {
			refused[name] = filepath.Join(dir, strings.ReplaceAll(name, " ", "-"))
			if err := os.Symlink(to, refused[name]); err != nil {
				t.Fatal(err)
			}
		}
		refused["another name of a job"] = filepath.Join(dir, "hard")
		if err := os.Link(job, refused["another name of a job"]); err != nil {
			t.Fatal(err)
		}
		list := names(t, dir)
		for name, path := range refused {
			begun := false
			if err := Write(path, 0o600, false, func(io.Writer) error { begun = true; return nil }); !errors.Is(err, ErrTarget) || begun {
				t.Errorf("%s: %v, begun: %v", name, err, begun)
			}
		}
		if now := names(t, dir); !slices.Equal(now, list) {
			t.Errorf("there is %v, not %v", now, list)
		}
		if text, err := os.ReadFile(job); err != nil || !strings.HasSuffix(string(text), "and more") {
			t.Errorf("the job: %q, %v", text, err)
		}
		if err := CheckTarget(filepath.Join(dir, "none", "x")); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("in no folder: %v", err)
		}
	})
}

func names(t *testing.T, dir string) (list []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		list = append(list, e.Name())
	}
	return list
}

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
}

func TestWrite(t *testing.T) {
	each(t, func(t *testing.T) {
		dir := t.TempDir()
		path := filepath.Join(dir, "a.txt")
		for _, want := range []string{"one, and it is long", "two"} {
			if err := Write(path, 0o600, false, text(want)); err != nil {
				t.Fatal(err)
			}
			if got, err := os.ReadFile(path); err != nil || string(got) != want {
				t.Errorf("%q, %v", got, err)
			}
		}
		if err := Write(path, 0o600, true, text("three")); !errors.Is(err, fs.ErrExist) {
			t.Errorf("what is there is written over: %v", err)
		}
		failed := errors.New("failed")
		if err := Write(path, 0o600, false, func(w io.Writer) error { _ = text("half")(w); return failed }); !errors.Is(err, failed) {
			t.Error(err)
		}
		// Somebody else puts a job there in the meantime.
		other := filepath.Join(dir, "b.txt")
		if err := Write(other, 0o600, false, func(w io.Writer) error {
			put(t, other, "SQLite format 3\x00 and more")
			return text("four")(w)
		}); !errors.Is(err, ErrTarget) {
			t.Error(err)
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != "two" {
			t.Errorf("%q, %v", got, err)
		}
		if list := names(t, dir); !slices.Equal(list, []string{"a.txt", "b.txt"}) {
			t.Errorf("there is %v", list)
		}
		if err := Write(filepath.Join(dir, "c.txt"), 0o600, true, text("five")); err != nil {
			t.Error(err)
		}
		f, err := Create(path, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Drop()
		if !nameless { // one at a time, where there is one name for it
			if _, err := Create(path, 0o600); err == nil {
				t.Error("two write the same file")
			}
		}
	})
}

// A program that is killed while it writes leaves nothing, or what the next one takes
// over.
func TestKilled(t *testing.T) {
	if path := os.Getenv("PLAINFILE_WRITE"); path != "" { // the program
		nameless = os.Getenv("PLAINFILE_NAMELESS") == "true"
		err := Write(path, 0o600, false, func(w io.Writer) error {
			_ = text(strings.Repeat("half", 5000))(w)
			fmt.Println("half")
			select {}
		})
		t.Fatal(err)
	}
	each(t, func(t *testing.T) {
		dir := t.TempDir()
		path := put(t, filepath.Join(dir, "a.txt"), "before")
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		cmd.Env = append(os.Environ(), "PLAINFILE_WRITE="+path, fmt.Sprintf("PLAINFILE_NAMELESS=%v", nameless))
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { cmd.Process.Kill() })
		if line, err := bufio.NewReader(out).ReadString('\n'); line != "half\n" {
			t.Fatalf("%q, %v", line, err)
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // it was killed
		if got, err := os.ReadFile(path); err != nil || string(got) != "before" {
			t.Errorf("%q, %v", got, err)
		}
		if list := names(t, dir); nameless && len(list) != 1 {
			t.Errorf("left: %v", list)
		} else if !nameless && len(list) != 2 {
			t.Errorf("there is %v: this tries nothing", list)
		}
		if err := Write(path, 0o600, false, text("after")); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != "after" {
			t.Errorf("%q, %v", got, err)
		}
		if list := names(t, dir); len(list) != 1 {
			t.Errorf("left: %v", list)
		}
	})
}
