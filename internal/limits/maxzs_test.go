package limits

import (
	"math"
	"testing"

	"waycall/internal/board"
)

// By hand: 230 V x 0.95 = 218.5 V over Ia; 50 V over the residual current.
func TestMaxZsOf(t *testing.T) {
	b32 := board.Device{Standard: board.MCB, Type: "B", Rating: 32}
	rcbo := board.Device{Standard: board.RCBO, Type: "B", Rating: 20, RCD: &board.RCD{Rated: 30, Type: "A"}}
	for name, c := range map[string]struct {
		b             board.Board
		w             board.Way
		ohm, measured float64
	}{
		"B32, 218.5/160":                    {board.Board{Earthing: board.TNS, Voltage: 230}, board.Way{Device: b32, Use: board.Socket}, 1.37, 1.096},
		"B32 at 240 V, 228/160":             {board.Board{Earthing: board.TNS, Voltage: 240}, board.Way{Device: b32, Use: board.Socket}, 1.425, 1.14},
		"TT with 30 mA, 50/0.03":            {board.Board{Earthing: board.TT, Voltage: 230}, board.Way{Device: rcbo}, 1666.667, 1666.667},
		"TT by the main switch, 50/0.1":     {board.Board{Earthing: board.TT, Voltage: 230, Main: board.Device{RCD: &board.RCD{Rated: 100}}}, board.Way{Device: b32, Use: board.Socket}, 500, 500},
		"RCBO in TN by its breaker, 2.19":   {board.Board{Earthing: board.TNCS, Voltage: 230}, board.Way{Device: rcbo, Use: board.Socket}, 2.19, 1.752},
		"BS 88-2 63 A, distribution, 5 s":   {board.Board{Earthing: board.TNCS, Voltage: 230}, board.Way{Device: board.Device{Standard: "BS 88-2", Type: "gG", Rating: 63}, Use: board.Distribution}, 0.78, 0.624},
		"60947-2 at 320 A, 218.5/(1.2*320)": {board.Board{Earthing: board.TNCS, Voltage: 230}, board.Way{Device: board.Device{Standard: board.CircuitBreaker, Rating: 32, Trip: 320}, Use: board.Fixed}, 0.569, 0.4552},
	} {
		got, err := MaxZsOf(&c.b, &c.w)
		if err != nil || math.Abs(got.Ohm-c.ohm) > 0.001 || math.Abs(got.Measured-c.measured) > 0.001 || got.Source == "" {
			t.Errorf("%s: %+v, %v, want %v", name, got, err, c.ohm)
		}
	}
	if _, err := MaxZsOf(&board.Board{Earthing: board.TNS, Voltage: 230}, &board.Way{}); err == nil {
		t.Error("a limit for a device that is not known")
	}
}
