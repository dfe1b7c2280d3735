package sequence

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

func terrace(t testing.TB) board.Job {
	t.Helper()
	return boardtest.Read(t, "terrace.yaml")
}

type fataler interface {
	Helper()
	Fatal(...any)
}

func apply(t fataler, s record.State, events ...record.Event) record.State {
	t.Helper()
	for _, e := range events {
		e.ID = s.LastID + 1
		next, err := s.Apply(e)
		if err != nil {
			t.Fatal(err)
		}
		s = next
	}
	return s
}

func open(t fataler, job board.Job) record.State {
	t.Helper()
	return apply(t, record.State{}, record.Event{Kind: record.Opened, Job: &job})
}

// byWay answers a step, and that the ways are read one by one.
func byWay(step Step, board int) record.Event {
	if step.ID == WholeFirst {
		step.ID = WayByWay
	}
	return step.Answer(board, record.Done, "")
}

func prepare(t fataler, s record.State) record.State {
	t.Helper()
	for _, step := range Steps(s.Job, 1) {
		if step.Back == "" {
			s = apply(t, s, byWay(step, 1))
		}
	}
	return s
}

// take records a reading that passes or fails.
func take(t fataler, s record.State, slot record.Slot, result check.Result) record.State {
	t.Helper()
	q := reading.Quantity{Value: 300, Bound: reading.Exactly, Unit: reading.Megohm}
	return apply(t, s, record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: result}}, record.Event{Kind: record.Confirmed, Off: Leaves(s, slot)})
}

func slots(due []Due) []record.Slot {
	var out []record.Slot
	for _, d := range due {
		if d.Step == nil {
			out = append(out, d.Slot)
		}
	}
	return out
}

func TestSteps(t *testing.T) {
	job := terrace(t)
	if got := len(Steps(job, 1)); got != 16 {
		t.Errorf("%d steps", got)
	}
	job.Boards[0].SurgeProtection = false
	for _, s := range Steps(job, 1) {
		if s.ID == SurgeOut {
			t.Error("surge protection is asked for where there is none")
		}
		if slices.Contains([]string{Isolated, IndicatorOK, TestedDead, ProvedDead}, s.ID) && (s.May(record.NotApplicable) || s.May(record.Limitation)) {
			t.Errorf("%s may be left out", s.ID)
		}
		if !s.May(record.Done) || s.May(record.NotMade) || s.Question == "" || s.Brief == "" || s.Source == "" {
			t.Errorf("step %+v", s)
		}
		if strings.Contains(strings.ToLower(s.Question+s.Caution), "safe") {
			t.Errorf("%s speaks of safe", s.ID)
		}
	}
}

func TestWholeBoardInOrder(t *testing.T) {
	s := open(t, terrace(t))
	for _, step := range Steps(s.Job, 1) {
		d, ok := Next(s)
		if step.Back != "" {
			continue
		}
		if !ok || d.Step == nil || d.Step.ID != step.ID {
			t.Fatalf("due %+v, want %s", d, step.ID)
		}
		s = apply(t, s, byWay(step, 1))
	}
	var got []string
	for d, ok := Next(s); ok; d, ok = Next(s) {
		if d.Step != nil {
			got = append(got, d.Step.ID)
			s = apply(t, s, byWay(*d.Step, 1))
			continue
		}
		got = append(got, strings.TrimSpace(strings.Join([]string{reading.Cardinal(d.Slot.Way), string(d.Slot.Test), strings.Repeat("'", d.Slot.Position)}, " ")))
		if d.Volts != map[bool]float64{true: 250, false: 500}[d.Slot.Way == 8] || d.Least != 1 || d.Why == "" || d.Source == "" {
			t.Errorf("due %+v", d)
		}
		s = take(t, s, d.Slot, check.Pass)
	}
	want := []string{
		"one LN-E", "one L-N", "two LN-E '", "two L-N '", "two LN-E ''", "two L-N ''", "three LN-E", "three L-N", // bar A
		"four LN-E", "four L-N", "five LN-E", "five L-N", "six LN-E", "six L-N", "seven LN-E", "seven L-N", "nine LN-E", "nine L-N",
		"eight LN-E", // at 250 V, because of what stays connected
		NeutralBack, SurgeBack,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if p := Count(s); p != (Progress{16, 16, 19, 19, 0, 0}) {
		t.Errorf("progress %+v", p)
	}
	if n := NotAsked(s); len(n) != 1 || n[0].Slot.Way != 8 || !strings.Contains(n[0].Reason, "alarms") {
		t.Errorf("not asked %+v", n)
	}
}

func TestSurgeProtectionStaysIn(t *testing.T) {
	s := open(t, terrace(t))
	for _, step := range Steps(s.Job, 1) {
		how := record.Done
		if step.Back != "" {
			continue
		}
		if step.ID == SurgeOut {
			how = record.Limitation
		}
		s = apply(t, s, record.Event{Kind: record.Prepared, Board: 1, Step: step.ID, Answer: how, Reason: "no access"})
	}
	if d, _ := Next(s); d.Volts != 250 || d.Least != 1 || !SurgeConnected(s, 1) {
		t.Errorf("due %+v", d)
	}
}

func TestFailureIsTakenApart(t *testing.T) {
	s := prepare(t, open(t, terrace(t)))
	lne, ln := record.Slot{Board: 1, Way: 1, Test: reading.LNE}, record.Slot{Board: 1, Way: 1, Test: reading.LN}
	le, ne := record.Slot{Board: 1, Way: 1, Test: reading.LE}, record.Slot{Board: 1, Way: 1, Test: reading.NE}
	s = take(t, s, lne, check.Fail)
	if diff := cmp.Diff([]record.Slot{le, ne}, slots(Remaining(s))[:2]); diff != "" {
		t.Error(diff)
	}
	if n := NotAsked(s); len(n) != 2 || n[0].Slot != ln {
		t.Errorf("not asked %+v", n)
	}
	if f := Failing(s, 1); !cmp.Equal(f, []int{1}) {
		t.Errorf("failing %v", f)
	}
	s = take(t, take(t, s, le, check.Pass), ne, check.Fail)
	if d, _ := Next(s); d.Slot.Way != 2 {
		t.Errorf("due %+v", d)
	}
	if p := Count(s); p.Waiting != 1 || p.Tests != 21 || p.Recorded != 3 {
		t.Errorf("progress %+v", p)
	}
	// After work the whole way is tested again.
	s = apply(t, s, record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 1}})
	if d, _ := Next(s); d.Slot != lne {
		t.Errorf("due %+v", d)
	}
	s = take(t, s, lne, check.Pass)
	if d, _ := Next(s); d.Slot != ln || len(Failing(s, 1)) != 0 {
		t.Errorf("due %+v", d)
	}
	// Where equipment stays connected there is nothing to take apart.
	s = take(t, s, record.Slot{Board: 1, Way: 8, Test: reading.LNE}, check.Fail)
	for _, d := range Remaining(s) {
		if d.Slot.Way == 8 {
			t.Errorf("due %+v", d)
		}
	}
}

func TestSkipMoveAndComeRound(t *testing.T) {
	s := prepare(t, open(t, terrace(t)))
	first, _ := Next(s)
	s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &first.Slot, Answer: record.NotMade})
	if d, _ := Next(s); d.Slot.Test != reading.LN {
		t.Errorf("due %+v", d)
	}
	seven := record.Slot{Board: 1, Way: 7, Test: reading.LNE}
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &seven})
	var ways []int
	for d, ok := Next(s); ok && d.Step == nil; d, ok = Next(s) {
		if len(ways) == 0 || ways[len(ways)-1] != d.Slot.Way {
			ways = append(ways, d.Slot.Way)
		}
		s = take(t, s, d.Slot, check.Pass)
	}
	if diff := cmp.Diff([]int{7, 9, 1, 2, 3, 4, 5, 6, 8}, ways); diff != "" {
		t.Error(diff)
	}
	// Going back to a test that has a reading makes it due again.
	s = apply(t, s, record.Event{Kind: record.Moved, Slot: &seven})
	if d, ok := Next(s); !ok || d.Slot != seven || !d.Again {
		t.Errorf("due %+v %v", d, ok)
	}
	if s = apply(t, s, record.Event{Kind: record.CarriedOn}); s.Aim != nil {
		t.Error("carry on does not leave the test")
	}
}

func TestAllowed(t *testing.T) {
	job := terrace(t)
	for way, want := range map[int]int{1: 4, 8: 1, 10: 0, 31: 0} {
		if got := Allowed(job, 1, way); len(got) != want {
			t.Errorf("way %d allows %v", way, got)
		}
	}
	for _, way := range Order(job, 1) {
		for _, slot := range Required(job, 1, way) {
			ok := false
			for _, a := range Allowed(job, 1, way) {
				ok = ok || a == slot.Test
			}
			if !ok {
				t.Errorf("%+v is required but not allowed", slot)
			}
		}
	}
	if Required(job, 1, 10) != nil || Required(job, 1, 31) != nil {
		t.Error("a reading is required where there is no way in use")
	}
}

func boards(t *rapid.T) board.Job {
	job := board.Job{Tests: []board.Kind{board.Insulation}, Boards: []board.Board{{Number: 1, Voltage: 230, SurgeProtection: rapid.Bool().Draw(t, "surge")}}}
	for n := range rapid.IntRange(1, 8).Draw(t, "ways") {
		w := board.Way{Number: n + 1, TwoWay: rapid.Bool().Draw(t, "two-way"), NeutralBar: rapid.SampledFrom([]string{"A", "B", "C"}).Draw(t, "bar"), Spare: n > 0 && rapid.IntRange(0, 4).Draw(t, "spare") == 0}
		if rapid.IntRange(0, 3).Draw(t, "keep") == 0 {
			w.Keep500Off = "alarms"
		}
		job.Boards[0].Ways = append(job.Boards[0].Ways, w)
	}
	return job
}

// Whatever the readings turn out to be: no test is due before every step is
// answered, none is asked for twice, what is due is always something that
// remains, and the work ends.
func TestSequenceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := open(t, boards(t))
		asked := map[record.Slot]bool{}
		for n := 0; ; n++ {
			d, ok := Next(s)
			if !ok {
				break
			}
			if n > 200 {
				t.Fatal("it does not end")
			}
			rest := Remaining(s)
			if d.Step != nil {
				if rest[0].Step.ID != d.Step.ID || len(asked) > 0 && d.Step.Back == "" {
					t.Fatalf("step %s is due now", d.Step.ID)
				}
				s = apply(t, s, byWay(*d.Step, 1))
				continue
			}
			if !Prepared(s, 1) {
				t.Fatalf("%+v is due before the preparation", d.Slot)
			}
			if asked[d.Slot] {
				t.Fatalf("%+v is asked for twice", d.Slot)
			}
			asked[d.Slot] = true
			found := false
			for _, r := range rest {
				found = found || r.Slot == d.Slot
			}
			if !found {
				t.Fatalf("%+v is due but does not remain", d.Slot)
			}
			p := Count(s)
			if p.Tests != p.Recorded+p.LeftOut+p.Waiting+len(slots(rest)) {
				t.Fatalf("progress %+v with %d remaining", p, len(rest))
			}
			if rapid.IntRange(0, 5).Draw(t, "skip") == 0 {
				s = apply(t, s, record.Event{Kind: record.Skipped, Slot: &d.Slot, Answer: record.NotMade})
			} else {
				s = take(t, s, d.Slot, rapid.SampledFrom([]check.Result{check.Pass, check.Fail, check.Investigate}).Draw(t, "result"))
			}
		}
		if len(Remaining(s)) != 0 {
			t.Fatalf("nothing is due but %v remain", Remaining(s))
		}
	})
}
