package soak

import (
	"fmt"
	"math"
	"slices"

	"waycall/internal/audio"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/store"
)

// ledger is what the electrician knows that the record must hold: every reading that
// was read back rightly, confirmed and acknowledged, and what became of it. It is kept
// beside waycall and never looks into it before the end.
type ledger struct {
	entries []entry
	notes   int // acknowledged, and not taken back
}

// entry is a reading that was acknowledged as stored.
type entry struct {
	said
	standing record.Standing
}

func (l *ledger) stored(s said) {
	for i := range l.entries {
		if e := &l.entries[i]; e.slot == s.slot && e.standing == record.Stands {
			e.standing = record.Replaced
		}
	}
	l.entries = append(l.entries, entry{said: s})
}

// last returns the last reading that stands.
func (l *ledger) last() *entry {
	for i := len(l.entries) - 1; i >= 0; i-- {
		if l.entries[i].standing == record.Stands {
			return &l.entries[i]
		}
	}
	return nil
}

// retest is that a way is tested again.
func (l *ledger) retest(board, way int) {
	for i := range l.entries {
		if e := &l.entries[i]; e.slot.Board == board && e.slot.Way == way && e.standing == record.Stands {
			e.standing = record.BeforeWork
		}
	}
}

// Audit is what became of the readings, counted against the ledger.
type Audit struct {
	Confirmed int      `json:"confirmed"`    // readings that were acknowledged as stored
	Standing  int      `json:"standing"`     // of them on the schedule at the end
	Lost      int      `json:"lost"`         // acknowledged and not in the record
	Wrong     int      `json:"wrong"`        // in the record with another value, place or standing, or never said
	Notes     int      `json:"notes"`        // acknowledged
	Sounds    int      `json:"sounds"`       // of readings, that are those that were said
	BadSounds int      `json:"bad_sounds"`   // that are not
	Problems  []string `json:"problems"`     // each of the above that is wrong, and what `waycall verify` finds
	Events    int64    `json:"events"`       // in the log
	Head      string   `json:"head"`         // sum of the last
	Bytes     int64    `json:"bytes"`        // of the file
	Schedule  int      `json:"schedule"`     // readings found on the schedule
	Integrity bool     `json:"integrity_ok"` // SQLite's integrity check, the chain and every sound against its sum
}

func (a *Audit) problem(format string, args ...any) {
	if len(a.Problems) < 50 {
		a.Problems = append(a.Problems, fmt.Sprintf(format, args...))
	}
}

// against holds the ledger against the record: every reading ever confirmed, in order,
// with its standing and the sound it rests on; and what stands against the schedule.
func (l *ledger) against(a *Audit, state record.State, schedule report.Schedule, soundOf func(int64) ([]byte, error), spoken func(spec) (audio.Clip, error)) error {
	a.Confirmed, a.Notes = len(l.entries), l.notes
	for i := range max(len(l.entries), len(state.Readings)) {
		if i >= len(state.Readings) {
			a.Lost++
			a.problem("reading %d, %+v %s, is not in the record", i+1, l.entries[i].slot, l.entries[i].written)
			continue
		}
		r := state.Readings[i]
		if i >= len(l.entries) {
			a.Wrong++
			a.problem("the record has %+v %s as reading %d, which was not confirmed", r.Slot, r.Quantity, i+1)
			continue
		}
		e := l.entries[i]
		if r.Slot != e.slot || !r.Quantity.Equal(e.quantity()) || r.Standing != e.standing {
			a.Wrong++
			a.problem("reading %d is %+v %s %q in the record, and was %+v %s %q", i+1, r.Slot, r.Quantity, r.Standing, e.slot, e.quantity(), e.standing)
			continue
		}
		sound, err := soundOf(r.HeardID)
		if err != nil {
			a.BadSounds++
			a.problem("reading %d: %v", i+1, err)
			continue
		}
		want, err := spoken(e.spec)
		if err != nil {
			return err
		}
		samples, _, err := store.Samples(sound)
		if c := alike(samples, want); err != nil || c < 0.9 {
			a.BadSounds++
			a.problem("reading %d, %q: its sound is another one (%.2f, %v)", i+1, e.spec.text, c, err)
			continue
		}
		a.Sounds++
	}
	if n := len(state.Notes); n != l.notes {
		a.Wrong++
		a.problem("%d notes were made and the record has %d", l.notes, n)
	}
	// The schedule, from the same facts by another way.
	onPaper := map[record.Slot]string{}
	cells := func(board, way int, list []report.Cell) {
		for _, c := range list {
			if c.Status == report.Recorded {
				onPaper[record.Slot{Board: board, Way: way, Test: c.Test, Position: c.Position}] = c.Text
			}
		}
	}
	for _, b := range schedule.Boards {
		cells(b.Number, 0, b.Cells)
	}
	for _, line := range schedule.Lines {
		cells(line.Board, line.Way, line.Cells)
	}
	a.Schedule = len(onPaper)
	for _, e := range l.entries {
		if e.standing != record.Stands {
			continue
		}
		a.Standing++
		text, ok := onPaper[e.slot]
		delete(onPaper, e.slot)
		switch {
		case !ok:
			a.Lost++
			a.problem("%+v %s is not on the schedule", e.slot, e.written)
		case text != e.written:
			a.Wrong++
			a.problem("%+v is %s on the schedule and was %s", e.slot, text, e.written)
		}
	}
	for slot, text := range onPaper {
		a.Wrong++
		a.problem("the schedule has %+v %s, which does not stand by the ledger", slot, text)
	}
	return nil
}

// envelope is the loudness of sound, in blocks of 10 ms.
func envelope(n int, at func(int) float64) []float64 {
	const block = audio.Rate / 100
	var all []float64
	for i := 0; i+block <= n; i += block {
		sum := 0.0
		for k := range block {
			sum += at(i+k) * at(i+k)
		}
		all = append(all, math.Sqrt(sum/block))
	}
	return all
}

// alike returns how alike the loudness of what is kept is to that of what was said, at
// the place where it is most, -1 to 1. What is kept is a part of what was said.
func alike(kept []int16, want audio.Clip) float64 {
	a := envelope(len(kept), func(i int) float64 { return float64(kept[i]) / (1 << 15) })
	b := envelope(len(want), func(i int) float64 { return float64(want[i]) })
	// Up to 200 ms of quiet on each side may come from beyond the clip.
	edge := make([]float64, 40)
	b = slices.Concat(edge, b, edge)
	best := -1.0
	for lag := 0; lag+len(a) <= len(b); lag++ {
		best = max(best, correlation(a, b[lag:lag+len(a)]))
	}
	return best
}

func correlation(a, b []float64) float64 {
	n := float64(len(a))
	var sa, sb, saa, sbb, sab float64
	for i := range a {
		sa, sb = sa+a[i], sb+b[i]
		saa, sbb, sab = saa+a[i]*a[i], sbb+b[i]*b[i], sab+a[i]*b[i]
	}
	va, vb := saa-sa*sa/n, sbb-sb*sb/n
	if va <= 0 || vb <= 0 {
		return -1
	}
	return (sab - sa*sb/n) / math.Sqrt(va*vb)
}
