package board

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

const terrace = "../../testdata/boards/terrace.yaml"

func good(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile(terrace)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestReadTerrace(t *testing.T) {
	job, err := Read(strings.NewReader(good(t)), "terrace.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if len(job.Boards[0].Ways) != 10 || job.Instrument.Serial != "0041732" || job.Instrument.OverRange != 999 {
		t.Errorf("read %+v", job)
	}
	if w := job.Way(1, 2); w == nil || !w.TwoWay || w.Device.RCD == nil || w.Device.RCD.Rated != 30 || w.CPC != 1 {
		t.Errorf("way 2 is %+v", w)
	}
	if w := job.Way(1, 10); w == nil || !w.Spare {
		t.Errorf("way 10 is %+v", w)
	}
	if job.Way(1, 11) != nil {
		t.Error("way 11 exists")
	}
}

// A figure with leading noughts is text and stays as written.
func TestReadKeepsText(t *testing.T) {
	job, err := Read(strings.NewReader("\ufeff"+strings.ReplaceAll(strings.Replace(good(t), `"0041732"`, "0041732", 1), "\n", "\r\n")), "x")
	if err != nil || job.Instrument.Serial != "0041732" {
		t.Errorf("serial %q, %v", job.Instrument.Serial, err)
	}
}

// Each edit of the good file gives one error that says where and what.
func TestReadRefuses(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown key":         {"rating: 6, breaking", "rateing: 6, breaking", `line 19, column 48: unknown key "rateing" in board.ways[0].device; use "rating"`},
		"unknown key far off": {"tester: JW", "tester: JW\nweather: dry", `line 7, column 1: unknown key "weather" in the file; use one of reference, address`},
		"tester of 24":        {"tester: JW", "tester: ABCDEFGHIJKLMNOPQRSTUVWX", `line 6, column 9: tester: "ABCDEFGHIJKLMNOPQRSTUVWX" are no initials; give 1 to 8 letters`},
		"tester of two words": {"tester: JW", "tester: A1 B2", `line 6, column 9: tester: "A1 B2" are no initials; give 1 to 8 letters`},
		"key twice":           {"tester: JW", "tester: JW\ntester: AB", `line 7, column 1: mapping key "tester" already defined`},
		"way twice":           {"- way: 2\n", "- way: 1\n", "line 26, column 12: way 1 is described twice, first on line 17"},
		"way out of order":    {"- way: 2\n", "- way: 12\n", "line 36, column 12: way 3 comes after way 12"},
		"way 0":               {"- way: 1\n", "- way: 0\n", `line 17, column 12: board.ways[0].way is "0", which is no way of a board; write it as marked: 1 to 99`},
		"way 100":             {"- way: 10\n", "- way: 100\n", "\"100\", which is no way of a board"},
		"way missing":         {"- way: 1\n      feeds", "- feeds", "line 17, column 7: board.ways[0].way is missing"},
		"way a fraction":      {"- way: 1\n", "- way: 1.5\n", `line 17, column 12: board.ways[0].way is "1.5", which is no way of a board`},
		"way negative":        {"- way: 1\n", "- way: -1\n", `"-1", which is no way of a board`},
		"way in hex":          {"- way: 1\n", "- way: 0x1\n", `"0x1", which is no way of a board`},
		"way a list":          {"- way: 1\n", "- way: [1]\n", "is not a single value"},
		"impossible rating":   {"type: B, rating: 6, breaking", "type: B, rating: 31, breaking", "line 19, column 56: no device to BS EN 60898 has a rating of 31 A"},
		"rating nought":       {"type: B, rating: 6, breaking", "type: B, rating: 0, breaking", "outside 0.5 to 1250"},
		"rating with unit":    {"type: B, rating: 6, breaking", "type: B, rating: 6A, breaking", `"6A", not a number`},
		"rating infinite":     {"type: B, rating: 6, breaking", "type: B, rating: .inf, breaking", "not a number"},
		"device type":         {"type: B, rating: 6, breaking", "type: K, rating: 6, breaking", `device type is "K"; write B, C or D`},
		"rcd rating":          {"rated: 30", "rated: 31", "no residual current device is rated 31 mA"},
		"rcd type":            {"type: A}", "type: Q}", `RCD type is "Q"`},
		"bad date":            {"date: 2026-03-14", "date: 2026-02-30", `line 5, column 7: date is "2026-02-30", which is not a date`},
		"british date":        {"date: 2026-03-14", "date: 14/03/2026", "write year-month-day"},
		"checked later":       {"checked: 2026-02-02", "checked: 2026-04-02", "after the date of the job"},
		"missing":             {"tester: JW\n", "", "line 3, column 1: tester is missing; add it"},
		"null":                {"tester: JW", "tester: ", "line 6, column 8: tester is missing"},
		"over range missing":  {"  over_range: 999 ", "  # ", "instrument.over_range is missing"},
		"earthing":            {"earthing: TN-C-S", "earthing: TNCS", "write TN-S, TN-C-S or TT"},
		"voltage":             {"voltage: 230", "voltage: 23000", "outside 50 to 600"},
		"bool":                {"surge_protection: true", "surge_protection: perhaps", "write true or false"},
		"wiring":              {"wiring: ring", "wiring: rnig", `wiring is "rnig"; write radial or ring`},
		"ring spare":          {"spare: true", "spare: true\n      wiring: ring", "way 10 is spare but has wiring"},
		"spare two-way":       {"spare: true", "spare: true\n      two_way: true", "way 10 is spare but has two_way"},
		"bar missing":         {"      neutral_bar: A\n", "", "way 1 has no neutral_bar but other ways have"},
		"line size":           {"line: 1.5", "line: 15000", "outside 0.5 to 1000"},
		"points":              {"points: 9", "points: 9000", "outside 1 to 500"},
		"reference path":      {"reference: TER-0107", "reference: ../../etc/passwd", "cannot name a file"},
		"reference hidden":    {"reference: TER-0107", "reference: .hidden", "cannot name a file"},
		"long text":           {"feeds: Cooker", "feeds: " + strings.Repeat("x", 100), "more than 80 characters"},
		"several lines":       {"feeds: Cooker", "feeds: |\n        Cooker\n        and more", "not a single value"},
		"escaped control":     {"feeds: Cooker", `feeds: "Coo\u0007ker"`, "does not print"},
		"anchor":              {"feeds: Cooker", "feeds: &a Cooker", "YAML that a board file does not use"},
		"alias":               {"feeds: Cooker", "feeds: *a", "YAML that a board file does not use"},
		"merge":               {"feeds: Cooker", "<<: Cooker", "YAML that a board file does not use"},
		"tag":                 {"feeds: Cooker", "feeds: !!binary Cooker", "YAML that a board file does not use"},
		"tab":                 {"  name: Consumer", "\tname: Consumer", "line 12, column"},
		"control":             {"feeds: Cooker", "feeds: Coo\x07ker", "hidden character U+0007; remove it"},
		"second document":     {"board:\n", "---\nboard:\n", "a second document begins"},
		"not a group":         {"instrument:\n", "instrument: 3\nboard2:\n", "instrument is not a group of keys"},
		"deep flow":           {"feeds: Cooker", "feeds: " + strings.Repeat("[", 200), "nests too deep"},
		"deep block":          {"feeds: Cooker", "feeds:\n" + strings.Repeat("- ", 100) + "x", "nests too deep"},
		"tests unknown":       {"tests: [insulation]", "tests: [insulation, earthing]", `line 102, column 21: unknown kind of test "earthing"; list continuity, insulation, polarity or live`},
		"tests twice":         {"tests: [insulation]", "tests: [live, live]", "line 102, column 15: live is listed twice"},
		"tests empty":         {"tests: [insulation]", "tests: []", "line 102, column 8: tests is empty"},
		"tests a word":        {"tests: [insulation]", "tests: insulation", "tests is not a list"},
		"way null":            {"- way: 10\n      spare: true", "- ", "board.ways[9].way is missing"},
	} {
		t.Run(name, func(t *testing.T) {
			text := good(t)
			if !strings.Contains(text, c.old) {
				t.Fatalf("the good file has no %q", c.old)
			}
			_, err := Read(strings.NewReader(strings.Replace(text, c.old, c.new, 1)), "b.yaml")
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v\nwant    %s", err, c.want)
				return
			}
			if !strings.HasPrefix(err.Error(), "board file b.yaml") {
				t.Errorf("error %v does not begin with the file", err)
			}
			var p *Problem
			if !errors.As(err, &p) || p.Line < 1 || p.Column < 1 || p.Do == "" {
				t.Errorf("problem %+v has no place or no advice", p)
			}
		})
	}
}

func TestReadRefusesWhole(t *testing.T) {
	for name, c := range map[string]struct{ in, want string }{
		"empty":      {" \n\n", "the file is empty"},
		"comments":   {"# nothing\n", "holds only comments"},
		"binary":     {"\xff\xfe\x00", "not UTF-8"},
		"large":      {strings.Repeat("# padding\n", 110000), "larger than 1 MiB"},
		"brackets":   {strings.Repeat("[", 1<<20), "nests too deep"},
		"dashes":     {strings.Repeat("- ", 1<<19), "nests too deep"},
		"questions":  {strings.Repeat("? ", 1<<19), "nests too deep"},
		"scalar":     {"hello", "the file is not a group of keys"},
		"list":       {"- a\n- b\n", "the file is not a group of keys"},
		"all spare":  {strings.Split(good(t), "    - way: 1\n")[0] + "    - {way: 1, spare: true}\n", "nothing to test"},
		"no ways":    {strings.Split(good(t), "  ways:\n")[0], "board.ways is missing or empty"},
		"many wrong": {"a: 1\nb: 2\n", "unknown key \"b\""},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Read(strings.NewReader(c.in), "b.yaml")
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %.200v, want %s", err, c.want)
			}
		})
	}
	if _, err := Read(iotest.ErrReader(errors.New("disk gone")), "b.yaml"); err == nil || !strings.Contains(err.Error(), "disk gone") {
		t.Errorf("error %v", err)
	}
}

// Deeper and deeper indentation reaches the parser's recursion only so far.
func TestReadDeepIndentation(t *testing.T) {
	var b strings.Builder
	for i := range 1400 {
		fmt.Fprintf(&b, "%sa:\n", strings.Repeat(" ", i))
	}
	if _, err := Read(strings.NewReader(b.String()), "b.yaml"); err == nil || !strings.Contains(err.Error(), "nests too deep") {
		t.Errorf("error %.200v", err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(good(f))
	f.Add(text(f, workshop))
	for _, s := range []string{"", "a: [", "board: {ways: [{way: 1}]}", "boards: [{ways: [{way: 1}]}]", "boards:\n- number: 1\n  supply: {from: 1}", "a: &x\n  b: *x", "- - -", "? a\n: b", "%YAML 1.2\n---\n", "a: |\n  b\n", "'"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		job, err := Read(strings.NewReader(s), "fuzz.yaml")
		if err != nil {
			if !strings.HasPrefix(err.Error(), "board file fuzz.yaml") {
				t.Fatalf("%q: error %v does not say what failed", s, err)
			}
			return
		}
		sound(t, job)
	})
}

// sound checks what everybody may rely on in a job that was read.
func sound(t interface{ Fatalf(string, ...any) }, job Job) {
	boards := map[int]bool{}
	for _, b := range job.Boards {
		if boards[b.Number] || b.Number < 1 || b.Number > 99 || b.Phases != 1 && b.Phases != 3 {
			t.Fatalf("board %+v", b)
		}
		boards[b.Number] = true
		seen := map[int]bool{}
		for _, w := range b.Ways {
			if seen[w.Number] || w.Number < 1 || w.Number > 99 || !w.Spare && (w.Feeds == "" || w.Device.Rating <= 0) {
				t.Fatalf("way %+v", w)
			}
			seen[w.Number] = true
			if !w.Spare && (w.Phases != 1 && w.Phases != 3 || w.Phases > b.Phases || w.Material == "" || w.CPCKind == "" || w.Spurs > 0 && w.Wiring != Ring) {
				t.Fatalf("way %+v of a board of %d phases", w, b.Phases)
			}
			if to := job.Board(w.Supplies); w.Supplies != 0 && (to == nil || to.Supply.From != b.Number || to.Supply.FromWay != w.Number) {
				t.Fatalf("way %+v supplies %+v", w, to)
			}
		}
		// Going upstream ends at the origin.
		up := &b
		for n := 0; up.Supply.From != 0; n++ {
			next := job.Board(up.Supply.From)
			if next == nil || n > len(job.Boards) || next.Way(up.Supply.FromWay) == nil || next.Way(up.Supply.FromWay).Supplies != up.Number {
				t.Fatalf("board %d is fed from nowhere: %+v", b.Number, up.Supply)
			}
			up = next
		}
	}
	if len(boards) == 0 {
		t.Fatalf("a job without boards")
	}
}

// A board that feeds others comes before those it feeds, and otherwise the
// boards stay as they are described.
func TestInOrder(t *testing.T) {
	fed := func(number, from int) Board { return Board{Number: number, Supply: Supply{From: from}} }
	for name, c := range map[string]struct {
		boards []Board
		want   []int
	}{
		"as described":   {[]Board{fed(3, 0), fed(1, 3), fed(2, 0)}, []int{3, 1, 2}},
		"fed come later": {[]Board{fed(5, 4), fed(1, 0), fed(4, 1), fed(2, 9)}, []int{1, 4, 5, 2}},
		"a loop ends":    {[]Board{fed(1, 2), fed(2, 1)}, []int{1, 2}},
		"itself":         {[]Board{fed(1, 1)}, []int{1}},
		"none":           {nil, nil},
	} {
		if got := (Job{Boards: c.boards}).InOrder(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

func TestAsks(t *testing.T) {
	if !(Job{}).Asks(Live) || (Job{Tests: []Kind{Insulation}}).Asks(Live) || !(Job{Tests: []Kind{Insulation}}).Asks(Insulation) {
		t.Error("what a job asks for")
	}
}

// A job that was read is a job however it comes again, and what no file may say no
// other source may.
func TestComplete(t *testing.T) {
	paths, err := filepath.Glob("../../testdata/boards/*.yaml")
	if err != nil || len(paths) < 3 {
		t.Fatal(paths, err)
	}
	for _, path := range paths {
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		job, err := Read(f, path)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		data, err := json.Marshal(job)
		if err != nil {
			t.Fatal(err)
		}
		var again Job
		if err := json.Unmarshal(data, &again); err != nil {
			t.Fatal(err)
		}
		got, err := Complete(again, "export")
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(job, got); d != "" {
			t.Errorf("%s: %s", path, d)
		}
		for name, spoil := range map[string]func(*Job){
			"reference": func(j *Job) { j.Reference = "../../x" }, "date": func(j *Job) { j.Date = "soon" }, "address": func(j *Job) { j.Address = "a\x00b" },
			"no boards": func(j *Job) { j.Boards = nil }, "voltage": func(j *Job) { j.Boards[0].Voltage = -230 }, "way twice": func(j *Job) { j.Boards[0].Ways = append(j.Boards[0].Ways, j.Boards[0].Ways[0]) },
			"wiring": func(j *Job) { j.Boards[0].Ways[0].Wiring = "<script>" }, "earthing": func(j *Job) { j.Boards[0].Earthing = "" }, "length": func(j *Job) { j.Boards[0].Ways[0].Length = math.Inf(1) },
			"tests": func(j *Job) { j.Tests = []Kind{"all"} },
		} {
			var bad Job
			if err := json.Unmarshal(data, &bad); err != nil {
				t.Fatal(err)
			}
			spoil(&bad)
			var p *Problem
			if _, err := Complete(bad, "export"); !errors.As(err, &p) || p.File != "export" {
				t.Errorf("%s: %s: %v", path, name, err)
			}
		}
	}
}

// One rule for the tester of a job, of a session, and for a reviewer.
func TestCheckInitials(t *testing.T) {
	for by, ok := range map[string]bool{"A": true, "AB": true, "ÄÖÜ": true, "abcdefgh": true, "": false, "abcdefghi": false, "A B": false, "A1": false, "A.": false, "\xff": false, "A\u202e": false} {
		if err := CheckInitials(by); (err == nil) != ok {
			t.Errorf("%q: %v", by, err)
		}
	}
}

// A record of an earlier waycall may have another tester than a board file may today.
func TestTesterOfAnOldRecord(t *testing.T) {
	job, err := Read(strings.NewReader(good(t)), "terrace.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, tester := range []string{"J. W. Example", "ABCDEFGHIJKLMNOPQRSTUVWX"} {
		job.Tester = tester
		if err := CheckRecorded(job, "old"); err != nil {
			t.Errorf("recorded: %v", err)
		}
		if err := Check(job); err == nil {
			t.Errorf("a new job takes %q", tester)
		}
	}
	if job.Tester = "a\nb"; CheckRecorded(job, "old") == nil {
		t.Error("two lines are taken")
	}
}
