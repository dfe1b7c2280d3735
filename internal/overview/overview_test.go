package overview

import (
	"errors"
	"strings"
	"testing"
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/jobs"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/screen"
)

// All that waits to be confirmed is shown, not the first of a breath alone.
func TestShowPending(t *testing.T) {
	ring := func(test reading.Test) record.Slot { return record.Slot{Board: 1, Way: 1, Test: test} }
	ohm := func(x float64) reading.Quantity {
		return reading.Quantity{Value: x, Places: 2, Bound: reading.Exactly, Unit: reading.Ohm}
	}
	job := board.Job{Reference: "R-1", Boards: []board.Board{{Number: 1, Earthing: board.TNCS, Voltage: 230, Phases: 1, Ways: []board.Way{{Number: 1, Feeds: "Sockets", Wiring: board.Ring, Phases: 1}}}}}
	first, q, v := ring(reading.RingR1), ohm(0.31), check.Verdict{Result: check.Pass}
	s, err := record.Fold([]record.Event{
		{ID: 1, Kind: record.Opened, Job: &job},
		{ID: 2, Kind: record.Proposed, Slot: &first, Quantity: &q, Verdict: &v, Then: []record.Further{
			{Slot: ring(reading.RingRn), Quantity: ohm(0.32), Verdict: v}, {Slot: ring(reading.RingR2), Quantity: ohm(0.52), Verdict: v}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := Of(jobs.Known{State: s, Path: "r-1.waycall"}).Write(&out); err != nil {
		t.Fatal(err)
	}
	want := "Not yet confirmed: way 1, r1, 0.31 ohm.\nNot yet confirmed: way 1, rn, 0.32 ohm.\nNot yet confirmed: way 1, r2, 0.52 ohm.\n"
	if !strings.Contains(out.String(), want) {
		t.Errorf("%s\nlacks\n%s", out.String(), want)
	}
}

// It says whether the record is signed off, by whom and when, and a change after that
// makes it a draft again.
func TestShowSigned(t *testing.T) {
	job := board.Job{Reference: "R-1", Boards: []board.Board{{Number: 1, Earthing: board.TNCS, Voltage: 230, Phases: 1, Ways: []board.Way{{Number: 1, Spare: true}}}}}
	at := time.Date(2026, 3, 14, 16, 5, 0, 0, time.Local)
	events := []record.Event{
		{ID: 1, At: at, Kind: record.Opened, Job: &job},
		{ID: 2, At: at, Kind: record.Finished},
		{ID: 3, At: at, Kind: record.Signed, By: "JE", Text: "Jo Example", Sum: strings.Repeat("ab", 32)},
		{ID: 4, At: at, Kind: record.Opened, Job: &job},
	}
	for n, want := range map[int]string{
		1: "Draft: the session has not ended.\n",
		2: "Draft: not signed off yet; waycall review does that.\n",
		3: "Signed off by Jo Example (JE) at 16:05 on 14 March 2026.\n",
		4: "Draft: the session has not ended.\n",
	} {
		s, err := record.Fold(events[:n])
		if err != nil {
			t.Fatal(err)
		}
		v := Of(jobs.Known{State: s, Path: "r-1.waycall"})
		var out, data strings.Builder
		if err := errors.Join(v.Write(&out), screen.Print(&data, v)); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(out.String(), want) {
			t.Errorf("after %d events: %s\nlacks %s", n, out.String(), want)
		}
		if signed := strings.Contains(data.String(), `"signed":{"name":"Jo Example","by":"JE"`); signed != (n == 3) {
			t.Errorf("after %d events the JSON is %s", n, data.String())
		}
	}
}
