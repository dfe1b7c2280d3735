package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

var update = flag.Bool("update", false, "write the golden files anew, to be read before they are committed")

func terrace(t testing.TB) board.Job {
	t.Helper()
	return boardtest.Read(t, "terrace.yaml")
}

// work writes a log as the conversation does, one event a minute.
type work struct {
	t interface {
		Helper()
		Fatal(...any)
	}
	s record.State
}

var nine = time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)

func (w *work) do(e record.Event) {
	w.t.Helper()
	e.ID = w.s.LastID + 1
	e.At = nine.Add(time.Duration(w.s.LastID) * time.Minute)
	next, err := w.s.Apply(e)
	if err != nil {
		w.t.Fatal(err)
	}
	w.s = next
}

func (w *work) open(job board.Job) { w.t.Helper(); w.do(record.Event{Kind: record.Opened, Job: &job}) }

func (w *work) prepare() {
	w.t.Helper()
	for _, step := range sequence.Steps(w.s.Job, 1) {
		if step.Back == "" && !step.Alone {
			w.do(record.Event{Kind: record.Prepared, Board: 1, Step: step.ID, Answer: record.Done})
		}
	}
}

func at(way int, test reading.Test, position int) record.Slot {
	return record.Slot{Board: 1, Way: way, Test: test, Position: position}
}

// propose reads back a reading with the verdict that the tool would give.
func (w *work) propose(slot record.Slot, text string) {
	w.t.Helper()
	q, err := reading.ParseQuantity(text, slot.Test.Unit())
	if err != nil {
		w.t.Fatal(err)
	}
	in := check.Input{Job: w.s.Job, Board: 1, Way: slot.Way, Test: slot.Test, Position: slot.Position, Quantity: q, SurgeConnected: sequence.SurgeConnected(w.s, 1)}
	v := check.Judge(in)
	w.do(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: w.s.LastID})
}

func (w *work) take(slot record.Slot, text string) {
	w.t.Helper()
	w.propose(slot, text)
	w.do(record.Event{Kind: record.Confirmed})
}

func (w *work) leave(slot record.Slot, how record.How, reason string) {
	w.t.Helper()
	w.do(record.Event{Kind: record.Skipped, Slot: &slot, Answer: how, Reason: reason})
}

// whole is a board tested to the end, with everything that a schedule must
// show: both switch positions, over-range, a failure retested, a correction, a
// skip, a limitation, a test not applicable, and equipment that stays connected.
func whole(t testing.TB) record.State {
	w := &work{t: t}
	w.open(terrace(t))
	for _, step := range sequence.Steps(w.s.Job, 1) {
		e := record.Event{Kind: record.Prepared, Board: 1, Step: step.ID, Answer: record.Done}
		if step.ID == sequence.LampsOut {
			e.Answer, e.Reason = record.NotApplicable, "no lamps fitted yet"
		}
		if step.Back == "" {
			w.do(e)
		}
	}
	w.take(at(1, reading.LNE, 0), ">999")
	w.take(at(1, reading.LN, 0), ">999")
	w.take(at(2, reading.LNE, 1), "560")
	w.take(at(2, reading.LN, 1), ">999")
	w.take(at(2, reading.LNE, 2), "542")
	w.leave(at(2, reading.LN, 2), record.Limitation, "no access to the second switch")
	w.take(at(3, reading.LNE, 0), "350")
	w.take(at(3, reading.LNE, 0), "315") // a correction of what was confirmed
	w.take(at(3, reading.LN, 0), ">999")
	w.take(at(8, reading.LNE, 0), "486")
	w.take(at(4, reading.LNE, 0), "12.5")
	w.take(at(4, reading.LN, 0), ">999")
	w.take(at(5, reading.LNE, 0), "0.30")
	w.take(at(5, reading.LE, 0), ">999")
	w.take(at(5, reading.NE, 0), "0.31")
	w.do(record.Event{Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 5}, Reason: "crushed neutral made good"})
	w.take(at(5, reading.LNE, 0), ">999")
	w.take(at(5, reading.LN, 0), ">999")
	w.take(at(6, reading.LNE, 0), ">999")
	w.take(at(6, reading.LN, 0), "410")
	w.do(record.Event{Kind: record.Withdrawn, Slot: &record.Slot{Board: 1, Way: 6, Test: reading.LN}, Reason: "scratched"})
	w.take(at(6, reading.LN, 0), "401")
	w.take(at(7, reading.LNE, 0), ">999")
	w.leave(at(7, reading.LN, 0), record.NotMade, "equipment connected")
	w.take(at(9, reading.LNE, 0), ">999")
	w.leave(at(9, reading.LN, 0), record.NotApplicable, "only the shed's own board on it")
	w.do(record.Event{Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 10}, Code: "C2", Text: "no blank over the spare way"})
	w.do(record.Event{Kind: record.Noted, Slot: &record.Slot{Board: 1, Way: 3}, Text: "socket behind the dresser not reached"})
	w.do(record.Event{Kind: record.Observed, Slot: &record.Slot{Board: 1}, Code: "C1", Text: "said of the wrong board"})
	w.do(record.Event{Kind: record.Withdrawn, Of: w.s.LastID, Reason: "scratched"})
	w.do(record.Event{Kind: record.Finished})
	return w.s
}

// partway is a session that was cut off: a failure that waits for work, the
// answer about surge protection changed between two readings, a reading that
// was not confirmed, and a board of odd things.
func partway(t testing.TB) record.State {
	job := terrace(t)
	job.Address = "Rooms above the old seed merchant's, 17 Example Lane, at the end of the yard, second door after the arch, Exampleton"
	job.Boards[0].Ways = []board.Way{
		{Number: 1, Feeds: "=HYPERLINK(\"x\")", Device: board.Device{Standard: "BS 3036", Rating: 30}, Wiring: board.Radial},
		{Number: 2, Feeds: "-5 to +5 heater, \"drying\" room\x1b[31m, rear landing, stores and everything beyond", Device: board.Device{Standard: "BS EN 60898", Type: "C", Rating: 10, Breaking: 6}, Wiring: board.Radial, Line: 1.5, CPC: 1},
		{Number: 3, Feeds: "Bell", Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 6}, Wiring: board.Radial, Line: 1, CPC: 1, Separated: true},
		{Number: 4, Spare: true},
		{Number: 5, Feeds: "Not reached", Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 6}, Wiring: board.Radial, Line: 1, CPC: 1},
	}
	w := &work{t: t}
	w.open(job)
	w.prepare()
	w.take(at(1, reading.LNE, 0), "0.42")
	w.do(record.Event{Kind: record.Prepared, Board: 1, Step: sequence.SurgeOut, Answer: record.Limitation, Reason: "it would not come out"})
	w.take(at(1, reading.LE, 0), "<0.05")
	w.take(at(2, reading.LNE, 0), ">999")
	w.take(at(3, reading.LNE, 0), ">1")
	w.propose(at(2, reading.LN, 0), "206")
	w.do(record.Event{Kind: record.Noted, Slot: &record.Slot{Board: 1, Way: 4}, Text: "\x1b[31mred\u202e and turned round, and so long that it goes beyond the end of the line of a page of the schedule"})
	return w.s
}

func write(t testing.TB, f func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := f(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGolden(t *testing.T) {
	for name, s := range map[string]record.State{"whole": whole(t), "partway": partway(t), "empty": {}} {
		sched := Build(s)
		for ext, f := range map[string]func(io.Writer) error{"txt": sched.Text, "csv": sched.CSV, "json": sched.JSON} {
			t.Run(name+"."+ext, func(t *testing.T) {
				golden(t, name+"."+ext, write(t, f))
			})
		}
	}
}

// The lines of the whole board, said again by hand.
func TestWholeBoard(t *testing.T) {
	s := Build(whole(t))
	want := []string{
		"1 0 LN-E >999, L-N >999: pass",
		"2 1 LN-E 560, L-N >999: pass",
		"2 2 LN-E 542, L-N LIM: pass in part",
		"3 0 LN-E 315, L-N >999: pass",
		"4 0 LN-E 12.5, L-N >999: pass",
		"5 0 LN-E >999, L-N >999: pass",
		"6 0 LN-E >999, L-N 401: pass",
		"7 0 LN-E >999, L-N skipped: pass in part",
		"8 0 LN-E 486, L-N not made: pass",
		"9 0 LN-E >999, L-N N/A: pass",
		"10 0 : ",
	}
	var got []string
	for _, l := range s.Lines {
		var cells []string
		for _, c := range l.Cells {
			cells = append(cells, string(c.Test)+" "+c.text())
		}
		got = append(got, fmt.Sprintf("%d %d %s: %s", l.Way, l.Position, strings.Join(cells, ", "), l.outcome()))
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if !s.Record.Complete || len(s.ToDo) != 0 {
		t.Errorf("left to do: %q", s.ToDo)
	}
	var earlier []string
	for _, l := range s.Lines {
		for _, c := range l.Earlier {
			earlier = append(earlier, fmt.Sprintf("%d %s %s %s %s", l.Way, c.Test, c.Text, c.Status, c.Result))
		}
	}
	if d := cmp.Diff([]string{
		"3 LN-E 350 replaced pass", "5 LN-E 0.30 before work fail", "5 L-E >999 before work pass", "5 N-E 0.31 before work fail", "6 L-N 410 withdrawn pass",
	}, earlier); d != "" {
		t.Error(d)
	}
}

// breath is a ring whose three ends were read back and not confirmed.
func breath(t testing.TB) record.State {
	job := terrace(t)
	job.Tests = nil
	w := &work{t: t}
	w.open(job)
	w.prepare()
	ohm := func(s string) reading.Quantity {
		q, err := reading.ParseQuantity(s, reading.Ohm)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	first, q, pass := at(3, reading.RingR1, 0), ohm("0.31"), check.Verdict{Result: check.Pass, Reason: "r", Source: "s"}
	w.do(record.Event{Kind: record.Proposed, Slot: &first, Quantity: &q, Verdict: &pass, Then: []record.Further{
		{Slot: at(3, reading.RingRn, 0), Quantity: ohm("0.32"), Verdict: pass}, {Slot: at(3, reading.RingR2, 0), Quantity: ohm("0.52"), Verdict: pass}}})
	return w.s
}

// All that waits to be confirmed is told, not the first of a breath alone.
func TestPendingBreath(t *testing.T) {
	got := Build(breath(t)).ToDo
	for i, want := range []string{"r1: 0.31 ohm", "rn: 0.32 ohm", "r2: 0.52 ohm"} {
		want = "Way 3, " + want + " was read back but not confirmed, so it is not on the schedule."
		if i >= len(got) || got[i] != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestPartway(t *testing.T) {
	s := Build(partway(t))
	if s.Record.Complete {
		t.Error("complete")
	}
	for _, want := range []string{
		"Way 2, L-N: 206 Mohm was read back but not confirmed, so it is not on the schedule.",
		"Way 1 fails: find the cause, put it right and test it again.",
		"Way 5: LN-E at 250 V, L-N at 250 V.", "The work was not finished.",
	} {
		if !slices.Contains(s.ToDo, want) {
			t.Errorf("%q is not in %q", want, s.ToDo)
		}
	}
	// Each reading keeps the voltage at which it was asked for.
	if c := s.Lines[0].Cells; c[0].Volts != 500 || c[2].Test != reading.LE || c[2].Volts != 250 {
		t.Errorf("%+v", c)
	}
	if got := s.Lines[0].outcome(); got != "fail" {
		t.Errorf("way 1: %s", got)
	}
	if got := s.Lines[1].outcome(); got != "not complete" {
		t.Errorf("way 2 has a pass and a test to do: %s", got)
	}
	if strings.Contains(write(t, s.CSV), "206,") {
		t.Error("a reading that was not confirmed is in a cell")
	}
}

// Over-range is a bound in every form and never a number.
func TestOverRange(t *testing.T) {
	s := Build(whole(t))
	c := s.Lines[0].Cells[0]
	if c.Text != ">999" || c.Bound != ">" || *c.Value != 999 || c.Unit != "Mohm" {
		t.Errorf("%+v", c)
	}
	if !strings.Contains(write(t, s.Text), ">999") || !strings.Contains(write(t, s.CSV), ",>999,") || !strings.Contains(write(t, s.JSON), `"text": ">999"`) {
		t.Error("not written as >999")
	}
}

// No form of a schedule says that anything is safe, and every form has the
// cautions.
func TestCautions(t *testing.T) {
	for _, state := range []record.State{whole(t), partway(t), {}} {
		s := Build(state)
		for _, f := range []func(io.Writer) error{s.Text, s.CSV, s.JSON} {
			got := write(t, f)
			if strings.Contains(strings.ToLower(got), "safe") {
				t.Error("speaks of safe:", got)
			}
			flat := strings.NewReplacer("\n", " ", `\"`, `"`, `""`, `"`).Replace(got)
			for _, c := range s.Cautions {
				if !strings.Contains(flat, c) {
					t.Errorf("%q is missing", c)
				}
			}
		}
	}
}

func TestFormulas(t *testing.T) {
	for in, want := range map[string]string{
		"": "", "Cooker": "Cooker", ">999": ">999", "<0.05": "<0.05", "12.5": "12.5", "L-N": "L-N", "a=b": "a=b",
		"=1+1": "'=1+1", "+44": "'+44", "-5 heater": "'-5 heater", "@sum": "'@sum", "\t=1": "' =1", "\r=1": "' =1", "\n=1": "' =1",
		"  =1": "'  =1", "\x16+w": "' +w", "＝1": "'＝1", "two\r\nlines": "two lines", "a\x00b\x1b[31m": "a b [31m", `say "on"`: `say "on"`, "é": "é",
	} {
		if got := csvField(in); got != want {
			t.Errorf("csvField(%q) = %q, want %q", in, got, want)
		}
	}
}

// Python's csv and json modules read back every cell that was written.
func TestPythonReadsItBack(t *testing.T) {
	if _, err := exec.LookPath("python3"); err != nil {
		t.Skip("python3 is not installed")
	}
	for name, s := range map[string]Schedule{"whole": Build(whole(t)), "partway": Build(partway(t)), "empty": Build(record.State{}), "signed": observed(Build(reviewed(t)))} {
		dir := t.TempDir()
		for file, f := range map[string]func(io.Writer) error{"s.csv": s.CSV, "s.json": s.JSON} {
			if err := os.WriteFile(filepath.Join(dir, file), []byte(write(t, f)), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		cmd := exec.Command("python3", "-c", `
import csv, json
rows = list(csv.reader(open("s.csv", newline="", encoding="utf-8"), strict=True))
print(json.dumps({"csv": rows, "json": json.load(open("s.json", encoding="utf-8"))}))`)
		cmd.Dir, cmd.Stderr = dir, os.Stderr
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		var python struct {
			CSV  [][]string
			JSON Schedule
		}
		if err := json.Unmarshal(out, &python); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(s, python.JSON); d != "" {
			t.Errorf("%s: JSON: %s", name, d)
		}
		rows := python.CSV
		if d := cmp.Diff(csvHead, rows[0]); d != "" {
			t.Error(d)
		}
		column := func(row []string, name string) string { return row[slices.Index(csvHead, name)] }
		lines := slices.DeleteFunc(slices.Clone(rows), func(row []string) bool { return row[0] != "line" })
		if len(lines) != len(s.Lines) {
			t.Fatalf("%s: %d rows for %d lines", name, len(lines), len(s.Lines))
		}
		rest := 2 + len(s.Observations) + len(s.Notes) + len(s.Lines) + len(s.Boards) + len(s.Preparation) + len(s.ToDo) + len(s.Cautions)
		for _, b := range s.Boards {
			rest += len(b.Earlier)
			for _, c := range b.Cells {
				if c.Test == reading.Bonding {
					rest++
				}
			}
		}
		for i, l := range s.Lines {
			row := lines[i]
			if column(row, "board") != fmt.Sprint(l.Board) || column(row, "way") != fmt.Sprint(l.Way) || column(row, "feeds") != csvField(l.Feeds) || column(row, "result") != l.outcome() {
				t.Errorf("%s: row %d is %q", name, i, row)
			}
			for _, test := range columns {
				want := ""
				if c := l.cell(test); c != nil {
					want = c.text()
				}
				if got := column(row, csvColumn(test)); got != want {
					t.Errorf("%s: way %d %s is %q, want %q", name, l.Way, test, got, want)
				}
			}
			rest += len(l.Earlier)
			for _, c := range l.Cells {
				if ofRing(c.Test) && c.Position > 0 {
					rest++
				}
			}
		}
		if rest != len(rows) {
			t.Errorf("%s: %d rows, want %d", name, len(rows), rest)
		}
		for _, row := range rows {
			if row[0] == "sign-off" {
				signed := s.Signed != nil
				if (column(row, "result") == "signed off") != signed || signed && (!strings.Contains(column(row, "remarks"), s.Signed.Name) || !strings.Contains(column(row, "remarks"), s.Signed.Sum)) {
					t.Errorf("%s: %q", name, row)
				}
			}
			if len(row) != len(csvHead) {
				t.Errorf("%s: %d fields in %q", name, len(row), row)
			}
		}
	}
}

// drawWork plays a random job of hostile words: any board, any order of events
// that the log allows.
func drawWork(t *rapid.T) record.State {
	text := rapid.OneOf(rapid.String(), rapid.StringN(0, 200, -1), rapid.SampledFrom([]string{"=1", "\u202e", "a\r\nb", "\x1b]0;x\a", strings.Repeat("W", 300), "  "}))
	job := board.Job{Reference: text.Draw(t, "reference"), Address: text.Draw(t, "address"), Tester: text.Draw(t, "tester"), Boards: []board.Board{{
		Number: 1, Name: text.Draw(t, "name"), Voltage: 230, SurgeProtection: rapid.Bool().Draw(t, "surge")}}}
	for n := range rapid.IntRange(1, 6).Draw(t, "ways") {
		w := board.Way{Number: n + 1, Feeds: text.Draw(t, "feeds"), Line: rapid.Float64Range(0, 1000).Draw(t, "line"), TwoWay: rapid.Bool().Draw(t, "two-way"), Separated: rapid.Bool().Draw(t, "separated"),
			Device: board.Device{Standard: text.Draw(t, "standard"), Type: text.Draw(t, "type"), Rating: rapid.SampledFrom([]float64{0, 6, 0.5, 1250}).Draw(t, "rating")}}
		if n > 0 {
			w.Spare = rapid.IntRange(0, 5).Draw(t, "spare") == 0
		}
		if rapid.IntRange(0, 3).Draw(t, "keep") == 0 {
			w.Keep500Off = text.Draw(t, "equipment")
		}
		job.Boards[0].Ways = append(job.Boards[0].Ways, w)
	}
	w := &work{t: t}
	w.open(job)
	for range rapid.IntRange(0, 40).Draw(t, "events") {
		slot := at(rapid.IntRange(1, len(job.Boards[0].Ways)).Draw(t, "way"), rapid.SampledFrom([]reading.Test{reading.LNE, reading.LN, reading.LE, reading.NE, reading.Zs}).Draw(t, "test"), rapid.IntRange(0, 2).Draw(t, "position"))
		e := record.Event{ID: w.s.LastID + 1, At: nine, Kind: rapid.SampledFrom([]record.Kind{
			record.Proposed, record.Confirmed, record.Proposed, record.Confirmed, record.Skipped, record.Withdrawn, record.Retest, record.Prepared, record.Dropped, record.Paused, record.CarriedOn, record.Moved, record.Finished, record.Opened,
			record.Edited, record.Edited, record.Settled, record.Settled, record.Signed,
		}).Draw(t, "kind"), Slot: &slot, Reason: text.Draw(t, "reason"), Job: &job}
		q, err := reading.ParseQuantity(rapid.SampledFrom([]string{">999", "0.5", "99999.0000", "<0.05", "0", "206", "3.10"}).Draw(t, "value"), slot.Test.Unit())
		if err != nil {
			t.Fatal(err)
		}
		e.Quantity = &q
		e.Verdict = &check.Verdict{Result: rapid.SampledFrom([]check.Result{check.Pass, check.Investigate, check.Fail, check.CannotSay}).Draw(t, "result"), Reason: text.Draw(t, "why"), Source: text.Draw(t, "source")}
		e.Answer = rapid.SampledFrom([]record.How{record.Done, record.NotApplicable, record.Limitation, record.NotMade}).Draw(t, "answer")
		e.Board, e.Step = 1, sequence.LampsOut
		switch e.Kind {
		case record.Withdrawn, record.Finished, record.Dropped:
			if rapid.Bool().Draw(t, "review") {
				e.By = "CD"
			}
		case record.Edited, record.Settled, record.Signed:
			e.By, e.Text, e.Sum = "CD", text.Draw(t, "signer"), someSum
		}
		if r, ok := w.s.Latest(slot); ok && e.By != "" {
			e.Replaces = r.ConfirmedID
		}
		if next, err := w.s.Apply(e); err == nil {
			w.s = next
		}
	}
	return w.s
}

// Whatever the log holds: text keeps its width and shows only visible
// characters, CSV is rectangular and holds no formula, JSON reads back as it
// was, the same log gives the same bytes, and every confirmed reading is there.
func TestAnySchedule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		state := drawWork(t)
		s := Build(state)
		form := func(s Schedule, f func(Schedule, io.Writer) error) string {
			var b bytes.Buffer
			if err := f(s, &b); err != nil {
				t.Fatal(err)
			}
			return b.String()
		}
		for _, f := range []func(Schedule, io.Writer) error{Schedule.Text, Schedule.CSV, Schedule.JSON} {
			if form(s, f) != form(Build(state), f) {
				t.Fatal("the same log gave other bytes")
			}
		}
		plain := form(s, Schedule.Text)
		for l := range strings.SplitSeq(strings.TrimSuffix(plain, "\n"), "\n") {
			if n := len([]rune(l)); n > width {
				t.Fatalf("a line of %d: %q", n, l)
			}
			for _, r := range l {
				if printable.Hidden(r) {
					t.Fatalf("%q in %q", r, l)
				}
			}
		}
		rows, err := csv.NewReader(strings.NewReader(form(s, Schedule.CSV))).ReadAll() // also checks that rows have as many fields
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			for _, f := range row {
				if strings.ContainsAny(f[:min(1, len(f))], "=+-@\t\r") {
					t.Fatalf("a formula: %q", f)
				}
			}
		}
		var back Schedule
		if err := json.Unmarshal([]byte(form(s, Schedule.JSON)), &back); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(s, back); d != "" {
			t.Fatal(d)
		}
		standing, ended := 0, 0
		for _, l := range s.Lines {
			for _, c := range l.Cells {
				if c.Status != Recorded {
					continue
				}
				standing++
				if r, ok := state.Latest(at(l.Way, c.Test, c.Position)); !ok || c.Text != figure(r.Quantity) || !strings.Contains(plain, c.Text) {
					t.Fatalf("way %d: %+v", l.Way, c)
				}
				if slices.Contains(columns, c.Test) && !slices.ContainsFunc(rows, func(row []string) bool {
					return row[0] == "line" && row[slices.Index(csvHead, "way")] == fmt.Sprint(l.Way) && row[slices.Index(csvHead, csvColumn(c.Test))] == c.Text
				}) {
					t.Fatalf("way %d %s is not in CSV", l.Way, c.Test)
				}
			}
			ended += len(l.Earlier)
			if l.outcome() == string(check.Pass) {
				for _, c := range l.Cells {
					if c.Status == ToDo || c.Status == Waiting || c.Status == Recorded && c.Result != string(check.Pass) {
						t.Fatalf("way %d is shown as a pass with %+v", l.Way, c)
					}
				}
			}
		}
		for _, r := range state.Readings {
			if r.Standing == record.Stands {
				standing--
			} else {
				ended--
			}
		}
		if standing != 0 || ended != 0 {
			t.Fatalf("%d standing and %d earlier readings too many", standing, ended)
		}
	})
}

// A writer that fails is an error, not half a schedule called done.
func TestWriteFails(t *testing.T) {
	s := Build(whole(t))
	for name, f := range map[string]func(io.Writer) error{"text": s.Text, "CSV": s.CSV, "JSON": s.JSON} {
		if err := f(full{}); err == nil {
			t.Errorf("%s: the error is lost", name)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }
