package report

import (
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
