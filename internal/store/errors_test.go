package store

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"waycall/internal/advice"
)

// A path holds the name of the job and of whoever keeps it, and may have the ending of a
// job's file in the middle.
func TestWithoutPath(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "Example Row.waycall: old")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "job.waycall")
	if err := os.WriteFile(path, []byte("not a job"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{path, filepath.Join(dir, "none.waycall"), dir} {
		_, err := OpenReadOnly(file)
		if err == nil || advice.Do(err) == "" || !strings.HasSuffix(err.Error(), advice.Do(err)) {
			t.Errorf("%s: %v, advice %q", file, err, advice.Do(err))
			continue
		}
		if got := WithoutPath(err); strings.Contains(got, "Example Row") || !strings.Contains(got, advice.Do(err)) {
			t.Errorf("%s: %q", file, got)
		}
	}
	_, err := os.ReadDir(filepath.Join(dir, "none"))
	if got := WithoutPath(err); strings.Contains(got, "Example") || !strings.Contains(got, "no such file") {
		t.Errorf("%q", got)
	}
}
