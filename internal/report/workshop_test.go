package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
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
	"waycall/internal/sequence"
	"waycall/internal/sheet"
)

// written is the whole set of readings of the workshop.
func written(t testing.TB, job board.Job) []sheet.Reading {
	t.Helper()
	f, err := os.Open("../../testdata/readings/workshop.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := sheet.ReadCSV(f, f.Name(), job)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// workshop is a job of three boards with the readings as they were written
// down, some of the second board's ring points, and a waiver.
func workshop(t testing.TB) record.State {
	t.Helper()
	job := boardtest.Read(t, "workshop.yaml")
	w := &work{t: t}
	w.open(job)
	for _, number := range sequence.Boards(job) {
		for _, step := range sequence.Steps(job, number) {
			if step.Back == "" && !step.Alone {
				w.do(record.Event{Kind: record.Prepared, Board: number, Step: step.ID, Answer: record.Done})
			}
		}
	}
	var before []check.Earlier
	for _, r := range written(t, job) {
		slot, q := r.Slot, r.Quantity
		v := check.Judge(check.Input{Job: job, Board: slot.Board, Way: slot.Way, Test: slot.Test, Position: slot.Position, Quantity: q, Earlier: before})
		w.do(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: w.s.LastID})
		w.do(record.Event{Kind: record.Confirmed})
		before = append(before, slot.With(q))
	}
	for point, value := range []float64{0.21, 0.22, 0.24} {
		slot := record.Slot{Board: 2, Way: 3, Test: reading.RingLN, Position: point + 1}
		q := reading.Quantity{Value: value, Places: 2, Bound: reading.Exactly, Unit: reading.Ohm}
		w.do(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass, Reason: "Agrees.", Source: "a test"}})
		w.do(record.Event{Kind: record.Confirmed})
	}
	w.do(record.Event{Kind: record.Skipped, Slot: &record.Slot{Board: 2, Way: 4, Test: reading.LN, Position: 2}, Answer: record.Waived, Reason: "the far door is locked"})
	return w.s
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(strings.SplitAfter(string(want), "\n"), strings.SplitAfter(got, "\n")); d != "" {
		t.Errorf("%s: %s", name, d)
	}
}

// three is what is written about the workshop: its schedule, its findings, and
// the plan after the work and before it.
func three(t *testing.T) (Schedule, Findings, Plan, Plan) {
	t.Helper()
	s := workshop(t)
	job := s.Job
	var all []Judged
	for _, r := range written(t, job) {
		all = append(all, Judged{Slot: r.Slot, Quantity: r.Quantity, Line: r.Line})
	}
	fresh, err := record.State{}.Apply(record.Event{ID: 1, At: nine, Kind: record.Opened, Job: &job})
	if err != nil {
		t.Fatal(err)
	}
	return Build(s), Find(job, all, nil), Make(s), Make(fresh)
}

func TestWorkshopGolden(t *testing.T) {
	schedule, findings, after, _ := three(t)
	golden(t, "workshop.txt", write(t, schedule.Text))
	golden(t, "workshop.csv", write(t, schedule.CSV))
	golden(t, "workshop.json", write(t, schedule.JSON))
	golden(t, "findings.txt", write(t, func(w io.Writer) error { return findings.Text(w, false) }))
	golden(t, "plan-after.txt", write(t, func(w io.Writer) error { return after.Text(w, false) }))
}

// The six faults that were put into the readings, each named by what it is.
func TestSixFaults(t *testing.T) {
	_, f, _, _ := three(t)
	for _, want := range []struct {
		board, way int
		test       reading.Test
		result     check.Result
		says       string
	}{
		{2, 3, reading.RingRn, check.Fail, "the neutral of the ring may be broken"},
		{2, 4, reading.LNE, check.Fail, "Below the limit of one megohm"},
		{2, 5, reading.Polarity, check.Fail, "A socket may be reversed"},
		{2, 1, reading.Zs, check.Investigate, "Above the device's limit"},
		{3, 1, reading.RCD1x, check.Fail, "Slower than the three hundred milliseconds"},
		{3, 2, reading.R1R2, check.Investigate, "did the point slip?"},
	} {
		i := slices.IndexFunc(f.Findings, func(one Finding) bool {
			return one.Board == want.board && one.Way == want.way && one.Test == want.test && one.Result != check.Pass
		})
		if i < 0 {
			t.Errorf("board %d way %d %s was not found", want.board, want.way, want.test)
			continue
		}
		if one := f.Findings[i]; one.Result != want.result || !strings.Contains(one.Reason, want.says) || one.Source == "" || one.Next == "" || one.Line == 0 {
			t.Errorf("%+v, want %s", one, want.says)
		}
	}
	if f.Worst() != check.Fail || f.Counts.Fail != 4 || (Findings{}).Worst() != check.CannotSay {
		t.Errorf("%+v", f.Counts)
	}
}

// Every board has its own lines, and what is tested once on a two-way circuit
// is on one line of it.
func TestSeveralBoards(t *testing.T) {
	s, _, _, _ := three(t)
	if len(s.Boards) != 3 || len(s.Lines) != 4+11+5 {
		t.Fatalf("%d boards, %d lines", len(s.Boards), len(s.Lines))
	}
	line := func(board, way, position int) Line {
		for _, l := range s.Lines {
			if l.Board == board && l.Way == way && l.Position == position {
				return l
			}
		}
		t.Fatalf("no line for board %d way %d position %d", board, way, position)
		return Line{}
	}
	if c := line(2, 4, 1).cell(reading.R1R2); c == nil || c.Text != "0.99" {
		t.Errorf("R1+R2 of a two-way circuit: %+v", c)
	}
	if c := line(2, 4, 2).cell(reading.R1R2); c != nil {
		t.Errorf("R1+R2 stands twice: %+v", c)
	}
	if c := line(2, 4, 2).cell(reading.LN); c == nil || c.Status != Waived || c.text() != "waived" {
		t.Errorf("a waived test: %+v", c)
	}
	if c := line(2, 3, 0).cell(reading.RingLN); c == nil || c.Text != "0.24" || c.Position != 3 {
		t.Errorf("the highest of the points: %+v", c)
	}
	if l := line(3, 1, 0); l.MaxZs == nil || l.MaxZs.Ohm < 1666 || l.maxZs() != "1667" {
		t.Errorf("TT by the RCD: %+v", l.MaxZs)
	}
	if c := s.Boards[0].cell(reading.Ze); c == nil || c.Text != "0.21" || c.Result != string(check.Pass) {
		t.Errorf("Ze: %+v", c)
	}
	services := 0
	for _, c := range s.Boards[0].Cells {
		if c.Test == reading.Bonding {
			services++
		}
	}
	if services != 2 {
		t.Errorf("%d bonded services", services)
	}
	if got := line(2, 5, 0).outcome(); got != "fail" {
		t.Errorf("a reversed socket: %s", got)
	}
	if !slices.Contains(s.ToDo, "Board 2, way 4 fails: find the cause, put it right and test it again.") {
		t.Errorf("%q", s.ToDo)
	}
}

// What is written about the workshop keeps its width and shows visible
// characters only; colour is there only where it was asked for.
func TestWidths(t *testing.T) {
	s, f, after, before := three(t)
	for name, out := range map[string]string{
		"schedule": write(t, s.Text), "findings": write(t, func(w io.Writer) error { return f.Text(w, false) }),
		"after": write(t, func(w io.Writer) error { return after.Text(w, true) }), "before": write(t, func(w io.Writer) error { return before.Text(w, true) }),
	} {
		for l := range strings.SplitSeq(out, "\n") {
			if n := len([]rune(l)); n > width {
				t.Errorf("%s: a line of %d: %s", name, n, l)
			}
		}
		if strings.Contains(out, "\x1b") {
			t.Errorf("%s has colour in it", name)
		}
		if strings.Contains(strings.ReplaceAll(strings.ToLower(out), "safe system of work", ""), " safe ") {
			t.Errorf("%s speaks of safe", name)
		}
	}
	coloured := write(t, func(w io.Writer) error { return f.Text(w, true) })
	if !strings.Contains(coloured, "\x1b[31m") || !strings.Contains(coloured, "\x1b[33m") {
		t.Error("no colour where it was asked for")
	}
	plain := strings.NewReplacer("\x1b[31m", "", "\x1b[33m", "", "\x1b[0m", "").Replace(coloured)
	if plain != write(t, func(w io.Writer) error { return f.Text(w, false) }) {
		t.Error("the colours change the words")
	}
}

// The plan and the schedule agree on what is left, and a plan reads back.
func TestPlanAgrees(t *testing.T) {
	_, _, after, before := three(t)
	for _, p := range []Plan{after, before} {
		due, now := 0, map[string]int{}
		for _, b := range p.Boards {
			for _, d := range b.Due {
				if d.Step == "" {
					due++
				}
				if d.Why == "" || d.Source == "" {
					t.Errorf("no reason: %+v", d)
				}
			}
			for _, one := range b.Tests {
				now[one.Now]++
				if one.Now == nowDue && one.Why == "" || one.Need == "" {
					t.Errorf("%+v", one)
				}
			}
		}
		if due+p.Recorded+p.LeftOut+p.Waiting != p.Tests {
			t.Errorf("%d due, %d recorded, %d left out, %d waiting of %d", due, p.Recorded, p.LeftOut, p.Waiting, p.Tests)
		}
		if now[nowDue] != due {
			t.Errorf("%d due in the list, %d in the order of work", now[nowDue], due)
		}
		var back Plan
		if err := json.Unmarshal([]byte(write(t, p.JSON)), &back); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(p, back); d != "" {
			t.Error(d)
		}
	}
	if before.Estimate.Known || before.Estimate.text() == "" {
		t.Errorf("an estimate before any work: %+v", before.Estimate)
	}
	if !after.Estimate.Known {
		t.Error("no estimate after the work")
	}
}

func TestEstimateText(t *testing.T) {
	for want, e := range map[string]Estimate{
		"How long it takes is not known: no pace.": {Basis: "no pace"},
		"About 1 h 30 min left, by pace.":          {Minutes: 90, Known: true, Basis: "pace"},
		"Less than a minute left, by pace.":        {Minutes: 0.2, Known: true, Basis: "pace"},
	} {
		if got := e.text(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestFigures(t *testing.T) {
	for want, x := range map[string]float64{"0": 0, "0.7482": 0.74824, "1.09": 1.09, "166.7": 166.6667, "15000": 15000, "0.00001234": 0.000012341, "99999": 99999} {
		if got := significant(x); got != want {
			t.Errorf("significant(%v) = %s, want %s", x, got, want)
		}
	}
	for want, m := range map[string]float64{"": 0, ">100": 100, "<0.01": 0.001, "0.99": 0.999, "1.00": 1, "12.82": 12.821} {
		if got := margin(m); got != want {
			t.Errorf("margin(%v) = %s, want %s", m, got, want)
		}
	}
}

// Whatever the readings and the words in the board: findings are one for each
// reading, in order, in a page of its width, and read back from JSON.
func TestAnyFindings(t *testing.T) {
	job := boardtest.Read(t, "workshop.yaml")
	var slots []record.Slot
	for _, r := range written(t, job) {
		slots = append(slots, r.Slot)
	}
	rapid.Check(t, func(t *rapid.T) {
		hostile := job
		hostile.Reference = rapid.String().Draw(t, "reference")
		hostile.Boards = slices.Clone(job.Boards)
		hostile.Boards[1].Name = rapid.SampledFrom([]string{"\x1b[2J", strings.Repeat("W", 300), "=1", "shop"}).Draw(t, "name")
		var all []Judged
		for _, slot := range rapid.SliceOfN(rapid.SampledFrom(slots), 0, 12).Draw(t, "slots") {
			q := rapid.SampledFrom([]reading.Quantity{reading.Correct, reading.Wrong}).Draw(t, "answer")
			if !slot.Test.Judged() {
				q = reading.Quantity{Value: rapid.SampledFrom([]float64{0, 0.01, 0.5, 1, 40, 999, 99999}).Draw(t, "value"), Places: 2, Bound: rapid.SampledFrom([]reading.Bound{"=", ">", "<"}).Draw(t, "bound"), Unit: slot.Test.Unit()}
			}
			all = append(all, Judged{Slot: slot, Quantity: q})
		}
		f := Find(hostile, all, map[int]bool{2: rapid.Bool().Draw(t, "surge")})
		if len(f.Findings) != len(all) || f.Counts.Pass+f.Counts.Fail+f.Counts.Investigate+f.Counts.CannotSay != len(all) {
			t.Fatalf("%+v", f.Counts)
		}
		for i, one := range f.Findings {
			if one.Board != all[i].Board || one.Test != all[i].Test || one.Source == "" || one.Reason == "" {
				t.Fatalf("%+v", one)
			}
		}
		var b bytes.Buffer
		if err := f.Text(&b, false); err != nil {
			t.Fatal(err)
		}
		for l := range strings.SplitSeq(b.String(), "\n") {
			if len([]rune(l)) > width || strings.Contains(l, "\x1b") {
				t.Fatalf("%q", l)
			}
		}
		b.Reset()
		if err := f.JSON(&b); err != nil {
			t.Fatal(err)
		}
		var back Findings
		if err := json.Unmarshal(b.Bytes(), &back); err != nil {
			t.Fatal(err)
		}
		if fmt.Sprint(back.Findings) != fmt.Sprint(f.Findings) && len(all) > 0 {
			t.Fatalf("%v, want %v", back.Findings, f.Findings)
		}
	})
}
