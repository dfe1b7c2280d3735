package newjob

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"waycall/internal/board"
)

// Whatever lies where the register of instruments should: it is refused with what to
// do and stays as it is, or it is a list of sound instruments, each of its own serial
// number, that is the same after it was written.
func FuzzRegister(f *testing.F) {
	f.Add(`[{"serial":"20","checked":"2026-01-01","over_range":999},{"serial":"10","checked":"2025-01-01","over_range":200}]`)
	for _, text := range []string{"", "null", "[]", "{}", "[[[[", `[{"serial":"1"}]`, `[{"serial":"1","checked":"2026-01-01","over_range":1e309}]`, `[] []`, `[{"serial":"1","checked":"2026-01-01","over_range":999}] and notes`,
		`[{"serial":"1","checked":"2026-01-01","over_range":999},{"serial":"1","checked":"2026-01-02","over_range":99}]`} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		dir := t.TempDir()
		path := filepath.Join(dir, "instruments.json")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		r := NewRegister(dir)
		before, err := r.List()
		if err != nil {
			if !strings.HasPrefix(err.Error(), "register of instruments ") || !strings.Contains(err.Error(), "move it away") || strings.ContainsAny(err.Error(), "\x00\x1b\n") {
				t.Errorf("%q: %q", text, err)
			}
			if r.Put(board.Instrument{Serial: "5", Checked: "2026-01-01", OverRange: 999}) == nil {
				t.Errorf("%q was written over", text)
			}
			return
		}
		if !json.Valid([]byte(text)) {
			t.Errorf("%q was taken, and is more or less than a list", text)
		}
		seen := map[string]bool{}
		for _, i := range before {
			if seen[i.Serial] {
				t.Errorf("%q: %q is there twice", text, i.Serial)
			}
			seen[i.Serial] = true
		}
		if len(before) == 0 {
			return
		}
		if err := r.Put(before[0]); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		after, err := r.List()
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		slices.SortFunc(before, func(a, b board.Instrument) int { return strings.Compare(a.Serial, b.Serial) })
		if d := cmp.Diff(before, after); d != "" {
			t.Error(d)
		}
	})
}

// Whatever is answered, the questions end, and what they make is a job that a board
// file could be, or nothing.
func FuzzWizard(f *testing.F) {
	f.Add(whole, true)
	f.Add(whole, false)
	f.Add(strings.ReplaceAll(whole, "\n", "\r\n"), true)
	f.Add(strings.Repeat("y\n", 300), true)
	f.Add(strings.Repeat("\n", 300), true)
	f.Add(strings.Repeat("9999999999999999999999\n", 30), false)
	f.Fuzz(func(t *testing.T, answers string, ways bool) {
		var out strings.Builder
		job, err := Wizard(strings.NewReader(answers), &out, Known{Today: today, Taken: func(string) bool { return false }}, ways)
		if err != nil {
			if !errors.Is(err, ErrStopped) {
				t.Errorf("%q: %v", answers, err)
			}
			return
		}
		for i := range job.Boards {
			if !ways && len(job.Boards[i].Ways) > 0 {
				t.Errorf("%q: board %d has ways, which were not asked for", answers, i+1)
			}
			if !ways { // Voice asks for them
				job.Boards[i].Ways = []board.Way{draftWay(1)}
			}
		}
		if err := board.Check(job); err != nil {
			t.Errorf("%q: it made a job that is none: %v", answers, err)
		}
		if strings.ContainsAny(out.String(), "\x00\x1b") {
			t.Errorf("%q comes back to the terminal as it was typed", answers)
		}
	})
}
