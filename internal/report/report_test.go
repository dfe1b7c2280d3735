package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/columns"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/report/spreadsheet"
)

// What was taken back is not on a schedule, and who tested in one session only is.
func TestNotesAndTesters(t *testing.T) {
	s := report.Build(reporttest.Whole(t))
	if len(s.Observations) != 1 || s.Observations[0].Code != "C2" || s.Observations[0].Way != 10 || len(s.Notes) != 1 || s.Notes[0].Way != 3 {
		t.Errorf("%+v, %+v", s.Observations, s.Notes)
	}
	job := reporttest.Terrace(t)
	w := &reporttest.Work{T: t}
	w.Open(job)
	w.Prepare()
	w.Take(reporttest.At(1, "LN-E", 0), ">999")
	w.Do(record.Event{Kind: record.Opened, Job: &job, Tester: "AB"})
	w.Take(reporttest.At(1, "L-N", 0), ">999")
	w.Do(record.Event{Kind: record.Opened, Job: &job, Tester: "CD"}) // took no reading
	if got := report.Build(w.S).Job; len(got.Others) != 1 || got.Others[0] != "AB" || got.Tester != job.Tester {
		t.Errorf("%+v", got)
	}
}

// They are on paper and in the file for a spreadsheet, too.
func TestNotesOnPaper(t *testing.T) {
	s := report.Build(reporttest.Whole(t))
	csv := reporttest.Written(t, func(w io.Writer) error { return spreadsheet.CSV(w, s) })
	for _, want := range []string{"no blank over the spare way", "socket behind the dresser not reached"} {
		if !strings.Contains(csv, want) {
			t.Errorf("the CSV does not have %q", want)
		}
		if strings.Contains(csv, "said of the wrong board") {
			t.Error("the CSV has what was taken back")
		}
	}
}

func TestGolden(t *testing.T) {
	for name, s := range map[string]record.State{"whole": reporttest.Whole(t), "partway": reporttest.Partway(t), "empty": {}} {
		sched := report.Build(s)
		for ext, f := range map[string]func(io.Writer) error{"txt": func(w io.Writer) error { return plaintext.Write(w, sched) }, "csv": func(w io.Writer) error { return spreadsheet.CSV(w, sched) }, "json": func(w io.Writer) error { return report.Write(w, sched) }} {
			t.Run(name+"."+ext, func(t *testing.T) {
				reporttest.Golden(t, name+"."+ext, reporttest.Written(t, f))
			})
		}
	}
}

// The lines of the whole board, said again by hand.
func TestWholeBoard(t *testing.T) {
	s := report.Build(reporttest.Whole(t))
	want := []string{
		"1 0 LN-E >999, L-N >999: insulation: pass",
		"2 1 LN-E 560, L-N >999: insulation: pass",
		"2 2 LN-E 542, L-N LIM: insulation: pass in part",
		"3 0 LN-E 315, L-N >999: insulation: pass",
		"4 0 LN-E 12.5, L-N >999: insulation: pass",
		"5 0 LN-E >999, L-N >999: insulation: pass",
		"6 0 LN-E >999, L-N 401: insulation: pass",
		"7 0 LN-E >999, L-N skipped: insulation: pass in part",
		"8 0 LN-E 486, L-N not made: insulation: pass",
		"9 0 LN-E >999, L-N N/A: insulation: pass",
		"10 0 : ",
	}
	var got []string
	for _, l := range s.Lines {
		var cells []string
		for _, c := range l.Cells {
			cells = append(cells, string(c.Test)+" "+c.Shown())
		}
		got = append(got, fmt.Sprintf("%d %d %s: %s", l.Way, l.Position, strings.Join(cells, ", "), l.Outcome()))
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

// All that waits to be confirmed is told, not the first of a breath alone.
func TestPendingBreath(t *testing.T) {
	got := report.Build(reporttest.Breath(t)).ToDo
	for i, want := range []string{"r1: 0.31 ohm", "rn: 0.32 ohm", "r2: 0.52 ohm"} {
		want = "Way 3, " + want + " was read back but not confirmed, so it is not on the schedule."
		if i >= len(got) || got[i] != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestPartway(t *testing.T) {
	s := report.Build(reporttest.Partway(t))
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
	if got := s.Lines[0].Outcome(); got != "fail" {
		t.Errorf("way 1: %s", got)
	}
	if got := s.Lines[1].Outcome(); got != "not complete" {
		t.Errorf("way 2 has a pass and a test to do: %s", got)
	}
	if strings.Contains(reporttest.Written(t, func(w io.Writer) error { return spreadsheet.CSV(w, s) }), "206,") {
		t.Error("a reading that was not confirmed is in a cell")
	}
}

// Over-range is a bound in every form and never a number.
func TestOverRange(t *testing.T) {
	s := report.Build(reporttest.Whole(t))
	c := s.Lines[0].Cells[0]
	if c.Text != ">999" || c.Bound != ">" || *c.Value != 999 || c.Unit != "Mohm" {
		t.Errorf("%+v", c)
	}
	if !strings.Contains(reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, s) }), ">999") || !strings.Contains(reporttest.Written(t, func(w io.Writer) error { return spreadsheet.CSV(w, s) }), ",>999,") || !strings.Contains(reporttest.Written(t, func(w io.Writer) error { return report.Write(w, s) }), `"text": ">999"`) {
		t.Error("not written as >999")
	}
}

// No form of a schedule says that anything is safe, and every form has the
// cautions.
func TestCautions(t *testing.T) {
	for _, state := range []record.State{reporttest.Whole(t), reporttest.Partway(t), {}} {
		s := report.Build(state)
		for _, f := range []func(io.Writer) error{func(w io.Writer) error { return plaintext.Write(w, s) }, func(w io.Writer) error { return spreadsheet.CSV(w, s) }, func(w io.Writer) error { return report.Write(w, s) }} {
			got := reporttest.Written(t, f)
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

// Whatever the log holds: text keeps its width and shows only visible
// characters, CSV is rectangular and holds no formula, JSON reads back as it
// was, the same log gives the same bytes, and every confirmed reading is there.
func TestAnySchedule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		state := reporttest.DrawWork(t)
		s := report.Build(state)
		form := func(s report.Schedule, f func(io.Writer, report.Schedule) error) string {
			var b bytes.Buffer
			if err := f(&b, s); err != nil {
				t.Fatal(err)
			}
			return b.String()
		}
		for _, f := range []func(io.Writer, report.Schedule) error{plaintext.Write, spreadsheet.CSV, report.Write} {
			if form(s, f) != form(report.Build(state), f) {
				t.Fatal("the same log gave other bytes")
			}
		}
		plain := form(s, plaintext.Write)
		for l := range strings.SplitSeq(strings.TrimSuffix(plain, "\n"), "\n") {
			if n := len([]rune(l)); n > columns.Width {
				t.Fatalf("a line of %d: %q", n, l)
			}
			for _, r := range l {
				if printable.Hidden(r) {
					t.Fatalf("%q in %q", r, l)
				}
			}
		}
		rows, err := csv.NewReader(strings.NewReader(form(s, spreadsheet.CSV))).ReadAll() // also checks that rows have as many fields
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
		var back report.Schedule
		if err := json.Unmarshal([]byte(form(s, report.Write)), &back); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(s, back); d != "" {
			t.Fatal(d)
		}
		standing, ended := 0, 0
		for _, l := range s.Lines {
			for _, c := range l.Cells {
				if c.Status != report.Recorded {
					continue
				}
				standing++
				if r, ok := state.Latest(reporttest.At(l.Way, c.Test, c.Position)); !ok || c.Text != strings.TrimSuffix(r.Quantity.String(), " "+string(r.Quantity.Unit)) || !strings.Contains(plain, c.Text) {
					t.Fatalf("way %d: %+v", l.Way, c)
				}
				if slices.Contains(report.Order, c.Test) && !slices.ContainsFunc(rows, func(row []string) bool {
					return row[0] == "line" && row[slices.Index(rows[0], "way")] == fmt.Sprint(l.Way) && row[slices.Index(rows[0], strings.TrimSpace(string(c.Test)+" "+string(c.Test.Unit())))] == c.Text
				}) {
					t.Fatalf("way %d %s is not in CSV", l.Way, c.Test)
				}
			}
			ended += len(l.Earlier)
			if l.Outcome() == string(check.Pass) {
				for _, c := range l.Cells {
					if c.Status == report.ToDo || c.Status == report.Waiting || c.Status == report.Recorded && c.Result != string(check.Pass) {
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
	s := report.Build(reporttest.Whole(t))
	for name, f := range forms {
		if err := f(reporttest.Full{}, s); err == nil {
			t.Errorf("%s: the error is lost", name)
		}
	}
}
