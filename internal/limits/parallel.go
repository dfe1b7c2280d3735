package limits

import (
	"cmp"
	"math"
	"slices"
)

// WholeBoard returns the insulation resistance in Mohm of ways in parallel, in
// any order.
func WholeBoard(ways []Interval) Interval {
	// The order must not change the last figure, so it is always the same one.
	ways = slices.Clone(ways)
	slices.SortFunc(ways, func(a, b Interval) int {
		if d := cmp.Compare(a.Low, b.Low); d != 0 {
			return d
		}
		return cmp.Compare(a.High, b.High)
	})
	whole := Interval{math.Inf(1), math.Inf(1)}
	for _, w := range ways {
		whole = Parallel(whole, w)
	}
	return whole
}

// Rest returns what must lie in parallel with part, in Mohm, for both to give
// whole: 1/(1/whole - 1/part). High is +Inf where part alone may account for it.
func Rest(whole, part Interval) Interval {
	one := func(w, p float64, dir int) float64 {
		d := toward(reciprocal(w, -dir)-reciprocal(p, dir), -dir)
		if !(d > 0) {
			return math.Inf(1)
		}
		return reciprocal(d, dir)
	}
	if whole.Low <= 0 {
		return Interval{0, one(whole.High, part.Low, 1)}
	}
	return Interval{one(whole.Low, part.High, -1), one(whole.High, part.Low, 1)}
}

// PullsDown returns the place in ways of the one that keeps their parallel
// combination under least Mohm: with it the whole is surely lower, without it
// surely not. False when there is no such one, or it cannot be told.
func PullsDown(ways []Interval, least float64) (int, bool) {
	if WholeBoard(ways).High >= least {
		return 0, false
	}
	found := -1
	for i := range ways {
		if WholeBoard(slices.Concat(ways[:i], ways[i+1:])).Low < least {
			continue
		}
		if found >= 0 {
			return 0, false
		}
		found = i
	}
	return found, found >= 0
}
