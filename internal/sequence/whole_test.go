package sequence

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

func workshop(t testing.TB) board.Job {
	t.Helper()
	return boardtest.Read(t, "workshop.yaml")
}

// answer records what is due with a given result.
func answer(t fataler, s record.State, d Due, result check.Result) record.State {
	t.Helper()
	if d.Step != nil {
		return apply(t, s, byWay(*d.Step, d.Board))
	}
	q := reading.Correct
	if !d.Slot.Test.Judged() {
		q = reading.Quantity{Value: 300, Bound: reading.Exactly, Unit: d.Slot.Test.Unit()}
	}
	return apply(t, s, record.Event{Kind: record.Proposed, Slot: &d.Slot, Quantity: &q, Verdict: &check.Verdict{Result: result}}, record.Event{Kind: record.Confirmed, Off: Leaves(s, d.Slot)})
}

func short(s record.Slot) string {
	text := fmt.Sprintf("%d.%d %s", s.Board, s.Way, s.Test)
	if s.Position > 0 {
		text += fmt.Sprintf("'%d", s.Position)
	}
	return text
}

func name(d Due) string {
	if d.Step != nil {
		return fmt.Sprintf("%d %s", d.Board, d.Step.ID)
	}
	return short(d.Slot)
}

// walkOf plays a job in which everything passes.
func walkOf(t testing.TB, job board.Job) (names []string, s record.State) {
	s = open(t, job)
	for d, ok := Next(s); ok; d, ok = Next(s) {
		if names = append(names, name(d)); len(names) > 3000 {
			t.Fatalf("it does not end: %v", names[2990:])
		}
		s = answer(t, s, d, check.Pass)
	}
	return names, s
}

// What each rule says, on the workshop and its neighbours. Every row gives the
// words of the source that the ruling must name.
func TestNeeds(t *testing.T) {
	job := workshop(t)
	job.Boards[1].Ways[2].Device.RCD.Group = "G1"
	upstream := workshop(t)
	upstream.Boards[0].Supply.OnlyIsolated = true
	motor := workshop(t)
	motor.Boards[1].Ways[0].NoNeutral, motor.Boards[1].Ways[1].NoNeutral = true, true
	alarms := terrace(t)
	alarms.Tests = nil
	tt := alarms
	tt.Boards = slices.Clone(alarms.Boards)
	tt.Boards[0].Earthing = board.TT
	both := workshop(t)
	both.Boards[0].Earthing, both.Boards[2].Earthing = board.TT, board.TT
	only := terrace(t)
	for i, c := range []struct {
		job        board.Job
		board, way int
		test       reading.Test
		need       Requirement
		source     string
	}{
		// Regulation 643.2.1, continuity of protective conductors.
		{job, 1, 0, reading.Earthing, Needed, "643.2.1"},
		{job, 2, 0, reading.Earthing, NotNeeded, "643.2.1"},
		{job, 3, 0, reading.Earthing, Needed, "643.2.1"},
		{both, 3, 0, reading.Earthing, NotNeeded, "643.2.1"},
		{job, 1, 0, reading.Bonding, Needed, "643.2.1"},
		{job, 2, 0, reading.Bonding, NotPossible, practice},
		{job, 1, 1, reading.R1R2, Needed, "643.2.1"},
		{job, 1, 1, reading.R2, NotNeeded, "643.2.1"},
		{job, 2, 3, reading.R1R2, NotNeeded, "ring final circuits"},
		{job, 2, 3, reading.R2, NotNeeded, "ring final circuits"},
		{job, 2, 6, reading.R1R2, NotNeeded, "414.1"},
		{job, 2, 6, reading.R2, NotNeeded, "414.1"},
		{job, 2, 7, reading.R1R2, Needed, "643.2.1"}, // no documents: all the more
		{job, 2, 3, reading.RingR1, Needed, "ring final circuits"},
		{job, 2, 3, reading.RingRn, Needed, "ring final circuits"},
		{job, 2, 3, reading.RingR2, Needed, "ring final circuits"},
		{job, 2, 3, reading.RingLN, Needed, "ring final circuits"},
		{job, 2, 3, reading.RingLE, Needed, "ring final circuits"},
		{job, 2, 5, reading.RingR1, NotPossible, practice},
		{job, 2, 5, reading.RingLE, NotPossible, practice},
		// Regulation 643.3, insulation.
		{job, 1, 0, reading.LNE, NotNeeded, "643.3.2"},
		{job, 2, 1, reading.LNE, Needed, "insulation resistance"},
		{job, 2, 1, reading.LL, Needed, "insulation resistance"},
		{job, 2, 1, reading.LN, Needed, "insulation resistance"},
		{job, 2, 1, reading.LE, NotPossible, practice},
		{job, 2, 1, reading.L1E, NotNeeded, practice},
		{job, 2, 1, reading.NE, NotNeeded, practice},
		{job, 2, 1, reading.L1L2, NotNeeded, practice},
		{job, 2, 1, reading.L3N, NotNeeded, practice},
		{motor, 2, 1, reading.LNE, Needed, "insulation resistance"},
		{motor, 2, 1, reading.LL, Needed, "insulation resistance"},
		{motor, 2, 1, reading.L1E, NotNeeded, practice},
		{motor, 2, 1, reading.L1L2, NotNeeded, practice},
		{motor, 2, 1, reading.LN, NotPossible, practice},
		{motor, 2, 1, reading.NE, NotPossible, practice},
		{motor, 2, 1, reading.L1N, NotPossible, practice},
		{motor, 2, 1, reading.L2N, NotPossible, practice},
		{motor, 2, 1, reading.L3N, NotPossible, practice},
		{motor, 2, 2, reading.LL, NotPossible, "643.3.3"},
		{motor, 2, 2, reading.LN, NotPossible, practice}, // no neutral, whatever stays connected
		{motor, 2, 1, reading.Zs, Needed, "643.7.3"},
		{job, 2, 2, reading.LNE, Needed, "643.3.3"},
		{job, 2, 2, reading.LL, NotPossible, "643.3.3"},
		{job, 2, 2, reading.LN, NotPossible, "643.3.3"},
		{job, 2, 2, reading.L1E, NotPossible, "643.3.3"},
		{job, 2, 5, reading.LL, NotPossible, practice},
		{job, 2, 5, reading.LE, NotNeeded, practice},
		{job, 2, 5, reading.LN, Needed, "insulation resistance"},
		{alarms, 1, 8, reading.LN, NotPossible, "643.3.3"},
		{alarms, 1, 8, reading.LNE, Needed, "643.3.3"},
		// Regulation 643.4, SELV and PELV.
		{job, 2, 6, reading.LNE, Needed, "643.4"},
		{job, 2, 6, reading.Polarity, NotNeeded, practice},
		{job, 2, 6, reading.Zs, NotNeeded, "414.1"},
		// Regulation 643.6, polarity.
		{job, 2, 5, reading.Polarity, Needed, "643.6"},
		{job, 2, 0, reading.Polarity, Needed, "643.6"},
		// Regulation 643.7, earth fault loop, electrode, fault current.
		{job, 1, 0, reading.Ze, Needed, "643.7.3"},
		{job, 2, 0, reading.Ze, NotNeeded, "643.7.3"},
		{upstream, 2, 0, reading.Ze, Needed, "643.7.3"},
		{job, 3, 0, reading.Ze, NotNeeded, "643.7.2"},
		{tt, 1, 0, reading.Ze, NotNeeded, "643.7.2"},
		{tt, 1, 0, reading.RA, Needed, "643.7.2"},
		{job, 3, 0, reading.RA, Needed, "643.7.2"},
		{both, 3, 0, reading.RA, NotNeeded, "643.7.2"},
		{job, 1, 0, reading.RA, NotPossible, practice},
		{job, 1, 0, reading.PFC, Needed, "643.7.3.201"},
		{job, 3, 0, reading.PSC, NotNeeded, "643.7.3.201"},
		{job, 2, 5, reading.PFC, NotNeeded, "643.7.3.201"},
		{job, 1, 1, reading.Zs, Needed, "643.7.3"},
		{job, 2, 5, reading.Zs, Needed, "643.7.3"},
		// Regulations 643.7.1 and 643.8, residual current devices.
		{job, 2, 5, reading.RCD1x, Needed, "643.8"},
		{job, 2, 5, reading.RCDHalf, NotNeeded, "643.8"},
		{job, 2, 5, reading.RCD5x, NotNeeded, "643.8"},
		{job, 2, 5, reading.RCDRamp, NotNeeded, practice},
		{job, 2, 5, reading.RCDButton, Needed, "643.10"},
		{job, 2, 0, reading.RCD1x, Needed, "643.8"},
		{job, 1, 0, reading.RCD1x, NotPossible, practice},
		{job, 1, 1, reading.RCD1x, NotPossible, practice},
		{job, 2, 1, reading.RCD1x, NotNeeded, practice}, // the main switch is its device
		{job, 2, 3, reading.RCD1x, Needed, "643.8"},     // of its group the first
		{job, 2, 4, reading.RCD1x, NotNeeded, practice}, // of its group the second
		{job, 2, 4, reading.RCDButton, NotNeeded, practice},
		// Regulations 643.9 and 643.10.
		{job, 1, 0, reading.PhaseSequence, Needed, "643.9"},
		{job, 3, 0, reading.PhaseSequence, NotPossible, practice},
		{job, 2, 1, reading.PhaseSequence, Needed, "643.9"},
		{job, 2, 5, reading.PhaseSequence, NotPossible, practice},
		{job, 2, 5, reading.Functional, Needed, "643.10"},
		{job, 2, 0, reading.Functional, NotNeeded, practice},
		// A job that is limited.
		{only, 1, 1, reading.LNE, Needed, "insulation resistance"},
		{only, 1, 1, reading.Zs, NotNeeded, "board file"},
		{only, 1, 0, reading.Earthing, NotNeeded, "board file"},
	} {
		n := slices.IndexFunc(Needs(c.job, c.board, c.way), func(n Need) bool { return n.Slot.Test == c.test })
		if n < 0 {
			t.Errorf("row %d: no %d.%d %s", i, c.board, c.way, c.test)
			continue
		}
		if got := Needs(c.job, c.board, c.way)[n]; got.Need != c.need || !strings.Contains(got.Source, c.source) || got.Why == "" {
			t.Errorf("row %d: %+v, want %s by %s", i, got, c.need, c.source)
		}
	}
	for _, place := range [][2]int{{1, 4}, {1, 9}, {9, 1}, {2, 9}} {
		if got := Needs(job, place[0], place[1]); got != nil {
			t.Errorf("%v needs %v", place, got)
		}
	}
	if Needs(upstream, 1, 1) != nil || Needs(upstream, 1, 0) != nil || Allowed(upstream, 1, 1) != nil {
		t.Error("a board that is only isolated needs tests")
	}
}

// Nothing to neutral is asked for or left out on a way without one, whatever
// fails there.
func TestNoNeutral(t *testing.T) {
	job := workshop(t)
	for i := range 2 {
		job.Boards[1].Ways[i].NoNeutral, job.Boards[1].Ways[i].NeutralBar = true, ""
	}
	s := toLive(t, job, map[string]bool{"2.1 LNE": true, "2.1 LL": true, "2.1 LN-E": true, "2.1 L-L": true}, nil)
	var made []string
	for _, r := range s.Readings {
		if r.Slot.Board == 2 && r.Slot.Way == 1 && r.Slot.Test.Insulation() {
			made = append(made, string(r.Slot.Test))
		}
	}
	if diff := cmp.Diff([]string{"LN-E", "L1-E", "L2-E", "L3-E"}, made); diff != "" {
		t.Error(diff)
	}
	for _, o := range NotAsked(s) {
		if o.Slot.Board == 2 && o.Slot.Way <= 2 && strings.HasSuffix(string(o.Slot.Test), "-N") {
			t.Errorf("%+v", o)
		}
	}
	for _, test := range Allowed(job, 2, 1) {
		if test == reading.NE || strings.HasSuffix(string(test), "-N") {
			t.Errorf("%s is taken", test)
		}
	}
}

// Every need has a place on the schedule, a reason and a source, and is said
// once; what is required is allowed, and what is allowed can be judged.
func TestNeedsAreSound(t *testing.T) {
	job := workshop(t)
	for _, b := range Boards(job) {
		for _, w := range append([]int{0}, Order(job, b)...) {
			seen := map[record.Slot]bool{}
			for _, n := range Needs(job, b, w) {
				if seen[n.Slot] || n.Why == "" || n.Source == "" || strings.Contains(strings.ToLower(n.Why), "safe") {
					t.Errorf("%+v", n)
				}
				seen[n.Slot] = true
				if err := n.Slot.Check(job); err != nil && n.Need != NotPossible && n.Need != Unknown {
					t.Errorf("%+v: %v", n, err)
				}
				if n.Need == NotPossible || n.Need == Unknown {
					continue
				}
				q := reading.Correct
				if !n.Slot.Test.Judged() {
					q = reading.Quantity{Value: 1, Bound: reading.Exactly, Unit: n.Slot.Test.Unit()}
				}
				v := check.Judge(check.Input{Job: job, Slot: n.Slot, Quantity: q})
				if v.Rule == "what can be" {
					t.Errorf("%s is allowed but refused by the check: %s", short(n.Slot), v.Reason)
				}
			}
			for _, slot := range Required(job, b, w) {
				if !slices.Contains(Allowed(job, b, w), slot.Test) {
					t.Errorf("%s is required but not allowed", short(slot))
				}
			}
		}
	}
}

// The whole walk of a board with one circuit of each kind, written by hand.
func TestWalk(t *testing.T) {
	rcd := &board.RCD{Rated: 30, Type: "A", Group: "G"}
	job := board.Job{Boards: []board.Board{{
		Number: 1, Earthing: board.TNCS, Voltage: 230, Phases: 3, Bonding: []string{"water", "gas"}, SurgeProtection: true,
		Main: board.Device{RCD: &board.RCD{Rated: 100}},
		Ways: []board.Way{
			{Number: 1, Phases: 1, Wiring: board.Radial, TwoWay: true, NeutralBar: "A", AFDD: true, Device: board.Device{RCD: rcd}},
			{Number: 2, Phases: 1, Wiring: board.Ring, NeutralBar: "B"},
			{Number: 3, Phases: 3, Wiring: board.Radial, NeutralBar: "A"},
			{Number: 4, Phases: 1, Wiring: board.Radial, NeutralBar: "A", Separated: true},
			{Number: 5, Spare: true},
			{Number: 6, Phases: 1, Wiring: board.Radial, NeutralBar: "B", Keep500Off: "alarms", AFDD: true, Device: board.Device{RCD: rcd}},
		},
	}}}
	names, s := walkOf(t, job)
	want := []string{
		"1 isolated and locked off", "1 notices up", "1 indicator proved", "1 tested dead", "1 proved dead", "1 surge protection out", "1 lamps removed",
		"1 loads disconnected", "1 electronics out", "1 whole board first", "1 switches on", "1 links as found", "1 leads joined", "1 leads apart",
		"1.0 earthing", "1.0 bonding'1", "1.0 bonding'2",
		"1.1 R1+R2", "1.3 R1+R2", "1.6 R1+R2", "1.1 polarity", "1.3 polarity", "1.6 polarity",
		"1.2 r1", "1.2 rn", "1.2 r2", "1.2 ring-LN", "1.2 ring-LE", "1.2 polarity", "1 all connected again",
		"1.1 LN-E'1", "1.1 L-N'1", "1.1 LN-E'2", "1.1 L-N'2", "1.3 LN-E", "1.3 L-L", "1.3 L-N", "1.2 LN-E", "1.2 L-N",
		"1.4 LN-E", "1.4 L-N", "1.6 LN-E", // at 250 V
		"1 neutral back", "1 surge protection back", "1 dead tests complete", "1 ready for live tests",
		"1.0 polarity", "1 main switch locked off", "1 earthing conductor off", "1.0 Ze", "1 earthing conductor back", "1.0 PFC", "1.0 phase-sequence",
		"1 main switch back on", "1.0 RCD-1x", "1.0 RCD-button",
		"1.1 Zs", "1.1 RCD-1x", "1.3 Zs", "1.3 phase-sequence", "1.2 Zs", "1.6 Zs",
		"1.1 RCD-button", "1.1 AFDD-button", "1.6 AFDD-button", "1.1 functional", "1.3 functional", "1.4 functional", "1.2 functional", "1.6 functional",
	}
	if diff := cmp.Diff(want, names); diff != "" {
		t.Error(diff)
	}
	// That something is back is asked for once it is off.
	want = slices.DeleteFunc(want, func(w string) bool {
		return strings.HasSuffix(w, " back") || strings.HasSuffix(w, " again") || w == "1 "+MainOn
	})
	var planned []string
	for _, d := range Remaining(open(t, job)) {
		planned = append(planned, name(d))
	}
	if diff := cmp.Diff(want, planned); diff != "" {
		t.Errorf("what remains at first is not the walk:\n%s", diff)
	}
	if p := Count(s); p.Tests != len(want)-18 || p.Recorded != p.Tests || p.Steps != 23 || p.StepsDone != 23 {
		t.Errorf("progress %+v", p)
	}
	if !Prepared(s, 1) || !Ready(s, 1) || len(Remaining(s)) != 0 {
		t.Error("the end is not the end")
	}
}

// Of three boards every dead test comes before every live one, and a board
// before those that it feeds, however the file has them.
func TestBoardsInOrder(t *testing.T) {
	job := workshop(t)
	slices.Reverse(job.Boards)
	names, _ := walkOf(t, job)
	if diff := cmp.Diff([]int{1, 3, 2}, Boards(job)); diff != "" {
		t.Error(diff)
	}
	var stages []string
	for _, n := range names {
		if strings.HasSuffix(n, Isolated) || strings.HasSuffix(n, ReadyForLive) {
			stages = append(stages, n)
		}
	}
	if diff := cmp.Diff([]string{"1 " + Isolated, "3 " + Isolated, "2 " + Isolated, "1 " + ReadyForLive, "3 " + ReadyForLive, "2 " + ReadyForLive}, stages); diff != "" {
		t.Error(diff)
	}
	// A board that is only isolated has that step alone, before its boards.
	job.Boards[2].Supply.OnlyIsolated = true
	names, s := walkOf(t, job)
	if names[0] != "1 "+Isolated || names[1] != "3 "+Isolated || slices.ContainsFunc(names, func(n string) bool { return strings.HasPrefix(n, "1.") || n == "1 "+ProvedDead }) {
		t.Errorf("%v", names[:4])
	}
	if len(Steps(job, 1)) != 1 || !Prepared(s, 1) {
		t.Errorf("steps %v", Steps(job, 1))
	}
	// It comes first even when the electrician goes straight to a board behind it.
	s = open(t, job)
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 2}})
	if d, _ := Next(s); name(d) != "1 "+Isolated {
		t.Errorf("due %s", name(d))
	}
}

// The supply of a board comes through the one that feeds it, so that one is made
// ready first, wherever the electrician is; not one that is only isolated.
func TestFeedingBoardIsReadyFirst(t *testing.T) {
	for _, onlyIsolated := range []bool{false, true} {
		job := workshop(t)
		job.Boards[0].Supply.OnlyIsolated = onlyIsolated
		s := apply(t, toLiveSteps(t, job), record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 3}})
		want := []string{"1 " + DeadComplete, "1 " + ReadyForLive}
		if onlyIsolated {
			want = []string{"3 " + DeadComplete, "3 " + ReadyForLive}
		}
		var names []string
		for range want {
			d, _ := Next(s)
			names, s = append(names, name(d)), answer(t, s, d, check.Pass)
		}
		if diff := cmp.Diff(want, names); diff != "" {
			t.Errorf("only isolated %v: %s", onlyIsolated, diff)
		}
	}
	// Straight to a live test behind it, too.
	s := toLiveSteps(t, workshop(t))
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 3, Test: reading.Polarity}})
	if d, _ := Next(s); name(d) != "1 "+DeadComplete {
		t.Errorf("due %s", name(d))
	}
	// What feeds it is isolated again: until it is put on, the board behind is not ready.
	s = toLive(t, workshop(t), nil, nil)
	for d, ok := Next(s); ok && (d.Step == nil || d.Board == 1); d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	for d, ok := Next(s); ok && d.Step != nil; d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	d, _ := Next(s)
	if !Ready(s, d.Board) || d.Board == 1 {
		t.Fatalf("due %s", name(d))
	}
	if s = apply(t, s, record.Event{Kind: record.Prepared, Board: 1, Step: Isolated, Answer: record.Done}); Ready(s, d.Board) {
		t.Error("ready though what feeds it is isolated")
	}
}

// toLiveSteps plays a job in which everything passes up to the first step before
// live tests.
func toLiveSteps(t testing.TB, job board.Job) record.State {
	s := open(t, job)
	for d, ok := Next(s); ok && (d.Step == nil || !d.Step.Live || d.Step.Back != ""); d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	return s
}

func TestLimitedJobs(t *testing.T) {
	for _, c := range []struct {
		kinds []board.Kind
		steps []string
		first string
	}{
		{[]board.Kind{board.Continuity}, []string{Isolated, NoticesUp, IndicatorOK, TestedDead, ProvedDead, LinksAsFound, LeadsJoined, ConnectedAgain}, "1.0 earthing"},
		{[]board.Kind{board.Polarity}, []string{Isolated, NoticesUp, IndicatorOK, TestedDead, ProvedDead, LinksAsFound, LeadsJoined}, "1.1 polarity"},
		{[]board.Kind{board.Live}, []string{DeadComplete, ReadyForLive, MainLocked, EarthOff, EarthBack, MainOn}, "1.0 polarity"},
		{[]board.Kind{board.Insulation}, []string{Isolated, NoticesUp, IndicatorOK, TestedDead, ProvedDead, SurgeOut, LampsOut, LoadsOut, ElectronicsOut, WholeFirst, SwitchesOn, LinksAsFound, LeadsJoined, LeadsApart, NeutralBack, SurgeBack}, "1.1 LN-E"},
	} {
		job := terrace(t)
		job.Tests = c.kinds
		var ids []string
		for _, s := range Steps(job, 1) {
			ids = append(ids, s.ID)
		}
		names, s := walkOf(t, job)
		first := slices.IndexFunc(names, func(n string) bool { return strings.Contains(n, ".") })
		if diff := cmp.Diff(c.steps, ids); diff != "" || names[first] != c.first {
			t.Errorf("%v: %s\nfirst %s", c.kinds, diff, names[first])
		}
		for _, r := range s.Readings {
			if !job.Asks(kindOf(r.Slot)) {
				t.Errorf("%v asks for %s", c.kinds, short(r.Slot))
			}
		}
	}
}

// toLive plays a job up to the first live test, with some slots given a result
// other than a pass, or left out.
func toLive(t testing.TB, job board.Job, fail map[string]bool, leave map[string]record.How) record.State {
	s := open(t, job)
	for d, ok := Next(s); ok && (d.Step != nil || !Live(d.Slot)); d, ok = Next(s) {
		switch how, out := leave[name(d)]; {
		case out:
			s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &d.Slot, Answer: how, Reason: "no access"})
		case fail[name(d)]:
			s = answer(t, s, d, check.Fail)
		default:
			s = answer(t, s, d, check.Pass)
		}
	}
	return s
}

func full(t testing.TB) board.Job {
	job := terrace(t)
	job.Tests = nil
	return job
}

func waitingFor(s record.State) map[string]string {
	out := map[string]string{}
	for _, o := range NotAsked(s) {
		if o.Waiting {
			out[short(o.Slot)] = o.Reason
		}
	}
	return out
}

// What a failed or a skipped test blocks.
func TestBlocks(t *testing.T) {
	for name, c := range map[string]struct {
		fail   string
		leave  string
		how    record.How
		waits  []string // wait at the first live test
		goesOn []string // do not
		reason string
	}{
		"insulation fails": {fail: "1.1 LN-E", waits: []string{"1.1 L-N", "1.1 Zs", "1.1 RCD-1x", "1.1 functional"}, goesOn: []string{"1.2 Zs", "1.0 Ze"}, reason: "fails in live and neutral to earth"},
		"continuity fails": {fail: "1.1 R1+R2", waits: []string{"1.1 Zs"}, goesOn: []string{"1.1 L-N", "1.2 Zs"}, reason: "fails in r one plus r two"},
		"polarity fails":   {fail: "1.5 polarity", waits: []string{"1.5 Zs"}, goesOn: []string{"1.5 L-N"}, reason: "fails in polarity"},
		"a ring is broken": {fail: "1.3 r1", waits: []string{"1.3 ring-LN", "1.3 ring-LE", "1.3 Zs"}, goesOn: []string{"1.3 LN-E", "1.4 ring-LN"}},
		"earthing fails":   {fail: "1.0 earthing", waits: []string{"1.0 Ze", "1.0 polarity", "1.1 Zs", "1.9 functional"}, reason: "The board fails in main earth"},
		"skipped":          {leave: "1.1 L-N", how: record.NotMade, waits: []string{"1.1 Zs"}, goesOn: []string{"1.2 Zs"}, reason: "was not tested for live to neutral"},
		"waived":           {leave: "1.1 L-N", how: record.Waived, goesOn: []string{"1.1 Zs"}},
		"a limitation":     {leave: "1.1 LN-E", how: record.Limitation, goesOn: []string{"1.1 Zs", "1.1 L-N"}},
		"not applicable":   {leave: "1.1 polarity", how: record.NotApplicable, goesOn: []string{"1.1 Zs"}},
	} {
		s := toLive(t, full(t), map[string]bool{c.fail: true}, map[string]record.How{c.leave: c.how})
		waits := waitingFor(s)
		for _, n := range c.waits {
			if r, ok := waits[n]; !ok {
				t.Errorf("%s: %s does not wait", name, n)
			} else if n == "1.1 Zs" && !strings.Contains(r, c.reason) {
				t.Errorf("%s: %s", name, r)
			}
		}
		for _, n := range c.goesOn {
			if r, ok := waits[n]; ok {
				t.Errorf("%s: %s waits: %s", name, n, r)
			}
		}
	}
}

// A reversed supply stops every other live test, there and behind it.
func TestReversedSupply(t *testing.T) {
	s := toLive(t, workshop(t), nil, nil)
	d, _ := Next(s)
	if name(d) != "1.0 polarity" {
		t.Fatalf("due %s", name(d))
	}
	if _, ok := Next(answer(t, s, d, check.Fail)); ok {
		t.Error("something is measured on a reversed supply")
	}
}

// The way that feeds a board stops what is behind it.
func TestFeederFails(t *testing.T) {
	s := toLive(t, workshop(t), map[string]bool{"1.1 LN-E": true}, nil)
	waits := waitingFor(s)
	if !strings.Contains(waits["2.5 Zs"], "Board one, which feeds it: way one fails") || waits["3.1 Zs"] != "" || waits["1.3 Zs"] != "" {
		t.Errorf("%v", waits)
	}
}

func TestWaivedGoesOn(t *testing.T) {
	s := toLive(t, full(t), nil, map[string]record.How{"1.1 L-N": record.NotMade, "1.0 earthing": record.NotMade})
	if _, ok := Next(s); ok {
		t.Fatal("live tests go on without the earthing conductor")
	}
	left := Left(s, 1)
	if len(left) != 2 || short(left[0]) != "1.0 earthing" || short(left[1]) != "1.1 L-N" {
		t.Fatalf("left %v", left)
	}
	for _, slot := range left {
		s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &slot, Answer: record.Waived, Reason: "seen last week"})
	}
	if d, ok := Next(s); !ok || name(d) != "1 "+DeadComplete || len(Left(s, 1)) != 0 {
		t.Errorf("due %+v, left %v", d, Left(s, 1))
	}
}

// The loop impedance comes before the residual current device, and when it
// fails the device waits.
func TestLoopBeforeRCD(t *testing.T) {
	s := toLive(t, full(t), nil, nil)
	rcd := record.Slot{Board: 1, Way: 1, Test: reading.RCD1x}
	for d, ok := Next(s); ok && d.Slot.Way == 0; d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	if o, no := Blocked(s, rcd); !no || !strings.Contains(o.Reason, "zed s comes first") {
		t.Errorf("%+v", o)
	}
	d, _ := Next(s)
	if s = answer(t, s, d, check.Fail); d.Slot.Test != reading.Zs {
		t.Fatalf("due %s", name(d))
	}
	if o, no := Blocked(s, rcd); !no || !strings.Contains(o.Reason, "fails or was skipped") || waitingFor(s)["1.1 RCD-1x"] == "" {
		t.Errorf("%+v", o)
	}
	if diff := cmp.Diff([]int{1}, Failing(s, 1)); diff != "" {
		t.Error(diff)
	}
}

// One device of a group is tested once, on whichever way.
func TestGroupIsTestedOnce(t *testing.T) {
	job := workshop(t)
	s := toLive(t, job, nil, nil)
	at := record.Slot{Board: 2, Way: 4, Test: reading.RCD1x}
	n := 0
	for d, ok := Next(s); ok; d, ok = Next(s) {
		if d.Step == nil && d.Slot.Board == 2 && d.Slot.Test == reading.RCD1x && (d.Slot.Way == 3 || d.Slot.Way == 4) {
			n++
		}
		s = answer(t, s, d, check.Pass)
		if d.Step == nil && d.Slot.Board == 2 && d.Slot.Way == 0 && d.Slot.Test == reading.RCDButton {
			s = answer(t, s, Due{Slot: at}, check.Pass)
		}
	}
	if n != 0 {
		t.Error("the device of a group is tested twice")
	}
}

func TestR2InsteadOfR1R2(t *testing.T) {
	r1r2 := record.Slot{Board: 1, Way: 5, Test: reading.R1R2}
	r2 := record.Slot{Board: 1, Way: 5, Test: reading.R2}
	s := open(t, full(t))
	has := func(slot record.Slot) bool { return slices.Contains(slots(Remaining(s)), slot) }
	if !has(r1r2) || has(r2) {
		t.Error("at first R1+R2 alone is due")
	}
	s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &r1r2, Answer: record.Limitation, Reason: "no access"})
	if has(r1r2) || !has(r2) {
		t.Error("after a limitation R2 is due")
	}
	s = open(t, full(t))
	s = answer(t, s, Due{Slot: r2}, check.Pass)
	if has(r1r2) || has(r2) {
		t.Error("R2 is not enough")
	}
}

// Work on a way after the supply was on: the board is prepared anew, the dead
// tests come first, and both answers before live tests are asked for again.
func TestRetestAfterLive(t *testing.T) {
	job := full(t)
	job.Way(1, 3).Device.RCD.Group = "" // one of its own, so that it is tested again, too
	s := toLive(t, job, nil, nil)
	for range 11 {
		d, _ := Next(s)
		s = answer(t, s, d, check.Pass)
	}
	if !Ready(s, 1) {
		t.Fatal("not ready")
	}
	s = apply(t, s, record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 3}})
	if Ready(s, 1) || !Prepared(s, 1) {
		t.Error("ready for live tests with dead ones due")
	}
	var names []string
	for d, ok := Next(s); ok && len(names) < 29; d, ok = Next(s) {
		names = append(names, name(d))
		s = answer(t, s, d, check.Pass)
	}
	want := []string{"1 isolated and locked off", "1 notices up", "1 indicator proved", "1 tested dead", "1 proved dead", "1 surge protection out", "1 lamps removed",
		"1 loads disconnected", "1 electronics out", "1 whole board first", "1 switches on", "1 links as found", "1 leads joined", "1 leads apart",
		"1.3 r1", "1.3 rn", "1.3 r2", "1.3 ring-LN", "1.3 ring-LE", "1.3 polarity", "1 all connected again", "1.3 LN-E", "1.3 L-N", "1 neutral back", "1 surge protection back", "1 dead tests complete", "1 ready for live tests", "1.3 Zs", "1.3 RCD-1x"}
	if diff := cmp.Diff(want, names); diff != "" {
		t.Error(diff)
	}
}

// The board of the README has two residual current devices for seven ways and two ways
// with their own: four devices, each tested once.
func TestSharedDevicesAreTestedOnce(t *testing.T) {
	names, _ := walkOf(t, full(t))
	var tested []string
	for _, n := range names {
		if strings.HasSuffix(n, " RCD-1x") {
			tested = append(tested, n)
		}
	}
	if diff := cmp.Diff([]string{"1.1 RCD-1x", "1.8 RCD-1x", "1.4 RCD-1x", "1.9 RCD-1x"}, tested); diff != "" {
		t.Error(diff)
	}
}

// When the supply was put on while dead tests were made, proving dead and what
// follows is due again, and so are the two answers before live tests, even if they
// were given.
func TestEnergisedAgain(t *testing.T) {
	energise := record.Event{Kind: record.Prepared, Board: 1, Step: EnergisedAgain, Answer: record.Done}
	again := []string{"1 indicator proved", "1 tested dead", "1 proved dead", "1 surge protection out", "1 lamps removed", "1 loads disconnected",
		"1 electronics out", "1 whole board first", "1 switches on", "1 links as found", "1 leads joined", "1 leads apart"}
	walk := func(s record.State, n int) (names []string) {
		for d, ok := Next(s); ok && len(names) < n; d, ok = Next(s) {
			names = append(names, name(d))
			s = answer(t, s, d, check.Pass)
		}
		return names
	}
	s := prepareDead(t, full(t))
	first, _ := Next(s)
	s = answer(t, s, first, check.Pass)
	due, _ := Next(s)
	if diff := cmp.Diff(append(slices.Clone(again), name(due)), walk(apply(t, s, energise), 13)); diff != "" {
		t.Error("in dead tests:", diff)
	}
	// In the middle of the preparation only what was answered before it counts.
	s = open(t, full(t))
	for range 4 {
		d, _ := Next(s)
		s = answer(t, s, d, check.Pass)
	}
	if diff := cmp.Diff(again, walk(apply(t, s, energise), 12)); diff != "" {
		t.Error("in the preparation:", diff)
	}
	// Said when nothing is open, it counts once something is, though what covers a
	// step was answered after it.
	s = open(t, full(t))
	for range 3 {
		d, _ := Next(s)
		s = answer(t, s, d, check.Pass)
	}
	for _, slot := range Left(s, 1) {
		s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &slot, Answer: record.Waived, Reason: "r"})
	}
	s = apply(t, s, energise)
	for d, ok := Next(s); ok && d.Step != nil && !d.Step.Live; d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	s = apply(t, s, record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 3}})
	if names := walk(s, 1); names[0] != "1 "+IndicatorOK {
		t.Error("with nothing open:", names)
	}
	// With the supply on for live tests, the two answers are asked for again; a
	// dead test that turns up asks for the isolation, too.
	s = toLive(t, full(t), nil, nil)
	for range 6 {
		d, _ := Next(s)
		s = answer(t, s, d, check.Pass)
	}
	s = apply(t, s, energise)
	if names := walk(s, 2); Ready(s, 1) || names[0] != "1 "+DeadComplete || names[1] != "1 "+ReadyForLive {
		t.Error("in live tests:", names)
	}
	s = apply(t, s, record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 3}})
	if diff := cmp.Diff(append([]string{"1 isolated and locked off", "1 notices up"}, again...), walk(s, 14)); diff != "" {
		t.Error("after work:", diff)
	}
}

// prepareDead answers the steps before dead tests.
func prepareDead(t testing.TB, job board.Job) record.State {
	s := open(t, job)
	for d, ok := Next(s); ok && d.Step != nil; d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	return s
}

// A log of an early version, with one answer for proving dead and one for the
// leads, is asked only for what is new, and counts as before.
func TestEarlyPreparation(t *testing.T) {
	s := open(t, full(t))
	for _, id := range []string{Isolated, ProvedDead, SurgeOut, LampsOut, LoadsOut, SwitchesOn, "leads checked"} {
		s = apply(t, s, record.Event{Kind: record.Prepared, Board: 1, Step: id, Answer: record.Done})
	}
	var names []string
	for d, ok := Next(s); ok && d.Step != nil; d, ok = Next(s) {
		names = append(names, name(d))
		s = answer(t, s, d, check.Pass)
	}
	if diff := cmp.Diff([]string{"1 notices up", "1 electronics out", "1 whole board first", "1 links as found"}, names); diff != "" {
		t.Error(diff)
	}
	if p := Count(s); p.StepsDone != 14 || p.Steps != 18 {
		t.Errorf("%+v", p)
	}
	for _, step := range Steps(s.Job, 1) {
		if _, ok := Answered(s, 1, step); ok == step.Live {
			t.Errorf("%s is answered: %v", step.ID, ok)
		}
	}
}

// Work on the board itself asks for its own tests again, and for none of its
// ways: until the earthing conductor is tested, nothing live is measured.
func TestRetestOfTheBoardItself(t *testing.T) {
	job := full(t)
	s := toLive(t, job, map[string]bool{"1.0 earthing": true}, nil)
	earthing, zs := record.Slot{Board: 1, Test: reading.Earthing}, record.Slot{Board: 1, Way: 2, Test: reading.Zs}
	if _, no := Blocked(s, zs); !no || !slices.Equal(Failing(s, 1), []int{0}) {
		t.Fatalf("failing %v", Failing(s, 1))
	}
	s = apply(t, s, record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1}})
	rest := slices.DeleteFunc(slots(Remaining(s)), Live)
	if len(Failing(s, 1)) != 0 || len(rest) == 0 || rest[0] != earthing || slices.ContainsFunc(rest, func(x record.Slot) bool { return x.Way != 0 }) {
		t.Errorf("remaining %v", rest)
	}
	for d, ok := Next(s); ok && (d.Step != nil || !Live(d.Slot)); d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	if o, no := Blocked(s, record.Slot{Board: 1, Test: reading.Polarity}); no {
		t.Errorf("%+v", o)
	}
}

// A live test that cannot be made yet is not due, wherever the electrician goes.
func TestAimAtLiveTest(t *testing.T) {
	zs := record.Slot{Board: 1, Way: 3, Test: reading.Zs}
	s := open(t, full(t))
	for _, want := range []string{"is not answered", "Dead tests are left"} {
		o, no := Blocked(s, zs)
		if !no || !strings.Contains(o.Reason, want) || o.Source == "" {
			t.Errorf("%+v, want %q", o, want)
		}
		if d, _ := Next(apply(t, s, record.Event{Kind: record.Moved, Slot: &zs})); d.Step == nil && Live(d.Slot) {
			t.Errorf("due %+v", d)
		}
		s = prepare(t, s)
	}
	s = toLive(t, full(t), nil, nil)
	d, _ := Next(s)
	if s = answer(t, s, d, check.Pass); name(d) != "1.0 polarity" {
		t.Fatalf("due %s", name(d))
	}
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &zs})
	if d, _ = Next(s); name(d) != "1 "+MainOn { // the polarity was measured with it off
		t.Errorf("due %s", name(d))
	}
	if d, _ = Next(answer(t, s, d, check.Pass)); d.Slot != zs || d.Setup != AtPoint || d.Volts != 0 {
		t.Errorf("due %+v", d)
	}
	if _, no := Blocked(open(t, terrace(t)), zs); !no {
		t.Error("a live test in a job of insulation tests")
	}
	// Before a board that feeds others is put on, these are isolated.
	s = open(t, workshop(t))
	for d, ok := Next(s); ok && d.Board == 1; d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	if o, no := Blocked(s, record.Slot{Board: 1, Test: reading.Polarity}); !no || !strings.Contains(o.Reason, "Board two is fed from here") {
		t.Errorf("%+v", o)
	}
}

// The electrician goes elsewhere; the walk goes on from there in the set-up
// that is made, and comes back to the first that was passed over.
func TestJumpGoesOnInItsSetup(t *testing.T) {
	s := prepareDead(t, full(t))
	d, _ := Next(s)
	s = answer(t, s, d, check.Pass)
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 1, Way: 9, Test: reading.LNE}})
	var names []string
	for d, ok := Next(s); ok && len(names) < 24; d, ok = Next(s) {
		names = append(names, name(d))
		s = answer(t, s, d, check.Pass)
	}
	want := []string{"1.9 LN-E", "1.9 L-N", "1.1 LN-E", "1.1 L-N", "1.2 LN-E'1"}
	if diff := cmp.Diff(want, names[:5]); diff != "" || names[18] != "1.1 R1+R2" {
		t.Errorf("%s\n%v", diff, names)
	}
}

// A test that nobody asked for does not break the walk.
func TestExtraTestStaysInTheWalk(t *testing.T) {
	s := toLive(t, full(t), nil, nil)
	for d, _ := Next(s); name(d) != "1.2 functional"; d, _ = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	s = answer(t, s, Due{Slot: record.Slot{Board: 1, Way: 2, Test: reading.RCDHalf}}, check.Pass)
	if d, _ := Next(s); name(d) != "1.2 functional" {
		t.Errorf("due %s", name(d))
	}
}

func TestEstimate(t *testing.T) {
	s := open(t, full(t))
	at := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	do := func(after time.Duration, e record.Event) {
		at = at.Add(after)
		e.ID, e.At = s.LastID+1, at
		next, err := s.Apply(e)
		if err != nil {
			t.Fatal(err)
		}
		s = next
	}
	read := func(after time.Duration, d Due) {
		q := reading.Quantity{Value: 1, Bound: reading.Exactly, Unit: d.Slot.Test.Unit()}
		if d.Slot.Test.Judged() {
			q = reading.Correct
		}
		do(after, record.Event{Kind: record.Proposed, Slot: &d.Slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass}})
		do(0, record.Event{Kind: record.Confirmed, Off: Leaves(s, d.Slot)})
	}
	for d, _ := Next(s); d.Step != nil; d, _ = Next(s) {
		do(5*time.Second, record.Event{Kind: record.Prepared, Board: 1, Step: d.Step.ID, Answer: record.Done})
	}
	// Earthing 60 s; then R1+R2 20, 200, 30 and four times 40 s, and polarity 10 s each;
	// a pause and a restart within say nothing.
	times := map[reading.Test][]int{reading.Earthing: {60}, reading.R1R2: {20, 200, 30, 40, 40, 40, 40}, reading.Polarity: {10, 10, 10, 10}}
	for n := range 12 {
		d, _ := Next(s)
		took := time.Duration(times[d.Slot.Test][0]) * time.Second
		times[d.Slot.Test] = times[d.Slot.Test][1:]
		switch n {
		case 2:
			if _, ok := Estimate(s); ok {
				t.Error("two readings say nothing")
			}
		case 3:
			// These 20 minutes do not count, nor does the reading after them.
			do(time.Minute, record.Event{Kind: record.Paused})
			do(20*time.Minute, record.Event{Kind: record.CarriedOn})
		}
		read(took, d)
	}
	// R1+R2: 20, 200, (pause), 40, 40, 40, 40, so 40 each; polarity 10; the earthing
	// conductor has none left.
	var want time.Duration
	for _, d := range Remaining(s) {
		switch {
		case d.Step != nil:
			want += 5 * time.Second
		case d.Slot.Test == reading.R1R2:
			want += 40 * time.Second
		case d.Slot.Test == reading.Polarity:
			want += 10 * time.Second
		default:
			// All readings but the one after the pause: 10, 10, 10, 10, 20, 40, 40,
			// 40, 40, 60, 200, so 40; what is read at the ring after it is not known.
			want += 40 * time.Second
		}
	}
	if got, ok := Estimate(s); !ok || got != want {
		t.Errorf("%v %v, want %v", got, ok, want)
	}
}

// A reviewer at his desk moves no leads and takes no reading: what is due, and how
// long it will take, is as before.
func TestReviewIsNoWork(t *testing.T) {
	s := open(t, full(t))
	s.LastAt = time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	do := func(after time.Duration, e record.Event) {
		e.ID, e.At = s.LastID+1, s.LastAt.Add(after)
		next, err := s.Apply(e)
		if err != nil {
			t.Fatal(err)
		}
		s = next
	}
	var first *record.Reading
	for jumped := false; ; {
		d, _ := Next(s)
		// Amid the insulation tests, out of their order, with the next way due.
		if d.Setup == Megohms && !jumped {
			jumped = true
			do(0, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 1, Way: 5, Test: reading.LNE}})
			continue
		}
		if jumped && d.Slot.Way != 5 {
			break
		}
		if d.Step != nil {
			do(5*time.Second, byWay(*d.Step, d.Board))
			continue
		}
		q := reading.Quantity{Value: 1, Bound: reading.Exactly, Unit: d.Slot.Test.Unit()}
		if d.Slot.Test.Judged() {
			q = reading.Correct
		}
		do(20*time.Second, record.Event{Kind: record.Proposed, Slot: &d.Slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass}})
		do(0, record.Event{Kind: record.Confirmed, Off: Leaves(s, d.Slot)})
		if first == nil && !d.Slot.Test.Judged() && d.Slot.Way != 0 {
			first = s.Readings[len(s.Readings)-1]
		}
	}
	due, _ := Next(s)
	left, ok := Estimate(s)
	if !ok {
		t.Fatal("no estimate to compare with")
	}
	q := reading.Quantity{Value: 2, Bound: reading.Exactly, Unit: first.Slot.Test.Unit()}
	for range 60 { // more than there are readings, so that each of them would show
		r, _ := s.Latest(first.Slot)
		do(time.Hour, record.Event{Kind: record.Edited, Slot: &first.Slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass}, By: "CD", Reason: "r", Replaces: r.ConfirmedID})
	}
	if now, _ := Next(s); name(now) != name(due) {
		t.Errorf("%s is due after a review, and was %s before it", name(now), name(due))
	}
	if now, _ := Estimate(s); now != left {
		t.Errorf("%v left after a review, and %v before it", now, left)
	}
}

// bestCost finds by trying all orders the least that the dead or the live tests
// of a board can cost when each test stays after those of its way that the
// rules put before it.
func bestCost(items []*item) int {
	n := len(items)
	const far = 1 << 30
	best := make([][]int, 1<<n)
	for m := range best {
		best[m] = make([]int, n)
		for i := range best[m] {
			best[m][i] = far
		}
	}
	least := far
	for m := 1; m < 1<<n; m++ {
		for i := range n {
			if m&(1<<i) == 0 {
				continue
			}
			ok := true
			for j := range n {
				// Only what its rank and its own way put before it.
				if m&(1<<j) == 0 && items[j].slot.Way == items[i].slot.Way && (items[j].slot.Position < items[i].slot.Position || items[j].slot.Position == items[i].slot.Position && items[j].rank < items[i].rank) && items[j].setup == items[i].setup {
					ok = false
				}
			}
			if !ok {
				continue
			}
			if m == 1<<i {
				best[m][i] = 0
			}
			for j := range n {
				if prev := m &^ (1 << i); prev&(1<<j) != 0 && best[prev][j] < far {
					best[m][i] = min(best[m][i], best[prev][j]+cost(items[j], items[i]))
				}
			}
			if m == 1<<n-1 {
				least = min(least, best[m][i])
			}
		}
	}
	return least
}

// What the steps of the walk cost, in no unit. Only that a set-up costs more
// than several moves matters. Common practice, no published source.
const (
	costSetup = 10 // other leads or links, another instrument or range
	costVolts = 5  // another test voltage in the same set-up
	costBar   = 2  // to a way on another neutral bar
	costWay   = 1  // to another way of the same bar
)

// cost is what it takes to go from one test to the next. Another set-up or
// voltage is made at the instrument, so it does not matter on which way it
// begins.
func cost(from, to *item) int {
	switch {
	case from.setup != to.setup:
		return costSetup
	case to.round > 0:
		return 0 // seen on the way, and answered for all in one go
	case from.volts != to.volts:
		return costVolts
	case from.slot.Way == to.slot.Way:
		return 0
	case bar(from) != bar(to):
		return costBar
	}
	return costWay
}

// bar is the neutral bar of an item's way, "" for the board itself.
func bar(it *item) string {
	if it.way == nil {
		return ""
	}
	return it.way.NeutralBar
}

// No order costs less: against all orders on small boards.
func TestShortestWalk(t *testing.T) {
	for _, kinds := range [][]board.Kind{{board.Continuity, board.Polarity}, {board.Continuity, board.Insulation}, {board.Insulation}} {
		job := full(t)
		job.Tests = kinds
		job.Boards = slices.Clone(job.Boards)
		job.Boards[0].Ways = job.Boards[0].Ways[3:7]
		if slices.Contains(kinds, board.Continuity) && slices.Contains(kinds, board.Insulation) {
			job.Boards[0].Ways = job.Boards[0].Ways[1:]
		}
		b := newPanel(&job, 1, false)
		var items []*item
		total := 0
		for _, it := range b.items {
			if it.need != Needed {
				continue
			}
			if len(items) > 0 {
				total += cost(items[len(items)-1], it)
			}
			items = append(items, it)
		}
		if best := bestCost(items); total != best || len(items) < 7 {
			t.Errorf("%v: %d tests cost %d, but %d can do", kinds, len(items), total, best)
		}
	}
}

// site draws a job of up to three boards with anything on them.
func anySite(t *rapid.T) board.Job {
	job := board.Job{}
	for n := range rapid.IntRange(1, 3).Draw(t, "boards") {
		b := board.Board{
			Number: n + 1, Voltage: 230, Phases: rapid.SampledFrom([]int{1, 3}).Draw(t, "phases"),
			Earthing:        rapid.SampledFrom([]board.Earthing{board.TNS, board.TNCS, board.TT}).Draw(t, "earthing"),
			SurgeProtection: rapid.Bool().Draw(t, "surge"),
			Bonding:         []string{"water", "gas"}[:rapid.IntRange(0, 2).Draw(t, "bonding")],
		}
		if rapid.Bool().Draw(t, "main rcd") {
			b.Main.RCD = &board.RCD{Rated: 100}
		}
		for k := range rapid.IntRange(1, 4).Draw(t, "ways") {
			w := board.Way{
				Number: k + 1, Phases: 1, Wiring: rapid.SampledFrom([]board.Wiring{board.Radial, board.Ring}).Draw(t, "wiring"),
				TwoWay: rapid.IntRange(0, 4).Draw(t, "two-way") == 0, NeutralBar: rapid.SampledFrom([]string{"A", "B"}).Draw(t, "bar"),
				Separated: rapid.IntRange(0, 5).Draw(t, "selv") == 0, Spare: k > 0 && rapid.IntRange(0, 4).Draw(t, "spare") == 0,
			}
			if b.Phases == 3 && w.Wiring == board.Radial && rapid.Bool().Draw(t, "three") {
				w.Phases = 3
			}
			if rapid.IntRange(0, 4).Draw(t, "keep") == 0 {
				w.Keep500Off = "alarms"
			}
			if rapid.Bool().Draw(t, "rcd") {
				w.Device.RCD = &board.RCD{Rated: 30, Group: rapid.SampledFrom([]string{"", "G"}).Draw(t, "group")}
			}
			b.Ways = append(b.Ways, w)
		}
		if n > 0 && rapid.Bool().Draw(t, "fed") {
			// By way 1 of a board before it, which may be spoken for already.
			b.Supply = board.Supply{From: rapid.IntRange(1, n).Draw(t, "from"), FromWay: 1}
		}
		b.Supply.OnlyIsolated = n > 0 && rapid.IntRange(0, 5).Draw(t, "only isolated") == 0
		job.Boards = append(job.Boards, b)
	}
	if rapid.IntRange(0, 3).Draw(t, "limited") == 0 {
		job.Tests = rapid.SliceOfNDistinct(rapid.SampledFrom([]board.Kind{board.Continuity, board.Insulation, board.Polarity, board.Live}), 1, 3, func(k board.Kind) board.Kind { return k }).Draw(t, "tests")
	}
	anyWork(t, &job)
	// In any order in the file.
	job.Boards = rapid.Permutation(job.Boards).Draw(t, "order")
	return job
}

// anyWork makes it an addition of some of its ways, or a periodic inspection with
// something agreed, or neither.
func anyWork(t *rapid.T, job *board.Job) {
	job.Work = rapid.SampledFrom([]board.Work{"", "", board.NewWork, board.Addition, board.PeriodicInspection, board.PeriodicInspection}).Draw(t, "work")
	if job.Work == board.PeriodicInspection {
		job.Periodic = &board.Periodic{AgreedWith: "the owner", DeadTests: rapid.SampledFrom([]board.Agreed{"", board.AllWays, board.NoWays}).Draw(t, "dead"), StaysOn: rapid.Bool().Draw(t, "stays on")}
	}
	for i := range job.Boards {
		for k := range job.Boards[i].Ways {
			w := &job.Boards[i].Ways[k]
			switch job.Work {
			case board.Addition:
				w.Work = rapid.SampledFrom([]board.Touch{"", board.Fresh, board.Altered}).Draw(t, "touch")
			case board.PeriodicInspection:
				w.Tested = rapid.SampledFrom([]board.Extent{"", board.DeadAndLive, board.LiveOnly, board.NotTested}).Draw(t, "tested")
			}
		}
	}
}

// unasked says of a test that is due that the kind of work asks for none such there. It
// looks at the job alone, not at the rules.
func unasked(job board.Job, slot record.Slot) error {
	w := job.Way(slot.Board, slot.Way)
	switch {
	case w == nil:
	case job.Changes() && w.Work == "" && slot.Test != reading.Zs:
		return fmt.Errorf("the way is left as it was")
	case w.Tested == board.NotTested:
		return fmt.Errorf("the way is not in the sample")
	case !Live(slot) && (w.Tested == board.LiveOnly || w.Tested == "" && job.Periodic != nil && job.Periodic.DeadTests == board.NoWays):
		return fmt.Errorf("no dead test was agreed")
	}
	return nil
}

// deadDone says whether the dead tests that a live test rests on are made and
// do not fail, or are closed with a reason. It looks at the record alone, not
// at what the planner thinks of it.
func deadDone(s record.State, slot record.Slot) error {
	for b, way := s.Job.Board(slot.Board), slot.Way; b != nil && !b.Supply.OnlyIsolated; {
		if StillOn(s, b.Number) {
			way, b = b.Supply.FromWay, s.Job.Board(b.Supply.From)
			continue
		}
		if slices.ContainsFunc(Steps(s.Job, b.Number), func(s Step) bool { return s.ID == Isolated }) {
			if _, ok := s.Answered(b.Number, Isolated); !ok {
				return fmt.Errorf("board %d was not prepared", b.Number)
			}
		}
		for _, w := range []int{0, way} {
			for _, r := range s.Readings {
				if r.Standing == record.Stands && r.Slot.Board == b.Number && r.Slot.Way == w && !Live(r.Slot) && r.Verdict.Result == check.Fail {
					return fmt.Errorf("%s fails", short(r.Slot))
				}
			}
			for _, need := range Needs(s.Job, b.Number, w) {
				if need.Need != Needed || Live(need.Slot) {
					continue
				}
				_, made := s.Latest(need.Slot)
				if need.Slot.Test == reading.R1R2 && !made {
					r2 := need.Slot
					r2.Test = reading.R2
					_, made = s.Latest(r2)
				}
				if k, left := s.LeftOut(need.Slot); !made && (!left || k.How == record.NotMade) {
					return fmt.Errorf("%s is not made", short(need.Slot))
				}
			}
		}
		way, b = b.Supply.FromWay, s.Job.Board(b.Supply.From)
	}
	return nil
}

// deadSince reports whether a board was proved dead after an event, in all three
// answers.
func deadSince(s record.State, board int, event int64) bool {
	for _, id := range [...]string{IndicatorOK, TestedDead, ProvedDead} {
		if a, ok := s.Answered(board, id); !ok || a.EventID < event {
			return false
		}
	}
	return true
}

// Whatever the site, the answers, the failures, the skips, the jumps and the
// work: no live test is due before its dead tests and both answers, and no
// dead one after the supply was put on and the board not proved dead; nothing is
// asked for twice while a reading stands, what is due remains, the counts add
// up, and the work ends.
func TestWholeJobProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		job := anySite(t)
		if len(Boards(job)) == 0 {
			return
		}
		s := open(t, job)
		jumps, works := 6, 3
		for n := 0; ; n++ {
			d, ok := Next(s)
			if n > 2000 {
				t.Fatalf("it does not end: %s, off %v", name(d), Off(s))
			}
			rest := Remaining(s)
			p := Count(s)
			if tests := len(slots(rest)); p.Tests != p.Recorded+p.LeftOut+p.Waiting+tests {
				t.Fatalf("progress %+v with %d remaining", p, tests)
			}
			if !ok {
				if len(rest) != 0 {
					t.Fatalf("nothing is due but %s remains", name(rest[0]))
				}
				break
			}
			if d.Step == nil {
				if _, stands := s.Latest(d.Slot); stands && !d.Again {
					t.Fatalf("%s is asked for though it has a reading", name(d))
				}
				if _, left := s.LeftOut(d.Slot); left && s.Aim == nil {
					t.Fatalf("%s is asked for though it was left out", name(d))
				}
				if s.Aim == nil && !slices.Contains(slots(rest), d.Slot) {
					t.Fatalf("%s is due but does not remain", name(d))
				}
				if err := d.Slot.Check(job); err != nil {
					t.Fatal(err)
				}
				if err := unasked(job, d.Slot); err != nil && s.Aim == nil {
					t.Fatalf("%s is due: %v", name(d), err)
				}
				if Live(d.Slot) {
					if err := deadDone(s, d.Slot); err != nil {
						t.Fatalf("%s is due: %v", name(d), err)
					}
					if !Ready(s, d.Board) {
						t.Fatalf("%s is due on a board that is not ready", name(d))
					}
					if _, no := Blocked(s, d.Slot); no {
						t.Fatalf("%s is due and blocked", name(d))
					}
				} else if !Prepared(s, d.Board) {
					t.Fatalf("%s is due on a board that is not prepared", name(d))
				} else if isolated, _ := s.Answered(d.Board, Isolated); Ready(s, d.Board) && job.Asks(board.Live) {
					t.Fatalf("%s is due on a board that is ready for live tests", name(d))
				} else if again, energised := s.Answered(d.Board, EnergisedAgain); energised && !deadSince(s, d.Board, again.EventID) {
					t.Fatalf("%s is due though the supply was put on since the board was proved dead", name(d))
				} else if on, live := s.Answered(d.Board, ReadyForLive); live && on.EventID > isolated.EventID {
					t.Fatalf("%s is due though the supply was put on after the isolation", name(d))
				}
			} else if !slices.ContainsFunc(rest, func(r Due) bool { return name(r) == name(d) }) && s.Aim == nil {
				t.Fatalf("%s is due but does not remain", name(d))
			} else if up := job.Board(job.Board(d.Board).Supply.From); d.Step.Live && d.Step.Back == "" && up != nil && !up.Supply.OnlyIsolated && !Ready(s, up.Number) {
				t.Fatalf("%s is due before board %d is ready, which feeds it", name(d), up.Number)
			}
			for _, b := range job.Boards {
				for _, what := range Off(s)[b.Number] {
					c, _ := place(&job, b.Number, 0)
					if d.Step == nil && Live(d.Slot) && b.Number == d.Board && mustBeBack(what, c, d.Slot) || what == EarthingConductor && (d.Step == nil || d.Step.ID != EarthBack) && !(d.Step == nil && d.Board == b.Number && withoutEarth(c, d.Slot)) {
						t.Fatalf("%s is due with the %s of board %d off", name(d), what, b.Number)
					}
				}
			}
			switch what := rapid.IntRange(0, 19).Draw(t, "what"); {
			case what == 18 && d.Step == nil && withoutEarth(circuit{board: job.Board(d.Board)}, d.Slot):
				s = apply(t, s, record.Event{Kind: record.Opened, Job: &job})
			case what == 0 && jumps > 0:
				jumps--
				if all := slots(rest); len(all) > 0 {
					to := rapid.SampledFrom(all).Draw(t, "jump")
					s = apply(t, s, record.Event{Kind: record.Moved, Slot: &to})
				}
			case what == 1 && works > 0:
				works--
				b := rapid.SampledFrom(Boards(job)).Draw(t, "board")
				w := rapid.SampledFrom(append([]int{0}, Order(job, b)...)).Draw(t, "way")
				s = apply(t, s, record.Event{Kind: record.Retest, Slot: &record.Slot{Board: b, Way: w}})
			case what == 19 && works > 0 && slices.ContainsFunc(Steps(job, d.Board), func(s Step) bool { return s.ID == ProvedDead }):
				works--
				s = apply(t, s, record.Event{Kind: record.Prepared, Board: d.Board, Step: EnergisedAgain, Answer: record.Done})
			case what == 2 && works > 0 && len(Left(s, d.Board)) > 0:
				works--
				for _, slot := range Left(s, d.Board) {
					s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &slot, Answer: record.Waived, Reason: "r"})
				}
			case what < 6 && d.Step == nil && !d.Again:
				how := rapid.SampledFrom([]record.How{record.NotMade, record.NotApplicable, record.Limitation, record.NotVerified}).Draw(t, "how")
				if how == record.NotVerified && job.Work != board.PeriodicInspection {
					how = record.Limitation
				}
				s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &d.Slot, Answer: how, Reason: "r"})
			default:
				s = answer(t, s, d, rapid.SampledFrom([]check.Result{check.Pass, check.Pass, check.Pass, check.Pass, check.Pass, check.Fail, check.Investigate, check.CannotSay}).Draw(t, "result"))
			}
		}
		if _, ok := Estimate(s); ok && len(Remaining(s)) == 0 {
			if left, _ := Estimate(s); left != 0 {
				t.Fatalf("%v are left for nothing", left)
			}
		}
	})
}

// How a joined board is read may be answered one way first and the other way after the
// supply was put on: the later answer counts, and the question is not asked for ever.
func TestReadOtherwiseAfterEnergised(t *testing.T) {
	s := open(t, terrace(t))
	answers := func(mode string) {
		for range 30 {
			d, ok := Next(s)
			if !ok || d.Step == nil {
				return
			}
			id := d.Step.ID
			if id == WholeFirst {
				id = mode
			}
			s = apply(t, s, record.Event{Kind: record.Prepared, Board: 1, Step: id, Answer: record.Done})
		}
		t.Fatalf("after %q the preparation does not end", mode)
	}
	for _, mode := range []string{WayByWay, WholeFirst, WayByWay, WholeFirst} {
		answers(mode)
		if got := Mode(s, 1); got != mode {
			t.Errorf("read %q, want %q", got, mode)
		}
		if a, ok := Answered(s, 1, Step{ID: WholeFirst}); !ok || a.Step != mode {
			t.Errorf("the answer that stands is %+v, want %q", a, mode)
		}
		s = apply(t, s, record.Event{Kind: record.Prepared, Board: 1, Step: EnergisedAgain, Answer: record.Done})
	}
}
