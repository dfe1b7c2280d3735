package report_test

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/report/spreadsheet"
)

// What a review did is said of each reading: what it was, what it is, why and by
// whom; and a result is never better for it.
func TestReviewedSchedule(t *testing.T) {
	s := report.Build(reporttest.Reviewed(t))
	if s.Signed == nil || s.Signed.Name != "Carys Dummy-Example" || s.Signed.Sum != reporttest.SomeSum || len(s.ToDo) != 0 || !s.Record.Complete {
		t.Errorf("%+v, left to do %q", s.Signed, s.ToDo)
	}
	line := func(board, way int) report.Line {
		for _, l := range s.Lines {
			if l.Board == board && l.Way == way {
				return l
			}
		}
		t.Fatal("no line")
		return report.Line{}
	}
	for _, c := range []struct {
		board, way int
		remark     string
	}{
		{2, 5, "polarity: wrong, fail, was corrected to correct by CD in review. A lead was on the wrong terminal, read again."},
		{3, 2, "was taken off by CD in review. The point slipped."},
		{3, 2, "R1+R2: 0.74 ohm, pass, was corrected to 0.75 ohm by CD in review. Misread from it."},
	} {
		if l := line(c.board, c.way); !slices.ContainsFunc(l.Remarks, func(r string) bool { return strings.Contains(r, c.remark) }) {
			t.Errorf("board %d, way %d: %q is not in %q", c.board, c.way, c.remark, l.Remarks)
		}
	}
	// What failed and was let stand fails.
	l := line(2, 3)
	rn := l.Cell(reading.RingRn)
	if rn == nil || rn.Result != "fail" || rn.Settled == nil || rn.Settled.By != "CD" || l.Outcome() != "fail" || !strings.Contains(strings.Join(l.Remarks, " "), "rn: looked at by CD, who lets it stand: As found, the client knows.") {
		t.Errorf("%+v, %q", rn, l.Remarks)
	}
	missing := 0
	for _, l := range s.Lines {
		for _, c := range l.Cells {
			if c.Status == report.ToDo || c.Status == report.Waiting {
				t.Errorf("board %d, way %d, %s is %s", l.Board, l.Way, c.Test, c.Status)
			}
			if c.Status == report.Accepted {
				missing++
				if c.Shown() != "missing" || c.Reason == "" || c.Settled == nil || l.Outcome() == "pass" {
					t.Errorf("%+v: %s", c, l.Outcome())
				}
			}
		}
	}
	if missing == 0 {
		t.Error("nothing is missing, so nothing was tested")
	}
	var got []string
	for _, c := range s.Corrections() {
		got = append(got, fmt.Sprintf("%d/%d %s: %q to %q, %s, %q by %s", c.Board, c.Way, c.Test, c.From, c.To, c.What, c.Why, c.By))
	}
	for _, want := range []string{
		`2/5 polarity: "wrong" to "correct", corrected, "a lead was on the wrong terminal, read again" by CD`,
		`3/2 R1+R2: "" to "0.74 ohm", added, "from the instrument's own memory" by CD`,
		`3/2 R1+R2: "0.74 ohm" to "0.75 ohm", corrected, "misread from it" by CD`,
	} {
		if !slices.Contains(got, want) {
			t.Errorf("%s is not in\n%s", want, strings.Join(got, "\n"))
		}
	}
}

// Any later fact makes the schedule a draft again, in every form.
func TestDraftAgain(t *testing.T) {
	w := &reporttest.Work{T: t, S: reporttest.Reviewed(t)}
	forms := func() map[string]string {
		s := report.Build(w.S)
		return map[string]string{"text": reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, s) }), "csv": reporttest.Written(t, func(w io.Writer) error { return spreadsheet.CSV(w, s) }), "json": reporttest.Written(t, func(w io.Writer) error { return report.Write(w, s) })}
	}
	for name, out := range forms() {
		if !strings.Contains(out, "Carys Dummy-Example") || !strings.Contains(out, reporttest.SomeSum) || strings.Contains(strings.ToLower(out), "not signed") {
			t.Errorf("%s does not say who signed: %.300s", name, out)
		}
	}
	w.Do(record.Event{Kind: record.Opened, Job: &w.S.Job})
	for name, out := range forms() {
		if strings.Contains(out, "Carys") {
			t.Errorf("%s is signed after work went on", name)
		}
	}
}

func TestObservations(t *testing.T) {
	s := reporttest.Observed(report.Build(reporttest.Workshop(t)))
	text := strings.Join(strings.Fields(reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, s) })), " ")
	for _, want := range []string{"- Board 2 itself, C2: A blank is missing at way 9. (09:00 UTC)", "- Board 2, way 3: +The socket behind the dresser was not reached (09:00 UTC)", "- Board 3, way 1, FI: =The neutral runs warm", "C1: Danger present"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the text", want)
		}
	}
	if out := reporttest.Written(t, func(w io.Writer) error { return spreadsheet.CSV(w, s) }); !strings.Contains(out, "observation,") || !strings.Contains(out, ",FI,") || !strings.Contains(out, "'=The neutral") || !strings.Contains(out, "note,") || !strings.Contains(out, "'+The socket") {
		t.Error("they are not in the CSV as they should be")
	}
}

// That every test was made or left out never stands above what fails, and what was
// signed is in what is handed over, word for word.
func TestFailuresThatStand(t *testing.T) {
	s := report.Build(reporttest.Reviewed(t))
	failing := s.Failing()
	if len(failing) == 0 || len(s.ToDo) != 0 {
		t.Fatalf("%q fail, %q to do", failing, s.ToDo)
	}
	var b strings.Builder
	if err := plaintext.Write(&b, s); err != nil {
		t.Fatal(err)
	}
	squash := func(s string) string { return strings.Join(strings.Fields(s), "") }
	text := squash(b.String())
	if strings.Contains(text, squash("Every test was made or left out")) {
		t.Error("it says that every test was made above what fails")
	}
	for _, want := range append(failing, strings.Split(s.Signed.Statement, "\n")...) {
		if !strings.Contains(text, squash(want)) {
			t.Errorf("%q is not there", want)
		}
	}
	s.Signed.Statement = "" // of before it was kept
	for i := range s.Boards {
		s.Boards[i].Cells = nil
	}
	for i := range s.Lines {
		s.Lines[i].Cells = nil
	}
	if sentence, items := s.Remains(); sentence != "Every test was made or left out with a reason." || items != nil {
		t.Errorf("without a failure: %q, %q", sentence, items)
	}
}
