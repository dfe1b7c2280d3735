package findings

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report/columns"
	"waycall/internal/report/reporttest"
)

// ofWorkshop are the findings on the workshop's readings as they were written down.
func ofWorkshop(t *testing.T) Findings {
	t.Helper()
	job := reporttest.Workshop(t).Job
	var all []Judged
	for _, r := range reporttest.Readings(t, job) {
		all = append(all, Judged{Slot: r.Slot, Quantity: r.Quantity, Line: r.Line})
	}
	return Of(job, all, nil)
}

func TestFindingsGolden(t *testing.T) {
	f := ofWorkshop(t)
	reporttest.Golden(t, "findings.txt", reporttest.Written(t, func(w io.Writer) error { return f.Text(w, false) }))
}

// The six faults that were put into the readings, each named by what it is.
func TestSixFaults(t *testing.T) {
	f := ofWorkshop(t)
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

// Findings keep to their page; colour is there only where it was asked for, and adds
// no words.
func TestFindingsInColour(t *testing.T) {
	f := ofWorkshop(t)
	reporttest.KeepsToItsPage(t, reporttest.Written(t, func(w io.Writer) error { return f.Text(w, false) }))
	coloured := reporttest.Written(t, func(w io.Writer) error { return f.Text(w, true) })
	if !strings.Contains(coloured, "\x1b[31m") || !strings.Contains(coloured, "\x1b[33m") {
		t.Error("no colour where it was asked for")
	}
	plain := strings.NewReplacer("\x1b[31m", "", "\x1b[33m", "", "\x1b[0m", "").Replace(coloured)
	if plain != reporttest.Written(t, func(w io.Writer) error { return f.Text(w, false) }) {
		t.Error("the colours change the words")
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
	for _, r := range reporttest.Readings(t, job) {
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
		f := Of(hostile, all, map[int]bool{2: rapid.Bool().Draw(t, "surge")})
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
			if len([]rune(l)) > columns.Width || strings.Contains(l, "\x1b") {
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
