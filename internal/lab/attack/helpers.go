package attack

import (
	"os"
	"path/filepath"
	"slices"
)

// short reports whether this is the short form.
func (t *Trial) short() bool { return t.isShort }

// fresh makes the trial's folder of jobs, with nothing in it.
func (t *Trial) fresh() { t.must(os.MkdirAll(t.jobs(), 0o755)) }

// wipe empties the trial's folders, to begin again.
func (t *Trial) wipe() {
	t.must(os.RemoveAll(t.jobs()))
	t.must(os.RemoveAll(t.path("stick")))
	t.fresh()
}

// stick is a folder for the copy.
func (t *Trial) stick() string {
	t.must(os.MkdirAll(t.path("stick"), 0o755))
	return t.path("stick")
}

// copied is the file of a victim's copy.
func (t *Trial) copied(v Victim) string { return filepath.Join(v.CopyTo, filepath.Base(v.Job)) }

func readText(path string) string {
	b, _ := os.ReadFile(path)
	return string(b)
}

func sortStrings(s []string) { slices.Sort(s) }
