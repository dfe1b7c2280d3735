package board

import (
	"strings"
	"testing"

	"waycall/internal/reading"
)

// A place that the job has not is refused with the reason, and every one that it has is taken.
func TestSlotCheck(t *testing.T) {
	j := Job{Reference: "T1", Boards: []Board{{Number: 1, Voltage: 230, Ways: []Way{
		{Number: 1, Feeds: "Lighting"}, {Number: 2, Feeds: "Landing", TwoWay: true}, {Number: 3, Spare: true},
	}}, {Number: 2, Voltage: 230, Bonding: []string{"water", "gas"}, Ways: []Way{{Number: 1, Wiring: Ring, Points: 3}}}}}
	for _, c := range []struct {
		slot Slot
		want string // in the error; "" for none
	}{
		{Slot{1, 1, reading.LNE, 0}, ""}, {Slot{1, 1, reading.Zs, 0}, ""}, {Slot{1, 1, reading.Polarity, 0}, ""}, {Slot{1, 2, reading.LNE, 2}, ""},
		{Slot{1, 0, reading.Ze, 0}, ""}, {Slot{1, 0, reading.PFC, 0}, ""}, {Slot{1, 0, reading.PSC, 0}, ""}, {Slot{1, 0, reading.RA, 0}, ""},
		{Slot{1, 0, reading.Earthing, 0}, ""}, {Slot{1, 0, reading.PhaseSequence, 0}, ""}, {Slot{1, 0, reading.Polarity, 0}, ""}, {Slot{1, 0, reading.LNE, 0}, ""},
		{Slot{1, 0, reading.RCD1x, 0}, ""}, {Slot{2, 0, reading.Bonding, 1}, ""}, {Slot{2, 0, reading.Bonding, 2}, ""},
		{Slot{2, 1, reading.RingLN, 0}, ""}, {Slot{2, 1, reading.RingLE, 3}, ""},
		{Slot{1, 1, reading.RingLN, 9}, "no point 9"}, {Slot{2, 1, reading.RingLN, 4}, "no point 4"}, {Slot{2, 1, reading.RingR1, 1}, "no switch position 1"},
		{Slot{2, 0, reading.Bonding, 0}, "bonding must say which service"}, {Slot{2, 0, reading.Bonding, 3}, "board 2 has 2 bonded services, not 3"}, {Slot{1, 0, reading.Bonding, 1}, "board 1 has 0 bonded services, not 1"},
		{Slot{1, 0, reading.Ze, 1}, "has no position"}, {Slot{1, 0, reading.R1R2, 0}, "R1+R2 is a test of a way"}, {Slot{1, 0, reading.Zs, 0}, "Zs is a test of a way"},
		{Slot{1, 1, reading.Ze, 0}, "Ze is a test of the board"}, {Slot{1, 1, reading.Bonding, 1}, "bonding is a test of the board"}, {Slot{1, 1, reading.RA, 0}, "RA is a test of the board"},
		{Slot{1, 3, reading.LNE, 0}, "way 3 is not in use on board 1"}, {Slot{1, 4, reading.LNE, 0}, "way 4 is not in use"}, {Slot{1, -1, reading.LNE, 0}, "way -1 is not in use"},
		{Slot{0, 1, reading.LNE, 0}, "no board 0"}, {Slot{3, 1, reading.LNE, 0}, "no board 3"}, {Slot{1, 1, "LNE", 0}, "unknown test"}, {Slot{1, 1, reading.LNE, 1}, "no switch position 1"}, {Slot{1, 2, reading.LNE, 3}, "no switch position 3"}, {Slot{1, 2, reading.LNE, -1}, "no switch position -1"},
	} {
		err := c.slot.Check(j)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%+v: error %v, want %q", c.slot, err, c.want)
		}
	}
}
