package board_test

import (
	"strings"
	"testing"

	"waycall/internal/board/boardtest"
)

// A three-phase board's ways are described as they are marked, and are so again when
// the file is written.
func TestWaysByTheirLines(t *testing.T) {
	job := boardtest.Read(t, "lines.yaml")
	b := job.Board(1)
	for _, want := range []struct {
		number int
		phase  string
	}{{101, "L1"}, {201, "L2"}, {301, "L3"}, {2, ""}} {
		if w := b.Way(want.number); w == nil || w.Phase != want.phase {
			t.Errorf("way %d is %+v", want.number, w)
		}
	}
	if text := written(t, job); !strings.Contains(text, "- way: 1L2\n") {
		t.Errorf("written:\n%s", text)
	}
}

func TestWaysByTheirLinesRefused(t *testing.T) {
	refused(t, "lines.yaml", map[string]refusal{
		"stored number":   {"way: 1L2", "way: 201", `line 26, column 12: board.ways[1].way is "201", which is no way of a board; write it as marked: 1 to 99, or with its line, such as 1L2`},
		"fourth line":     {"way: 1L2", "way: 1L4", `line 26, column 12: board.ways[1].way is "1L4"`},
		"small letter":    {"way: 1L2", "way: 1l2", `"1l2", which is no way of a board`},
		"twice":           {"way: 1L2", "way: 1L1", "line 26, column 12: way 1L1 is described twice, first on line 18"},
		"out of order":    {"way: 1L2", "way: 4L2", "way 1L3 comes after way 4L2"},
		"whole and line":  {"way: 2\n", "way: 1\n", "line 42, column 12: ways 1L1 and 1 are at one place of the board"},
		"three phases":    {"way: 1L2\n", "way: 1L2\n      phases: 3\n", "way 1L2 is on one line but described as three-phase"},
		"another phase":   {"way: 1L2\n", "way: 1L2\n      phase: L3\n", "line 27, column 14: way 1L2 names phase L3"},
		"one-phase board": {"  phases: 3\n  main", "  main", "line 17, column 12: way 1L1 is marked by its line but its board has one phase"},
	})
}
