package spreadsheet

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/printable"
	"waycall/internal/report"
	"waycall/internal/report/reporttest"
)

func TestHostileWorkbook(t *testing.T) {
	for name, text := range reporttest.Hostile {
		t.Run(name, func(t *testing.T) {
			s := reporttest.Spoilt(t, text)
			sheets := openpyxl(t, s)
			for i, row := range sheets["Circuits"][1:] {
				want := text
				if s.Lines[i].Spare {
					want = "spare " + text
				}
				if got := row[3]; got.Text != bounded(want) {
					t.Fatalf("row %d feeds %.200q, want %.200q", i, got.Text, want)
				}
			}
		})
	}
}

// sheetCell is a cell as openpyxl reads it.
type sheetCell struct {
	Type   string // s, n or f, as openpyxl names them
	Text   string
	Format string
}

// figure is how a cell looks: a number with the places of its format.
func (c sheetCell) figure() string {
	if c.Type != "n" || c.Text == "" {
		return c.Text
	}
	x, err := strconv.ParseFloat(c.Text, 64)
	if err != nil || c.Format == "General" {
		return c.Text
	}
	_, places, _ := strings.Cut(c.Format, ".")
	return strconv.FormatFloat(x, 'f', len(places), 64)
}

// openpyxl reads a workbook back, and checks that no cell of it is a formula.
func openpyxl(t testing.TB, s report.Schedule) map[string][][]sheetCell {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s.xlsx")
	var b bytes.Buffer
	if err := XLSX(&b, s); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	reporttest.NoFormulas(t, b.Bytes())
	python, err := filepath.Abs("../../../.cache/reference/bin/python")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(python); err != nil {
		t.Fatalf("the reference packages are not set up: %v; run make test", err)
	}
	cmd := exec.Command(python, "-c", `
import json, sys, openpyxl
book = openpyxl.load_workbook(sys.argv[1])
show = lambda v: "" if v is None else v if isinstance(v, str) else repr(v)
json.dump({s.title: [[{"Type": c.data_type, "Text": show(c.value), "Format": c.number_format} for c in row] for row in s.iter_rows()] for s in book}, sys.stdout)`, path)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("openpyxl: %v; run make test, which sets up the reference packages", err)
	}
	var sheets map[string][][]sheetCell
	if err := json.Unmarshal(out, &sheets); err != nil {
		t.Fatal(err)
	}
	for name, rows := range sheets {
		for _, row := range rows {
			for _, c := range row {
				if c.Type != "s" && c.Type != "n" {
					t.Fatalf("%s: a cell of type %s: %.200q", name, c.Type, c.Text)
				}
			}
		}
	}
	return sheets
}

// The workbook read by another program equals the record, cell by cell.
func TestSpreadsheetReadsBack(t *testing.T) {
	for name, s := range reporttest.Schedules(t) {
		sheets := openpyxl(t, s)
		if d := cmp.Diff([]string{"Boards", "Cautions", "Circuits", "Corrections", "Job", "Left to do", "Notes", "Observations", "Particulars", "Preparation", "Readings"}, slices.Sorted(maps.Keys(sheets))); d != "" {
			t.Error(d)
		}
		column := func(sheet, head string) int {
			for i, c := range sheets[sheet][0] {
				if c.Text == head {
					return i
				}
			}
			t.Fatalf("no column %s on %s", head, sheet)
			return 0
		}
		want := reporttest.Wanted(s)
		at := map[int]int{}
		for i, l := range s.Lines {
			row := sheets["Circuits"][i+1]
			n := at[l.Board]
			at[l.Board]++
			get := func(head string) string { return row[column("Circuits", head)].figure() }
			for head, key := range map[string]string{"Feeds": "details feeds", "Way": "details way", "Wiring": "wiring", "Phase": "phase", "Points": "points", "Length m": "length", "Live mm2": "line", "Device standard": "standard",
				"Device type": "type", "Rating A": "rating", "Trip A": "trip", "Breaking capacity kA": "breaking", "RCD rated mA": "RCD rated", "Result": "result", "Test voltage V DC": "volts", "Neutral bar": "neutral", "Zs cold limit ohm": "cold"} {
				if w := strings.TrimSpace(want[fmt.Sprintf("%s/%d/%d", key, l.Board, n)]); get(head) != w {
					t.Errorf("%s: way %d, %s is %q, want %q", name, l.Way, head, get(head), w)
				}
			}
			for _, test := range report.Order {
				w := ""
				for k, v := range want {
					if strings.HasPrefix(k, fmt.Sprintf("%d/%d/%d/%s/", l.Board, l.Way, l.Position, test)) {
						w = v
					}
				}
				if got := get(csvColumn(test)); got != w {
					t.Errorf("%s: way %d, %s is %q, want %q", name, l.Way, test, got, w)
				}
			}
			if get("Remarks") != printable.Words(strings.Join(l.Remarks, " ")) {
				t.Errorf("%s: way %d, remarks %q", name, l.Way, get("Remarks"))
			}
		}
		var cells []report.Cell
		for _, b := range s.Boards {
			cells = slices.Concat(cells, b.Cells, b.Earlier)
			for _, l := range s.Lines {
				if l.Board == b.Number {
					cells = slices.Concat(cells, l.Cells, l.Earlier)
				}
			}
		}
		rows := sheets["Readings"][1:]
		if len(rows) != len(cells) {
			t.Fatalf("%s: %d rows of readings for %d cells", name, len(rows), len(cells))
		}
		for i, c := range cells {
			row := rows[i]
			for head, w := range map[string]string{"Test": string(c.Test), "Status": string(c.Status), "Reading": c.Text, "Unit": c.Unit, "Result": c.Result, "Why": c.Why, "Source": c.Source, "Reason": c.Reason} {
				if got := row[column("Readings", head)].figure(); got != w {
					t.Errorf("%s: row %d, %s is %q, want %q", name, i, head, got, w)
				}
			}
			isNumber := row[column("Readings", "Reading")].Type == "n" && c.Text != ""
			if want := c.Bound == "=" && c.Unit != ""; isNumber != want {
				t.Errorf("%s: row %d, %q is a number: %v", name, i, c.Text, isNumber)
			}
		}
		for sheet, list := range map[string][]string{"Left to do": s.ToDo, "Cautions": s.Cautions} {
			for i, item := range list {
				if got := sheets[sheet][i+1][0].Text; got != item {
					t.Errorf("%s: %s %d is %q, want %q", name, sheet, i, got, item)
				}
			}
		}
		job := map[string]string{}
		for _, row := range sheets["Job"][1:] {
			job[row[0].Text] = row[1].Text
		}
		if job["Sum of the last event"] != s.Record.Sum || (job["Status"] == "draft, not signed off") != (s.Signed == nil) {
			t.Errorf("%s: %q", name, job)
		}
		if g := s.Signed; g != nil && (job["Signed off by"] != g.Name || job["Initials"] != g.Initials || job["Sum of what was signed"] != g.Sum || job["Signed off as event"] != fmt.Sprint(g.Event)) {
			t.Errorf("%s: %q", name, job)
		}
		for i := range sheets["Corrections"][1:] {
			row := sheets["Corrections"][i+1]
			for head, key := range map[string]string{"From": "from", "To": "to", "What became of it": "what", "Why": "why", "By": "by"} {
				got := strings.ReplaceAll(row[column("Corrections", head)].Text, "ohm", "Ω")
				if w := want[fmt.Sprintf("corrected %s/%d", key, i)]; got != w {
					t.Errorf("%s: correction %d, %s is %q, want %q", name, i, head, got, w)
				}
			}
		}
		if n := len(sheets["Corrections"]) - 1; want[fmt.Sprintf("corrected by/%d", n)] != "" || n > 0 && want[fmt.Sprintf("corrected by/%d", n-1)] == "" {
			t.Errorf("%s: %d corrections", name, n)
		}
		for i, o := range s.Observations {
			row := sheets["Observations"][i+1]
			if row[2].Text != o.Code || row[3].Text != printable.Words(o.Text) {
				t.Errorf("%s: observation %d is %q", name, i, row)
			}
		}
		for i, n := range s.Notes {
			if row := sheets["Notes"][i+1]; row[2].Text != printable.Words(n.Text) {
				t.Errorf("%s: note %d is %q", name, i, row)
			}
		}
	}
}

// Whatever the log holds: the workbook holds no formula, and is the same again.
func TestAnyWorkbook(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := report.Build(reporttest.DrawWork(t))
		s.Record.Sum = rapid.SampledFrom([]string{"", reporttest.SomeSum}).Draw(t, "sum")
		var a, b bytes.Buffer
		if err := XLSX(&a, s); err != nil {
			t.Fatal(err)
		}
		if err := XLSX(&b, s); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Fatal("the same schedule gave another workbook")
		}
		reporttest.NoFormulas(t, a.Bytes())
	})
}

func BenchmarkXLSX400(b *testing.B) {
	s := reporttest.Large(400)
	for b.Loop() {
		if err := XLSX(io.Discard, s); err != nil {
			b.Fatal(err)
		}
	}
}
