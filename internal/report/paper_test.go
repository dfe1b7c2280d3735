package report

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
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
	"time"
	"unicode"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// hostile is what may be in any field.
var hostile = map[string]string{
	"formula":  "=HYPERLINK(\"x\",\"y\")",
	"command":  "@SUM(1+1)*cmd|' /C calc'!A0",
	"tab":      "\t=1+1",
	"control":  "a\x00b\x1b[31mc\x07\r\nd\u0085e",
	"bidi":     "abc\u202edef\u2066ghi\u200f",
	"emoji":    "lights \U0001F4A1\U0001F1EC\U0001F1E7 e\u0301\u0301\u0301",
	"long":     strings.Repeat("W", 10_000),
	"sentence": strings.Repeat("a word or two ", 200),
	"markup":   "</t></si><f>1+1</f> &amp; _x000D_ {nb} (\\) endstream",
	"latin":    "Küche £5 ½ Ø ÿ ¡ — Ω MΩ <1 >2",
	"private":  "a\ue000b\uf800c\uffff\ufdd0d",
	"broken":   "a\xff\xfeb\xc3",
}

// spoilt is a schedule with the same text in every field of words.
func spoilt(t testing.TB, text string) Schedule {
	s := observed(Build(reviewed(t)))
	s.Signed.Name, s.Signed.Initials, s.Signed.Sum = text, text, text
	for i := range s.Observations {
		s.Observations[i].Text, s.Observations[i].Code = text, text
	}
	for i := range s.Notes {
		s.Notes[i].Text = text
	}
	s.Job.Others = []string{text}
	s.Job.Reference, s.Job.Address, s.Job.Date, s.Job.Tester, s.Job.Instrument, s.Job.Checked = text, text, text, text, text, text
	s.Job.Limited, s.ToDo = []string{text}, []string{text, text}
	s.Record.Sum = text
	device := func(d *Device) {
		d.Standard, d.Type, d.RCDStandard, d.RCDType, d.RCDGroup, d.RCDRated = text, text, text, text, text, 30
	}
	if len(text) > 1000 { // a few lines of it fill pages enough
		s.Lines = slices.DeleteFunc(s.Lines, func(l Line) bool { return l.Way > 3 })
		s.Preparation = s.Preparation[:2]
	}
	n := 0
	long := func() bool { n++; return len(text) > 1000 && n%8 != 0 } // enough of them for any page
	tested := func(c *Tested) {
		for i := range c.Cells {
			if long() {
				continue
			}
			c.Cells[i].Reason, c.Cells[i].Why, c.Cells[i].Source, c.Cells[i].Next = text, text, text, text
		}
		for _, cells := range [][]Cell{c.Cells, c.Earlier} {
			for i := range cells {
				if long() {
					continue
				}
				for _, r := range []*Review{cells[i].Edited, cells[i].Settled} {
					if r != nil {
						r.By, r.Reason = text, text
					}
				}
				if e := cells[i].Ended; e != nil {
					cells[i].Reason, e.By, e.To = text, text, text
				}
			}
		}
		if len(c.Remarks) > 0 && !long() {
			c.Remarks = []string{text}
		}
	}
	for i := range s.Boards {
		b := &s.Boards[i]
		b.Name, b.Earthing, b.Bonding = text, text, []string{text, text}
		device(&b.Main)
		tested(&b.Tested)
	}
	for i := range s.Lines {
		l := &s.Lines[i]
		l.Feeds, l.Wiring, l.Phase, l.Material, l.CPCKind, l.Neutral = text, text, text, text, text, text
		device(&l.Device)
		tested(&l.Tested)
	}
	for i := range s.Preparation {
		s.Preparation[i].Step, s.Preparation[i].Reason = text, text
	}
	return s
}

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
		_, page, _ = strings.Cut(page, p.s.signature())
		if i := strings.LastIndex(page, "\nRecord: event"); i >= 0 {
			page = page[:i]
		}
		text += page
	}
	return pages, squash(text)
}

// squash leaves out all space, as lines are broken anywhere.
func squash(s string) string { return strings.Join(strings.Fields(s), "") }

// in returns what stands in a cell.
func in(pages [][]word, c cellArea) string {
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

// wanted is what the record says stands in each cell, by its key; written out
// here, apart from what writes the tables.
func wanted(s Schedule) map[string]string {
	want := map[string]string{}
	status := map[Status]string{ToDo: "to do", Skipped: "skipped", Accepted: "missing", NotApplicable: "N/A", Limitation: "LIM", Waived: "waived", NotAsked: "not made", Waiting: "waiting"}
	show := func(c Cell) string {
		if c.Status == Recorded {
			return c.Text
		}
		return status[c.Status]
	}
	plain := func(x float64) string {
		if x == 0 {
			return ""
		}
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	for _, b := range s.Boards {
		if b.OnlyIsolated {
			continue
		}
		for _, c := range b.Cells {
			want[fmt.Sprintf("%d/0/0/%s/%d", b.Number, c.Test, c.Position)] = show(c)
		}
		i := -1
		for _, l := range s.Lines {
			if l.Board != b.Number {
				continue
			}
			i++
			set := func(name, text string) { want[fmt.Sprintf("%s/%d/%d", name, b.Number, i)] = text }
			feeds := strings.ReplaceAll(l.Feeds, "\x1b", "\uFFFD")
			if l.Spare {
				feeds = "spare " + feeds
			}
			for _, table := range []string{"details", "dead tests", "live tests and result"} {
				set(table+" way", strconv.Itoa(l.Way))
				set(table+" feeds", feeds)
			}
			d := l.Device
			phase, cpc, delay, maxZs, cold, result := l.Phase, plain(l.CPC), "", "?", "", l.outcome()
			if l.Phases == 3 {
				phase = "3"
			}
			if l.CPCKind == "steel" || l.CPCKind == "armour" {
				cpc = l.CPCKind
			}
			if d.RCDDelayed {
				delay = "S"
			}
			two := func(x float64) string {
				if x >= 100 {
					return fmt.Sprintf("%.0f", x)
				}
				return fmt.Sprintf("%.2f", x)
			}
			if l.MaxZs != nil {
				maxZs, cold = two(l.MaxZs.Ohm), two(l.MaxZs.Measured)
			}
			if l.Spare {
				maxZs, result = "", ""
			}
			for name, text := range map[string]string{
				"wiring": l.Wiring, "phase": phase, "points": plain(float64(l.Points)), "length": plain(l.Length), "line": plain(l.Line), "cpc": cpc, "material": l.Material, "neutral": l.Neutral,
				"standard": d.Standard, "type": d.Type, "rating": plain(d.Rating), "trip": plain(d.Trip), "breaking": plain(d.Breaking),
				"RCD standard": d.RCDStandard, "RCD type": d.RCDType, "RCD rated": plain(d.RCDRated), "RCD delay": delay, "max time": plain(l.MaxTime), "max Zs": maxZs, "cold": cold, "result": result,
			} {
				set(name, text)
			}
			var volts []string
			best := map[reading.Test]Cell{}
			for _, c := range l.Cells {
				if v := plain(c.Volts); v != "" && !slices.Contains(volts, v) {
					volts = append(volts, v)
				}
				have, ok := best[c.Test]
				if !ok || c.Value != nil && (have.Value == nil || *c.Value > *have.Value) {
					best[c.Test] = c
				}
			}
			set("volts", strings.Join(volts, "/"))
			for test, c := range best {
				want[fmt.Sprintf("%d/%d/%d/%s/%d", b.Number, l.Way, l.Position, test, c.Position)] = show(c)
			}
		}
	}
	// The footnotes: what was corrected, place by place, in the order of the events.
	type row struct {
		event                             int64
		test, from, to, what, why, by, at string
	}
	var all []row
	place := func(t Tested) {
		var here []row
		ends := map[string]bool{}
		name := func(c Cell) string {
			if c.Position > 0 && (c.Test == reading.RingLN || c.Test == reading.RingLE || c.Test == reading.Bonding) {
				return fmt.Sprintf("%s (%d)", c.Test, c.Position)
			}
			return string(c.Test)
		}
		ohm := func(s string) string { return strings.ReplaceAll(s, "ohm", "Ω") }
		for _, c := range t.Earlier {
			what, by := map[Status]string{Replaced: "replaced", Withdrawn: "withdrawn", BeforeWork: "before work"}[c.Status], c.Ended.By
			if by == "" {
				by = "tester"
			} else if c.Status == Replaced {
				what = "corrected"
			}
			ends[fmt.Sprint(c.Test, c.Position, c.Ended.Event)] = true
			here = append(here, row{c.Ended.Event, name(c), ohm(strings.TrimSpace(c.Text + " " + c.Unit)), ohm(c.Ended.To), what, c.Reason, by, c.Ended.At.Format("2006-01-02 15:04 UTC")})
		}
		for _, c := range append(slices.Clone(t.Cells), t.Earlier...) {
			if c.Edited != nil && !ends[fmt.Sprint(c.Test, c.Position, c.Event)] {
				here = append(here, row{c.Event, name(c), "", ohm(strings.TrimSpace(c.Text + " " + c.Unit)), "added", c.Edited.Reason, c.Edited.By, c.Edited.At.Format("2006-01-02 15:04 UTC")})
			}
		}
		slices.SortStableFunc(here, func(a, b row) int { return int(a.event - b.event) })
		all = append(all, here...)
	}
	for _, b := range s.Boards {
		place(b.Tested)
		for _, l := range s.Lines {
			if l.Board == b.Number {
				place(l.Tested)
			}
		}
	}
	for i, r := range all {
		for name, text := range map[string]string{"test": r.test, "from": r.from, "to": r.to, "what": r.what, "why": r.why, "by": r.by, "at": r.at} {
			want[fmt.Sprintf("corrected %s/%d", name, i)] = text
		}
	}
	for i, o := range s.Observations {
		want[fmt.Sprintf("observed code/%d", i)], want[fmt.Sprintf("observed text/%d", i)] = o.Code, printable.Words(o.Text)
	}
	for i, n := range s.Notes {
		want[fmt.Sprintf("noted text/%d", i)] = printable.Words(n.Text)
	}
	return want
}

var noteKey = regexp.MustCompile(`^(dead tests|live tests and result) notes/`)

// readBack checks the document against the record, cell by cell and note by note.
func readBack(t testing.TB, s Schedule) {
	t.Helper()
	p, err := s.pdf()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	pages, text := pdftotext(t, p, dir)
	raw, err := exec.Command("pdftotext", "-raw", filepath.Join(dir, "s.pdf"), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	everything := string(raw) // with the watermark
	want, notes := wanted(s), 0
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
			if c.Status == Recorded && ofRing(c.Test) && c.Position > 0 {
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
	all = append(slices.Concat(all, s.ToDo, s.Cautions), statement, s.Job.Reference, s.Job.Address, s.Job.Instrument, s.Job.Checked, s.Record.Sum)
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

const someSum = "6f0c1d2e3b4a59687788990011223344556677889900aabbccddeeff00112233"

func TestPDFReadsBack(t *testing.T) {
	for name, s := range read3(t) {
		t.Run(name, func(t *testing.T) {
			readBack(t, s)
		})
	}
}

// read3 are the schedules that are read back.
func read3(t testing.TB) map[string]Schedule {
	all := map[string]Schedule{
		"workshop": Build(workshop(t)), "whole": Build(whole(t)), "partway": Build(partway(t)), "review": Build(draftReview(t)), "signed": observed(Build(reviewed(t))),
	}
	for name, s := range all {
		s.Record.Sum = strings.Repeat("4c", 32)
		all[name] = s
	}
	return all
}

// Four hundred ways go on over many pages, with every cell, title and head again.
func TestPDFOfManyWays(t *testing.T) {
	s := large(400)
	s.Record.Sum = someSum
	readBack(t, s)
	p, err := s.pdf()
	if err != nil {
		t.Fatal(err)
	}
	pages, _ := pdftotext(t, p, t.TempDir())
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

// large is a job of so many ways on five boards.
func large(ways int) Schedule {
	job := board.Job{Reference: "LARGE-1", Address: "An invented place", Date: "2026-03-18", Tester: "JW"}
	for b := range 5 {
		one := board.Board{Number: b + 1, Name: fmt.Sprintf("Board %d", b+1), Earthing: board.TNS, Voltage: 230, Phases: 1}
		for w := range ways / 5 {
			one.Ways = append(one.Ways, board.Way{Number: w + 1, Feeds: fmt.Sprintf("Circuit %d of the board", w+1), Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 16, Breaking: 10},
				Wiring: board.Radial, Phases: 1, Line: 2.5, CPC: 1.5, Length: float64(5 + w), Material: board.Copper})
		}
		job.Boards = append(job.Boards, one)
	}
	s, err := record.State{}.Apply(record.Event{ID: 1, At: nine, Kind: record.Opened, Job: &job})
	if err != nil {
		panic(err)
	}
	out := Build(s)
	for i := range out.Lines {
		l := &out.Lines[i]
		for k := range l.Cells {
			c := &l.Cells[k]
			value := float64(100*(i%9)+k+1) / 100
			q := reading.Quantity{Value: value, Places: 2, Bound: reading.Exactly, Unit: c.Test.Unit()}
			if c.Test.Judged() {
				q = reading.Correct
			}
			value = q.Value
			c.Status, c.Value, c.Unit, c.Bound, c.Result, c.Text = Recorded, &value, string(c.Test.Unit()), "=", "pass", figure(q)
		}
	}
	return out
}

// The same record gives the same bytes, whenever and however often it is written.
func TestPaperIsTheSameAgain(t *testing.T) {
	for _, f := range []func(Schedule, io.Writer) error{Schedule.PDF, Schedule.XLSX, Schedule.CSV, Schedule.JSON, Schedule.Text} {
		var first []byte
		for range 4 {
			s := observed(Build(reviewed(t)))
			var b bytes.Buffer
			if err := f(s, &b); err != nil {
				t.Fatal(err)
			}
			if first == nil {
				first = b.Bytes()
			}
			if !bytes.Equal(first, b.Bytes()) {
				t.Fatal("the same record gave other bytes")
			}
		}
	}
}

// Every test of a way has a column; every figure that took the place of another
// has its mark, and no other.
func TestPaperMarks(t *testing.T) {
	for _, test := range columns {
		ofBoard := test == reading.Earthing || test == reading.Bonding || test == reading.Ze || test == reading.RA
		if !ofBoard && !slices.ContainsFunc(slices.Concat(deadColumns, liveColumns), func(c testColumn) bool { return c.test == test }) {
			t.Errorf("%s has no column", test)
		}
	}
	for name, s := range map[string]Schedule{"whole": Build(whole(t)), "signed": Build(reviewed(t))} {
		p, err := s.pdf()
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
				if slices.ContainsFunc(l.Cells, func(now Cell) bool { return now.Test == c.Test }) {
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
	p, err := Build(workshop(t)).pdf()
	if err != nil {
		t.Fatal(err)
	}
	_, text := pdftotext(t, p, t.TempDir())
	for _, word := range []string{"safe", "satisfactory", "complies", "certify"} {
		if strings.Contains(strings.ToLower(text), word) {
			t.Errorf("the paper says %q", word)
		}
	}
}

// onPaper checks that nothing stands beside the page or in the wrong place, and
// that only visible characters are there.
func onPaper(t interface {
	Helper()
	Fatalf(string, ...any)
}, p *pdf, dir string) {
	t.Helper()
	pages, _ := pdftotext(t, p, dir)
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
	for name, text := range hostile {
		t.Run(name, func(t *testing.T) {
			s := spoilt(t, text)
			p, err := s.pdf()
			if err != nil {
				t.Fatal(err)
			}
			onPaper(t, p, t.TempDir())
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

// In CSV, in JSON and as text hostile words are what they are, on one line, and
// nothing that a spreadsheet or a terminal would do something with. Python's csv
// reads each cell back.
func TestHostileText(t *testing.T) {
	dir := t.TempDir()
	want := map[string][][]string{}
	for name, text := range hostile {
		s := spoilt(t, text)
		for l := range strings.SplitSeq(write(t, s.Text), "\n") {
			if len([]rune(l)) > width {
				t.Errorf("%s: a line of %d: %.150q", name, len([]rune(l)), l)
			}
			for _, r := range l {
				if printable.Hidden(r) {
					t.Errorf("%s: %q in the text", name, r)
				}
			}
		}
		out := write(t, s.CSV)
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
		var back Schedule
		if err := json.Unmarshal([]byte(write(t, s.JSON)), &back); err != nil {
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
func openpyxl(t testing.TB, s Schedule) map[string][][]sheetCell {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s.xlsx")
	var b bytes.Buffer
	if err := s.XLSX(&b); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	noFormulas(t, b.Bytes())
	python, err := filepath.Abs("../../.cache/reference/bin/python")
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

// noFormulas reads the parts of a workbook as XML, all of which must be whole.
func noFormulas(t interface {
	Helper()
	Fatalf(string, ...any)
}, book []byte) {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	if err != nil {
		t.Fatalf("%v", err)
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatalf("%v", err)
		}
		for d := xml.NewDecoder(r); ; {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", f.Name, err)
			}
			if e, ok := token.(xml.StartElement); ok && (e.Name.Local == "f" || e.Name.Local == "hyperlink" || e.Name.Local == "externalReference") {
				t.Fatalf("%s has a %s", f.Name, e.Name.Local)
			}
		}
		r.Close()
	}
}

// The workbook read by another program equals the record, cell by cell.
func TestSpreadsheetReadsBack(t *testing.T) {
	for name, s := range read3(t) {
		sheets := openpyxl(t, s)
		if d := cmp.Diff([]string{"Boards", "Cautions", "Circuits", "Corrections", "Job", "Left to do", "Notes", "Observations", "Preparation", "Readings"}, slices.Sorted(maps.Keys(sheets))); d != "" {
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
		want := wanted(s)
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
			for _, test := range columns {
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
		var cells []Cell
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

// Whatever the log holds: the paper stays within its pages, every reading of a
// line is in its cell, the workbook holds no formula, and both are the same again.
func TestAnyPaper(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		s := Build(drawWork(t))
		s.Record.Sum = rapid.SampledFrom([]string{"", someSum}).Draw(t, "sum")
		p, err := s.pdf()
		if err != nil {
			t.Fatal(err)
		}
		want := wanted(s)
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
		var a, b bytes.Buffer
		if err := s.XLSX(&a); err != nil {
			t.Fatal(err)
		}
		if err := s.XLSX(&b); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Fatal("the same schedule gave another workbook")
		}
		noFormulas(t, a.Bytes())
	})
}

// A writer that fails is an error.
func TestPaperWriteFails(t *testing.T) {
	s := Build(whole(t))
	for name, f := range map[string]func(io.Writer) error{"PDF": s.PDF, "XLSX": s.XLSX} {
		if err := f(full{}); err == nil {
			t.Errorf("%s: the error is lost", name)
		}
	}
}

func BenchmarkPDF400(b *testing.B) {
	s := large(400)
	for b.Loop() {
		if err := s.PDF(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

// busy is the log of a job of 400 ways on which 5,000 phrases were heard, most of
// them readings that took the place of earlier ones.
func busy(t testing.TB) []record.Event {
	job := board.Job{Reference: "BUSY-1", Address: "An invented place", Date: "2026-03-18", Tester: "JW", Instrument: board.Instrument{Serial: "0041732", Checked: "2026-02-02", OverRange: 999}}
	for b := range 5 {
		one := board.Board{Number: b + 1, Name: fmt.Sprintf("Board %d", b+1), Earthing: board.TNS, Voltage: 230, Phases: 1}
		for w := range 80 {
			one.Ways = append(one.Ways, board.Way{Number: w + 1, Feeds: fmt.Sprintf("Circuit %d of the board", w+1), Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 16, Breaking: 10},
				Wiring: board.Radial, Phases: 1, Line: 2.5, CPC: 1.5, Length: float64(5 + w%40), Material: board.Copper})
		}
		job.Boards = append(job.Boards, one)
	}
	events := []record.Event{{Kind: record.Opened, Job: &job}}
	tests := []reading.Test{reading.R1R2, reading.Polarity, reading.LNE, reading.LN, reading.Zs, reading.PFC, reading.PSC, reading.Functional}
	for i := range 5000 {
		way := i % 400
		slot := record.Slot{Board: way/80 + 1, Way: way%80 + 1, Test: tests[i/400%len(tests)]}
		q := reading.Quantity{Value: float64(20+i%40) / 100, Places: 2, Bound: reading.Exactly, Unit: slot.Test.Unit()}
		if slot.Test.Judged() {
			q = reading.Correct
		}
		v := check.Judge(check.Input{Job: job, Board: slot.Board, Way: slot.Way, Test: slot.Test, Quantity: q})
		heard := int64(len(events) + 1)
		events = append(events, record.Event{Kind: record.Heard, Phrase: &record.Phrase{Outcome: "reading", Agreed: true, Text: "a reading"}},
			record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: heard}, record.Event{Kind: record.Confirmed, HeardID: heard})
	}
	for i := range events {
		events[i].ID, events[i].At = int64(i+1), nine.Add(time.Duration(i)*time.Second)
	}
	return events
}

// From the log to the paper, as waycall schedule makes it, less the reading of the
// file.
func BenchmarkBusyPDF(b *testing.B) {
	events := busy(b)
	for b.Loop() {
		s, err := record.Fold(events)
		if err != nil {
			b.Fatal(err)
		}
		if err := Build(s).PDF(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBusyBuild(b *testing.B) {
	s, err := record.Fold(busy(b))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		Build(s)
	}
}

func BenchmarkBusyFold(b *testing.B) {
	events := busy(b)
	for b.Loop() {
		if _, err := record.Fold(events); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkXLSX400(b *testing.B) {
	s := large(400)
	for b.Loop() {
		if err := s.XLSX(io.Discard); err != nil {
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
	s := Build(reviewed(t))
	s.Record.Sum = strings.Repeat("4c1d", 16)
	if err := os.WriteFile(*paperFile, []byte(write(t, s.PDF)), 0o644); err != nil {
		t.Fatal(err)
	}
}
