package sequence

import (
	"cmp"
	"slices"
	"time"

	"waycall/internal/reading"
	"waycall/internal/record"
)

// fewest is how many readings a session must have before its pace says
// anything.
const fewest = 3

// Estimate returns how long what Remaining holds will take at the pace of this
// job so far, to the second. The time of a reading is that since the last
// reading, answer or left-out test before it; the median of each kind of test
// counts, so that one long search for a socket does not, and of a kind without
// a reading yet the median of its set-up, or else of all. Pauses, and the time
// until a session that was cut off went on, are left out. Changing a set-up is
// in the times of the tests as far as it happened so far.
//
// False means that fewer than three readings say anything.
func Estimate(s record.State) (left time.Duration, ok bool) {
	p := newSite(s)
	tests, steps := p.pace()
	var all []time.Duration
	byTest, bySetup := map[reading.Test][]time.Duration{}, map[Setup][]time.Duration{}
	setups := map[record.Slot]Setup{}
	for _, b := range p.boards {
		for _, it := range b.items {
			setups[it.slot] = it.setup
		}
	}
	for _, t := range tests {
		all = append(all, t.took)
		byTest[t.slot.Test] = append(byTest[t.slot.Test], t.took)
		if setup := setups[t.slot]; setup != "" {
			bySetup[setup] = append(bySetup[setup], t.took)
		}
	}
	if len(all) < fewest {
		return 0, false
	}
	usual, step := median(all), median(all)
	if len(steps) > 0 {
		step = median(steps)
	}
	medians, mediansOfSetup := map[reading.Test]time.Duration{}, map[Setup]time.Duration{}
	for test, times := range byTest {
		medians[test] = median(times)
	}
	for setup, times := range bySetup {
		mediansOfSetup[setup] = median(times)
	}
	for _, d := range p.remaining() {
		took, known := step, true
		if d.Step == nil {
			if took, known = medians[d.Slot.Test]; !known {
				took, known = mediansOfSetup[d.Setup]
			}
		}
		if !known {
			took = usual
		}
		left += took
	}
	return left.Round(time.Second), true
}

// timed is how long one reading took.
type timed struct {
	slot record.Slot
	took time.Duration
}

// pace returns how long each reading and each answer to a step took, from what
// was done before it.
func (p *site) pace() (tests []timed, steps []time.Duration) {
	type mark struct {
		id   int64
		at   time.Time
		slot record.Slot // of a reading
		kind record.Kind
	}
	marks := make([]mark, 0, len(p.s.Readings)+len(p.s.Answers)+len(p.s.Skips)+len(p.s.Resumed))
	for i := range p.s.Readings {
		r := p.s.Readings[i]
		if r.Edited {
			continue // at a desk, some time later
		}
		marks = append(marks, mark{r.ConfirmedID, r.Confirmed, r.Slot, record.Confirmed})
	}
	for i := range p.s.Answers {
		marks = append(marks, mark{p.s.Answers[i].EventID, p.s.Answers[i].At, record.Slot{}, record.Prepared})
	}
	for i := range p.s.Skips {
		marks = append(marks, mark{p.s.Skips[i].EventID, p.s.Skips[i].At, record.Slot{}, record.Skipped})
	}
	for _, id := range p.s.Resumed {
		marks = append(marks, mark{id: id, kind: record.CarriedOn})
	}
	slices.SortFunc(marks, func(a, b mark) int { return cmp.Compare(a.id, b.id) })
	together := map[int64]int{} // readings of one breath share its time
	for _, m := range marks {
		together[m.id]++
	}
	for i, m := range marks {
		before := i - 1
		for before >= 0 && marks[before].id == m.id {
			before--
		}
		if before < 0 || marks[before].kind == record.CarriedOn {
			continue
		}
		took := m.at.Sub(marks[before].at) / time.Duration(together[m.id])
		switch {
		case took <= 0: // the clock was set
		case m.kind == record.Confirmed:
			tests = append(tests, timed{m.slot, took})
		case m.kind == record.Prepared:
			steps = append(steps, took)
		}
	}
	return tests, steps
}

func median(times []time.Duration) time.Duration {
	slices.Sort(times)
	n := len(times)
	return (times[(n-1)/2] + times[n/2]) / 2
}
