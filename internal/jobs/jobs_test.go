package jobs

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/board/boardtest"
	"waycall/internal/record"
	"waycall/internal/talk"
)

func TestPath(t *testing.T) {
	f := Folder("/jobs")
	for arg, want := range map[string]string{
		"TER-0107": "/jobs/TER-0107.waycall", "x/y.waycall": "x/y.waycall",
		"board.yaml": "", "board.yml": "", "": "", "a/b": "", `a\b`: "", "a\x00": "", ".hidden": "", "..": "",
	} {
		got, err := f.Path(arg)
		if got != want || (err == nil) != (want != "") || err != nil && !errors.Is(err, ErrName) {
			t.Errorf("%q: %q, %v", arg, got, err)
		}
	}
}

func TestNamed(t *testing.T) {
	f := Folder("/jobs")
	for name, anew := range map[string]bool{"TER-0107": true, "_a.b": true, strings.Repeat("a", 64): true, "old.yaml": false} {
		if got, err := f.Named(name); err != nil || got != filepath.Join("/jobs", name+Ending) {
			t.Errorf("%q: %q, %v", name, got, err)
		}
		if _, err := f.NamedAnew(name); (err == nil) != anew || err != nil && !errors.Is(err, ErrName) {
			t.Errorf("%q anew: %v", name, err)
		}
	}
	for _, name := range []string{"", "a b", "../x", "a/b", "-a", ".a", "a.waycall", strings.Repeat("a", 65), "ä"} {
		if _, err := f.Named(name); !errors.Is(err, ErrName) {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// What a job begins with is what a session would have begun it with.
func TestCreate(t *testing.T) {
	folder := Folder(filepath.Join(t.TempDir(), "none", "yet"))
	job := boardtest.Read(t, "terrace.yaml")
	at := time.Now()
	s, err := folder.Create(t.Context(), job, at)
	if err != nil {
		t.Fatal(err)
	}
	log, err := s.Events(t.Context())
	if err != nil || len(log) != 1 {
		t.Fatal(log, err)
	}
	_, effects := talk.Step(talk.State{}, talk.Begin{At: at, Job: job})
	want := effects[0].(talk.Append).Event
	if got := log[0]; got.ID != want.ID || !got.At.Equal(want.At) || got.Kind != want.Kind || got.Habit != want.Habit || !got.Job.Same(*want.Job) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := folder.Create(t.Context(), job, at); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a second time: %v", err)
	}
	if info, err := os.Stat(string(folder)); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
}

// A job without boards leaves no file behind.
func TestCreateRefuses(t *testing.T) {
	folder := Folder(t.TempDir())
	job := boardtest.Read(t, "terrace.yaml")
	job.Boards = nil
	if _, err := folder.Create(t.Context(), job, time.Now()); err == nil {
		t.Error("it is set up")
	}
	if left, _ := os.ReadDir(string(folder)); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestOpenOrCreate(t *testing.T) {
	folder := Folder(t.TempDir())
	file := filepath.Join("..", "..", "testdata", "boards", "terrace.yaml")
	for _, arg := range []string{file, file, "TER-0107", folder.File("TER-0107")} {
		s, err := folder.OpenOrCreate(t.Context(), arg, time.Now())
		if err != nil {
			t.Fatalf("%s: %v", arg, err)
		}
		state, err := Fold(t.Context(), s)
		if err != nil || state.LastID != 1 || state.Sessions != 1 {
			t.Errorf("%s: %d events, %v", arg, state.LastID, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "other.yaml")
	if err := os.WriteFile(other, []byte(strings.Replace(string(text), "tester: JW", "tester: AB", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := folder.OpenOrCreate(t.Context(), other, time.Now()); err == nil || !strings.Contains(err.Error(), "another board file") {
		t.Errorf("another board file: %v", err)
	}
	if _, err := folder.OpenOrCreate(t.Context(), "NONE-1", time.Now()); err == nil || !strings.Contains(err.Error(), "no job NONE-1") {
		t.Errorf("no job: %v", err)
	}
}

// Nothing is written over when a job is put away, fetched back or renamed.
func TestPutAway(t *testing.T) {
	folder := Folder(t.TempDir())
	job := boardtest.Read(t, "terrace.yaml")
	create := func() {
		t.Helper()
		s, err := folder.Create(t.Context(), job, time.Now())
		if err == nil {
			err = s.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if _, err := folder.PutAway(job.Reference); err == nil || !strings.Contains(err.Error(), "no job") {
		t.Errorf("none there: %v", err)
	}
	if _, err := os.Stat(string(folder.Archive())); err == nil {
		t.Error("an empty folder is left behind")
	}
	create()
	if path, err := folder.PutAway(job.Reference); err != nil || path != folder.Archive().File(job.Reference) {
		t.Fatal(path, err)
	}
	if files, err := folder.List(); err != nil || len(files) != 0 {
		t.Errorf("%v, %v", files, err)
	}
	create()
	for name, move := range map[string]func(string) (string, error){"put away": folder.PutAway, "fetched": folder.Fetch} {
		if _, err := move(job.Reference); err == nil || !strings.Contains(err.Error(), "already") {
			t.Errorf("%s over another: %v", name, err)
		}
	}
	if path, err := folder.Rename(job.Reference, "B-2"); err != nil || Name(path) != "B-2" {
		t.Fatal(path, err)
	}
	if _, err := folder.Fetch(job.Reference); err != nil {
		t.Fatal(err)
	}
	if _, err := folder.Rename(job.Reference, "c.yaml"); !errors.Is(err, ErrName) {
		t.Errorf("the name of a file: %v", err)
	}
	files, err := folder.List()
	if err != nil || len(files) != 2 {
		t.Errorf("%v, %v", files, err)
	}
	known, err := folder.Read(t.Context(), "B-2")
	if err != nil || known.State.Job.Reference != job.Reference || known.Path != folder.File("B-2") {
		t.Errorf("%+v, %v", known.Path, err)
	}
	if first := known.State; first.LastID != 1 || first.Habit != record.Each {
		t.Errorf("%d events, %q", first.LastID, first.Habit)
	}
}

// What is no job is not listed: a folder called like one, and a file that is all ending.
func TestList(t *testing.T) {
	folder := Folder(t.TempDir())
	for _, name := range []string{"B-2", "A-1", ""} {
		if err := os.WriteFile(folder.File(name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(folder.File("C-3"), 0o700); err != nil {
		t.Fatal(err)
	}
	files, err := folder.List()
	if err != nil || len(files) != 2 || Name(files[0]) != "A-1" || Name(files[1]) != "B-2" {
		t.Errorf("%v, %v", files, err)
	}
}

// The job that was written last is that whose file, or what SQLite keeps beside it, is.
func TestLast(t *testing.T) {
	folder := Folder(t.TempDir())
	if last, err := folder.Last(); last != "" || err != nil {
		t.Errorf("of an empty folder: %q, %v", last, err)
	}
	now := time.Now()
	for i, name := range []string{"B-1.waycall", "A-1.waycall", "C-1.waycall", "not a name.waycall", "B-1.waycall-wal"} {
		file := filepath.Join(string(folder), name)
		if err := os.WriteFile(file, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		at := now.Add(time.Duration(i) * time.Minute)
		if err := os.Chtimes(file, at, at); err != nil {
			t.Fatal(err)
		}
	}
	if last, err := folder.Last(); last != "B-1" || err != nil {
		t.Errorf("%q, %v", last, err)
	}
	os.Remove(filepath.Join(string(folder), "B-1.waycall-wal"))
	if last, err := folder.Last(); last != "C-1" || err != nil {
		t.Errorf("%q, %v", last, err)
	}
}
