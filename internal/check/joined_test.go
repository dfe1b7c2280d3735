package check

import (
	"testing"

	"waycall/internal/limits"
	"waycall/internal/reading"
)

// What ways in parallel give is never above the least of them, so a board's reading
// that is enough proves each way; below the least, or known only to be less, it proves
// nothing.
func TestBoardCovers(t *testing.T) {
	l := limits.Insulation{TestVoltage: 500, Least: 1}
	for text, want := range map[string]bool{"2": true, ">999": true, ">2": true, "1.99": false, ">1": false, "<500": false, "0.4": false} {
		q, err := reading.ParseQuantity(text, reading.Megohm)
		if err != nil {
			t.Fatal(err)
		}
		if got := BoardCovers(q, l); got != want {
			t.Errorf("%s: %v", text, got)
		}
	}
	for _, ways := range [][]float64{{2, 5}, {3, 3, 3}, {1.1, 900}, {0.5, 0.5}} {
		var all []limits.Interval
		least := ways[0]
		for _, w := range ways {
			all, least = append(all, limits.Between(w, w)), min(least, w)
		}
		if whole := limits.WholeBoard(all); whole.High > least {
			t.Errorf("%v in parallel give %v", ways, whole)
		}
	}
}
