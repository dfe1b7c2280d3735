package report_test

import (
	"io"
	"slices"
	"strings"
	"testing"

	"waycall/internal/board"
	"waycall/internal/plan"
	"waycall/internal/report"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
)

// Amendment 4 reworked what FI means. A schedule judged by it says that these are the
// meanings of before; one judged by A2 has its own.
func TestCodesOfEachEdition(t *testing.T) {
	if text := report.CodesMean(string(board.A4)); !strings.Contains(text, "could not be read") || !strings.Contains(text, "A4:2026 Appendix 6") {
		t.Errorf("%q", text)
	}
	for _, edition := range []board.Edition{"", board.A2} {
		if text := report.CodesMean(string(edition)); strings.Contains(text, "Amendment 4") || !strings.Contains(text, "A2:2022 Appendix 6") {
			t.Errorf("%q", text)
		}
	}
}

// What verdicts rest on that the description says stands on the schedule: the
// edition, the conditional rating, that all is bonded, Zdb, a remark on a source that
// feeds back.
func TestScheduleSaysWhatVerdictsRestOn(t *testing.T) {
	s := reporttest.Workshop(t)
	s.Job.Boards = slices.Clone(s.Job.Boards)
	for i := range s.Job.Boards {
		s.Job.Boards[i].Ways = slices.Clone(s.Job.Boards[i].Ways)
	}
	s.Job.Edition = board.A2
	one := &s.Job.Boards[1]
	one.Conditional, one.AllBonded = 16, true
	fed := &one.Ways[0]
	fed.FeedsBack, fed.Device.Unidirectional = board.Vehicle, true
	made := report.Build(s)
	text := strings.Join(strings.Fields(reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, made) })), " ")
	for _, want := range []string{
		"Judged by BS 7671:2018+A2:2022",
		"Conditional rating of the board: 16 kA",
		"every extraneous-conductive-part is said to be bonded",
		"The device of this way is marked for a supply from one side only, and a vehicle feeds back through it",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the schedule does not say %q:\n%s", want, text)
		}
	}
	due := strings.Join(strings.Fields(reporttest.Written(t, func(w io.Writer) error { return plan.Of(s).Text(w, false) })), " ")
	if !strings.Contains(due, "Remark: Way 1: The device of this way is marked for a supply from one side only") {
		t.Errorf("the plan has no remark:\n%s", due)
	}
	for _, b := range made.Boards {
		if fed := b.FedFrom != 0; fed != (b.Zdb != "") || fed && !strings.Contains(text, "Zdb "+b.Zdb) {
			t.Errorf("board %d, fed from %d: Zdb %q", b.Number, b.FedFrom, b.Zdb)
		}
	}
}
