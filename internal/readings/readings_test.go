package readings

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/reading"
	"waycall/internal/record"
)

func workshop(t testing.TB) board.Job {
	t.Helper()
	return boardtest.Read(t, "workshop.yaml")
}

func TestRead(t *testing.T) {
	want := []Reading{
		{Slot: record.Slot{Board: 1, Test: reading.Bonding, Position: 2}, Quantity: reading.Quantity{Value: 0.04, Places: 2, Bound: "=", Unit: reading.Ohm}, Line: 3},
		{Slot: record.Slot{Board: 2, Way: 3, Test: reading.LNE}, Quantity: reading.Quantity{Value: 999, Bound: ">", Unit: reading.Megohm}, Line: 4, Note: "lamps, out"},
		{Slot: record.Slot{Board: 2, Way: 3, Test: reading.Polarity}, Quantity: reading.Wrong, Line: 6},
		{Slot: record.Slot{Board: 2, Way: 4, Test: reading.LN, Position: 2}, Quantity: reading.Quantity{Value: 0.3, Places: 2, Bound: "=", Unit: reading.Megohm}, Line: 7},
	}
	csv := "\ufeff# taken in March\r\nvalue,board,way,test,position,note\r\n0.04,1,0,bonding,2,\r\n>999,2,3,LN-E,,\"lamps, out\"\r\n,,,,,\r\nwrong,2,3,polarity,,\r\n 0.30 ,2,4,L-N,2,\r\n"
	yaml := "# taken in March\nreadings:\n  - {board: 1, way: 0, test: bonding, position: 2, value: 0.04}\n  - {board: 2, way: 3, test: LN-E, value: \">999\", note: \"lamps, out\"}\n\n  - {board: 2, way: 3, test: polarity, position: , value: wrong}\n  - board: 2\n    way: 4\n    test: L-N\n    position: 2\n    value: 0.30\n"
	for name, read := range map[string]func() ([]Reading, error){
		"csv":  func() ([]Reading, error) { return ReadCSV(strings.NewReader(csv), "r.csv", workshop(t)) },
		"yaml": func() ([]Reading, error) { return ReadYAML(strings.NewReader(yaml), "r.yaml", workshop(t)) },
	} {
		got, err := read()
		if err != nil {
			t.Fatal(name, err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(name, d)
		}
	}
}

// A job with one board needs no column for it.
func TestOnlyBoard(t *testing.T) {
	job := workshop(t)
	job.Boards = job.Boards[2:]
	got, err := ReadCSV(strings.NewReader("way,test,value\n1,R1+R2,0.31\n"), "r.csv", job)
	if err != nil || len(got) != 1 || got[0].Board != 3 {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestBadCSV(t *testing.T) {
	const head = "board,way,test,position,value\n"
	for in, want := range map[string]string{
		"":                                                 `readings r.csv: the file is empty; begin it with`,
		"\ufeff \n":                                        `the file is empty`,
		head:                                               `there are no readings; write one a line`,
		"# only this\n":                                    `no header row; begin it with`,
		"board,way,what,value\n1,1,Zs,1\n":                 `line 1: unknown column "what"; use board, way`,
		"way,way,test,value\n":                             `line 1: column "way" is there twice; remove one`,
		"board,way,test\n1,1,Zs\n":                         `line 1: no column value; begin the file with`,
		head + "1,3,Zs,,1,2\n":                             `line 2, way 3: the row has 6 cells but the header has 5; put a value`,
		head + "1,3,\"Zs,,1\n":                             `extraneous or missing " in quoted-field; put a value with quotes`,
		head + ",3,Zs,,1\n":                                `line 2, way 3, board: it is missing; write its number`,
		head + "1,,Zs,,1\n":                                `line 2, way: it is missing`,
		head + "1,3.0,Zs,,1\n":                             `line 2, way 3.0, way: "3.0" is no way of a board; write it as the board is marked, such as 3 or 1L2`,
		head + "1,+3,Zs,,1\n":                              `"+3" is no way of a board`,
		head + "1,-3,Zs,,1\n":                              `"-3" is no way of a board`,
		head + "1,99999999999999999999,Zs,,1\n":            `is no way of a board`,
		head + "1,100,Zs,,1\n":                             `"100" is no way of a board`,
		head + "9,3,Zs,,1\n":                               `line 2, way 3, board: there is no board 9 in this job; compare it with the board file`,
		head + "1,4,Zs,,1\n":                               `line 2, way 4, way: way 4 is not in use on board 1`,
		head + "1,44,Zs,,1\n":                              `line 2, way 44, way: way 44 is not in use on board 1`,
		head + "1,3,,,1\n":                                 `line 2, way 3, test: it is missing; use an identity`,
		head + "1,3,zs,,1\n":                               `line 2, way 3, test: unknown test "zs"; use an identity`,
		head + "1,3,Ze,,1\n":                               `line 2, way 3, test: Ze is a test of the board, not of way 3`,
		head + "1,0,Zs,,1\n":                               `line 2, way 0, test: Zs is a test of a way, not of board 1 itself`,
		head + "1,0,bonding,3,0.04\n":                      `line 2, way 0, position: board 1 has 2 bonded services, not 3`,
		head + "1,0,bonding,,0.04\n":                       `line 2, way 0, position: bonding must say which service`,
		head + "1,3,LN-E,1,200\n":                          `line 2, way 3, position: way 3 has no switch position 1`,
		head + "1,3,Zs,,\n":                                `line 2, way 3, value: it is missing; write the figure, or leave the line out`,
		head + "1,3,Zs,,-1\n":                              `value: "-1" is negative, which no reading is; read it off`,
		head + "1,3,Zs,,NaN\n":                             `value: "NaN" is not a figure; type digits 0 to 9`,
		head + "1,3,Zs,,2 10\n":                            `"2 10" has a space in it, which may be a point or nothing; type 210 or 2.10, as`,
		head + "1,3,Zs,,>0\n":                              `greater than nought says nothing; type >`,
		head + "1,3,LN-E,,OL\n":                            `where the scale ends is not known here`,
		head + "1,3,Zs,,1e9\n":                             `value: "1e9" is not a figure`,
		head + "1,3,Zs,,1000000000\n":                      `"1000000000" is above 99999; check the unit`,
		head + "1,3,Zs,,0.47 kohm\n":                       `value: "0.47 kohm" is not in ohm; type the figure in ohm`,
		head + "1,3,Zs,,\"0,47\"\n":                        `value: "0,47" has a comma, which may be a point or stand between thousands; type 0.47, as`,
		head + "1,3,Zs,,>\n":                               `value: there is no figure; type one`,
		head + "1,3,Zs,,correct\n":                         `value: "correct" is not a figure`,
		head + "1,3,polarity,,1\n":                         `value: "1" does not answer polarity; write correct or wrong`,
		head + "1,3,polarity,,>1\n":                        `does not answer polarity`,
		head + "1,3,Zs,,1\n1,3,Zs,,1\n":                    `line 3, way 3, test: Zs was given on line 2 already; remove one of the two`,
		head + "1,3,Zs,,1\x00\n":                           `line 2: hidden character U+0000; remove it`,
		head + "1,3,Zs,,\xff\n":                            `the file is not UTF-8 text`,
		strings.Repeat("#", MaxFileSize+1):                 `the file is larger than 1 MiB`,
		head + "1,3,\u202eZs,,1\n":                         `line 2: hidden character U+202E; remove it`,
		head + "1,3,Zs,,0.123456\n":                        `has 6 decimal places; type it with 0 to 4`,
		head + "1,3," + strings.Repeat("Z", 900) + ",,1\n": `unknown test "` + strings.Repeat("Z", 37) + `..."`,
	} {
		got, err := ReadCSV(strings.NewReader(in), "r.csv", workshop(t))
		if err == nil || !strings.Contains(err.Error(), want) || got != nil {
			t.Errorf("%.60q\n gives %v, %v\n  want %s", in, got, err, want)
		}
	}
}

func TestBadYAML(t *testing.T) {
	const head = "readings:\n"
	for in, want := range map[string]string{
		"":                 `the file is empty`,
		"# only this\n":    `the file holds only comments; write readings:`,
		"boards:\n  - 1\n": `line 1: the file does not begin with the one key readings`,
		head + "  x: 1\n":  `line 1: readings is not a list; write one reading a line`,
		head + "  - 3\n":   `line 2: the entry is not a group of keys; write it as`,
		head + "  - {way: 3, tset: Zs, value: 1}\n":                                                       `line 2, way 3: unknown key "tset"; use board, way`,
		head + "  - {board: 1, way: 3, test: Zs, value: [1]}\n":                                           `line 2, way 3, value: it is not a single value`,
		head + "  - board: 1\n    way: 3\n    test: LN-E\n    value: >999\n":                              `in quotes`,
		head + "  - {board: 1, way: 3, test: Zs, value: &a 1}\n":                                          `"&" is YAML that a sheet does not use`,
		head + "  - {board: 1, way: 3, test: Zs, value: 1e9}\n":                                           `"1e9" is not a figure`,
		head + "  - {board: 1, way: 3, test: Zs, value: .inf}\n":                                          `".inf" is not a figure`,
		head + "  - {board: 1, way: 03x, test: Zs, value: 1}\n":                                           `way: "03x" is no way of a board`,
		head + "  - {board: 1, way: 3, test: Zs, value: 1}\n---\nreadings: []\n":                          `a second document begins`,
		head + "  - [[[[[[1]]]]]]\n":                                                                      `nests too deep`,
		head + "  - {board: 1, way: 3, way: 3, test: Zs, value: 1}\n":                                     `r.yaml`,
		head + "  - {board: 1, way: 3, test: Zs, value: 1}\n  - {board: 1, way: 3, test: Zs, value: 1}\n": `line 3, way 3, test: Zs was given on line 2 already`,
		head + "  []\n": `there are no readings`,
	} {
		got, err := ReadYAML(strings.NewReader(in), "r.yaml", workshop(t))
		if err == nil || !strings.Contains(err.Error(), want) || got != nil {
			t.Errorf("%.60q\n gives %v, %v\n  want %s", in, got, err, want)
		}
	}
}

// Every problem is told at once, and each can be taken apart.
func TestAllProblems(t *testing.T) {
	_, err := ReadCSV(strings.NewReader("way,board,test,value\n1,9,Zs,1\n44,1,Zs,1\n3,1,Zs,x\n"), "r.csv", workshop(t))
	all, ok := err.(interface{ Unwrap() []error })
	if !ok || len(all.Unwrap()) != 3 {
		t.Fatalf("%v", err)
	}
	for i, e := range all.Unwrap() {
		var p *Problem
		if !errors.As(e, &p) || p.Line != i+2 || p.Way == "" || p.Field != []string{"board", "way", "value"}[i] || p.Do == "" {
			t.Errorf("%d: %+v", i, p)
		}
	}
	var many strings.Builder
	many.WriteString("board,way,test,value\n")
	for range 1000 {
		many.WriteString("9,9,Zs,1\n")
	}
	if _, err := ReadCSV(strings.NewReader(many.String()), "r.csv", workshop(t)); strings.Count(err.Error(), "\n") != maxProblems-1 {
		t.Errorf("%d lines of problems", 1+strings.Count(err.Error(), "\n"))
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("the disk is gone") }

func TestUnreadable(t *testing.T) {
	if _, err := ReadCSV(broken{}, "r.csv", workshop(t)); err == nil || !strings.Contains(err.Error(), "the disk is gone; check the file") {
		t.Error(err)
	}
}

// slots are places of the workshop that any reading may be for.
var slots = []record.Slot{
	{Board: 1, Test: reading.Ze}, {Board: 1, Test: reading.Bonding, Position: 1}, {Board: 1, Test: reading.PhaseSequence}, {Board: 1, Way: 3, Test: reading.R1R2},
	{Board: 2, Way: 3, Test: reading.RingR1}, {Board: 2, Way: 3, Test: reading.RingLN, Position: 12}, {Board: 2, Way: 4, Test: reading.LNE, Position: 2},
	{Board: 3, Way: 1, Test: reading.RCD1x}, {Board: 3, Way: 1, Test: reading.RCDRamp}, {Board: 3, Way: 2, Test: reading.RCDButton}, {Board: 3, Test: reading.PSC},
}

// What is written as a sheet is read as it was, from CSV and from YAML alike.
func TestRoundTrip(t *testing.T) {
	job := workshop(t)
	rapid.Check(t, func(t *rapid.T) {
		var want []Reading
		table, list := "board,way,test,position,value\n", "readings:\n"
		chosen := rapid.Permutation(slots).Draw(t, "slots")
		for i, s := range chosen[:rapid.IntRange(1, len(chosen)).Draw(t, "readings")] {
			text := rapid.SampledFrom([]string{"correct", "wrong"}).Draw(t, "word")
			if !s.Test.Judged() {
				text = rapid.StringMatching(`(0|[<>]?[1-9][0-9]{0,3})(\.[0-9]{1,4})?`).Draw(t, "value")
			}
			q, err := reading.ParseQuantity(text, s.Test.Unit())
			if err != nil {
				t.Fatal(err)
			}
			want = append(want, Reading{Slot: s, Quantity: q, Line: i + 2})
			table += fmt.Sprintf("%d,%d,%s,%d,%s\n", s.Board, s.Way, s.Test, s.Position, text)
			list += fmt.Sprintf("  - {board: %d, way: %d, test: %s, position: %d, value: %q}\n", s.Board, s.Way, s.Test, s.Position, text)
		}
		for name, got := range map[string]func() ([]Reading, error){
			"csv":  func() ([]Reading, error) { return ReadCSV(strings.NewReader(table), "r", job) },
			"yaml": func() ([]Reading, error) { return ReadYAML(strings.NewReader(list), "r", job) },
		} {
			all, err := got()
			if err != nil {
				t.Fatal(name, err)
			}
			if d := cmp.Diff(want, all); d != "" {
				t.Fatal(name, d)
			}
		}
	})
}

func fuzz(f *testing.F, pattern string, read func(string, board.Job) ([]Reading, error)) {
	files, err := filepath.Glob(pattern)
	if err != nil || len(files) == 0 {
		f.Fatalf("%v: no %s", err, pattern)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	job := workshop(f)
	f.Fuzz(func(t *testing.T, in string) {
		all, err := read(in, job)
		if err != nil {
			if all != nil {
				t.Fatalf("an error, and %d readings", len(all))
			}
			for _, r := range err.Error() {
				if r != '\n' && (r < ' ' || r == 0x7f) {
					t.Fatalf("%q in the message %q", r, err)
				}
			}
			return
		}
		seen := map[record.Slot]bool{}
		for _, r := range all {
			if err := r.Check(job); err != nil {
				t.Fatal(err)
			}
			if err := r.Test.Fits(r.Quantity); err != nil {
				t.Fatal(err)
			}
			if seen[r.Slot] || r.Line < 1 {
				t.Fatalf("%+v", r)
			}
			seen[r.Slot] = true
		}
	})
}

func FuzzReadCSV(f *testing.F) {
	f.Add("board,way,test,position,value,note\n1,0,bonding,1,0.04,\"a\nb\"\n")
	f.Add("way,test,value\n3,Zs,>999\n")
	fuzz(f, "../../testdata/readings/*.csv", func(in string, job board.Job) ([]Reading, error) { return ReadCSV(strings.NewReader(in), "r.csv", job) })
}

func FuzzReadYAML(f *testing.F) {
	f.Add("readings:\n  - board: 1\n    way: 3\n    test: LN-E\n    value: >999\n")
	fuzz(f, "../../testdata/readings/*.yaml", func(in string, job board.Job) ([]Reading, error) {
		return ReadYAML(strings.NewReader(in), "r.yaml", job)
	})
}
