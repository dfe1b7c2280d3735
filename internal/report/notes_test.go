package report

import (
	"strings"
	"testing"

	"waycall/internal/record"
)

// What was taken back is not on a schedule, and who tested in one session only is.
func TestNotesAndTesters(t *testing.T) {
	s := Build(whole(t))
	if len(s.Observations) != 1 || s.Observations[0].Code != "C2" || s.Observations[0].Way != 10 || len(s.Notes) != 1 || s.Notes[0].Way != 3 {
		t.Errorf("%+v, %+v", s.Observations, s.Notes)
	}
	job := terrace(t)
	w := &work{t: t}
	w.open(job)
	w.prepare()
	w.take(at(1, "LN-E", 0), ">999")
	w.do(record.Event{Kind: record.Opened, Job: &job, Tester: "AB"})
	w.take(at(1, "L-N", 0), ">999")
	w.do(record.Event{Kind: record.Opened, Job: &job, Tester: "CD"}) // took no reading
	if got := Build(w.s).Job; len(got.Others) != 1 || got.Others[0] != "AB" || got.Tester != job.Tester {
		t.Errorf("%+v", got)
	}
}

// They are on paper and in the file for a spreadsheet, too.
func TestNotesOnPaper(t *testing.T) {
	s := Build(whole(t))
	csv := write(t, s.CSV)
	for _, want := range []string{"no blank over the spare way", "socket behind the dresser not reached"} {
		if !strings.Contains(csv, want) {
			t.Errorf("the CSV does not have %q", want)
		}
		if strings.Contains(csv, "said of the wrong board") {
			t.Error("the CSV has what was taken back")
		}
	}
}
