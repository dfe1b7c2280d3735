package sequence

import (
	"slices"
	"testing"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// atZe plays a whole job of one board up to its loop impedance, or on TT its
// electrode, with the earthing conductor off.
func atZe(t testing.TB, earthing board.Earthing) record.State {
	job := full(t)
	job.Boards[0].Earthing = earthing
	s := toLive(t, job, nil, nil)
	for d, ok := Next(s); ok; d, ok = Next(s) {
		if d.Step == nil && (d.Slot.Test == reading.Ze || d.Slot.Test == reading.RA) {
			return s
		}
		s = answer(t, s, d, check.Pass)
	}
	t.Fatal("it is never due")
	return s
}

// The external loop impedance and the electrode are measured with the main switch
// locked off and the earthing conductor off, both answered, and nothing is asked after
// that until the conductor is back: not a test, not a step, not where the electrician
// went, and after a kill, a pause or a taken back answer before anything else.
func TestEarthingConductorOff(t *testing.T) {
	for _, earthing := range []board.Earthing{board.TNCS, board.TT} {
		s := atZe(t, earthing)
		if _, ok := s.Answered(1, MainLocked); !ok {
			t.Errorf("%s: the main switch was not locked off", earthing)
		}
		if off := Off(s)[1]; !slices.Equal(off, []string{MainSwitch, EarthingConductor}) {
			t.Fatalf("%s: off %v", earthing, off)
		}
		due := func(when string, s record.State, want string) {
			t.Helper()
			if d, _ := Next(s); name(d) != want {
				t.Errorf("%s, %s: due %s, want %s", earthing, when, name(d), want)
			}
			if d, _ := Next(s); d.Step != nil && (d.Step.May(record.NotApplicable) || d.Step.May(record.Limitation) || d.Step.May(record.NotMade)) {
				t.Errorf("%s, %s: it may be left out", earthing, when)
			}
		}
		const back = "1 " + EarthBack
		d, _ := Next(s)
		due("begun again", apply(t, s, record.Event{Kind: record.Opened, Job: &s.Job}), back)
		due("after a pause", apply(t, s, record.Event{Kind: record.Paused}, record.Event{Kind: record.CarriedOn}), back)
		due("at another test", apply(t, s, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 1, Way: 2, Test: reading.Zs}}), back)
		due("at a dead test", apply(t, s, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 1, Way: 2, Test: reading.LNE}}), back)
		due("left out", apply(t, s, record.Event{Kind: record.Skipped, Slot: &d.Slot, Answer: record.Limitation, Reason: "no access"}), back)
		due("worked on again", apply(t, s, record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 3}}), back)
		due("the answer that it is off taken back", apply(t, s, stepOf(EarthOff).TakeBack(1, "scratched")), back)
		s = answer(t, s, d, check.Pass)
		due("measured", s, back)
		due("measured and begun again", apply(t, s, record.Event{Kind: record.Opened, Job: &s.Job}), back)
		s = apply(t, s, stepOf(EarthBack).Answer(1, record.Done, ""))
		due("put back", s, "1.0 PFC")
		due("put back, and taken back", apply(t, s, stepOf(EarthBack).TakeBack(1, "scratched")), back)
		// Measured again, it is taken off again.
		s = apply(t, s, record.Event{Kind: record.Moved, Slot: &d.Slot})
		due("again", s, "1 "+MainLocked)
		s = apply(t, s, stepOf(MainLocked).Answer(1, record.Done, ""))
		due("again", s, "1 "+EarthOff)
		s = apply(t, s, stepOf(EarthOff).Answer(1, record.Done, ""))
		due("again", s, short(d.Slot))
	}
}

// What is measured at the incoming terminals is measured with the main switch off, and
// before anything that needs it the answer is due that it is on again: at the next test,
// wherever the electrician goes, after a kill, and once more when it was off again.
func TestMainSwitchOff(t *testing.T) {
	s := atZe(t, board.TNCS)
	at := func(test reading.Test, way int) record.Event {
		return record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 1, Way: way, Test: test}}
	}
	due := func(when string, s record.State, want string) {
		t.Helper()
		if d, _ := Next(s); name(d) != want {
			t.Errorf("%s: due %s, want %s", when, name(d), want)
		}
	}
	const on = "1 " + MainOn
	d, _ := Next(s)
	s = apply(t, answer(t, s, d, check.Pass), stepOf(EarthBack).Answer(1, record.Done, ""))
	due("at the incoming terminals", s, "1.0 PFC")
	due("at a way", apply(t, s, at(reading.Zs, 2)), on)
	for d, _ := Next(s); d.Step == nil; d, _ = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	due("done there", s, on)
	due("begun again", apply(t, s, record.Event{Kind: record.Opened, Job: &s.Job}), on)
	due("back to the terminals", apply(t, s, at(reading.PFC, 0)), "1.0 PFC")
	if d, _ := Next(s); d.Step.May(record.NotApplicable) || d.Step.May(record.Limitation) || d.Step.May(record.NotMade) {
		t.Error("it may be left out")
	}
	if off := Off(s)[1]; !slices.Equal(off, []string{MainSwitch}) {
		t.Errorf("off %v", off)
	}
	s = apply(t, s, stepOf(MainOn).Answer(1, record.Done, ""))
	if d, _ := Next(s); d.Step != nil || d.Setup == Incoming || len(Off(s)[1]) != 0 {
		t.Errorf("due %s, off %v", name(d), Off(s))
	}
	due("taken back", apply(t, s, stepOf(MainOn).TakeBack(1, "scratched")), on)
	// At the end of the work it is asked for, but not while something fails.
	end := s
	for d, ok := Next(end); ok; d, ok = Next(end) {
		end = answer(t, end, d, check.Pass)
	}
	pfc := record.Slot{Board: 1, Test: reading.PFC}
	due("the end, with it off", answer(t, end, Due{Slot: pfc}, check.Pass), on)
	if d, ok := Next(answer(t, end, Due{Slot: pfc}, check.Fail)); ok {
		t.Errorf("with a failure due %s", name(d))
	}
	due("off again", apply(t, answer(t, s, Due{Slot: pfc}, check.Pass), at(reading.Zs, 2)), on)
}

// The supply of a board comes through the main switches of those that feed it.
func TestMainSwitchOfFeedingBoard(t *testing.T) {
	s := toLive(t, workshop(t), nil, nil)
	for d, ok := Next(s); ok && (d.Board == 1 || d.Step != nil); d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	d, _ := Next(s)
	if d.Setup != Incoming || d.Board == 1 {
		t.Fatalf("due %s, %s", name(d), d.Setup)
	}
	off := apply(t, s, record.Event{Kind: record.Prepared, Board: 1, Step: MainLocked, Answer: record.Done, Off: MainSwitch})
	off.Board = d.Board
	if due, _ := Next(off); name(due) != "1 "+MainOn {
		t.Errorf("with the main switch of board 1 off: due %s", name(due))
	}
	// Its own is asked for after what is measured at its incoming terminals.
	n := d.Board
	for ; d.Step == nil && d.Setup == Incoming; d, _ = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	if d.Board != n || d.Step == nil || d.Step.ID != MainOn {
		t.Errorf("due %s", name(d))
	}
}

func stepOf(id string) Step {
	return steps[slices.IndexFunc(steps, func(s Step) bool { return s.ID == id })]
}

// Without the steps that say so, nothing was taken off: in a log of an early version
// nothing is asked for that nobody took off.
func TestNothingOffInEarlyLogs(t *testing.T) {
	s := open(t, full(t))
	for range 200 {
		d, ok := Next(s)
		if !ok {
			break
		}
		if d.Step != nil && d.Step.Back != "" {
			t.Fatalf("due %s", name(d))
		}
		if d.Step != nil && d.Step.Alone {
			s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &d.Slot, Answer: record.NotMade})
			continue
		}
		e := record.Event{Kind: record.Prepared, Board: d.Board, Answer: record.Done}
		if d.Step != nil {
			e.Step = d.Step.ID
			s = apply(t, s, e)
			continue
		}
		q := reading.Quantity{Value: 300, Bound: reading.Exactly, Unit: d.Slot.Test.Unit()}
		if d.Slot.Test.Judged() {
			q = reading.Correct
		}
		s = apply(t, s, record.Event{Kind: record.Proposed, Slot: &d.Slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass}}, record.Event{Kind: record.Confirmed})
	}
	if _, ok := Next(s); ok {
		t.Error("the work does not end")
	}
}

// What is off on a board stops the live tests of every board that feeds it or is fed
// by it, and ends of a ring its insulation, too.
func TestWhatIsOffStopsOthers(t *testing.T) {
	s := toLive(t, workshop(t), nil, nil)
	for d, ok := Next(s); ok && d.Step != nil; d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	for what, back := range map[string]string{SurgeProtection: SurgeBack, Conductors: ConnectedAgain} {
		for n := 1; n <= 3; n++ {
			e := record.Event{Kind: record.Prepared, Board: n, Step: "test", Answer: record.Done, Off: what}
			off := apply(t, s, e)
			off.Board = 1
			if d, _ := Next(off); d.Step == nil || d.Step.ID != back || d.Board != n || Ready(off, 1) {
				t.Errorf("%s off on board %d: due %s on board %d", what, n, name(d), d.Board)
			}
		}
	}
	job := full(t)
	s = open(t, job)
	var names []string
	for d, ok := Next(s); ok && d.Slot.Test != reading.LNE; d, ok = Next(s) {
		names, s = append(names, name(d)), answer(t, s, d, check.Pass)
	}
	if last := names[len(names)-1]; last != "1 "+ConnectedAgain {
		t.Errorf("before insulation comes %s", last)
	}
	// Straight there, too.
	lne := record.Slot{Board: 1, Way: 3, Test: reading.LNE}
	s = answer(t, s, Due{Slot: record.Slot{Board: 1, Way: 3, Test: reading.RingR1}}, check.Pass)
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &lne})
	if d, _ := Next(s); name(d) != "1 "+ConnectedAgain {
		t.Errorf("due %s", name(d))
	}
}

// What is out on one board is asked back before a live test on another that the same
// board feeds, as before one on the board that feeds both: the supply is on for all three.
func TestOffBesideLive(t *testing.T) {
	job := full(t)
	job.Work, job.Periodic = board.PeriodicInspection, &board.Periodic{AgreedWith: "the owner", DeadTests: board.NoWays, StaysOn: true}
	for n := 2; n <= 3; n++ {
		b := job.Boards[0]
		b.Number, b.SurgeProtection, b.Supply = n, true, board.Supply{From: 1, FromWay: n}
		job.Boards = append(job.Boards, b)
	}
	s := open(t, job)
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 2, Way: 1, Test: reading.Zs}})
	for d, ok := Next(s); ok && (d.Step != nil || d.Board != 2); d, ok = Next(s) {
		s = answer(t, s, d, check.Pass)
	}
	s = apply(t, s, stepOf(SurgeOut).Answer(3, record.Done, ""))
	for _, board := range []int{2, 1} {
		at := apply(t, s, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: board, Way: 1, Test: reading.Zs}})
		if d, _ := Next(at); d.Step == nil || d.Step.Back != SurgeProtection || d.Board != 3 {
			t.Errorf("a live test on board %d: due %s, want the surge protection of board 3", board, name(d))
		}
	}
}
