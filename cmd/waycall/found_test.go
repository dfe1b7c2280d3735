package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/cobra"

	"waycall/internal/jobs"
	"waycall/internal/record"
	"waycall/internal/store"
)

// cutOff makes a job as a killed session leaves it, with its files of these endings.
func cutOff(t *testing.T, ends ...string) string {
	t.Helper()
	job, err := jobs.ReadBoard(rootPath(t, "testdata", "boards", "terrace.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	folder := jobs.Folder(t.TempDir())
	s, err := folder.Create(t.Context(), job, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for id := int64(2); id < 12; id++ {
		if _, err := s.Append(t.Context(), []record.Event{{ID: id, At: time.Now(), Kind: record.Said, Text: "Way one?"}}, nil); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), filepath.Base(s.Path()))
	for _, end := range ends {
		b, err := os.ReadFile(s.Path() + end)
		if err == nil {
			err = os.WriteFile(path+end, b, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return path
}

// cutOffScript is a command of the scripts: "cutoff FILE" leaves a job as it is when its last
// session was cut off and its file alone was copied.
func cutOffScript(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("cutoff FILE")
	}
	path := ts.MkAbs(args[0])
	b, err := os.ReadFile(path)
	ts.Check(err)
	b[18], b[19] = 2, 2 // what SQLite writes there in WAL mode
	ts.Check(os.WriteFile(path, b, 0o600))
	ts.Check(os.Remove(path + "-head"))
}

// prints runs a command and returns what it printed.
func prints(t *testing.T, cmd *cobra.Command, args ...string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	cmd.SetOut(&out)
	cmd.SetErr(&out)
	cmd.SetArgs(args)
	cmd.SilenceUsage = true
	err := cmd.ExecuteContext(context.Background())
	return out.String(), err
}

// A damaged log is told by every command that reads the record; a session puts it aside,
// says so, and goes on with what is whole.
func TestDamagedLogIsTold(t *testing.T) {
	path := cutOff(t, "", "-wal", "-head")
	if out, err := prints(t, newVerify(), path); err != nil || !strings.Contains(out, "11 events") || !strings.Contains(out, "The record is whole") {
		t.Fatal(out, err)
	}
	b, err := os.ReadFile(path + "-wal")
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)/2] ^= 1
	if err := os.WriteFile(path+"-wal", b, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := prints(t, newVerify(), path)
	if err == nil || !strings.Contains(out, "to 11 were stored and are not here") || !strings.Contains(out, "behind it; waycall start puts the damaged files aside") || strings.Contains(out, "is whole.") {
		t.Error("verify:", out, err)
	}
	if out, err := prints(t, newShow(), path); !errors.Is(err, store.ErrDamaged) || strings.Contains(out, "Way 1") {
		t.Error("show:", out, err)
	}
	s, err := jobs.OpenForWork(path)
	if err != nil {
		t.Fatal(err)
	}
	var line bytes.Buffer
	tellFound(&line, true, s.Found())
	if told := line.String(); !strings.Contains(told, "are lost, readings or what was taken back among them") || !strings.Contains(told, path+"-damaged-1") || !strings.HasPrefix(told, `{"event":"found","text":"damaged files`) {
		t.Errorf("the session is told %q", told)
	}
	s.Close()
	if out, err := prints(t, newVerify(), path); err != nil || !strings.Contains(out, "Note: damaged files") || !strings.Contains(out, "The record is whole") {
		t.Error("verify afterwards:", out, err)
	}
	if out, err := prints(t, newShow(), path); err != nil || !strings.Contains(out, "Note: damaged files") {
		t.Error("show afterwards:", out, err)
	}
}

// A job that was copied without its log is worked on, and everybody is told.
func TestMissingLogIsTold(t *testing.T) {
	path := cutOff(t, "")
	if out, err := prints(t, newVerify(), path); err != nil || !strings.Contains(out, "Note: its last session was cut off, and the log of that") || strings.Contains(out, "The record is whole") || !strings.Contains(out, "in doubt") {
		t.Error(out, err)
	}
	s, err := jobs.OpenForWork(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if len(s.Found()) != 1 {
		t.Error(s.Found())
	}
}
