package bundle

import (
	"os"
	"path/filepath"
	"testing"
)

// What a killed import or export left goes when the next one begins, unless another
// is going on; what is not ours stays.
func TestTidy(t *testing.T) {
	dir := t.TempDir()
	left := func() []string {
		all, err := filepath.Glob(filepath.Join(dir, ".waycall-*"))
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	make := func(name string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Join(dir, name), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name, databaseName), []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	make(".waycall-import-1")
	make(".waycall-export-2")
	make("archive")
	if err := os.Symlink(filepath.Join(dir, "archive"), filepath.Join(dir, ".waycall-import-link")); err != nil {
		t.Fatal(err)
	}
	s, err := newScratch(dir, ".waycall-import-*")
	if err != nil {
		t.Fatal(err)
	}
	if all := left(); len(all) != 2 { // its own, and the link
		t.Errorf("left: %q", all)
	}
	make(".waycall-import-3")
	Tidy(dir) // another is going on
	second, err := newScratch(dir, ".waycall-export-*")
	if err != nil {
		t.Fatal(err)
	}
	if all := left(); len(all) != 4 {
		t.Errorf("left: %q", all)
	}
	if err := s.remove(); err != nil {
		t.Error(err)
	}
	if err := second.remove(); err != nil {
		t.Error(err)
	}
	Tidy(dir)
	if all := left(); len(all) != 1 {
		t.Errorf("left: %q", all)
	}
	if _, err := os.Stat(filepath.Join(dir, "archive", databaseName)); err != nil {
		t.Error("what a link pointed to is gone: ", err)
	}
	Tidy(filepath.Join(dir, "nowhere"))
}
