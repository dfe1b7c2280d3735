// This file says how long the rest of the work may take.

package plan

import (
	"fmt"
	"math"
	"time"

	"waycall/internal/record"
	"waycall/internal/sequence"
)

// Estimate is how long the rest of the work may take at the pace of the job so
// far.
type Estimate struct {
	// Minutes is 0 where Known is false.
	Minutes float64 `json:"minutes,omitempty"`
	Known   bool    `json:"known"` // false until the job has shown a pace
	Basis   string  `json:"basis"`
}

func estimate(s record.State) Estimate {
	left, ok := sequence.Estimate(s)
	if !ok {
		return Estimate{Basis: "the job has not shown a pace yet"}
	}
	return Estimate{Minutes: math.Round(left.Minutes()*10) / 10, Known: true, Basis: "the pace of this job so far"}
}

func (e Estimate) text() string {
	if !e.Known {
		return "How long it takes is not known: " + e.Basis + "."
	}
	left := time.Duration(e.Minutes * float64(time.Minute)).Round(time.Minute)
	if left < time.Minute {
		return fmt.Sprintf("Less than a minute left, by %s.", e.Basis)
	}
	return fmt.Sprintf("About %d h %d min left, by %s.", int(left.Hours()), int(left.Minutes())%60, e.Basis)
}
