package limits

import (
	"math"

	"waycall/internal/board"
)

// What insulation resistance is judged by is from these.
const (
	limitSource = "BS 7671 Table 64, from a public print"
	surgeSource = "BS 7671 regulation 643.3.2, from a public print"
	staysSource = "BS 7671 regulation 643.3.3, from a public print"
)

// Insulation is what an insulation resistance test is made with and judged by.
type Insulation struct {
	TestVoltage float64 // V DC
	Least       float64 // Mohm: a reading below it fails
	Source      string  // clause or table
}

// InsulationLimit returns the limit for a way of a board at voltage, line to
// earth in V. Table 64 goes by the nominal voltage of the circuit, which of three
// phases is that between lines. For the board itself, w has its phases alone.
// surgeConnected says that a surge protective device could not be taken out, so that
// the test is made at 250 V but the limit stays. So it is where equipment stays
// connected: the full voltage comes before it is connected, and 250 V from the live
// conductors to earth after that.
func InsulationLimit(w board.Way, voltage float64, surgeConnected bool) Insulation {
	circuit, source := "low", limitSource
	if w.Phases == 3 {
		voltage *= math.Sqrt(3)
	}
	switch {
	case w.Separated:
		circuit = "separated"
	case voltage > 500:
		circuit = "high"
	case w.Keep500Off != "":
		circuit, source = "surge", staysSource
	case surgeConnected:
		circuit, source = "surge", surgeSource
	}
	r, _ := find("64", circuit)
	return Insulation{r.number["test_volts"], r.number["megohms"], source}
}
