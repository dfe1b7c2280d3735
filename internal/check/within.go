package check

import (
	"waycall/internal/limits"
	"waycall/internal/reading"
)

// atMost judges a quantity by an upper limit that is itself known only to lie
// in an interval: it passes when it is surely no higher, fails when it is
// surely higher, and otherwise nothing can be said. A lower quantity never
// fares worse.
func atMost(q reading.Quantity, limit limits.Interval) Result {
	low, high := q.Interval()
	switch {
	case high <= limit.Low:
		return Pass
	case low > limit.High, low == limit.High && q.Bound == reading.GreaterThan:
		return Fail
	}
	return CannotSay
}

// atLeast is atMost for a lower limit: a higher quantity never fares worse.
func atLeast(q reading.Quantity, limit limits.Interval) Result {
	low, high := q.Interval()
	switch {
	case low >= limit.High:
		return Pass
	case high < limit.Low, high == limit.Low && q.Bound == reading.LessThan:
		return Fail
	}
	return CannotSay
}

// within judges a quantity by a band, ends included: it passes when it surely
// lies in it and fails when it surely lies outside.
func within(q reading.Quantity, band limits.Interval) Result {
	return worst([]Verdict{{Result: atLeast(q, limits.Exact(band.Low))}, {Result: atMost(q, limits.Exact(band.High))}}).Result
}
