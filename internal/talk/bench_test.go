package talk

import (
	"slices"
	"testing"
	"time"

	"waycall/internal/board/boardtest"
	"waycall/internal/phrase"
	"waycall/internal/record"
)

// BenchmarkPhrase takes a reading and its "confirm" at a job of three boards with
// 100,000 events in its log, each by itself, and gives the slowest of a hundred.
func BenchmarkPhrase(b *testing.B) {
	job := boardtest.Read(b, "workshop.yaml")
	k := newTalker(b, job)
	k.prepare()
	s := k.state
	for n := s.Record.LastID; n < 100000; {
		for i, m := range []phrase.Meaning{meaning("", 1, "L-L", "206", "", ""), {Command: phrase.Confirm}} {
			next, effects := Step(s, Heard{At: k.at, Meaning: m, Phrase: record.Phrase{Agreed: true}})
			if (next.Record.Pending == nil) != (i == 1) {
				b.Fatal(effects)
			}
			s, n = next, next.Record.LastID
		}
	}
	b.Logf("%d readings, %v", len(s.Record.Readings), s.Record.Pending)
	s.next = nil
	for _, c := range []struct {
		name string
		m    phrase.Meaning
	}{{"value", meaning("", 1, "L-L", "306", "", "")}, {"confirm", phrase.Meaning{Command: phrase.Confirm}}} {
		before := s
		b.Run(c.name, func(b *testing.B) {
			var took []time.Duration
			for b.Loop() {
				start := time.Now()
				next, effects := Step(before, Heard{At: k.at, Meaning: c.m, Phrase: record.Phrase{Agreed: true}})
				took = append(took, time.Since(start))
				if s = next; len(effects) < 5 && (s.Record.Pending == nil) != (c.name == "confirm") {
					b.Fatal(effects)
				}
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "ms/p99")
		})
	}
}
