package paper

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"html"
	"io"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/report/columns"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/report/spreadsheet"
	"waycall/internal/words"
)

// word is a word of a page as pdftotext finds it, in mm.
type word struct {
	x, y, x2, y2 float64
	text         string
}

var wordLine = regexp.MustCompile(`<word xMin="([-0-9.]+)" yMin="([-0-9.]+)" xMax="([-0-9.]+)" yMax="([-0-9.]+)">(.*)</word>`)

// pdftotext reads the words of each page back, without the watermark, and the
// text of all in the order of writing, without what is above and below each page.
func pdftotext(t interface {
	Helper()
	Fatalf(string, ...any)
}, p *pdf, dir string) (pages [][]word, text string) {
	t.Helper()
	path := filepath.Join(dir, "s.pdf")
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		t.Fatalf("%v", err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatalf("%v", err)
	}
	run := func(args ...string) string {
		cmd := exec.Command("pdftotext", append(args, path, "-")...)
		var complaints bytes.Buffer
		cmd.Stderr = &complaints
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("pdftotext: %v; install poppler-utils, which scripts/setup does", err)
		}
		if complaints.Len() > 0 {
			t.Fatalf("pdftotext: %s", complaints.String())
		}
		return string(out)
	}
	for page := range strings.SplitSeq(run("-bbox"), "<page ") {
		var words []word
		for _, m := range wordLine.FindAllStringSubmatch(page, -1) {
			var at [4]float64
			for i := range at {
				at[i], _ = strconv.ParseFloat(m[i+1], 64)
				at[i] *= 25.4 / 72
			}
			if w := (word{at[0], at[1], at[2], at[3], html.UnescapeString(m[5])}); w.y2-w.y < 8 {
				words = append(words, w)
			}
		}
		pages = append(pages, words) // the first is what stands before page 1
	}
	for page := range strings.SplitSeq(strings.TrimSuffix(run("-raw"), "\f"), "\f") {
		_, page, _ = strings.Cut(page, signature(p.s))
		if i := strings.LastIndex(page, "\nRecord: event"); i >= 0 {
			page = page[:i]
		}
		text += page
	}
	return pages, squash(text)
}

// squash leaves out all space, as lines are broken anywhere.
func squash(s string) string { return strings.Join(strings.Fields(s), "") }

// seen is a document with where the cells of its tables went.
type seen struct {
	*pdf
	cells []cellSeen
}

// cellSeen is a cell by the key that reporttest.Wanted knows it by.
type cellSeen struct {
	cellArea
	key string
}

// see lays a schedule out and looks where the cells went.
func see(s report.Schedule) (seen, error) {
	var all []cellSeen
	p, err := layOut(s, func(c cellArea) {
		if key := keyOf(s, c); key != "" {
			all = append(all, cellSeen{c, key})
		}
	})
	return seen{p, all}, err
}

// circuitKeys are the keys of the columns of circuits that hold no test, by group and
// name.
var circuitKeys = map[string]string{
	"Circuit/Wiring": "wiring", "Circuit/Phase": "phase", "Circuit/Points": "points", "Circuit/Length m": "length",
	"Conductors/Live mm²": "line", "Conductors/cpc mm²": "cpc", "Conductors/Material": "material", "Conductors/N bar": "neutral",
	"Protective device/BS (EN)": "standard", "Protective device/Type": "type", "Protective device/Rating A": "rating", "Protective device/Trip A": "trip", "Protective device/Breaking kA": "breaking",
	"RCD/BS (EN)": "RCD standard", "RCD/Type": "RCD type", "RCD/Rated mA": "RCD rated", "RCD/Delay": "RCD delay", "Limits/Time s": "max time", "Limits/Zs Ω": "max Zs",
	"Insulation MΩ/Test V": "volts", "Earth fault loop Ω/cold limit": "cold", "/Result": "result",
}

// keyOf is the key of a cell, and "" for one that is not looked at.
func keyOf(s report.Schedule, c cellArea) string {
	name, ok := map[string]string{
		"Corrected readings/Test": "corrected test", "Corrected readings/From": "corrected from", "Corrected readings/To": "corrected to", "Corrected readings/What became of it": "corrected what",
		"Corrected readings/Why": "corrected why", "Corrected readings/By": "corrected by", "Corrected readings/At": "corrected at",
		"Observations" + report.InTheirWords + "/Code": "observed code", "Observations" + report.InTheirWords + "/Observation": "observed text",
		"Notes made on site" + report.InTheirWords + "/Note": "noted text",
	}[c.title+"/"+c.column.name]
	if ok {
		return fmt.Sprintf("%s/%d", name, c.row)
	}
	var number int
	if n, _ := fmt.Sscanf(c.title, "Board %d:", &number); n != 1 {
		return ""
	}
	_, what, _ := strings.Cut(c.title, ": ")
	if strings.HasPrefix(what, "tests at the board itself") {
		for _, b := range s.Boards {
			if b.Number == number && c.column.name == "Reading" {
				one := b.Cells[c.row]
				return fmt.Sprintf("%d/0/0/%s/%d", number, one.Test, one.Position)
			}
		}
		return ""
	}
	what = strings.TrimPrefix(what, "circuit ")
	switch column := c.column.group + "/" + c.column.name; {
	case column == "Circuit/Way", column == "Circuit/Feeds", column == "/Notes":
		return fmt.Sprintf("%s %s/%d/%d", what, strings.ToLower(c.column.name), number, c.row)
	case circuitKeys[column] != "":
		return fmt.Sprintf("%s/%d/%d", circuitKeys[column], number, c.row)
	}
	lines := slices.DeleteFunc(slices.Clone(s.Lines), func(l report.Line) bool { return l.Board != number })
	for _, t := range slices.Concat(deadColumns, liveColumns) {
		if t.group == c.column.group && t.head == c.column.name {
			l := lines[c.row]
			if cell := l.Cell(t.test); cell != nil {
				return fmt.Sprintf("%d/%d/%d/%s/%d", number, l.Way, l.Position, t.test, cell.Position)
			}
		}
	}
	return ""
}

// in returns what stands in a cell.
func in(pages [][]word, c cellSeen) string {
	var found []word
	for _, w := range pages[c.page] {
		if x, y := (w.x+w.x2)/2, (w.y+w.y2)/2; x > c.x && x < c.x+c.w && y > c.y && y < c.y+c.h {
			found = append(found, w)
		}
	}
	slices.SortStableFunc(found, func(a, b word) int {
		if math.Abs(a.y-b.y) > 1 {
			return int(math.Copysign(1, a.y-b.y))
		}
		return int(math.Copysign(1, a.x-b.x))
	})
	text := ""
	for _, w := range found {
		text += w.text
	}
	return squash(text)
}

var noteKey = regexp.MustCompile(`^(dead tests|live tests and result) notes/`)

// readBack checks the document against the record, cell by cell and note by note.
func readBack(t testing.TB, s report.Schedule) {
	t.Helper()
	p, err := see(s)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	pages, text := pdftotext(t, p.pdf, dir)
	raw, err := exec.Command("pdftotext", "-raw", filepath.Join(dir, "s.pdf"), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	everything := string(raw) // with the watermark
	want, notes := reporttest.Wanted(s), 0
	for _, c := range p.cells {
		if noteKey.MatchString(c.key) {
			notes++
			continue
		}
		w, ok := want[c.key]
		if !ok {
			t.Errorf("%s is not in the record", c.key)
		}
		delete(want, c.key)
		if got := in(pages, c); got != squash(w) {
			t.Errorf("page %d, %s: the paper has %q, the record %q", c.page, c.key, got, w)
		}
	}
	for k, v := range want {
		t.Errorf("%s, %q, is not on the paper", k, v)
	}
	if notes != 2*len(s.Lines) {
		t.Errorf("%d cells with notes for %d lines", notes, len(s.Lines))
	}
	var all []string
	for _, l := range s.Lines {
		all = append(all, l.Remarks...)
		for _, c := range l.Cells {
			if c.Status == report.Recorded && words.OfRing(c.Test) && c.Position > 0 {
				all = append(all, fmt.Sprintf("%s (%d) %s Ω", c.Test, c.Position, c.Text))
			}
		}
	}
	for _, b := range s.Boards {
		all = append(append(all, b.Remarks...), fmt.Sprintf("Board %d: %s", b.Number, b.Name))
	}
	for _, q := range s.Preparation {
		all = append(all, q.Step)
	}
	if g := s.Signed; g != nil {
		all = append(all, g.Name+" ("+g.Initials+")", g.At.Format("2006-01-02 15:04:05 UTC")+", as event "+strconv.FormatInt(g.Event, 10), g.Sum)
	}
	for _, o := range s.Observations {
		all = append(all, o.Text)
	}
	for _, n := range s.Notes {
		all = append(all, n.Text)
	}
	for n := 1; n < len(pages); n++ {
		head := ""
		for _, w := range pages[n] {
			if w.y < 15 {
				head += w.text
			}
		}
		want := "DRAFT,notsignedoff"
		if s.Signed != nil {
			want = squash("Signed off by " + s.Signed.Name + " (" + s.Signed.Initials + "), " + s.Signed.At.Format("2006-01-02 15:04 UTC"))
		}
		if !strings.HasSuffix(head, want) {
			t.Errorf("above page %d stands %q, want %q", n, head, want)
		}
	}
	if marked := strings.Contains(everything, draft); marked != (s.Signed == nil) {
		t.Errorf("there is a draft mark: %v; signed: %+v", marked, s.Signed)
	}
	all = append(slices.Concat(all, s.ToDo, s.Cautions, signedLines(s)), s.Job.Reference, s.Job.Address, s.Job.Instrument, s.Job.Checked, s.Record.Sum)
	for _, one := range all {
		if !strings.Contains(text, squash(shown(one))) {
			t.Errorf("%q is not on the paper", one)
		}
	}
	for n := 1; n < len(pages); n++ {
		foot := ""
		for _, w := range pages[n] {
			if w.y > 200 {
				foot += w.text
			}
		}
		if want := squash(fmt.Sprintf("Record: event %d, sum %s Page %d of %d", s.Record.LastEvent, s.Record.Sum, n, len(pages)-1)); foot != want {
			t.Errorf("below page %d stands %q, want %q", n, foot, want)
		}
	}
}

func TestPDFReadsBack(t *testing.T) {
	for name, s := range reporttest.Schedules(t) {
		t.Run(name, func(t *testing.T) {
			readBack(t, s)
		})
	}
}

// Four hundred ways go on over many pages, with every cell, title and head again.
func TestPDFOfManyWays(t *testing.T) {
	s := reporttest.Large(400)
	s.Record.Sum = reporttest.SomeSum
	readBack(t, s)
	p, err := see(s)
	if err != nil {
		t.Fatal(err)
	}
	pages, _ := pdftotext(t, p.pdf, t.TempDir())
	continued := 0
	for n, words := range pages {
		text := ""
		for _, w := range words {
			text += w.text + " "
		}
		if strings.Contains(text, "dead tests (continued)") {
			continued++
			for _, head := range []string{"Way", "Feeds", "R1+R2", "LN–E", "Polarity", "Notes"} {
				if !strings.Contains(strings.ReplaceAll(text, "-", "–"), head) {
					t.Errorf("page %d has no head %s", n, head)
				}
			}
		}
	}
	if continued < 10 {
		t.Errorf("%d pages of dead tests go on", continued)
	}
}

// Every test of a way has a column; every figure that took the place of another
// has its mark, and no other.
func TestPaperMarks(t *testing.T) {
	for _, test := range report.Order {
		ofBoard := test == reading.Earthing || test == reading.Bonding || test == reading.Ze || test == reading.RA
		if !ofBoard && !slices.ContainsFunc(slices.Concat(deadColumns, liveColumns), func(c testColumn) bool { return c.test == test }) {
			t.Errorf("%s has no column", test)
		}
	}
	for name, s := range map[string]report.Schedule{"whole": report.Build(reporttest.Whole(t)), "signed": report.Build(reporttest.Reviewed(t))} {
		p, err := see(s)
		if err != nil {
			t.Fatal(err)
		}
		want, got := map[string]bool{}, map[string]bool{}
		for _, l := range s.Lines {
			for _, c := range l.Cells {
				if c.Edited != nil {
					want[fmt.Sprintf("%d/%d/%d/%s/%d", l.Board, l.Way, l.Position, c.Test, c.Position)] = true
				}
			}
			for _, c := range l.Earlier {
				// What was read for a test that is not called for any more is in the notes alone.
				if slices.ContainsFunc(l.Cells, func(now report.Cell) bool { return now.Test == c.Test }) {
					want[fmt.Sprintf("%d/%d/%d/%s/%d", l.Board, l.Way, l.Position, c.Test, c.Position)] = true
				}
			}
		}
		for _, c := range p.cells {
			if c.mark {
				got[c.key] = true
			}
		}
		if d := cmp.Diff(want, got); d != "" || len(got) == 0 {
			t.Errorf("%s: %d marks: %s", name, len(got), d)
		}
	}
}

// No paper says that anything is safe.
func TestPaperPromisesNothing(t *testing.T) {
	p, err := see(report.Build(reporttest.Workshop(t)))
	if err != nil {
		t.Fatal(err)
	}
	_, text := pdftotext(t, p.pdf, t.TempDir())
	for _, word := range []string{"safe", "satisfactory", "complies", "certify"} {
		if strings.Contains(strings.ToLower(text), word) {
			t.Errorf("the paper says %q", word)
		}
	}
}

// The record holds the reference method and the AFDD's button, so the paper does not
// ask for a pen.
func TestPaperAsksForNoPen(t *testing.T) {
	p, err := see(report.Build(reporttest.Workshop(t)))
	if err != nil {
		t.Fatal(err)
	}
	_, text := pdftotext(t, p.pdf, t.TempDir())
	for _, said := range []string{"does not hold", "by hand"} {
		if strings.Contains(text, squash(said)) {
			t.Errorf("the paper says %q of what the record holds", said)
		}
	}
	if !strings.Contains(text, squash("0.26 "+ohmSign+", Zs of")) {
		t.Error("Zdb is not printed with the sign of its unit")
	}
}

// onPaper checks that nothing stands beside the page or in the wrong place, and
// that only visible characters are there.
func onPaper(t interface {
	Helper()
	Fatalf(string, ...any)
}, p seen, dir string) {
	t.Helper()
	pages, _ := pdftotext(t, p.pdf, dir)
	for n, words := range pages {
		for _, w := range words {
			if w.x < pageLeft-0.3 || w.x2 > pageRight+0.6 || w.y < 8 || w.y2 > 206 {
				t.Fatalf("page %d: %q stands at %.1f to %.1f, %.1f to %.1f", n, w.text, w.x, w.x2, w.y, w.y2)
			}
			for _, r := range w.text {
				if !unicode.IsGraphic(r) || !glyphs()[r] {
					t.Fatalf("page %d: %q in %q", n, r, w.text)
				}
			}
		}
	}
	for _, c := range p.cells {
		if c.x < pageLeft-0.01 || c.x+c.w > pageRight+0.01 || c.y < pageTop || c.y+c.h > pageBottom+0.01 || c.w <= 1 {
			t.Fatalf("the cell %+v is not on the page", c)
		}
	}
}

func TestHostilePaper(t *testing.T) {
	for name, text := range reporttest.Hostile {
		t.Run(name, func(t *testing.T) {
			p, err := see(reporttest.Spoilt(t, text))
			if err != nil {
				t.Fatal(err)
			}
			onPaper(t, p, t.TempDir())
		})
	}
}

// Whatever the log holds: the paper stays within its pages, and every reading of a
// line is in its cell.
func TestAnyPaper(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		s := report.Build(reporttest.DrawWork(t))
		s.Record.Sum = rapid.SampledFrom([]string{"", reporttest.SomeSum}).Draw(t, "sum")
		p, err := see(s)
		if err != nil {
			t.Fatal(err)
		}
		want := reporttest.Wanted(s)
		for _, c := range p.cells {
			if _, ok := want[c.key]; !ok && !noteKey.MatchString(c.key) {
				t.Fatalf("%s is not in the record", c.key)
			}
			delete(want, c.key)
		}
		for k, v := range want {
			t.Fatalf("%s, %q, is not on the paper", k, v)
		}
		onPaper(t, p, dir)
	})
}

func BenchmarkPDF400(b *testing.B) {
	s := reporttest.Large(400)
	for b.Loop() {
		if err := Write(io.Discard, s); err != nil {
			b.Fatal(err)
		}
	}
}

// From the log to the paper, as waycall schedule makes it, less the reading of the
// file.
func BenchmarkBusyPDF(b *testing.B) {
	events := reporttest.Busy(b)
	for b.Loop() {
		s, err := record.Fold(events)
		if err != nil {
			b.Fatal(err)
		}
		if err := Write(io.Discard, report.Build(s)); err != nil {
			b.Fatal(err)
		}
	}
}

var paperFile = flag.String("paper", "", "write the workshop's schedule as a PDF into this file, for scripts/pictures/draw schedule")

// The workshop on paper, reviewed and signed off, for the pictures in the README.
// The sums are made up, as this record was never stored.
func TestWorkshopPaper(t *testing.T) {
	if *paperFile == "" {
		t.Skip("no -paper FILE is given")
	}
	s := report.Build(reporttest.Reviewed(t))
	s.Record.Sum = strings.Repeat("4c1d", 16)
	if err := os.WriteFile(*paperFile, []byte(reporttest.Written(t, func(w io.Writer) error { return Write(w, s) })), 0o644); err != nil {
		t.Fatal(err)
	}
}

// leaves calls f with each value of a JSON document that is no list and no object.
func leaves(v any, f func(set func(any), was any)) {
	switch v := v.(type) {
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			f(func(x any) { v[k] = x }, v[k])
			leaves(v[k], f)
		}
	case []any:
		for i := range v {
			f(func(x any) { v[i] = x }, v[i])
			leaves(v[i], f)
		}
	}
}

// Whatever stands in any field: it is refused in one line, or every form can be
// written, holds no formula, and keeps to its page.
func FuzzReadField(f *testing.F) {
	compact, err := json.Marshal(reporttest.Little(f))
	if err != nil {
		f.Fatal(err)
	}
	for i, name := range slices.Sorted(maps.Keys(reporttest.Hostile)) {
		f.Add(uint16(7*i), reporttest.Hostile[name][:min(300, len(reporttest.Hostile[name]))], 0.0)
	}
	for i := range 40 {
		f.Add(uint16(13*i), "", []float64{1e300, -1, 0.00001, 99, 500}[i%5])
	}
	f.Fuzz(func(t *testing.T, which uint16, text string, number float64) {
		var doc map[string]any
		if err := json.Unmarshal(compact, &doc); err != nil {
			t.Fatal(err)
		}
		n := 0
		leaves(doc, func(func(any), any) { n++ })
		k := int(which) % n
		leaves(doc, func(set func(any), was any) {
			if k--; k != -1 {
				return
			}
			switch was.(type) {
			case string:
				set(text)
			case float64:
				set(number)
			default:
				set(nil)
			}
		})
		data, err := json.Marshal(doc)
		if err != nil {
			return // a number that has no JSON
		}
		s, err := report.Read(bytes.NewReader(data))
		if err != nil {
			if strings.ContainsAny(err.Error(), "\x00\x1b\n") || len(err.Error()) > 700 {
				t.Errorf("%q", err)
			}
			return
		}
		for l := range strings.SplitSeq(reporttest.Written(t, func(w io.Writer) error { return plaintext.Write(w, s) }), "\n") {
			if len([]rune(l)) > columns.Width || strings.ContainsAny(l, "\x1b\x00\u202e") {
				t.Errorf("%q", l)
			}
		}
		reporttest.NoFormulas(t, []byte(reporttest.Written(t, func(w io.Writer) error { return spreadsheet.XLSX(w, s) })))
		rows, err := csv.NewReader(strings.NewReader(reporttest.Written(t, func(w io.Writer) error { return spreadsheet.CSV(w, s) }))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			for _, field := range row {
				if strings.ContainsAny(field, "\x00\t\r\n\x1b\u202e") || strings.TrimLeft(field, " ") != "" && strings.ContainsRune("=+-@＝＋－＠", []rune(strings.TrimLeft(field, " "))[0]) {
					t.Errorf("a formula or a control: %q", field)
				}
			}
		}
		p, err := see(s)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range p.cells {
			if c.x < pageLeft-0.01 || c.x+c.w > pageRight+0.01 || c.y < pageTop || c.y+c.h > pageBottom+0.01 {
				t.Errorf("the cell %+v is not on the page", c)
			}
		}
	})
}

// signedLines are the lines of what was signed, as they are printed.
func signedLines(s report.Schedule) []string {
	if s.Signed == nil {
		return nil
	}
	if s.Signed.Statement == "" { // of before it was kept
		return []string{statement}
	}
	return strings.Split(s.Signed.Statement, "\n")
}
