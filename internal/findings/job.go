package findings

import (
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// OfJob judges the readings of a job that stand.
func OfJob(s record.State) Findings {
	var judged []Judged
	surge := map[int]bool{}
	for _, b := range s.Job.Boards {
		surge[b.Number] = sequence.SurgeConnected(s, b.Number)
	}
	for _, r := range s.Readings {
		if r.Standing == record.Stands {
			judged = append(judged, Judged{Slot: r.Slot, Quantity: r.Quantity, Recorded: r.Verdict.Result})
		}
	}
	return Of(s.Job, judged, surge)
}
