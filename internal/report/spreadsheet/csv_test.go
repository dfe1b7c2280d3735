package spreadsheet

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/columns"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/words"
)

// In CSV, in JSON and as text hostile words are what they are, on one line, and
// nothing that a spreadsheet or a terminal would do something with. Python's csv
// reads each cell back.
func TestHostileText(t *testing.T) {
	dir := t.TempDir()
	want := map[string][][]string{}
	for name, text := range reporttest.Hostile {
		s := reporttest.Spoilt(t, text)
		for l := range strings.SplitSeq(reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, s) }), "\n") {
			if len([]rune(l)) > columns.Width {
				t.Errorf("%s: a line of %d: %.150q", name, len([]rune(l)), l)
			}
			for _, r := range l {
				if printable.Hidden(r) {
					t.Errorf("%s: %q in the text", name, r)
				}
			}
		}
		out := reporttest.Written(t, func(w io.Writer) error { return CSV(w, s) })
		if err := os.WriteFile(filepath.Join(dir, name+".csv"), []byte(out), 0o600); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		want[name] = rows
		for _, row := range rows[1:] {
			if row[0] == "line" && row[slices.Index(csvHead, "feeds")] != csvField(text) {
				t.Errorf("%s: feeds is %.100q", name, row[slices.Index(csvHead, "feeds")])
			}
		}
		var back report.Schedule
		if err := json.Unmarshal([]byte(reporttest.Written(t, func(w io.Writer) error { return report.Write(w, s) })), &back); err != nil {
			t.Fatal(err)
		}
		if got := back.Lines[0].Feeds; got != strings.ToValidUTF8(text, "\uFFFD") && name != "broken" {
			t.Errorf("%s: the JSON has %.100q", name, got)
		}
	}
	cmd := exec.Command("python3", "-c", `
import csv, json, pathlib, sys
all = {}
for p in pathlib.Path(".").glob("*.csv"):
    rows = list(csv.reader(p.open(newline="", encoding="utf-8"), strict=True))
    for row in rows:
        for cell in row:
            assert not cell.lstrip(" ").startswith(tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")), cell
            assert not any(ord(c) < 32 or ord(c) == 127 for c in cell), cell
    all[p.stem] = rows
json.dump(all, sys.stdout)`)
	cmd.Dir, cmd.Stderr = dir, os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("Python: %v", err)
	}
	var got map[string][][]string
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("Python reads something else: %.2000s", d)
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
	for name, s := range map[string]report.Schedule{"whole": report.Build(reporttest.Whole(t)), "partway": report.Build(reporttest.Partway(t)), "empty": report.Build(record.State{}), "signed": reporttest.Observed(report.Build(reporttest.Reviewed(t)))} {
		dir := t.TempDir()
		for file, f := range map[string]func(io.Writer) error{"s.csv": func(w io.Writer) error { return CSV(w, s) }, "s.json": func(w io.Writer) error { return report.Write(w, s) }} {
			if err := os.WriteFile(filepath.Join(dir, file), []byte(reporttest.Written(t, f)), 0o600); err != nil {
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
			JSON report.Schedule
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
			rest += len(b.Earlier) + len(b.Particulars)
			for _, c := range b.Cells {
				if c.Test == reading.Bonding {
					rest++
				}
			}
		}
		for i, l := range s.Lines {
			row := lines[i]
			if column(row, "board") != fmt.Sprint(l.Board) || column(row, "way") != fmt.Sprint(l.Way) || column(row, "feeds") != csvField(l.Feeds) || column(row, "result") != l.Outcome() {
				t.Errorf("%s: row %d is %q", name, i, row)
			}
			for _, test := range report.Order {
				want := ""
				if c := l.Cell(test); c != nil {
					want = c.Shown()
				}
				if got := column(row, csvColumn(test)); got != want {
					t.Errorf("%s: way %d %s is %q, want %q", name, l.Way, test, got, want)
				}
			}
			rest += len(l.Earlier)
			for _, c := range l.Cells {
				if words.OfRing(c.Test) && c.Position > 0 {
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
