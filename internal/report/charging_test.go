package report_test

import (
	"io"
	"strings"
	"testing"

	"waycall/internal/board/boardtest"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/paper"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/report/spreadsheet"
	"waycall/internal/sequence"
)

// A way that charges a vehicle goes from its board file to the schedule with the tests
// that are made on it.
func TestChargingPointToSchedule(t *testing.T) {
	job := boardtest.Read(t, "charging.yaml")
	w := &reporttest.Work{T: t}
	w.Open(job)
	w.Prepare()
	values := map[reading.Test]string{
		reading.R1R2: "0.06", reading.Polarity: "correct", reading.LNE: ">999", reading.LN: ">999", reading.Zs: "0.41", reading.RCD1x: "24", reading.RCDButton: "correct",
		reading.PENFault: "correct", reading.DCFault: "correct", reading.Functional: "correct",
	}
	slots := sequence.Required(job, 1, 1)
	if len(slots) != len(values) {
		t.Fatalf("%d tests are required, want %d: %v", len(slots), len(values), slots)
	}
	for _, slot := range slots {
		w.Take(slot, values[slot.Test])
	}
	s := report.Build(w.S)
	text := reporttest.Written(t, func(out io.Writer) error { return plaintext.Write(out, s) })
	for _, want := range []string{
		"Cut-out fuse: BS 88-3, 100 A, 16 kA", "Unknown: maximum demand, conditional rating of the board", "Live conductors: 1-phase 2-wire", "Main switch poles: 2", "Surge protection: fitted, type T2, status indicator good",
		"serial 0041732; RCD: serial 0052218", "PEN fault", "DC fault", "EV charging, PEN fault protection: device", "tested and recorded elsewhere",
	} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("the schedule lacks %q", want)
		}
	}
	for _, l := range s.Lines {
		if l.Way == 1 && (!l.Complete || l.Result != "pass" || l.Cell(reading.PENFault).Text != "correct") {
			t.Errorf("way 1 is %+v", l.Tested)
		}
		if l.Way == 3 && l.Cell(reading.AFDDButton) == nil {
			t.Error("the AFDD's test button is not asked for")
		}
	}
	csv := reporttest.Written(t, func(out io.Writer) error { return spreadsheet.CSV(out, s) })
	for _, want := range []string{"particular,", ",Maximum demand,", `"EV charging, PEN fault protection: device, direct current protection: RDC-DD"`, "AFDD-button,PEN-fault,DC-fault"} {
		if !strings.Contains(csv, want) {
			t.Errorf("the CSV lacks %q", want)
		}
	}
	reporttest.Written(t, func(out io.Writer) error { return paper.Write(out, s) })
	json := reporttest.Written(t, func(out io.Writer) error { return report.Write(out, s) })
	if _, err := report.Read(strings.NewReader(json)); err != nil {
		t.Error(err)
	}
}

// What is not described is unknown, on the schedule and where tests hang on it.
func TestUnknownIsSaid(t *testing.T) {
	job := boardtest.Read(t, "charging.yaml")
	b := job.Board(1)
	b.Bonding, b.BondingSize, b.Way(1).PEN, b.Way(1).DC, b.Way(1).Method = nil, 0, "", "", ""
	job.Tests = nil
	needs := map[record.Slot]sequence.Requirement{}
	for _, way := range []int{0, 1} {
		for _, n := range sequence.Needs(job, 1, way) {
			needs[n.Slot] = n.Need
		}
	}
	for _, slot := range []record.Slot{reporttest.At(0, reading.Bonding, 0), reporttest.At(1, reading.PENFault, 0), reporttest.At(1, reading.DCFault, 0)} {
		if needs[slot] != sequence.Unknown {
			t.Errorf("%v is %q, want unknown", slot, needs[slot])
		}
	}
	w := &reporttest.Work{T: t}
	w.Open(job)
	text := reporttest.Written(t, func(out io.Writer) error { return plaintext.Write(out, report.Build(w.S)) })
	for _, want := range []string{"bonded services, bonding conductors", "It is unknown what protects when the combined neutral and earth conductor", "It is unknown what protects against a direct residual current"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("the schedule lacks %q:\n%s", want, text)
		}
	}
}
