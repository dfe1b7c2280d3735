package limits

import (
	"testing"

	"waycall/internal/board"
)

func TestInsulationLimits(t *testing.T) {
	for _, c := range []struct {
		name    string
		w       board.Way
		voltage float64
		surge   bool
		want    Insulation
	}{
		{"230 V", board.Way{}, 230, false, Insulation{500, 1, limitSource}},
		{"500 V is still in", board.Way{}, 500, false, Insulation{500, 1, limitSource}},
		{"above 500 V", board.Way{}, 501, false, Insulation{1000, 1, limitSource}},
		{"SELV", board.Way{Separated: true}, 230, false, Insulation{250, 0.5, limitSource}},
		{"surge protection stays in", board.Way{}, 230, true, Insulation{250, 1, surgeSource}},
		{"SELV with surge protection", board.Way{Separated: true}, 230, true, Insulation{250, 0.5, limitSource}},
	} {
		if got := InsulationLimit(c.w, c.voltage, c.surge); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}
