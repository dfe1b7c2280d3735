// Package reporttest has what the tests of schedules share: jobs that were worked in full
// or in part, schedules with hostile words, and what must be found on paper.
package reporttest

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/readings"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/columns"
	"waycall/internal/review"
	"waycall/internal/sequence"
)

// SomeSum is a sum as the log has them, of nothing.
const SomeSum = "6f0c1d2e3b4a59687788990011223344556677889900aabbccddeeff00112233"

// Schedules are the schedules that are read back.
func Schedules(t testing.TB) map[string]report.Schedule {
	all := map[string]report.Schedule{
		"workshop": report.Build(Workshop(t)), "whole": report.Build(Whole(t)), "partway": report.Build(Partway(t)), "review": report.Build(draftReview(t)), "signed": Observed(report.Build(Reviewed(t))),
	}
	for name, s := range all {
		s.Record.Sum = strings.Repeat("4c", 32)
		all[name] = s
	}
	return all
}

// Large is a job of so many ways on five boards.
func Large(ways int) report.Schedule {
	job := board.Job{Reference: "LARGE-1", Address: "An invented place", Date: "2026-03-18", Tester: "JW"}
	for b := range 5 {
		one := board.Board{Number: b + 1, Name: fmt.Sprintf("Board %d", b+1), Earthing: board.TNS, Voltage: 230, Phases: 1}
		for w := range ways / 5 {
			one.Ways = append(one.Ways, board.Way{Number: w + 1, Feeds: fmt.Sprintf("Circuit %d of the board", w+1), Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 16, Breaking: 10},
				Wiring: board.Radial, Phases: 1, Line: 2.5, CPC: 1.5, Length: float64(5 + w), Material: board.Copper})
		}
		job.Boards = append(job.Boards, one)
	}
	s, err := record.State{}.Apply(record.Event{ID: 1, At: Nine, Kind: record.Opened, Job: &job})
	if err != nil {
		panic(err)
	}
	out := report.Build(s)
	for i := range out.Lines {
		l := &out.Lines[i]
		for k := range l.Cells {
			c := &l.Cells[k]
			value := float64(100*(i%9)+k+1) / 100
			q := reading.Quantity{Value: value, Places: 2, Bound: reading.Exactly, Unit: c.Test.Unit()}
			if c.Test.Judged() {
				q = reading.Correct
			}
			value = q.Value
			c.Status, c.Value, c.Unit, c.Bound, c.Result, c.Text = report.Recorded, &value, string(c.Test.Unit()), "=", "pass", strings.TrimSuffix(q.String(), " "+string(q.Unit))
		}
	}
	return out
}

// Busy is the log of a job of 400 ways on which 5,000 phrases were heard, most of
// them readings that took the place of earlier ones.
func Busy(t testing.TB) []record.Event {
	job := board.Job{Reference: "BUSY-1", Address: "An invented place", Date: "2026-03-18", Tester: "JW", Instrument: board.Instrument{Serial: "0041732", Checked: "2026-02-02", OverRange: 999}}
	for b := range 5 {
		one := board.Board{Number: b + 1, Name: fmt.Sprintf("Board %d", b+1), Earthing: board.TNS, Voltage: 230, Phases: 1}
		for w := range 80 {
			one.Ways = append(one.Ways, board.Way{Number: w + 1, Feeds: fmt.Sprintf("Circuit %d of the board", w+1), Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 16, Breaking: 10},
				Wiring: board.Radial, Phases: 1, Line: 2.5, CPC: 1.5, Length: float64(5 + w%40), Material: board.Copper})
		}
		job.Boards = append(job.Boards, one)
	}
	events := []record.Event{{Kind: record.Opened, Job: &job}}
	tests := []reading.Test{reading.R1R2, reading.Polarity, reading.LNE, reading.LN, reading.Zs, reading.PFC, reading.PSC, reading.Functional}
	for i := range 5000 {
		way := i % 400
		slot := record.Slot{Board: way/80 + 1, Way: way%80 + 1, Test: tests[i/400%len(tests)]}
		q := reading.Quantity{Value: float64(20+i%40) / 100, Places: 2, Bound: reading.Exactly, Unit: slot.Test.Unit()}
		if slot.Test.Judged() {
			q = reading.Correct
		}
		v := check.Judge(check.Input{Job: job, Slot: slot, Quantity: q})
		heard := int64(len(events) + 1)
		events = append(events, record.Event{Kind: record.Heard, Phrase: &record.Phrase{Outcome: "reading", Agreed: true, Text: "a reading"}},
			record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: heard}, record.Event{Kind: record.Confirmed, HeardID: heard})
	}
	for i := range events {
		events[i].ID, events[i].At = int64(i+1), Nine.Add(time.Duration(i)*time.Second)
	}
	return events
}

// Little is a schedule of a few lines that has everything in it.
func Little(t testing.TB) report.Schedule {
	s := Observed(report.Build(Reviewed(t)))
	s.Record.Sum = SomeSum
	s.Lines = slices.DeleteFunc(s.Lines, func(l report.Line) bool { return !(l.Board == 2 && l.Way == 3 || l.Board == 3 && l.Way == 2) })
	s.Preparation, s.Setup = s.Preparation[:2], nil
	return s
}

var update = flag.Bool("update", false, "write the golden files anew, to be read before they are committed")

// Terrace is the job of the demonstration.
func Terrace(t testing.TB) board.Job {
	t.Helper()
	return boardtest.Read(t, "terrace.yaml")
}

// Work writes a log as the conversation does, one event a minute.
type Work struct {
	T interface {
		Helper()
		Fatal(...any)
	}
	S record.State
}

// Nine is when the first event of each log is.
var Nine = time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)

// Do adds an event to the log, which must take it.
func (w *Work) Do(e record.Event) {
	w.T.Helper()
	e.ID = w.S.LastID + 1
	e.At = Nine.Add(time.Duration(w.S.LastID) * time.Minute)
	next, err := w.S.Apply(e)
	if err != nil {
		w.T.Fatal(err)
	}
	w.S = next
}

// Open begins a session.
func (w *Work) Open(job board.Job) { w.T.Helper(); w.Do(record.Event{Kind: record.Opened, Job: &job}) }

// Prepare answers every step before the tests of the first board with done.
func (w *Work) Prepare() {
	w.T.Helper()
	for _, step := range sequence.Steps(w.S.Job, 1) {
		if step.ID == sequence.WholeFirst {
			step.ID = sequence.WayByWay
		}
		if step.Back == "" && !step.Alone {
			w.Do(record.Event{Kind: record.Prepared, Board: 1, Step: step.ID, Answer: record.Done})
		}
	}
}

// At is a place on the first board.
func At(way int, test reading.Test, position int) record.Slot {
	return record.Slot{Board: 1, Way: way, Test: test, Position: position}
}

// propose reads back a reading with the verdict that the tool would give.
func (w *Work) propose(slot record.Slot, text string) {
	w.T.Helper()
	q, err := reading.ParseQuantity(text, slot.Test.Unit())
	if err != nil {
		w.T.Fatal(err)
	}
	in := check.Input{Job: w.S.Job, Slot: slot, Quantity: q, SurgeConnected: sequence.SurgeConnected(w.S, 1)}
	v := check.Judge(in)
	w.Do(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: w.S.LastID})
}

// Take confirms a reading with the verdict that the tool would give.
func (w *Work) Take(slot record.Slot, text string) {
	w.T.Helper()
	w.propose(slot, text)
	w.Do(record.Event{Kind: record.Confirmed})
}

func (w *Work) leave(slot record.Slot, how record.How, reason string) {
	w.T.Helper()
	w.Do(record.Event{Kind: record.Skipped, Slot: &slot, Answer: how, Reason: reason})
}

// Whole is a board tested to the end, with everything that a schedule must
// show: both switch positions, over-range, a failure retested, a correction, a
// skip, a limitation, a test not applicable, and equipment that stays connected.
func Whole(t testing.TB) record.State {
	w := &Work{T: t}
	w.Open(Terrace(t))
	for _, step := range sequence.Steps(w.S.Job, 1) {
		if step.ID == sequence.WholeFirst {
			step.ID = sequence.WayByWay
		}
		e := record.Event{Kind: record.Prepared, Board: 1, Step: step.ID, Answer: record.Done}
		if step.ID == sequence.LampsOut {
			e.Answer, e.Reason = record.NotApplicable, "no lamps fitted yet"
		}
		if step.Back == "" {
			w.Do(e)
		}
	}
	w.Take(At(1, reading.LNE, 0), ">999")
	w.Take(At(1, reading.LN, 0), ">999")
	w.Take(At(2, reading.LNE, 1), "560")
	w.Take(At(2, reading.LN, 1), ">999")
	w.Take(At(2, reading.LNE, 2), "542")
	w.leave(At(2, reading.LN, 2), record.Limitation, "no access to the second switch")
	w.Take(At(3, reading.LNE, 0), "350")
	w.Take(At(3, reading.LNE, 0), "315") // a correction of what was confirmed
	w.Take(At(3, reading.LN, 0), ">999")
	w.Take(At(8, reading.LNE, 0), "486")
	w.Take(At(4, reading.LNE, 0), "12.5")
	w.Take(At(4, reading.LN, 0), ">999")
	w.Take(At(5, reading.LNE, 0), "0.30")
	w.Take(At(5, reading.LE, 0), ">999")
	w.Take(At(5, reading.NE, 0), "0.31")
	w.Do(record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 5}, Reason: "crushed neutral made good"})
	w.Take(At(5, reading.LNE, 0), ">999")
	w.Take(At(5, reading.LN, 0), ">999")
	w.Take(At(6, reading.LNE, 0), ">999")
	w.Take(At(6, reading.LN, 0), "410")
	w.Do(record.Event{Kind: record.Withdrawn, Slot: &record.Slot{Board: 1, Way: 6, Test: reading.LN}, Reason: "scratched"})
	w.Take(At(6, reading.LN, 0), "401")
	w.Take(At(7, reading.LNE, 0), ">999")
	w.leave(At(7, reading.LN, 0), record.NotMade, "equipment connected")
	w.Take(At(9, reading.LNE, 0), ">999")
	w.leave(At(9, reading.LN, 0), record.NotApplicable, "only the shed's own board on it")
	w.Do(record.Event{Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 10}, Code: "C2", Text: "no blank over the spare way"})
	w.Do(record.Event{Kind: record.Noted, Slot: &record.Slot{Board: 1, Way: 3}, Text: "socket behind the dresser not reached"})
	w.Do(record.Event{Kind: record.Observed, Slot: &record.Slot{Board: 1}, Code: "C1", Text: "said of the wrong board"})
	w.Do(record.Event{Kind: record.Withdrawn, Of: w.S.LastID, Reason: "scratched"})
	w.Do(record.Event{Kind: record.Finished})
	return w.S
}

// Partway is a session that was cut off: a failure that waits for work, the
// answer about surge protection changed between two readings, a reading that
// was not confirmed, and a board of odd things.
func Partway(t testing.TB) record.State {
	job := Terrace(t)
	job.Address = "Rooms above the old seed merchant's, 17 Example Lane, at the end of the yard, second door after the arch, Exampleton"
	job.Boards[0].Ways = []board.Way{
		{Number: 1, Feeds: "=HYPERLINK(\"x\")", Device: board.Device{Standard: "BS 3036", Rating: 30}, Wiring: board.Radial},
		{Number: 2, Feeds: "-5 to +5 heater, \"drying\" room\x1b[31m, rear landing, stores and everything beyond", Device: board.Device{Standard: "BS EN 60898", Type: "C", Rating: 10, Breaking: 6}, Wiring: board.Radial, Line: 1.5, CPC: 1},
		{Number: 3, Feeds: "Bell", Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 6}, Wiring: board.Radial, Line: 1, CPC: 1, Separated: true},
		{Number: 4, Spare: true},
		{Number: 5, Feeds: "Not reached", Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 6}, Wiring: board.Radial, Line: 1, CPC: 1},
	}
	w := &Work{T: t}
	w.Open(job)
	w.Prepare()
	w.Take(At(1, reading.LNE, 0), "0.42")
	w.Do(record.Event{Kind: record.Prepared, Board: 1, Step: sequence.SurgeOut, Answer: record.Limitation, Reason: "it would not come out"})
	w.Take(At(1, reading.LE, 0), "<0.05")
	w.Take(At(2, reading.LNE, 0), ">999")
	w.Take(At(3, reading.LNE, 0), ">1")
	w.propose(At(2, reading.LN, 0), "206")
	w.Do(record.Event{Kind: record.Noted, Slot: &record.Slot{Board: 1, Way: 4}, Text: "\x1b[31mred\u202e and turned round, and so long that it goes beyond the end of the line of a page of the schedule"})
	return w.S
}

// Written is what f writes.
func Written(t testing.TB, f func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := f(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// Breath is a ring whose three ends were read back and not confirmed.
func Breath(t testing.TB) record.State {
	job := Terrace(t)
	job.Tests = nil
	w := &Work{T: t}
	w.Open(job)
	w.Prepare()
	ohm := func(s string) reading.Quantity {
		q, err := reading.ParseQuantity(s, reading.Ohm)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	first, q, pass := At(3, reading.RingR1, 0), ohm("0.31"), check.Verdict{Result: check.Pass, Reason: "r", Source: "s"}
	w.Do(record.Event{Kind: record.Proposed, Slot: &first, Quantity: &q, Verdict: &pass, Then: []record.Further{
		{Slot: At(3, reading.RingRn, 0), Quantity: ohm("0.32"), Verdict: pass}, {Slot: At(3, reading.RingR2, 0), Quantity: ohm("0.52"), Verdict: pass}}})
	return w.S
}

// Full is a writer that takes nothing.
type Full struct{}

// Write takes nothing.
func (Full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

// Reviewed is the workshop after a review: one reading corrected, one taken off
// and another put in its place, doubts let stand, what is missing let be missing,
// and all of it signed off.
func Reviewed(t testing.TB) record.State {
	t.Helper()
	s := draftReview(t)
	w := &Work{T: t, S: s}
	for i := 0; ; i++ {
		q := review.Queue(w.S, nil)
		if len(q) == 0 {
			break
		}
		if q[0].Kind == review.Unfinished {
			w.all(review.Finish(w.S, "CD", Nine))
			continue
		}
		reason := "as found, the client knows"
		if q[0].Kind == review.Missing || q[0].Kind == review.LeftOut {
			reason = fmt.Sprintf("not to be had on visit %d", 1+i%2)
		}
		w.all(review.Settle(w.S, review.Change{Slot: q[0].Slot, Replaces: q[0].Of(), Reason: reason, By: "CD", At: Nine}))
	}
	w.all(review.SignOff(w.S, nil, review.Signature{Name: "Carys Dummy-Example", By: "CD", Sum: SomeSum, At: Nine}))
	return w.S
}

// draftReview is the workshop in the midst of a review.
func draftReview(t testing.TB) record.State {
	t.Helper()
	w := &Work{T: t, S: Workshop(t)}
	change := func(board, way int, test reading.Test, text, reason string) review.Change {
		c := review.Change{Slot: record.Slot{Board: board, Way: way, Test: test}, Reason: reason, By: "CD", At: Nine}
		if r, ok := w.S.Latest(c.Slot); ok {
			c.Replaces = r.ConfirmedID
		}
		if text != "" {
			q, err := reading.ParseQuantity(text, test.Unit())
			if err != nil {
				t.Fatal(err)
			}
			c.Quantity = q
		}
		return c
	}
	w.all(review.Edit(w.S, change(2, 5, reading.Polarity, "correct", "a lead was on the wrong terminal, read again")))
	w.all(review.Withdraw(w.S, change(3, 2, reading.R1R2, "", "the point slipped")))
	w.all(review.Edit(w.S, change(3, 2, reading.R1R2, "0.74", "from the instrument's own memory")))
	w.all(review.Edit(w.S, change(3, 2, reading.R1R2, "0.75", "misread from it")))
	return w.S
}

func (w *Work) all(events []record.Event, err error) {
	w.T.Helper()
	if err != nil {
		w.T.Fatal(err)
	}
	for _, e := range events {
		w.Do(e)
	}
}

// Observed gives a schedule observations and a note.
func Observed(s report.Schedule) report.Schedule {
	s.Observations = []report.Observation{
		{Board: 2, Way: 0, Code: "C2", Text: "A blank is missing at way 9.", At: Nine, Event: 12, Heard: 11},
		{Board: 3, Way: 1, Code: "FI", Text: "=The neutral runs warm", At: Nine.Add(time.Minute), Event: 14},
	}
	s.Notes = []report.Note{{Board: 2, Way: 3, Text: "+The socket behind the dresser was not reached", At: Nine, Event: 18, Heard: 17}}
	return s
}

// Readings is the whole set of readings of the workshop.
func Readings(t testing.TB, job board.Job) []readings.Reading {
	t.Helper()
	_, here, _, _ := runtime.Caller(0)
	f, err := os.Open(filepath.Join(filepath.Dir(here), "../../../testdata/readings/workshop.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := readings.ReadCSV(f, f.Name(), job)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// Workshop is a job of three boards with the readings as they were written
// down, some of the second board's ring points, and a waiver.
func Workshop(t testing.TB) record.State {
	t.Helper()
	job := boardtest.Read(t, "workshop.yaml")
	w := &Work{T: t}
	w.Open(job)
	for _, number := range sequence.Boards(job) {
		for _, step := range sequence.Steps(job, number) {
			if step.ID == sequence.WholeFirst {
				step.ID = sequence.WayByWay
			}
			if step.Back == "" && !step.Alone {
				w.Do(record.Event{Kind: record.Prepared, Board: number, Step: step.ID, Answer: record.Done})
			}
		}
	}
	var before []check.Earlier
	for _, r := range Readings(t, job) {
		slot, q := r.Slot, r.Quantity
		v := check.Judge(check.Input{Job: job, Slot: slot, Quantity: q, Earlier: before})
		w.Do(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: w.S.LastID})
		w.Do(record.Event{Kind: record.Confirmed})
		before = append(before, check.Earlier{Slot: slot, Quantity: q})
	}
	for point, value := range []float64{0.21, 0.22, 0.24} {
		slot := record.Slot{Board: 2, Way: 3, Test: reading.RingLN, Position: point + 1}
		q := reading.Quantity{Value: value, Places: 2, Bound: reading.Exactly, Unit: reading.Ohm}
		w.Do(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Pass, Reason: "Agrees.", Source: "a test"}})
		w.Do(record.Event{Kind: record.Confirmed})
	}
	w.Do(record.Event{Kind: record.Skipped, Slot: &record.Slot{Board: 2, Way: 4, Test: reading.LN, Position: 2}, Answer: record.Waived, Reason: "the far door is locked"})
	return w.S
}

// Golden compares got with a file in testdata, or with -update writes the file.
func Golden(t *testing.T, name, got string) {
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

// KeepsToItsPage checks that what is written keeps its width, has no colour in it
// and promises nothing.
func KeepsToItsPage(t testing.TB, out string) {
	t.Helper()
	for l := range strings.SplitSeq(out, "\n") {
		if n := len([]rune(l)); n > columns.Width {
			t.Errorf("a line of %d: %s", n, l)
		}
	}
	if strings.Contains(out, "\x1b") {
		t.Error("there is colour in it")
	}
	if strings.Contains(strings.ReplaceAll(strings.ToLower(out), "safe system of work", ""), " safe ") {
		t.Error("it speaks of safe")
	}
}
