package report_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/sequence"
)

// The schedule shows what the leads read and each time that the supply was put on,
// and takes the one answer of early versions for the steps that it stood for.
func TestPreparation(t *testing.T) {
	job := boardtest.Read(t, "terrace.yaml")
	ohms := reading.Quantity{Value: 0.12, Places: 2, Bound: reading.Exactly, Unit: reading.Ohm}
	pass := check.Verdict{Result: check.Pass}
	answer := func(step string) record.Event {
		return record.Event{Kind: record.Prepared, Board: 1, Step: step, Answer: record.Done}
	}
	leads := answer(sequence.LeadsJoined)
	leads.Quantity, leads.Verdict = &ohms, &pass
	log := []record.Event{{Kind: record.Opened, Job: &job}, answer(sequence.ProvedDead), leads, answer(sequence.EnergisedAgain), answer(sequence.EnergisedAgain)}
	for i := range log {
		log[i].ID, log[i].At = int64(i+1), time.Date(2026, 3, 14, 9, i, 0, 0, time.UTC)
	}
	s, err := record.Fold(log)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, p := range report.Build(s).Preparation {
		if p.Answer != "" {
			got = append(got, p.Step+", "+p.Answer+", "+p.Reason)
		}
	}
	want := []string{"indicator proved, done, ", "tested dead, done, ", "proved dead, done, ", "leads joined, done, 0.12 ohm, pass", "energised again, done, ", "energised again, done, "}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
