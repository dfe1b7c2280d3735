package check

import (
	"strings"
	"testing"

	"waycall/internal/board"
)

// A source that feeds back through a device for one direction is remarked on, on its
// way, on the way of the board that feeds its board, and on the main switch; it fails
// nothing. Amendment 3:2024.
func TestOneDirectionIsRemarkedOn(t *testing.T) {
	j := house()
	said := func(number, way int) string {
		var all []string
		for _, r := range Remarks(j, number, way) {
			if !strings.Contains(r.Source, "BS 7671") {
				t.Errorf("%+v", r)
			}
			all = append(all, r.Text)
		}
		return strings.Join(all, " ")
	}
	for _, at := range [][2]int{{1, 0}, {1, 6}, {1, 7}, {2, 0}, {2, 1}, {9, 1}, {1, 99}} {
		if s := said(at[0], at[1]); s != "" {
			t.Errorf("without a source, %v: %q", at, s)
		}
	}
	before := judgedIn(j, "2/1 RCD-1x 25")
	j.Boards[1].Ways[0].FeedsBack = board.Battery
	j.Boards[1].Ways[0].Device.Unidirectional = true
	j.Boards[0].Way(7).Device.Unidirectional = true
	j.Boards[0].Main.Unidirectional = true
	for at, want := range map[[2]int]string{{2, 1}: "The device of this way", {1, 7}: "The device of this way", {1, 0}: "The main switch"} {
		if s := said(at[0], at[1]); !strings.HasPrefix(s, want) || !strings.Contains(s, "a battery feeds back") {
			t.Errorf("%v: %q", at, s)
		}
	}
	for _, at := range [][2]int{{2, 0}, {1, 6}} {
		if s := said(at[0], at[1]); s != "" {
			t.Errorf("not in its path, %v: %q", at, s)
		}
	}
	after := judgedIn(j, "2/1 RCD-1x 25")
	if after.Result != before.Result || !strings.Contains(after.Next, "feeds back") {
		t.Errorf("%+v, before %+v", after, before)
	}
	j.Boards[1].Ways[0].Device.Unidirectional = false
	if s := said(2, 1); s != "" {
		t.Errorf("a device for both: %q", s)
	}
	// The device that a group shares counts for all its ways.
	j = house()
	shared := board.RCD{Rated: 30, Type: "A", Group: "one", Unidirectional: true}
	for _, n := range []int{1, 2} {
		r := shared
		j.Boards[0].Way(n).Device.RCD = &r
	}
	j.Boards[0].Way(2).FeedsBack = board.PV
	if s := said(1, 1); !strings.Contains(s, "PV on way 2") {
		t.Errorf("%q", s)
	}
	if s := said(1, 2); !strings.Contains(s, "PV feeds back") {
		t.Errorf("%q", s)
	}
	j.Boards[0].Way(6).Device.RCD.Type = "AC"
	if s := said(1, 6); !strings.Contains(s, "type AC") {
		t.Errorf("%q", s)
	}
}
