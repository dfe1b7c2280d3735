// Package boardtest reads the example boards for tests.
package boardtest

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"waycall/internal/board"
)

// Read returns the job of a file in testdata/boards, such as "terrace.yaml".
func Read(t testing.TB, name string) board.Job {
	t.Helper()
	_, here, _, _ := runtime.Caller(0) // so that it does not matter which package's test runs
	f, err := os.Open(filepath.Join(filepath.Dir(here), "../../../testdata/boards", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	job, err := board.Read(f, name)
	if err != nil {
		t.Fatal(err)
	}
	return job
}
