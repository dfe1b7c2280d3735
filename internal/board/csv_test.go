package board

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// stub is the terrace without its ways.
func stub(t testing.TB) string {
	s, _, _ := strings.Cut(good(t), "  ways:\n")
	return s
}

const table = `way,feeds,device.standard,device.type,device.rating,device.rcd.rated,device.rcd.type,wiring,line,cpc,length,two_way,spare
1,"Lights, upstairs",BS EN 60898,B,6,30,A,radial,1.5,1.0,32,,
2, Landing ,BS EN 60898,B,6,,,radial,1.5,1,,yes,

,,,,,,,,,,,,
3,"Sockets
",BS EN 60898,B,32,30,A,ring,2.5,1.5,64,no
4,,,,,,,,,,,,true
`

func TestReadCSV(t *testing.T) {
	job, err := ReadCSV(strings.NewReader("\ufeff"+strings.ReplaceAll(table, "\n", "\r\n")), "ways.csv", strings.NewReader(stub(t)), "stub.yaml")
	if err != nil {
		t.Fatal(err)
	}
	mcb := func(rating float64, rcd *RCD) Device {
		return Device{Standard: MCB, Type: "B", Rating: rating, RCD: rcd}
	}
	want := []Way{
		{Number: 1, Feeds: "Lights, upstairs", Device: mcb(6, &RCD{Rated: 30, Type: "A"}), Wiring: Radial, Phases: 1, Line: 1.5, CPC: 1, Material: Copper, CPCKind: Conductor, Length: 32},
		{Number: 2, Feeds: "Landing", Device: mcb(6, nil), Wiring: Radial, Phases: 1, Line: 1.5, CPC: 1, Material: Copper, CPCKind: Conductor, TwoWay: true},
		{Number: 3, Feeds: "Sockets", Device: mcb(32, &RCD{Rated: 30, Type: "A"}), Wiring: Ring, Phases: 1, Line: 2.5, CPC: 1.5, Material: Copper, CPCKind: Conductor, Length: 64},
		{Number: 4, Spare: true},
	}
	if diff := cmp.Diff(want, job.Boards[0].Ways); diff != "" {
		t.Error(diff)
	}
	if job.Reference != "TER-0107" || job.Boards[0].Number != 1 {
		t.Errorf("read %+v", job)
	}
}

func TestReadCSVRefuses(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown column": {"two_way,spare", "to_way,spare", `file ways.csv, line 1, column 109: unknown column "to_way"; use "two_way"`},
		"column twice":   {"line,cpc", "line,line", `line 1, column 98: column "line" is there twice`},
		"no column way":  {"way,feeds,", "spurs,feeds,", "line 1, column 1: no column way"},
		"rating":         {"1,\"Lights, upstairs\",BS EN 60898,B,6", "1,\"Lights, upstairs\",BS EN 60898,B,31", "line 2, column 36: no device to BS EN 60898 has a rating of 31 A"},
		"no number":      {"radial,1.5,1.0,32", "radial,thin,1.0,32", `line 2, column 50: board.ways[0].line is "thin", not a number`},
		"way twice":      {"\n2, Landing", "\n1, Landing", "line 3, column 1: way 1 is described twice, first on line 2"},
		"way missing":    {"\n2, Landing", "\n, Landing", "line 3, column 1: board.ways[1].way is missing"},
		"way nought":     {"\n2, Landing", "\n0, Landing", "line 3, column 1: board.ways[1].way is \"0\", which is no way of a board"},
		"feeds missing":  {"2, Landing ", "2,", "line 3, column 1: board.ways[1].feeds is missing"},
		"half an RCD":    {"6,30,A,", "6,,A,", "line 2, column 39: board.ways[0].device.rcd.rated is missing"},
		"too many cells": {"64,no", "64,no,,,", "the row has 15 cells but the header has 13"},
		"quote":          {"2, Landing ", "2,Lan\"ding", `line 3, column 6: bare " in non-quoted-field`},
		"open quote":     {"\"Lights, upstairs\"", "\"Lights, upstairs", "line"},
		"control":        {"Landing", "Land\x07ing", "line 3, column 8: hidden character U+0007"},
		"not text":       {"Landing", "Land\xffing", "not UTF-8"},
		"whether":        {"1,,yes", "1,,perhaps", `two_way is "perhaps"; write true or false`},
	} {
		t.Run(name, func(t *testing.T) {
			if !strings.Contains(table, c.old) {
				t.Fatalf("the good table has no %q", c.old)
			}
			_, err := ReadCSV(strings.NewReader(strings.Replace(table, c.old, c.new, 1)), "ways.csv", strings.NewReader(stub(t)), "stub.yaml")
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "board file ways.csv") {
				t.Errorf("error %v\nwant    %s", err, c.want)
			}
		})
	}
	for name, c := range map[string]struct{ table, stub, want string }{
		"empty":         {"", stub(t), "board file ways.csv: the file is empty"},
		"header alone":  {"way,feeds\n", stub(t), "board.ways is missing or empty"},
		"only blanks":   {",,\n", stub(t), `unknown column ""`},
		"ways in both":  {table, good(t), "board file stub.yaml, line 17, column 5: ways are listed here and come from ways.csv as well"},
		"several":       {table, strings.Replace(stub(t), "board:", "boards:", 1), "boards is not a list"},
		"wrong stub":    {table, strings.Replace(stub(t), "TN-C-S", "TNCS", 1), "board file stub.yaml, line 13, column 13: board.earthing"},
		"no board":      {table, "tester: JW\n", "the ways come from a table, so the file must describe one board"},
		"three boards":  {table, text(t, workshop), "the file must describe one board"},
		"all spare":     {"way,spare\n1,true\n", stub(t), "every way is spare"},
		"many ways":     {"way\n" + strings.Repeat("1\n", 100), stub(t), "more than 99 ways"},
		"large":         {strings.Repeat("way,\n", 1<<18), stub(t), "larger than 1 MiB"},
		"unknown board": {table, "board: {}\n", "board.name is missing"},
	} {
		if _, err := ReadCSV(strings.NewReader(c.table), "ways.csv", strings.NewReader(c.stub), "stub.yaml"); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %s", name, err, c.want)
		}
	}
	if _, err := ReadCSV(iotest.ErrReader(errors.New("disk gone")), "ways.csv", strings.NewReader(stub(t)), "stub.yaml"); err == nil || !strings.Contains(err.Error(), "disk gone") {
		t.Errorf("error %v", err)
	}
}

// The same ways in YAML and in a table are the same job.
func TestCSVAndYAMLAgree(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var yaml, rows strings.Builder
		rows.WriteString("device.rating,way,line,feeds,wiring,device.standard,device.type,points,use,undocumented\n")
		yaml.WriteString("  ways:\n")
		for n := range rapid.IntRange(1, 12).Draw(rt, "ways") {
			feeds := rapid.StringMatching(`[A-Z][a-z ,"']{0,10}[a-z]`).Draw(rt, "feeds")
			rating := rapid.SampledFrom(ratings[MCB]).Draw(rt, "rating")
			line := rapid.SampledFrom([]float64{1, 1.5, 2.5, 16}).Draw(rt, "line")
			wiring := rapid.SampledFrom([]Wiring{Radial, Ring}).Draw(rt, "wiring")
			use := rapid.SampledFrom([]Use{"", Socket, Lighting, Fixed}).Draw(rt, "use")
			old := rapid.SampledFrom([]string{"", "true", "false", "yes"}).Draw(rt, "undocumented")
			points := rapid.IntRange(1, 20).Draw(rt, "points")
			fmt.Fprintf(&yaml, "    - {way: %d, feeds: '%s', device: {standard: BS EN 60898, type: C, rating: %v}, wiring: %s, line: %v, points: %d, use: %s, undocumented: %s}\n",
				n+1, strings.ReplaceAll(feeds, "'", "''"), rating, wiring, line, points, use, old)
			fmt.Fprintf(&rows, "%v,%d,%v,\"%s\",%s,BS EN 60898,C,%d,%s,%s\n", rating, n+1, line, strings.ReplaceAll(feeds, `"`, `""`), wiring, points, use, old)
		}
		a, err := Read(strings.NewReader(stub(t)+yaml.String()), "b.yaml")
		if err != nil {
			rt.Fatal(err)
		}
		b, err := ReadCSV(strings.NewReader(rows.String()), "ways.csv", strings.NewReader(stub(t)), "stub.yaml")
		if err != nil {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(a, b); diff != "" {
			rt.Fatal(diff)
		}
	})
}

func FuzzReadCSV(f *testing.F) {
	f.Add(table)
	for _, s := range []string{"", "way", "way\n1", "way,spare\n1,true", "way,device.rcd.rated\n1,30\n", "\"", "way;feeds\n1;x", "way\n\"\n"} {
		f.Add(s)
	}
	board := stub(f)
	f.Fuzz(func(t *testing.T, s string) {
		job, err := ReadCSV(strings.NewReader(s), "ways.csv", strings.NewReader(board), "stub.yaml")
		if err != nil {
			if !strings.HasPrefix(err.Error(), "board file ") {
				t.Fatalf("%q: error %v does not say what failed", s, err)
			}
			return
		}
		sound(t, job)
	})
}
