package paper

import (
	"testing"

	"waycall/internal/reading"
	"waycall/internal/report"
)

// The list of tests that were not made has each kind of them: those that the reading of
// the whole board covers and those that were not verified, too.
func TestAllLeftOut(t *testing.T) {
	var cells []report.Cell
	want := []report.Status{report.Skipped, report.NotApplicable, report.Limitation, report.NotVerified, report.Waived, report.Accepted, report.NotAsked, report.ByBoard}
	for _, status := range append([]report.Status{report.Recorded, report.ToDo, report.Waiting}, want...) {
		cells = append(cells, report.Cell{Test: reading.LNE, Status: status})
	}
	got := allLeftOut(report.Schedule{Boards: []report.Board{{Number: 1}}, Lines: []report.Line{{Board: 1, Way: 1, Tested: report.Tested{Cells: cells}}}})
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, one := range got {
		if one.Status != want[i] {
			t.Errorf("%s, want %s", one.Status, want[i])
		}
	}
}
