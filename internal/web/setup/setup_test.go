package setup

import (
	"errors"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board"
)

func examples(t testing.TB) map[string]board.Job {
	t.Helper()
	files, err := filepath.Glob("../../../testdata/boards/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	all := map[string]board.Job{}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		job, err := board.Read(f, name)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		all[filepath.Base(name)] = job
	}
	return all
}

// form is what a browser sends of a draft that nobody touched.
func form(d Draft) url.Values {
	f := url.Values{}
	put := func(prefix string, v Values, groups ...[]Field) {
		for _, one := range slices.Concat(groups...) {
			if !one.Tick || v[one.Name] == "true" {
				f.Set(prefix+one.Name, v[one.Name])
			}
		}
	}
	put("", d.Fields, JobFields, JobMore)
	for b, one := range d.Boards {
		put(BoardPath(b)+".", one.Fields, BoardFields, BoardMore)
		for w, way := range one.Ways {
			put(WayPath(b, w)+".", way, WayFields, WayMore)
		}
	}
	return f
}

// Every board comes back from the form as it was, fields that the form does not show among
// the rest, and whatever texts it holds.
func TestRoundTrip(t *testing.T) {
	for name, job := range examples(t) {
		got, problems := Of(job).Filled(form(Of(job))).Check()
		if len(problems) > 0 || !reflect.DeepEqual(got, job) {
			t.Errorf("%s: %v\n%+v\n%+v", name, problems, got, job)
		}
	}
}

func TestRoundTripAnyText(t *testing.T) {
	all := examples(t)
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"terrace.yaml", "shop.yaml", "workshop.yaml", "lines.yaml"}).Draw(t, "board")
		text := rapid.OneOf(rapid.StringMatching(`[ -~]{1,30}`), rapid.String(), rapid.SampledFrom([]string{
			"null", "yes", "0012", "- a", "a: b", "a #b", `"`, `\`, "|", "{}", "[]", "[\"a\"]", "a, b", "a,b; c", "é"})).Draw(t, "text")
		job := all[name]
		switch rapid.IntRange(0, 3).Draw(t, "where") {
		case 0:
			job.Address = text
		case 1:
			job.Boards = slices.Clone(job.Boards)
			job.Boards[0].Name = text
		case 2:
			job.Boards = slices.Clone(job.Boards)
			job.Boards[0].Bonding, job.Boards[0].BondingLengths, job.Boards[0].NoBonding = []string{text, "gas"}, nil, false
		case 3:
			job.Boards = slices.Clone(job.Boards)
			job.Boards[0].Ways = slices.Clone(job.Boards[0].Ways)
			job.Boards[0].Ways[0].Feeds = text
		}
		want, err := board.Complete(job, "drawn")
		d := Of(job)
		got, problems := d.Filled(form(d)).Check()
		if err != nil { // what cannot be is not made to be, but for blanks at the ends
			if len(problems) == 0 && strings.TrimSpace(text) == text {
				t.Fatalf("%q is taken: %v", text, err)
			}
			return
		}
		if len(problems) > 0 || !reflect.DeepEqual(got, want) {
			t.Fatalf("%q: %v\n%+v\n%+v", text, problems, got, want)
		}
	})
}

// What is wrong is told at a field that the form shows, or at its way or board.
func TestPlace(t *testing.T) {
	d := Of(examples(t)["terrace.yaml"])
	d.Boards[0].Ways[4]["device.rating"] = "31"
	d.Boards[0].Ways[7].Set("device.rcd.rated", "")
	d.Boards[0].Ways[7].Set("device.rcd.type", "")
	d.Boards[0].Fields.Set("earthing", "TX")
	d.Fields["tests"] = "insulation, nothing"
	_, problems := d.Check()
	var got []string
	for _, p := range problems {
		got = append(got, Place(p.Path))
		if said := Said(p); strings.Contains(said, "boards[") {
			t.Errorf("it says %q", said)
		}
	}
	slices.Sort(got)
	want := []string{"boards[0].earthing", "boards[0].ways[4].device.rating", "boards[0].ways[7].device.standard", "tests"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	for path, want := range map[string]string{"boards": "", "boards[0]": "boards[0]", "boards[0].ways": "boards[0]", "boards[0].ways[3]": "boards[0].ways[3]", "": "", "boards[0].ways[3].cores": "boards[0].ways[3]"} {
		if got := Place(path); got != want {
			t.Errorf("%q is told at %q, want %q", path, got, want)
		}
	}
}

// More than the twenty faults after which Read gives up are told of a board that is blank.
func TestBlankTellsAll(t *testing.T) {
	d := Draft{Format: Format, Fields: Values{}, Boards: []Board{Blank(10)}}
	_, problems := d.Check()
	seen := map[string]bool{}
	for _, p := range problems {
		seen[Place(p.Path)] = true
	}
	for _, must := range []string{"reference", "boards[0].name", "boards[0].ways[9].feeds"} {
		if !seen[must] {
			t.Errorf("%s is not told of %d", must, len(problems))
		}
	}
}

// A usual board lacks only what nobody could know of it beforehand.
func TestTemplates(t *testing.T) {
	for _, tp := range Templates {
		d, ok := FromTemplate(tp.Name)
		if !ok || d.From == "" {
			t.Fatalf("%s: %+v", tp.Name, d)
		}
		_, problems := d.Check()
		for _, p := range problems {
			if text, ok := d.At(Place(p.Path)); !ok || text != "" {
				t.Errorf("%s: %v", tp.Name, p)
			}
		}
		for _, w := range d.Boards[0].Ways {
			for _, never := range []string{"line", "cpc", "length", "points"} {
				if w[never] != "" {
					t.Errorf("%s makes up %s", tp.Name, never)
				}
			}
		}
	}
}

func marks(b Board) (all []string) {
	for _, w := range b.Ways {
		all = append(all, w["way"]+" "+w["feeds"])
	}
	return all
}

func TestEdit(t *testing.T) {
	d := Draft{Fields: Values{}, Boards: []Board{{Fields: Values{}, Ways: []Values{
		{"way": "1", "feeds": "a", "supplies": "2"}, {"way": "2", "feeds": "b"}, {"way": "4", "feeds": "c"}}}}}
	for _, step := range []struct {
		do   func() string
		told string
		want []string
	}{
		{func() string { return d.Copy(0, 0) }, "Way 1 was copied to way 2; what followed it, 1 way, has the next number now.", []string{"1 a", "2 a", "3 b", "4 c"}},
		{func() string { return d.Move(0, 3, -1) }, "What was at way 4 is at way 3 now, and the other way round.", []string{"1 a", "2 a", "3 c", "4 b"}},
		{func() string { return d.Move(0, 3, 1) }, "It is at the end of the board already.", []string{"1 a", "2 a", "3 c", "4 b"}},
		{func() string { return d.Remove(0, 1) }, "Way 2 was taken off.", []string{"1 a", "3 c", "4 b"}},
		{func() string { return d.AddWay(0) }, "Way 5 was added.", []string{"1 a", "3 c", "4 b", "5 "}},
		{func() string { return d.Copy(0, 99) }, "", []string{"1 a", "3 c", "4 b", "5 "}},
	} {
		if told := step.do(); told != step.told || !slices.Equal(marks(d.Boards[0]), step.want) {
			t.Errorf("%q, %q; want %q, %q", told, marks(d.Boards[0]), step.told, step.want)
		}
	}
	d.Group(0, []int{1, 2, 77}, "A", "30", "AC", "")
	if w := d.Boards[0].Ways[2]; w["device.rcd.group"] != "A" || w["device.rcd.rated"] != "30" || w["device.rcd.type"] != "AC" || d.Boards[0].Ways[0]["device.rcd.group"] != "" {
		t.Errorf("%v", d.Boards[0].Ways)
	}
	if after("1L1") != "1L2" || after("2L3") != "3L1" || after("99") != "" || after("x") != "" {
		t.Error(after("1L1"), after("2L3"), after("99"), after("x"))
	}
}

func TestPasted(t *testing.T) {
	table := "No.\tDescription\tDevice\tType\tRating (A)\tWiring\tRemarks\n1\tLights\tMCB\tB\t6 A\tRadial\tattic\n2\tSockets\trcbo\tB\t32\tRING\t\n\tmerged\t\t\t\t\t\n4\tSpare\t\t\t\t\t\t\tstray\n"
	d, told, err := Pasted(table)
	if err != nil {
		t.Fatal(err)
	}
	want := []Values{
		{"way": "1", "feeds": "Lights", "device.standard": board.MCB, "device.type": "B", "device.rating": "6", "wiring": "radial"},
		{"way": "2", "feeds": "Sockets", "device.standard": board.RCBO, "device.type": "B", "device.rating": "32", "wiring": "ring"},
		{"feeds": "merged"}, {"way": "4", "spare": "true"}}
	if !reflect.DeepEqual(d.Boards[0].Ways, want) {
		t.Errorf("%v", d.Boards[0].Ways)
	}
	for _, part := range []string{`"Remarks"`, "Row 4 has no way", "merged", `"stray"`} {
		if !strings.Contains(strings.Join(told, "\n"), part) {
			t.Errorf("nothing says %s: %q", part, told)
		}
	}
	// What the page says that columns may be called.
	const names = "way, feeds, device, type, rating, breaks, wiring, line, cpc, length, points, rcd group, rcd ma, rcd type, neutral bar"
	if d, told, err := Pasted(strings.ReplaceAll(names, ", ", ";") + "\n" + strings.Repeat("1;", 14) + "1"); err != nil || len(told) > 0 || len(d.Boards[0].Ways[0]) != 15 {
		t.Errorf("%v, %q, %v", d, told, err)
	}
	if d, _, err := Pasted("way;feeds;line\n1;Lights;1.5\n"); err != nil || d.Boards[0].Ways[0]["line"] != "1.5" {
		t.Error(d, err)
	}
	for text, want := range map[string]string{"": "nothing was pasted", "hello\nthere": "name the columns", "way,feeds\n": "no rows", strings.Repeat("x", 2<<20): "1 MiB",
		"way,feeds\n" + strings.Repeat("1,a\n", 100): "99 ways", "reference: X\nnonsense: 1\n": "unknown key", "way,feeds\n\"1": "cannot be read"} {
		if _, _, err := Pasted(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.20q: %v", text, err)
		}
	}
	file, err := os.ReadFile("../../../testdata/boards/terrace.yaml")
	if err != nil {
		t.Fatal(err)
	}
	d, told, err = Pasted(string(file))
	if job, problems := d.Check(); err != nil || len(problems) > 0 || !reflect.DeepEqual(job, examples(t)["terrace.yaml"]) {
		t.Errorf("%v, %v", problems, err)
	}
	if len(told) != 1 || !strings.Contains(told[0], "comments (5 lines") {
		t.Errorf("%q", told)
	}
}

func TestDrafts(t *testing.T) {
	dir := t.TempDir()
	s := NewDrafts(dir)
	d := Draft{Format: Format, Fields: Values{"address": "one"}, Boards: []Board{Blank(2)}}
	id, err := s.Begin(d, nil)
	if err != nil {
		t.Fatal(err)
	}
	write := func(version int, page, text string) (int, error) {
		c := d.Clone()
		c.Fields["address"] = text
		return s.Put(id, version, page, c)
	}
	for i, text := range []string{"two", "three"} { // the same page may write on from where it began
		if v, err := write(1, "P", text); err != nil || v != i+2 {
			t.Fatal(v, err)
		}
	}
	if _, err := write(2, "Q", "theirs"); !errors.Is(err, ErrStale) {
		t.Errorf("another page: %v", err)
	}
	address := func(s *Drafts) string {
		t.Helper()
		now, err := s.Get(id)
		if err != nil {
			t.Fatal(err)
		}
		return now.Draft.Fields["address"]
	}
	if got := address(s); got != "three" {
		t.Error(got)
	}
	if got := address(NewDrafts(dir)); got != "three" {
		t.Errorf("of the file: %s", got)
	}
	for _, want := range []string{"two", "one", "one"} {
		if _, err := s.Undo(id); err != nil || address(s) != want {
			t.Errorf("taken back to %s, %v; want %s", address(s), err, want)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "drafts", "00000000000000aa"+ending), []byte(`{"format":2,"boards":[{}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Get("00000000000000aa"); !errors.Is(err, ErrNewer) {
		t.Errorf("of a later waycall: %v", err)
	}
	if list, err := s.List(); err != nil || len(list) != 2 {
		t.Errorf("%v, %v", list, err)
	}
	for _, id := range []string{"", "../x", "0000000000000000"} {
		if _, err := s.Get(id); !errors.Is(err, ErrNone) {
			t.Errorf("%q: %v", id, err)
		}
	}
	if err := s.Drop(id); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Get(id); !errors.Is(err, ErrNone) {
		t.Errorf("after it was removed: %v", err)
	}
}
