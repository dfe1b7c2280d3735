package main

import (
	"strings"
	"testing"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
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
	if err := viewJob(s, "r-1.waycall").write(&out); err != nil {
		t.Fatal(err)
	}
	want := "Not yet confirmed: way 1, r1, 0.31 ohm.\nNot yet confirmed: way 1, rn, 0.32 ohm.\nNot yet confirmed: way 1, r2, 0.52 ohm.\n"
	if !strings.Contains(out.String(), want) {
		t.Errorf("%s\nlacks\n%s", out.String(), want)
	}
}
