package main

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"waycall/internal/check"
	"waycall/internal/findings"
	"waycall/internal/jobs"
	"waycall/internal/plan"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/store"
)

// take is a command of the scripts: "take JOB SHEET" writes the
// readings of a sheet into a job's log as if they had been said and confirmed,
// one a minute. Every one is recorded as a pass.
func take(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("take JOB SHEET")
	}
	ctx := context.Background()
	s, err := store.Open(ts.MkAbs(args[0]))
	ts.Check(err)
	defer s.Close()
	state, err := jobs.Fold(ctx, s)
	ts.Check(err)
	all, err := readSheet(ts.MkAbs(args[1]), state.Job)
	ts.Check(err)
	at := state.LastAt
	for _, r := range all {
		slot, q := r.Slot, r.Quantity
		for _, e := range []record.Event{
			{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass, Reason: "As read.", Source: "a test"}},
			{Kind: record.Confirmed},
		} {
			at = at.Add(30 * time.Second)
			e.At, e.ID = at, state.LastID+1
			state, err = state.Apply(e)
			ts.Check(err)
			_, err = s.Append(ctx, []record.Event{e}, nil)
			ts.Check(err)
		}
	}
}

// exits is a command of the scripts: "exits CODE waycall ARGS..." runs waycall
// and wants this exit code, with its output for stdout and stderr.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("exits CODE COMMAND ARGS...")
	}
	err := ts.Exec(args[1], args[2:]...)
	code := 0
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		code = exit.ExitCode()
	case err != nil:
		ts.Check(err)
	}
	if fmt.Sprint(code) != args[0] {
		ts.Fatalf("exit code %d, want %s", code, args[0])
	}
}

// A job's readings are judged anew, and what was said of one when it was
// recorded is shown where that was something else. Readings that no longer
// stand are not judged.
func TestFindJob(t *testing.T) {
	job, err := jobs.ReadBoard(rootPath(t, "testdata", "boards", "workshop.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var s record.State
	do := func(e record.Event) {
		t.Helper()
		e.ID, e.At = s.LastID+1, time.Date(2026, 3, 18, 9, 0, 0, 0, time.UTC)
		if s, err = s.Apply(e); err != nil {
			t.Fatal(err)
		}
	}
	do(record.Event{Kind: record.Opened, Job: &job})
	slot := record.Slot{Board: 3, Way: 1, Test: reading.LNE}
	for _, value := range []float64{700, 0.4} {
		do(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &reading.Quantity{Value: value, Places: 1, Bound: reading.Exactly, Unit: reading.Megohm}, Verdict: &check.Verdict{Result: check.Pass, Source: "a test"}})
		do(record.Event{Kind: record.Confirmed})
	}
	f := findings.OfJob(s)
	if f.Readings != 1 || f.Worst() != check.Fail || f.Findings[0].Recorded != string(check.Pass) || f.Findings[0].Reading != "0.4 Mohm" {
		t.Errorf("%+v", f)
	}
	if n := plan.Of(s).Recorded; n != 1 {
		t.Errorf("%d recorded", n)
	}
}
