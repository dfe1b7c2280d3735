// This file has what is hostile: words that may be in any field, and work in any order.

package reporttest

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/sequence"
)

// Hostile is what may be in any field.
var Hostile = map[string]string{
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

// Spoilt is a schedule with the same text in every field of words.
func Spoilt(t testing.TB, text string) report.Schedule {
	s := Observed(report.Build(Reviewed(t)))
	s.Signed.Name, s.Signed.Initials, s.Signed.Sum, s.Signed.Statement = text, text, text, text
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
	device := func(d *report.Device) {
		d.Standard, d.Type, d.RCDStandard, d.RCDType, d.RCDGroup, d.RCDRated = text, text, text, text, text, 30
	}
	if len(text) > 1000 { // a few lines of it fill pages enough
		s.Lines = slices.DeleteFunc(s.Lines, func(l report.Line) bool { return l.Way > 3 })
		s.Preparation = s.Preparation[:2]
	}
	n := 0
	long := func() bool { n++; return len(text) > 1000 && n%8 != 0 } // enough of them for any page
	tested := func(c *report.Tested) {
		for i := range c.Cells {
			if long() {
				continue
			}
			c.Cells[i].Reason, c.Cells[i].Why, c.Cells[i].Source, c.Cells[i].Next = text, text, text, text
		}
		for _, cells := range [][]report.Cell{c.Cells, c.Earlier} {
			for i := range cells {
				if long() {
					continue
				}
				for _, r := range []*report.Review{cells[i].Edited, cells[i].Settled} {
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

// NoFormulas reads the parts of a workbook as XML, all of which must be whole.
func NoFormulas(t interface {
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

// DrawWork plays a random job of hostile words: any board, any order of events
// that the log allows.
func DrawWork(t *rapid.T) record.State {
	text := rapid.OneOf(rapid.String(), rapid.StringN(0, 200, -1), rapid.SampledFrom([]string{"=1", "\u202e", "a\r\nb", "\x1b]0;x\a", strings.Repeat("W", 300), "  "}))
	job := board.Job{Reference: text.Draw(t, "reference"), Address: text.Draw(t, "address"), Tester: text.Draw(t, "tester"), Boards: []board.Board{{
		Number: 1, Name: text.Draw(t, "name"), Voltage: 230, SurgeProtection: rapid.Bool().Draw(t, "surge")}}}
	for n := range rapid.IntRange(1, 6).Draw(t, "ways") {
		w := board.Way{Number: n + 1, Feeds: text.Draw(t, "feeds"), Line: rapid.Float64Range(0, 1000).Draw(t, "line"), TwoWay: rapid.Bool().Draw(t, "two-way"), Separated: rapid.Bool().Draw(t, "separated"),
			Device: board.Device{Standard: text.Draw(t, "standard"), Type: text.Draw(t, "type"), Rating: rapid.SampledFrom([]float64{0, 6, 0.5, 1250}).Draw(t, "rating")}}
		if n > 0 {
			w.Spare = rapid.IntRange(0, 5).Draw(t, "spare") == 0
		}
		if rapid.IntRange(0, 3).Draw(t, "keep") == 0 {
			w.Keep500Off = text.Draw(t, "equipment")
		}
		job.Boards[0].Ways = append(job.Boards[0].Ways, w)
	}
	w := &Work{T: t}
	w.Open(job)
	for range rapid.IntRange(0, 40).Draw(t, "events") {
		slot := At(rapid.IntRange(1, len(job.Boards[0].Ways)).Draw(t, "way"), rapid.SampledFrom([]reading.Test{reading.LNE, reading.LN, reading.LE, reading.NE, reading.Zs}).Draw(t, "test"), rapid.IntRange(0, 2).Draw(t, "position"))
		e := record.Event{ID: w.S.LastID + 1, At: Nine, Kind: rapid.SampledFrom([]record.Kind{
			record.Proposed, record.Confirmed, record.Proposed, record.Confirmed, record.Skipped, record.Withdrawn, record.Retest, record.Prepared, record.Dropped, record.Paused, record.CarriedOn, record.Moved, record.Finished, record.Opened,
			record.Edited, record.Edited, record.Settled, record.Settled, record.Signed,
		}).Draw(t, "kind"), Slot: &slot, Reason: text.Draw(t, "reason"), Job: &job}
		q, err := reading.ParseQuantity(rapid.SampledFrom([]string{">999", "0.5", "99999.0000", "<0.05", "0", "206", "3.10"}).Draw(t, "value"), slot.Test.Unit())
		if err != nil {
			t.Fatal(err)
		}
		e.Quantity = &q
		e.Verdict = &check.Verdict{Result: rapid.SampledFrom([]check.Result{check.Pass, check.Investigate, check.Fail, check.CannotSay}).Draw(t, "result"), Reason: text.Draw(t, "why"), Source: text.Draw(t, "source")}
		e.Answer = rapid.SampledFrom([]record.How{record.Done, record.NotApplicable, record.Limitation, record.NotMade}).Draw(t, "answer")
		e.Board, e.Step = 1, sequence.LampsOut
		switch e.Kind {
		case record.Withdrawn, record.Finished, record.Dropped:
			if rapid.Bool().Draw(t, "review") {
				e.By = "CD"
			}
		case record.Edited, record.Settled, record.Signed:
			e.By, e.Text, e.Sum = "CD", text.Draw(t, "signer"), SomeSum
		}
		if r, ok := w.S.Latest(slot); ok && e.By != "" {
			e.Replaces = r.ConfirmedID
		}
		if next, err := w.S.Apply(e); err == nil {
			w.S = next
		}
	}
	return w.S
}
