package check

import (
	"strings"
	"testing"

	"waycall/internal/board"
	"waycall/internal/limits"
)

// with changes the house before a reading is judged in it.
func with(change func(*board.Job)) board.Job {
	j := house()
	change(&j)
	return j
}

func way(n int, change func(*board.Way)) func(*board.Job) {
	return func(j *board.Job) { change(j.Boards[0].Way(n)) }
}

func wantVerdict(t *testing.T, j board.Job, s string, want Result, reason string, earlier ...string) Verdict {
	t.Helper()
	v := judgedIn(j, s, earlier...)
	if v.Result != want || !strings.Contains(v.Reason, reason) {
		t.Errorf("%s after %v: %s %q, want %s %q", s, earlier, v.Result, v.Reason, want, reason)
	}
	return v
}

// Within 5 s a type D breaker trips at ten times its rating, within 0.4 s at twenty.
func TestTypeDWithinFiveSeconds(t *testing.T) {
	d32 := way(10, func(w *board.Way) { w.Device = mcb("D", 32) })
	wantVerdict(t, with(d32), "1/10 Zs 0.50", Fail, "nought point three four")
	feeds := with(d32)
	feeds.Boards[0].Way(10).Use = board.Distribution
	wantVerdict(t, feeds, "1/10 Zs 0.50", Pass, "eighty per cent")
	wantVerdict(t, feeds, "1/10 Zs 0.69", Fail, "nought point six eight")
}

// A bond is judged by its length and size; where these are not known, 0.1 ohm.
func TestBondByLengthAndSize(t *testing.T) {
	long := with(func(j *board.Job) { j.Boards[0].BondingLengths = []float64{27, 8} })
	wantVerdict(t, long, "1/0 bonding@1 0.05", Pass, "length and size")
	wantVerdict(t, long, "1/0 bonding@2 0.08", Investigate, "More than")
	wantVerdict(t, long, "1/0 bonding@1 >10", Fail, "open")
	wantVerdict(t, house(), "1/0 bonding@1 0.08", Pass, "taken without its length")
	v := wantVerdict(t, house(), "1/0 bonding@1 0.12", Investigate, "sixty six metres of ten square millimetres")
	if !strings.Contains(v.Next, "length") {
		t.Errorf("%q", v.Next)
	}
	earth := with(func(j *board.Job) { j.Boards[0].EarthingLength = 10 })
	wantVerdict(t, earth, "1/0 earthing 0.07", Investigate, "More than")
}

// On TT with every extraneous part bonded an overcurrent device has the time of TN.
func TestTTByOvercurrentDevice(t *testing.T) {
	tt := with(func(j *board.Job) {
		b := &j.Boards[0]
		b.Earthing, b.Ways[6].Device.RCD = board.TT, nil
	})
	wantVerdict(t, tt, "1/3 Zs 0.50", CannotSay, "within 0.2 s")
	tt.Boards[0].AllBonded = true
	wantVerdict(t, tt, "1/3 Zs 0.50", Pass, "eighty per cent")
	wantVerdict(t, tt, "1/3 Zs 1.10", Fail, "one point nought four")
}

// Table 64 goes by the nominal voltage of the circuit: 400/690 V is above 500 V
// between lines, though not to earth.
func TestInsulationByNominalVoltage(t *testing.T) {
	for _, c := range []struct {
		phases      int
		voltage, at float64
	}{{3, 400, 1000}, {1, 400, 500}, {3, 277, 500}, {3, 230, 500}, {3, 289, 1000}} {
		if got := limits.InsulationLimit(board.Way{Phases: c.phases}, c.voltage, false).TestVoltage; got != c.at {
			t.Errorf("%d phases of %v V: %v V, want %v", c.phases, c.voltage, got, c.at)
		}
	}
}

// A residual current device to BS 4293 or BS 7288 has 200 ms.
func TestOldRCDs(t *testing.T) {
	for standard, want := range map[string]Result{"BS 4293": Fail, "BS 7288": Fail, "BS EN 61008": Pass, "": Pass} {
		j := with(way(6, func(w *board.Way) {
			w.Device = mcb("B", 20)
			w.Device.RCD = &board.RCD{Rated: 30, Type: "AC", Standard: standard}
		}))
		wantVerdict(t, j, "1/6 RCD-1x 260", want, "")
		wantVerdict(t, j, "1/6 RCD-1x 199", Pass, "")
	}
}

// With the tester on pulsating current a type A device may need 140 % of its rating.
func TestRampOfTypeA(t *testing.T) {
	v := wantVerdict(t, house(), "1/6 RCD-ramp 38", Investigate, "pulsating")
	if !strings.Contains(v.Next, "alternating") {
		t.Errorf("%q", v.Next)
	}
	wantVerdict(t, house(), "1/6 RCD-ramp 12", Investigate, "pulsating")
	wantVerdict(t, house(), "1/6 RCD-ramp 9", Fail, "half")
	ac := with(way(6, func(w *board.Way) { w.Device.RCD = &board.RCD{Rated: 30, Type: "AC"} }))
	wantVerdict(t, ac, "1/6 RCD-ramp 38", Fail, "more than its rated")
}

// A breaker to BS 3871 and a fuse to BS 1362 have limits.
func TestOldBreakersAndPlugFuses(t *testing.T) {
	for _, c := range []struct {
		d       board.Device
		zs      string
		want    Result
		because string
	}{
		{board.Device{Standard: "BS 3871", Type: "2", Rating: 15}, "1.60", Pass, "eighty per cent"},
		{board.Device{Standard: "BS 3871", Type: "2", Rating: 15}, "2.20", Fail, "two point nought eight"},
		{board.Device{Standard: "BS 3871", Type: "1", Rating: 20}, "2.80", Fail, "two point seven three"},
		{board.Device{Standard: "BS 3871", Type: "3", Rating: 30}, "0.80", Fail, "nought point seven two eight"},
		{board.Device{Standard: "BS 1362", Rating: 13}, "1.80", Pass, "eighty per cent"},
		{board.Device{Standard: "BS 1362", Rating: 13}, "2.40", Fail, "two point three"},
		{board.Device{Standard: "BS 88-2", Rating: 40}, "0.80", Fail, "nought point seven five"},
		{board.Device{Standard: "BS 88-3", Rating: 45}, "0.60", Fail, "nought point five seven"},
	} {
		j := with(way(11, func(w *board.Way) { w.Device, w.Use = c.d, board.Socket }))
		wantVerdict(t, j, "1/11 Zs "+c.zs, c.want, c.because)
	}
}

// A fault current above what a device breaks alone is no failure before back-up
// and the board's conditional rating are known.
func TestFaultCurrentWithBackUp(t *testing.T) {
	wantVerdict(t, house(), "1/1 PFC 6.4", Investigate, "alone")
	board16 := with(func(j *board.Job) { j.Boards[0].Conditional = 16 })
	wantVerdict(t, board16, "1/1 PFC 6.4", Pass, "conditional rating")
	wantVerdict(t, board16, "1/1 PFC 15", Pass, "conditional rating")
	wantVerdict(t, board16, "1/1 PFC 17", Fail, "conditional rating")
	backed := with(way(1, func(w *board.Way) { w.Device.BackedUp = 10 }))
	wantVerdict(t, backed, "1/1 PFC 6.4", Pass, "with its back-up")
	wantVerdict(t, backed, "1/1 PFC 12", Fail, "with its back-up")
	// Of a board, every device counts, not the weakest alone.
	one := with(func(j *board.Job) {
		b := &j.Boards[0]
		b.Ways = b.Ways[:2]
		b.Ways[0].Device.BackedUp = 16
	})
	wantVerdict(t, one, "1/0 PFC 6.4", Investigate, "way two")
	one.Boards[0].Ways[1].Device.BackedUp = 10
	wantVerdict(t, one, "1/0 PFC 6.4", Pass, "way one")
	wantVerdict(t, one, "1/0 PFC 12", Fail, "way two")
	// Twice for three phases may be too much where root three is not.
	three := with(func(j *board.Job) { j.Boards[1].Ways[2].Device.BackedUp = 20 })
	wantVerdict(t, three, "2/3 PFC 11", Investigate, "may be more")
	wantVerdict(t, three, "2/3 PFC 9.9", Pass, "back-up")
}

// A reading above the ring's is right where spurs are described and it is no more
// than a short one gives.
func TestRingWithDescribedSpurs(t *testing.T) {
	ring := []string{"1/1 r1 0.60", "1/1 rn 0.60", "1/1 r2 1.00"}
	v := wantVerdict(t, house(), "1/1 ring-LE 0.55", Pass, "spur of about eight metres", ring...)
	if !strings.Contains(v.Next, "loose joint") {
		t.Errorf("%q", v.Next)
	}
	wantVerdict(t, house(), "1/1 ring-LE 0.95", Investigate, "More", ring...)
	none := with(way(1, func(w *board.Way) { w.Spurs = 0 }))
	wantVerdict(t, none, "1/1 ring-LE 0.55", Investigate, "", ring...)
}

// Twenty megohms are a remark on new work and two are looked into on any.
func TestInsulationByWork(t *testing.T) {
	for work, remarked := range map[board.Work]bool{board.NewWork: true, board.Alteration: true, "": true, board.PeriodicInspection: false} {
		j := with(func(j *board.Job) { j.Work = work })
		v := wantVerdict(t, j, "1/12 LN-E 14.2", Pass, "Meets")
		if strings.Contains(v.Next, "new work") != remarked {
			t.Errorf("%q: %q", work, v.Next)
		}
		wantVerdict(t, j, "1/12 LN-E 1.8", Investigate, "Under two")
		if v := wantVerdict(t, j, "1/12 LN-E 25", Pass, "Meets"); v.Next != "" {
			t.Errorf("%q: %q", work, v.Next)
		}
	}
}

// What R1+R2 should be is not known without length and Ze: it is recorded and no
// question remains of it. Zs judges it.
func TestUnknownR1R2IsQuiet(t *testing.T) {
	j := with(func(j *board.Job) { j.Boards[0].Supply.DeclaredZe = 0 })
	v := wantVerdict(t, j, "1/5 R1+R2 0.60", Pass, "judged with Zs")
	if strings.Contains(v.Next, "length") {
		t.Errorf("%q", v.Next)
	}
	wantVerdict(t, j, "1/5 R1+R2 3.00", Investigate, "Alone more than")
	wantVerdict(t, j, "1/5 R1+R2 >0.10", CannotSay, "higher range")
	wantVerdict(t, j, "1/5 Zs 1.60", Investigate, "More than", "1/5 R1+R2 0.60", "1/0 Ze 0.20")
	unknown := with(way(8, func(w *board.Way) { w.Length = 0 }))
	unknown.Boards[0].Supply.DeclaredZe = 0
	wantVerdict(t, unknown, "1/8 R1+R2 0.60", CannotSay, "device is not known")
}

// Ze that nobody declared is held against what is usual at most.
func TestZeUndeclared(t *testing.T) {
	j := with(func(j *board.Job) { j.Boards[0].Supply.DeclaredZe = 0 })
	wantVerdict(t, j, "1/0 Ze 0.30", Pass, "usual at most")
	wantVerdict(t, j, "1/0 Ze 0.40", Investigate, "nought point three five")
	j.Boards[0].Earthing = board.TNS
	wantVerdict(t, j, "1/0 Ze 0.40", Pass, "nought point eight")
}

// The steel wire armour of a cable and flexible conductors have a resistance.
func TestArmourAndFlexible(t *testing.T) {
	armoured := with(way(11, func(w *board.Way) { w.CPCKind, w.CPC, w.Cores, w.Line, w.Length = board.Armour, 0, 3, 4, 50 }))
	// 50 m of (4.61 + 7.5) ohm/km is 0.6055.
	wantVerdict(t, armoured, "1/11 R1+R2 0.61", Pass, "length and size")
	wantVerdict(t, armoured, "1/11 R1+R2 0.85", Investigate, "nought point six nought six")
	armoured.Boards[0].Way(11).Cores = 0
	wantVerdict(t, armoured, "1/11 R1+R2 0.61", Pass, "")
	flex := with(way(11, func(w *board.Way) { w.Flexible, w.CPC, w.Length = true, 2.5, 100 }))
	// 100 m of 2 x 7.98 ohm/km is 1.596, of 2 x 7.41 it would be 1.482.
	v := judgedIn(flex, "1/11 R1+R2 1.60")
	for _, n := range v.Numbers {
		if n.Name == "from length and size" && (n.Value < 1.595 || n.Value > 1.597) {
			t.Errorf("%+v", n)
		}
	}
}

// The first end of a ring whose length is not known says that it is not broken, and
// nothing is queued for it; the others are held against it.
func TestUnknownRingIsQuiet(t *testing.T) {
	j := with(way(1, func(w *board.Way) { w.Length = 0 }))
	wantVerdict(t, j, "1/1 r1 0.60", Pass, "judged with the other ends")
	wantVerdict(t, j, "1/1 r1 >0.60", CannotSay, "higher range")
	wantVerdict(t, j, "1/1 rn 0.90", Investigate, "More", "1/1 r1 0.60")
	wantVerdict(t, j, "1/1 r1 20", Fail, "open")
}

// The disconnection time of a way, as the schedule gives it.
func TestMaxTime(t *testing.T) {
	j := house()
	for n, want := range map[int]float64{1: 0.4, 7: 5, 10: 0.4} {
		if s, source, err := limits.MaxTime(&j.Boards[0], j.Boards[0].Way(n)); s != want || err != nil || !strings.Contains(source, "Table 41.1") {
			t.Errorf("way %d: %v %q %v", n, s, source, err)
		}
	}
	if s, _, _ := limits.MaxTime(&j.Boards[1], j.Boards[1].Way(1)); s != 0.2 {
		t.Errorf("TT: %v", s)
	}
	j.Boards[1].AllBonded = true
	if s, _, _ := limits.MaxTime(&j.Boards[1], j.Boards[1].Way(1)); s != 0.2 {
		t.Errorf("TT with an RCD and all bonded: %v", s)
	}
	j.Boards[0].Earthing = ""
	if _, _, err := limits.MaxTime(&j.Boards[0], j.Boards[0].Way(1)); err == nil {
		t.Error("without earthing")
	}
}
