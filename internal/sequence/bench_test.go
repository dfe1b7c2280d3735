package sequence

import (
	"testing"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/record"
)

// hundred is a site of 100 ways on four boards, half of it tested.
func hundred(b *testing.B) record.State {
	ways := []board.Way{
		{Phases: 1, Wiring: board.Radial, NeutralBar: "A", Device: board.Device{RCD: &board.RCD{Rated: 30}}},
		{Phases: 1, Wiring: board.Ring, NeutralBar: "B", Device: board.Device{RCD: &board.RCD{Rated: 30, Group: "G"}}},
		{Phases: 1, Wiring: board.Radial, NeutralBar: "A", TwoWay: true},
		{Phases: 3, Wiring: board.Radial, NeutralBar: "B"},
		{Phases: 1, Wiring: board.Radial, NeutralBar: "B", Device: board.Device{RCD: &board.RCD{Rated: 30, Group: "G"}}},
	}
	var job board.Job
	for n := range 4 {
		one := board.Board{Number: n + 1, Voltage: 230, Phases: 3, Earthing: board.TNCS, SurgeProtection: true, Bonding: []string{"water", "gas"}}
		if n > 0 {
			one.Supply = board.Supply{From: 1, FromWay: n}
		}
		for k := range 25 {
			w := ways[k%len(ways)]
			w.Number = k + 1
			if n == 0 && k < 3 {
				w = board.Way{Number: k + 1, Phases: 3, Wiring: board.Radial, NeutralBar: "A", Supplies: k + 2}
			}
			one.Ways = append(one.Ways, w)
		}
		job.Boards = append(job.Boards, one)
	}
	s := open(b, job)
	half := Count(s).Tests / 2
	for len(s.Readings) < half {
		d, _ := Next(s)
		s = answer(b, s, d, check.Pass)
	}
	return s
}

// BenchmarkNext is the planning after one reading on a 100-way site.
func BenchmarkNext(b *testing.B) {
	s := hundred(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := Next(s); !ok {
			b.Fatal("nothing is due")
		}
	}
}

// BenchmarkPlanning is all that may be asked for after one reading on a 100-way
// site: what is due, what remains, what waits, how far, how long.
func BenchmarkPlanning(b *testing.B) {
	s := hundred(b)
	b.ReportMetric(float64(Count(s).Tests), "tests")
	for b.Loop() {
		Next(s)
		Remaining(s)
		NotAsked(s)
		Count(s)
		Estimate(s)
	}
}
