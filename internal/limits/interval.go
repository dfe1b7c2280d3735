package limits

import (
	"math"

	"waycall/internal/reading"
)

// Interval is the set of values that a quantity may have, in its unit, ends
// included. High is +Inf when nothing is known above Low.
type Interval struct{ Low, High float64 }

// Between is the interval from low to high.
func Between(low, high float64) Interval { return Interval{low, high} }

// IntervalOf returns the interval that q allows, before any allowance for the
// instrument.
func IntervalOf(q reading.Quantity) Interval {
	low, high := q.Interval()
	return Interval{low, high}
}

// Parallel returns the resistance of a and b in parallel, 1/(1/a + 1/b), over
// every value that both may have. Each step is rounded outward, so the true
// result is never left out by the arithmetic. Negative values are taken as 0.
func Parallel(a, b Interval) Interval {
	return Interval{parallel(a.Low, b.Low, -1), parallel(a.High, b.High, 1)}
}

// parallel errs to the side of dir: down for -1, up for +1. A reciprocal turns
// the side round.
func parallel(a, b float64, dir int) float64 {
	if a <= 0 || b <= 0 {
		return 0
	}
	sum := toward(reciprocal(a, -dir)+reciprocal(b, -dir), -dir)
	return reciprocal(sum, dir)
}

func reciprocal(x float64, dir int) float64 {
	switch {
	case math.IsInf(x, 1):
		return 0 // exact
	case x == 0:
		return math.Inf(1)
	}
	return toward(1/x, dir)
}

// toward returns the neighbour of x on the side of dir, never below 0. An
// exact 0 or infinity stays unless the other side is asked for.
func toward(x float64, dir int) float64 {
	if dir > 0 {
		if x == 0 {
			return 0
		}
		return math.Nextafter(x, math.Inf(1))
	}
	return math.Max(0, math.Nextafter(x, 0))
}

// Widen allows for an instrument that may be out by the fraction u of what it
// shows, rounded outward.
func (i Interval) Widen(u float64) Interval {
	return Interval{toward(i.Low*(1-u), -1), toward(i.High*(1+u), 1)}
}

// Apart reports whether the two have no value in common.
func (i Interval) Apart(j Interval) bool { return i.High < j.Low || j.High < i.Low }

// Plus returns every sum of a value of i and a value of j, rounded outward.
func (i Interval) Plus(j Interval) Interval {
	return Interval{toward(i.Low+j.Low, -1), toward(i.High+j.High, 1)}
}

// Times returns i multiplied by k, 0 or more, rounded outward.
func (i Interval) Times(k float64) Interval {
	if !(k > 0) {
		return Interval{}
	}
	return Interval{toward(i.Low*k, -1), toward(i.High*k, 1)}
}

// Exact is the interval of one known value.
func Exact(x float64) Interval { return Interval{x, x} }

// hull returns the smallest interval that holds both.
func (i Interval) hull(j Interval) Interval {
	return Interval{math.Min(i.Low, j.Low), math.Max(i.High, j.High)}
}

// Around returns i with the fraction u of itself and then the amount by more on
// either side.
func (i Interval) Around(u, by float64) Interval {
	w := i.Widen(u)
	return Interval{toward(math.Max(0, w.Low-by), -1), toward(w.High+by, 1)}
}

// Inside reports whether every value of i is one of j.
func (i Interval) Inside(j Interval) bool { return i.Low >= j.Low && i.High <= j.High }
