package board_test

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"waycall/internal/board"
)

// What tests of this package do with whole board files.

// written returns a job as a board file, which must be read as the same job again.
func written(t *testing.T, job board.Job) string {
	t.Helper()
	var out bytes.Buffer
	if err := board.Write(&out, job); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	if back, err := board.Read(&out, "again"); err != nil || !back.Same(job) {
		t.Errorf("read again: %v", err)
	}
	return text
}

// refusal is a change to a board file, and what it is refused with.
type refusal struct{ old, now, want string }

// refused changes a board file of testdata in each way, and wants each refused.
func refused(t *testing.T, file string, changes map[string]refusal) {
	t.Helper()
	text, err := os.ReadFile("../../testdata/boards/" + file)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range changes {
		t.Run(name, func(t *testing.T) {
			changed := strings.Replace(string(text), c.old, c.now, 1)
			if changed == string(text) {
				t.Fatal("nothing was changed")
			}
			if _, err := board.Read(strings.NewReader(changed), file); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v\nwant  %s", err, c.want)
			}
		})
	}
}
