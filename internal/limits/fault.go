package limits

import (
	"math"
)

// FaultCurrent returns the prospective fault current in kA of a loop of z ohm at
// uo V: uo/z, as IET Guidance Note 3 reckons it, from memory. NaN where there is
// none.
func FaultCurrent(uo, z float64) float64 {
	if !Positive(uo) || !Positive(z) {
		return math.NaN()
	}
	return uo / z / 1000
}

// ThreePhase returns what a line to neutral fault current in kA may mean between
// lines: at least root three times, and twice as the assumption on the careful
// side. IET Guidance Note 3, from memory.
func ThreePhase(kA float64) (least, most float64) {
	return kA * Value("three_phase_least"), kA * Value("three_phase_most")
}
