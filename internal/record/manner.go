// This file says how a tester has waycall speak and take his readings, as it is kept from
// one session of a job to the next.

package record

import "cmp"

// The commands by which it is said how waycall speaks: the Meaning.Command of a phrase.
const (
	Slower = "slower"
	Faster = "faster"
	Brief  = "brief"
	InFull = "in full"
)

// The ends of Manner.Pace.
const (
	Slowest = -2
	Fastest = 2
)

// Manner is how somebody asked waycall, by voice, to speak. It is folded from what was
// heard, so that it outlives a session that is cut off.
type Manner struct {
	Pace  int    // Slowest to Fastest; 0 is as it is set
	Words string // Brief, InFull, or "" where he said neither
}

// after returns the manner after a phrase. What was disputed changes nothing.
func (m Manner) after(p *Phrase) Manner {
	if p == nil || !p.Agreed {
		return m
	}
	switch p.Meaning.Command {
	case Slower:
		m.Pace = max(m.Pace-1, Slowest)
	case Faster:
		m.Pace = min(m.Pace+1, Fastest)
	case Brief, InFull:
		m.Words = p.Meaning.Command
	}
	return m
}

// HabitOf returns how tester, or with "" the job's own, had readings accepted in the
// last session. Nobody takes over the habit of another: where somebody else tested then,
// it is Each.
func (s State) HabitOf(tester string) Habit {
	if cmp.Or(tester, s.Given.Tester) != s.Tester {
		return Each
	}
	return s.Habit
}
