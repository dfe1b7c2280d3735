package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/store/internal/jobfile"
)

var ctx = context.Background()

// TestMain lets the test binary be the process that is killed, or that holds a
// job open.
func TestMain(m *testing.M) {
	switch path := os.Getenv("WAYCALL_STORE_TEST_JOB"); os.Getenv("WAYCALL_STORE_TEST_AS") {
	case "writer":
		appendForEver(path)
	case "creator":
		createForEver(path)
	case "syncs fail":
		syncsFail(path)
	default:
		os.Exit(m.Run())
	}
}

// wav makes a WAV file of n samples that differs for every seed.
func wav(seed int64, n int) []byte {
	le := binary.LittleEndian
	b := append([]byte("RIFF"), le.AppendUint32(nil, uint32(36+2*n))...)
	b = append(b, "WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00"...)
	b = le.AppendUint32(b, 16000)
	b = le.AppendUint32(b, 32000)
	b = append(b, "\x02\x00\x10\x00data"...)
	b = le.AppendUint32(b, uint32(2*n))
	x := uint32(seed)*2654435761 + 1
	for range n {
		x = x*1664525 + 1013904223
		b = le.AppendUint16(b, uint16(x>>16))
	}
	return b
}

// noon is a time with every digit of a second in use.
var noon = time.Date(2026, 3, 14, 12, 0, 0, 123456789, time.UTC)

func quantity(t testing.TB, s string, u reading.Unit) *reading.Quantity {
	t.Helper()
	q, err := reading.ParseQuantity(s, u)
	if err != nil {
		t.Fatal(err)
	}
	return &q
}

// oneOfEach holds every kind of event with every field filled somewhere. The
// events that rest on a phrase rest on the first, which is event 2.
func oneOfEach(t testing.TB) []record.Event {
	all := oneOfVersion1(t)
	slot := record.Slot{Board: 1, Way: 6}
	return number(1, append(all,
		record.Event{At: noon, Kind: record.Noted, Slot: &slot, Text: "behind the boiler", HeardID: 2},
		record.Event{At: noon, Kind: record.Observed, Slot: &slot, Code: "C3", Text: "no label", HeardID: 2},
		record.Event{At: noon, Kind: record.Prepared, Board: 1, Step: "earthing conductor off", Answer: record.Done, Off: "earthing conductor"},
		record.Event{At: noon, Kind: record.Prepared, Board: 1, Step: "earthing conductor back", Answer: record.Done, Back: "earthing conductor"},
		record.Event{At: noon, Kind: record.Prepared, Board: 1, Step: record.StaysConnected, Answer: record.Done, Slot: &record.Slot{Board: 1, Way: 3}},
		record.Event{At: noon, Kind: record.Tapped, Text: "confirm"},
	))
}

// oneOfVersion1 holds every kind that the first two schema versions had.
func oneOfVersion1(t testing.TB) []record.Event {
	slot := record.Slot{Board: 1, Way: 3, Test: reading.LNE, Position: 2}
	return number(1, []record.Event{
		{At: noon, Kind: record.Opened, Job: &board.Job{
			Reference: "D-104", Address: "4 Example Row", Date: "2026-03-14", Tester: "AB",
			Instrument: board.Instrument{Serial: "0012", Checked: "2026-01-05", OverRange: 999},
			Boards: []board.Board{{Number: 1, Name: "DB1", Earthing: board.TNCS, Voltage: 230, SurgeProtection: true, Ways: []board.Way{{
				Number: 3, Feeds: "Landing lights", Wiring: board.Radial, Line: 1.5, CPC: 1, TwoWay: true,
				Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 6, RCD: &board.RCD{Rated: 30, Type: "A"}},
			}}}}}},
		{At: noon, Kind: record.Heard, Phrase: &record.Phrase{Outcome: "reading", Agreed: true,
			Text: "way three live and neutral to earth over nine nine nine", Words: map[string]string{"whisper": "way three", "sphinx": ""},
			Scores: map[string]float64{"whisper": -0.125, "sphinx": -1e-9}}},
		{At: noon, Kind: record.Said, Text: "Way three: \"over\" 999 <MΩ> & \x00\u2028 – confirm?"},
		{At: noon, Kind: record.Prepared, Board: 1, Step: "isolated and locked off", Answer: record.Done, HeardID: 2},
		{At: noon, Kind: record.Proposed, Slot: &slot, Quantity: quantity(t, ">999", reading.Megohm), HeardID: 2,
			Verdict: &check.Verdict{Result: check.Pass, Reason: "above the limit of 1 Mohm", Source: "BS 7671 Table 64, from memory"}},
		{At: noon, Kind: record.Confirmed, HeardID: 2},
		{At: noon, Kind: record.Dropped, Reason: "corrected"},
		{At: noon, Kind: record.Withdrawn, Slot: &slot, Reason: "wrong way"},
		{At: noon, Kind: record.Skipped, Slot: &slot, Answer: record.Limitation, Reason: "no access"},
		{At: noon, Kind: record.Moved, Slot: &slot, HeardID: 2},
		{At: noon, Kind: record.Retest, Slot: &record.Slot{Board: 1, Way: 6}},
		{At: noon, Kind: record.Paused},
		{At: noon, Kind: record.CarriedOn},
		{At: noon.In(time.FixedZone("", 3600)).Add(time.Second), Kind: record.Finished},
	})
}

// number gives a batch the IDs from first on.
func number(first int64, batch []record.Event) []record.Event {
	for i := range batch {
		batch[i].ID = first + int64(i)
	}
	return batch
}

func create(t testing.TB) (*Store, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "D-104.waycall")
	s, err := Create(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s, path
}

func mustAppend(t testing.TB, s *Store, batch []record.Event, sound []byte) []record.Event {
	t.Helper()
	got, err := s.Append(ctx, batch, sound)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func mustEvents(t testing.TB, s *Store) []record.Event {
	t.Helper()
	got, err := s.Events(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// phrase is the batch of n that a session would write after n others like it.
func phrase(n int64) []record.Event {
	first := 3*n + 1
	return number(first, []record.Event{
		{At: noon, Kind: record.Heard, Phrase: &record.Phrase{Outcome: "command", Text: fmt.Sprint("confirm ", n)}},
		{At: noon, Kind: record.Confirmed, HeardID: first},
		{At: noon, Kind: record.Said, Text: fmt.Sprint("stored ", n)},
	})
}

// refused checks that err is of the reason, names the file, and ends with what
// to do.
func refused(t testing.TB, err, reason error, words ...string) {
	t.Helper()
	if !errors.Is(err, reason) {
		t.Fatalf("got %v, want %v", err, reason)
	}
	for _, w := range append(words, "could not ", "; ") {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
}

func TestEveryKindComesBack(t *testing.T) {
	s, path := create(t)
	batch, sound := oneOfEach(t), wav(1, 1000)
	want := oneOfEach(t)
	for i := range want {
		want[i].At = want[i].At.UTC()
	}
	stored := mustAppend(t, s, batch, sound)
	if d := cmp.Diff(oneOfEach(t), batch); d != "" {
		t.Error("Append changed its argument:", d)
	}
	reviews := mustAppend(t, s, reviewOfEach(t, stored), nil)
	sum, err := s.Sum(t.Context(), reviews[len(reviews)-1].ID)
	if err != nil {
		t.Fatal(err)
	}
	next := reviews[len(reviews)-1].ID + 1
	signed := mustAppend(t, s, number(next, []record.Event{{At: noon.UTC(), Kind: record.Signed, By: "AB", Text: "A. B. Example", Sum: sum}}), nil)
	want = append(want, append(reviewOfEach(t, want), signed...)...)
	stored = append(append(stored, reviews...), signed...)
	var seen []string
	for _, e := range stored {
		seen = append(seen, string(e.Kind))
	}
	slices.Sort(seen)
	seen = slices.Compact(seen)
	if d := cmp.Diff(kindsOfRecord(t), seen); d != "" {
		t.Error("the kinds in package record and those in this test:", d)
	}
	check := func(s *Store) {
		t.Helper()
		if d := cmp.Diff(want, mustEvents(t, s)); d != "" {
			t.Error(d)
		}
		got, err := s.Sound(ctx, 2)
		if err != nil || string(got) != string(sound) {
			t.Errorf("sound: %d bytes, %v", len(got), err)
		}
	}
	if d := cmp.Diff(want, stored); d != "" {
		t.Error(d)
	}
	check(s)
	reader, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	check(reader)
	reader.Close()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	check(s)
	s.Close()
	if left := folder(t, filepath.Dir(path)); left != "D-104.waycall D-104.waycall-head" {
		t.Errorf("after Close the folder holds %s", left)
	}
}

// reviewOfEach holds what a review may add after a log, but for the sign-off,
// which has a sum.
func reviewOfEach(t testing.TB, after []record.Event) []record.Event {
	slot := record.Slot{Board: 1, Way: 3, Test: reading.LNE, Position: 2}
	at := noon.UTC()
	return number(int64(len(after))+1, []record.Event{
		{At: at, Kind: record.Edited, Slot: &slot, Quantity: quantity(t, "200", reading.Megohm), Verdict: &check.Verdict{Result: check.Pass}, By: "ÄB", Reason: "misread", Replaces: 6, HeardID: 2},
		{At: at, Kind: record.Settled, Slot: &slot, By: "AB", Reason: "seen", Replaces: int64(len(after)) + 1},
		{At: at, Kind: record.Withdrawn, Slot: &slot, By: "AB", Reason: "wrong way", Replaces: int64(len(after)) + 1},
		{At: at, Kind: record.Dropped, By: "AB", Reason: "not confirmed"},
		{At: at, Kind: record.Finished, By: "AB"},
	})
}

// Who signs off names the log that he signs by its sum: one that is another by now
// is not signed, and a sign-off that got in all the same is found.
func TestSignedLogIsThisOne(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(1, 10))
	sign := func(id int64, sum string) []record.Event {
		return []record.Event{{ID: id, At: noon, Kind: record.Signed, By: "AB", Text: "A. B.", Sum: sum}}
	}
	sum, err := s.Sum(t.Context(), 3)
	if err != nil {
		t.Fatal(err)
	}
	earlier, _ := s.Sum(t.Context(), 2)
	_, err = s.Append(ctx, sign(4, earlier), nil)
	refused(t, err, ErrInvalid, "it signs a log that ends")
	// Within a batch the log is what lies before the event, not before the batch.
	_, err = s.Append(ctx, append([]record.Event{{ID: 4, At: noon, Kind: record.Said, Text: "x"}}, sign(5, sum)...), nil)
	refused(t, err, ErrInvalid, "it signs a log that ends")
	mustAppend(t, s, sign(4, sum), nil)

	before, _ := s.Sum(t.Context(), 4)
	raw, err := hex.DecodeString(before)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	forged := jobfile.Row{ID: 5, At: "2026-03-14T12:00:00.000000000Z", Kind: "signed off", Data: `{"by":"AB","text":"A. B.","sum":"` + sum + `"}`}
	alter(t, path, fmt.Sprintf("INSERT INTO events VALUES (5, '%s', '%s', '%s', x'%x', NULL)", forged.At, forged.Kind, forged.Data, jobfile.SumEvent(raw, &forged)))
	r, err := Verify(t.Context(), path)
	if err != nil || len(r.Problems) == 0 || !strings.Contains(r.Problems[0].What, "event 5 signs off another log") {
		t.Errorf("a forged sign-off: %+v, %v", r.Problems, err)
	}
}

// kindsOfRecord reads the kinds of event out of the source of package record,
// so that a new one cannot be forgotten here.
func kindsOfRecord(t *testing.T) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", "record", "kinds.go"), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok {
			if name, ok := v.Type.(*ast.Ident); ok && name.Name == "Kind" {
				text, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
				if err != nil {
					t.Fatal(err)
				}
				found = append(found, text)
			}
		}
		return true
	})
	slices.Sort(found)
	return found
}

func folder(t testing.TB, dir string) string {
	t.Helper()
	all, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range all {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// The settings that the promise of Append rests on.
func TestSettings(t *testing.T) {
	s, path := create(t)
	for pragma, want := range map[string]int64{
		"synchronous": 2, "foreign_keys": 1, "trusted_schema": 0, "busy_timeout": 5000,
		"application_id": jobfile.ApplicationID, "user_version": int64(len(jobfile.Migrations)),
	} {
		var got int64
		if err := s.db.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s is %d, want %d (%v)", pragma, got, want, err)
		}
	}
	var mode string
	if err := s.db.QueryRow("PRAGMA journal_mode").Scan(&mode); err != nil || mode != "wal" {
		t.Errorf("journal mode %q, %v", mode, err)
	}
	mustAppend(t, s, phrase(0), wav(1, 10))
	for _, name := range []string{path, path + "-wal", path + "-shm", path + ".lock"} {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %v; only its owner may read it", name, info.Mode())
		}
	}
}

func drawEvent(t *rapid.T, heard []int64) record.Event {
	text := rapid.String()
	test := rapid.SampledFrom([]reading.Test{reading.LNE, reading.LN, reading.R1R2, reading.Zs, reading.Polarity})
	slot := &record.Slot{Board: 1, Way: rapid.IntRange(1, 99).Draw(t, "way"), Test: test.Draw(t, "test"), Position: rapid.IntRange(0, 2).Draw(t, "position")}
	e := record.Event{
		At:   time.Unix(rapid.Int64Range(-1e9, 1e10).Draw(t, "s"), rapid.Int64Range(0, 999999999).Draw(t, "ns")),
		Kind: rapid.SampledFrom([]record.Kind{record.Said, record.Prepared, record.Proposed, record.Dropped, record.Withdrawn, record.Skipped, record.Finished, record.Edited, record.Settled}).Draw(t, "kind"),
	}
	switch e.Kind {
	case record.Said:
		e.Text = "t" + text.Draw(t, "text")
	case record.Prepared:
		e.Step, e.Answer = "s"+text.Draw(t, "step"), record.Done
	case record.Settled:
		e.Slot, e.Reason, e.By = slot, text.Draw(t, "reason"), rapid.StringMatching(`[A-Zß]{1,8}`).Draw(t, "by")
	case record.Proposed, record.Edited:
		if e.Kind == record.Edited {
			e.By, e.Reason = "AB", text.Draw(t, "reason")
		}
		places := rapid.IntRange(0, 4).Draw(t, "places")
		whole := rapid.IntRange(0, 99998).Draw(t, "whole")
		figure := fmt.Sprint(whole)
		if places > 0 {
			figure += "." + fmt.Sprintf("%04d", rapid.IntRange(0, 9999).Draw(t, "part"))[:places]
		}
		q, err := reading.ParseQuantity(rapid.SampledFrom([]string{"", ">", "<"}).Draw(t, "bound")+figure, slot.Test.Unit())
		if err != nil {
			t.Fatal(err)
		}
		e.Slot, e.Quantity = slot, &q
		e.Verdict = &check.Verdict{Result: rapid.SampledFrom([]check.Result{check.Pass, check.Investigate, check.Fail, check.CannotSay}).Draw(t, "result"), Reason: text.Draw(t, "why")}
	case record.Withdrawn, record.Skipped:
		e.Slot, e.Reason, e.Answer = slot, text.Draw(t, "reason"), record.NotMade
	}
	if len(heard) > 0 && rapid.Bool().Draw(t, "rests") {
		e.HeardID = rapid.SampledFrom(heard).Draw(t, "heard")
	}
	return e
}

// Random batches, with the job closed and opened between some of them, come
// back as one log without gaps, each phrase with its own sound.
func TestRandomBatchesComeBack(t *testing.T) {
	dir, n := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		path := filepath.Join(dir, fmt.Sprintf("%d job?%%23#.db", n)) // a name that a URL would trip over
		s, err := Create(path)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { s.Close() }()
		var want []record.Event
		var heard []int64
		sounds := map[int64][]byte{}
		for range rapid.IntRange(1, 6).Draw(t, "batches") {
			var batch []record.Event
			var sound []byte
			first := int64(len(want)) + 1
			if rapid.Bool().Draw(t, "heard") {
				batch = append(batch, record.Event{At: noon, Kind: record.Heard, Phrase: &record.Phrase{
					Text: rapid.String().Draw(t, "text"), Words: rapid.MapOf(rapid.String(), rapid.String()).Draw(t, "words"),
					Scores: map[string]float64{"whisper": rapid.Float64Range(-1e300, 1e300).Draw(t, "score")}}})
				sound = wav(first, rapid.IntRange(0, 3000).Draw(t, "samples"))
				sounds[first] = sound
				heard = append(heard, first)
			}
			for range rapid.IntRange(0, 4).Draw(t, "events") {
				batch = append(batch, drawEvent(t, heard))
			}
			stored, err := s.Append(ctx, number(first, batch), sound)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range batch {
				e.At = e.At.UTC()
				want = append(want, e)
			}
			if d := cmp.Diff(want[first-1:], stored); d != "" && len(batch) > 0 {
				t.Fatal(d)
			}
			if rapid.IntRange(0, 3).Draw(t, "close") == 0 {
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
				if s, err = Open(path); err != nil {
					t.Fatal(err)
				}
			}
		}
		got, err := s.Events(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
		for id, sound := range sounds {
			if got, err := s.Sound(ctx, id); err != nil || string(got) != string(sound) {
				t.Fatalf("sound %d: %d bytes of %d, %v", id, len(got), len(sound), err)
			}
		}
	})
}

// What a breath gave beside its first reading comes back, and so does going to a
// board, which names no test.
func TestFurtherReadingsAndBoards(t *testing.T) {
	s, _ := create(t)
	mustAppend(t, s, phrase(0), wav(0, 10))
	pass := check.Verdict{Result: check.Pass, Reason: "r", Source: "s"}
	end := func(test reading.Test) record.Slot { return record.Slot{Board: 2, Way: 1, Test: test} }
	first := end(reading.RingR1)
	want := number(4, []record.Event{
		{At: noon, Kind: record.Moved, Slot: &record.Slot{Board: 2}},
		{At: noon, Kind: record.Proposed, Slot: &first, Quantity: quantity(t, "0.31", reading.Ohm), Verdict: &pass, Then: []record.Further{
			{Slot: end(reading.RingRn), Quantity: *quantity(t, "0.31", reading.Ohm), Verdict: pass, HeardID: 1},
			{Slot: end(reading.RingR2), Quantity: *quantity(t, "0.52", reading.Ohm), Verdict: pass}}},
		{At: noon, Kind: record.Dropped},
		{At: noon, Kind: record.Retest, Slot: &record.Slot{Board: 2}},
	})
	mustAppend(t, s, want, nil)
	got, err := s.Events(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got[3:]); d != "" {
		t.Error(d)
	}
}

func TestInvalidBatches(t *testing.T) {
	s, _ := create(t)
	mustAppend(t, s, phrase(0), wav(0, 10))
	proposed := func(change func(*record.Event)) []record.Event {
		e := record.Event{ID: 4, At: noon, Kind: record.Proposed, Slot: &record.Slot{Board: 1, Way: 1, Test: reading.LN}, Quantity: quantity(t, "2.00", reading.Megohm), Verdict: &check.Verdict{Result: check.Pass}}
		change(&e)
		return []record.Event{e}
	}
	reviewed := func(change func(*record.Event)) []record.Event {
		batch := proposed(func(e *record.Event) { e.Kind, e.By, e.Reason = record.Edited, "AB", "misread" })
		change(&batch[0])
		return batch
	}
	further := func(change func(*record.Further)) []record.Event {
		f := record.Further{Slot: record.Slot{Board: 1, Way: 1, Test: reading.RingRn}, Quantity: *quantity(t, "0.31", reading.Ohm), Verdict: check.Verdict{Result: check.Pass}}
		change(&f)
		return proposed(func(e *record.Event) { e.Then = []record.Further{f} })
	}
	zero := 0.0
	cases := map[string]struct {
		batch []record.Event
		sound []byte
	}{
		"unknown kind":         {proposed(func(e *record.Event) { e.Kind = "guessed" }), nil},
		"no kind":              {proposed(func(e *record.Event) { e.Kind = "" }), nil},
		"no time":              {proposed(func(e *record.Event) { e.At = time.Time{} }), nil},
		"year 10000":           {proposed(func(e *record.Event) { e.At = noon.AddDate(8000, 0, 0) }), nil},
		"no slot":              {proposed(func(e *record.Event) { e.Slot = nil }), nil},
		"no quantity":          {proposed(func(e *record.Event) { e.Quantity = nil }), nil},
		"no verdict":           {proposed(func(e *record.Event) { e.Verdict = nil }), nil},
		"unknown result":       {proposed(func(e *record.Event) { e.Verdict.Result = "safe" }), nil},
		"not a number":         {proposed(func(e *record.Event) { e.Quantity.Value = zero / zero }), nil},
		"negative":             {proposed(func(e *record.Event) { e.Quantity.Value = -1 }), nil},
		"infinite rating":      {[]record.Event{{ID: 4, At: noon, Kind: record.Opened, Job: &board.Job{Boards: []board.Board{{Voltage: 1 / zero}}}}}, nil},
		"way -1":               {proposed(func(e *record.Event) { e.Slot.Way = -1 }), nil},
		"board 0":              {proposed(func(e *record.Event) { e.Slot.Board = 0 }), nil},
		"way 100":              {proposed(func(e *record.Event) { e.Slot.Way = 100 }), nil},
		"position 501":         {proposed(func(e *record.Event) { e.Slot.Position = 501 }), nil},
		"unknown test":         {proposed(func(e *record.Event) { e.Slot.Test = "lives" }), nil},
		"rests on nothing":     {proposed(func(e *record.Event) { e.HeardID = 99 }), nil},
		"rests on no phrase":   {proposed(func(e *record.Event) { e.HeardID = 2 }), nil},
		"rests on the next":    {proposed(func(e *record.Event) { e.HeardID = 5 }), nil},
		"rests on itself":      {proposed(func(e *record.Event) { e.HeardID = 4 }), nil},
		"heard_id -1":          {proposed(func(e *record.Event) { e.HeardID = -1 }), nil},
		"rests on a later one": {number(4, append(proposed(func(e *record.Event) { e.HeardID = 5 }), phrase(1)...)), wav(1, 10)},
		"further: no board":    {further(func(f *record.Further) { f.Slot.Board = 0 }), nil},
		"further: no test":     {further(func(f *record.Further) { f.Slot.Test = "" }), nil},
		"further: position":    {further(func(f *record.Further) { f.Slot.Position = -1 }), nil},
		"further: quantity":    {further(func(f *record.Further) { f.Quantity.Value = -1 }), nil},
		"further: no verdict":  {further(func(f *record.Further) { f.Verdict.Result = "" }), nil},
		"further: no phrase":   {further(func(f *record.Further) { f.HeardID = 2 }), nil},
		"further, of no test":  {[]record.Event{{ID: 4, At: noon, Kind: record.Paused, Then: []record.Further{{}}}}, nil},
		"moved to no test":     {[]record.Event{{ID: 4, At: noon, Kind: record.Moved, Slot: &record.Slot{Board: 1, Way: 1}}}, nil},
		"not numbered":         {proposed(func(e *record.Event) { e.ID = 0 }), nil},
		"numbered as the last": {proposed(func(e *record.Event) { e.ID = 3 }), nil},
		"a gap":                {proposed(func(e *record.Event) { e.ID = 5 }), nil},
		"from another state":   {phrase(2), wav(1, 10)},
		"unknown answer":       {proposed(func(e *record.Event) { e.Answer = "maybe" }), nil},
		"two phrases":          {append(phrase(1), phrase(2)...), wav(1, 10)},
		"phrase, no sound":     {phrase(1), nil},
		"sound, no phrase":     {proposed(func(*record.Event) {}), wav(1, 10)},
		"sound alone":          {nil, wav(1, 10)},
		"sound cut short":      {phrase(1), wav(1, 10)[:60]},
		"not a sound":          {phrase(1), []byte("OggS and so on")},
		"not a FLAC":           {phrase(1), []byte("fLaC and so on")},
		"score not a number":   {[]record.Event{{ID: 4, At: noon, Kind: record.Heard, Phrase: &record.Phrase{Scores: map[string]float64{"whisper": zero / zero}}}}, wav(1, 10)},
		"edit by nobody":       {reviewed(func(e *record.Event) { e.By = "" }), nil},
		"edit by a number":     {reviewed(func(e *record.Event) { e.By = "A1" }), nil},
		"edit by a sentence":   {reviewed(func(e *record.Event) { e.By = "ABCDEFGHI" }), nil},
		"edit of the future":   {reviewed(func(e *record.Event) { e.Replaces = 4 }), nil},
		"edit of -1":           {reviewed(func(e *record.Event) { e.Replaces = -1 }), nil},
		"edit without a value": {reviewed(func(e *record.Event) { e.Quantity = nil }), nil},
		"edit with a sum":      {reviewed(func(e *record.Event) { e.Sum = "00" }), nil},
		"settled nowhere":      {reviewed(func(e *record.Event) { e.Kind, e.Slot = record.Settled, nil }), nil},
		"signed without a sum": {[]record.Event{{ID: 4, At: noon, Kind: record.Signed, By: "AB", Text: "A. B."}}, nil},
		"signed by no name":    {[]record.Event{{ID: 4, At: noon, Kind: record.Signed, By: "AB", Sum: "00"}}, nil},
		"said by a reviewer":   {[]record.Event{{ID: 4, At: noon, Kind: record.Said, Text: "x", By: "AB"}}, nil},
		"replaced by nobody":   {proposed(func(e *record.Event) { e.Replaces = 3 }), nil},
		"the last is bad":      {append(phrase(1), record.Event{ID: 7, At: noon, Kind: record.Said}), wav(1, 10)},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			_, err := s.Append(ctx, c.batch, c.sound)
			refused(t, err, ErrInvalid)
			if n := len(mustEvents(t, s)); n != 3 {
				t.Errorf("the log has %d events, want the 3 before", n)
			}
		})
	}
	if got, err := s.Append(ctx, nil, nil); err != nil || len(got) != 0 {
		t.Errorf("an empty batch: %v, %v", got, err)
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := s.Append(cancelled, phrase(1), wav(1, 10)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before it began: %v", err)
	}
	if got := mustAppend(t, s, phrase(1), wav(1, 10)); got[2].ID != 6 {
		t.Errorf("the batch ends with event %d, want 6", got[2].ID)
	}
}

// Words that are not UTF-8 are kept as far as they can be: to refuse them would
// lose a reading for a witness's bad byte.
func TestBadBytes(t *testing.T) {
	s, _ := create(t)
	got := mustAppend(t, s, []record.Event{{ID: 1, At: noon, Kind: record.Said, Text: "a\xffb"}}, nil)
	if got[0].Text != "a\ufffdb" {
		t.Errorf("stored as %q", got[0].Text)
	}
	if d := cmp.Diff(got, mustEvents(t, s)); d != "" {
		t.Error(d)
	}
}

func TestSoundOfWhat(t *testing.T) {
	s, _ := create(t)
	mustAppend(t, s, phrase(0), wav(1, 10))
	for _, id := range []int64{-1, 0, 2, 4} {
		_, err := s.Sound(ctx, id)
		refused(t, err, ErrNoSound)
		_, err = SoundOf(ctx, s.Path(), id)
		refused(t, err, ErrNoSound)
	}
	of, err := s.Sound(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	beside, err := SoundOf(ctx, s.Path(), 1)
	if err != nil || !bytes.Equal(of, beside) {
		t.Errorf("SoundOf gives %d bytes, %v; Sound gives %d", len(beside), err, len(of))
	}
	lengths, err := LengthsOf(ctx, s.Path())
	if err != nil || len(lengths) != 1 || lengths[1] <= 0 || lengths[1] != time.Duration(len(of)-44)*time.Second/32000 {
		t.Errorf("LengthsOf gives %v, %v, of a sound of %d bytes", lengths, err, len(of))
	}
	_, err = SoundOf(ctx, filepath.Join(t.TempDir(), "none.waycall"), 1)
	refused(t, err, fs.ErrNotExist)
	_, err = LengthsOf(ctx, filepath.Join(t.TempDir(), "none.waycall"))
	refused(t, err, fs.ErrNotExist)
}

func TestFLACIsKept(t *testing.T) {
	// Made by: sox -R -n -r 16000 -b 16 -c 1 tone.flac synth 0.1 sine 440 vol 0.2
	sound, err := os.ReadFile(filepath.Join("testdata", "tone.flac"))
	if err != nil {
		t.Fatal(err)
	}
	s, _ := create(t)
	mustAppend(t, s, phrase(0), sound)
	var format string
	var rate int
	if err := s.db.QueryRow("SELECT format, rate FROM sounds").Scan(&format, &rate); err != nil || format != "flac" || rate != 16000 {
		t.Errorf("%s at %d, %v", format, rate, err)
	}
	if got, err := s.Sound(ctx, 1); err != nil || string(got) != string(sound) {
		t.Errorf("%d bytes, %v", len(got), err)
	}
}

// The file itself holds to the rules, whichever program writes to it.
func TestAppendOnly(t *testing.T) {
	s, _ := create(t)
	mustAppend(t, s, phrase(0), wav(1, 10))
	before := mustEvents(t, s)
	row := "'2026-03-14T12:00:00.000000000Z', 'said', '{}', zeroblob(32), NULL)"
	for _, statement := range []string{
		"UPDATE events SET data = '{}' WHERE id = 1",
		"UPDATE events SET id = 9 WHERE id = 1",
		"DELETE FROM events WHERE id = 3",
		"DELETE FROM events",
		"UPDATE sounds SET data = x'00'",
		"DELETE FROM sounds",
		"INSERT OR REPLACE INTO events VALUES (1, " + row,
		"REPLACE INTO events VALUES (3, " + row,
		"INSERT INTO events VALUES (5, " + row,
		"INSERT INTO events (at, kind, data, sha256) VALUES ('x', 'said', 'not json', zeroblob(32))",
		"INSERT INTO events VALUES (4, 'x', 'said', '{\"heard_id\": 2}', zeroblob(32), NULL)",
		"INSERT INTO events VALUES (4, 'x', 'said', '{}', zeroblob(32), zeroblob(32))",
		"INSERT INTO events VALUES (4, 'x', 'heard', '{}', zeroblob(32), NULL)",
		"BEGIN; INSERT INTO events VALUES (4, 'x', 'heard', '{}', zeroblob(32), zeroblob(32)); INSERT INTO sounds VALUES (4, 'wav', 16000, x'00', x'" + strings.Repeat("01", 32) + "')",
		"INSERT OR REPLACE INTO sounds VALUES (1, 'wav', 16000, x'00', zeroblob(32))",
		"INSERT INTO sounds VALUES (2, 'wav', 16000, x'00', zeroblob(32))",
	} {
		if _, err := s.db.Exec(statement); err == nil {
			t.Errorf("%s: was done", statement)
		}
		_, _ = s.db.Exec("ROLLBACK") // of the statement that began something
	}
	if d := cmp.Diff(before, mustEvents(t, s)); d != "" {
		t.Error(d)
	}
	if got, err := s.Sound(ctx, 1); err != nil || string(got) != string(wav(1, 10)) {
		t.Error("sound changed", err)
	}
}

func TestReadOnlyStoreRefusesToWrite(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(1, 10))
	reader, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	_, err = reader.Append(ctx, phrase(1), wav(2, 10))
	refused(t, err, ErrReadOnly, "open it for work")
	mustAppend(t, s, phrase(1), wav(2, 10))
	if n := len(mustEvents(t, reader)); n != 6 {
		t.Errorf("the reader sees %d events, want 6", n)
	}
}

// Reading a job that nobody works on leaves nothing beside it, and a reader that
// was there first sees what a later session adds.
func TestReaders(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(0, 10))
	s.Close()
	reader, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	mustEvents(t, reader)
	if left := folder(t, filepath.Dir(path)); left != "D-104.waycall D-104.waycall-head" {
		t.Errorf("reading left %s", left)
	}
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(1), wav(1, 10))
	if n := len(mustEvents(t, reader)); n != 6 {
		t.Errorf("the reader sees %d events, want 6", n)
	}
	s.Close() // while the reader is there
	if n := len(mustEvents(t, reader)); n != 6 {
		t.Errorf("the reader sees %d events, want 6", n)
	}
	reader.Close()
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, s, phrase(2), wav(2, 10))
	s.Close()
	if left := folder(t, filepath.Dir(path)); left != "D-104.waycall D-104.waycall-head" {
		t.Errorf("the last session left %s", left)
	}
}

func TestOneWriter(t *testing.T) {
	s, path := create(t)
	link := filepath.Join(t.TempDir(), "by another name")
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{path, link} {
		_, err := Open(p)
		refused(t, err, ErrInUse, "job is open in another session (pid "+fmt.Sprint(os.Getpid())+")", "finish it there first")
	}
	_, err := Create(path)
	refused(t, err, ErrInUse)
	s.Close()

	// The same from another process, until it dies.
	child := startChild(t, "writer", path)
	child.read(t, 1)
	_, err = Open(path)
	refused(t, err, ErrInUse, fmt.Sprintf("(pid %d)", child.cmd.Process.Pid))
	if _, err := OpenReadOnly(path); err != nil {
		t.Errorf("reading alongside a writer: %v", err)
	}
	child.kill()
	child.cmd.Wait()
	if s, err = Open(path); err != nil {
		t.Fatal("a dead session locks the job out:", err)
	}
	intact(t, s)
	s.Close()
}

func TestCreate(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(1, 10))
	s.Close()
	_, err := Create(path)
	refused(t, err, fs.ErrExist, path)
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	if n := len(mustEvents(t, s)); n != 3 {
		t.Errorf("%d events left, want 3", n)
	}
	_, err = Create(filepath.Join(t.TempDir(), "no such folder", "job"))
	refused(t, err, fs.ErrNotExist)
	_, err = Open(filepath.Join(t.TempDir(), "no job"))
	refused(t, err, fs.ErrNotExist)
	_, err = OpenReadOnly(filepath.Join(t.TempDir(), "no job"))
	refused(t, err, fs.ErrNotExist)
	_, err = Create(filepath.Join(path, "below a file"))
	refused(t, err, ErrDisk)
}

func TestForeignFiles(t *testing.T) {
	dir := t.TempDir()
	file := func(name, content string) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	other := filepath.Join(dir, "other.db")
	db, err := sql.Open("sqlite3", other)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("PRAGMA journal_mode = WAL; CREATE TABLE events (id)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	fifo := filepath.Join(dir, "fifo")
	if err := exec.Command("mkfifo", fifo).Run(); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{
		file("empty", ""), file("text", strings.Repeat("way: 1\n", 500)), file("short", "SQLite format 3\x00"),
		other, dir, fifo,
	} {
		before, list := "", folder(t, dir)
		if info, _ := os.Stat(path); info.Mode().IsRegular() {
			b, _ := os.ReadFile(path)
			before = string(b)
		}
		_, err := Open(path)
		refused(t, err, ErrForeign, path)
		_, err = OpenReadOnly(path)
		refused(t, err, ErrForeign, path)
		if info, _ := os.Stat(path); info.Mode().IsRegular() {
			if after, _ := os.ReadFile(path); string(after) != before {
				t.Errorf("%s was changed", path)
			}
		}
		if now := folder(t, dir); now != list {
			t.Errorf("%s: the folder went from %s to %s", path, list, now)
		}
	}
}

// alter runs SQL on a closed job as another program would.
func alter(t testing.TB, path, statements string) {
	t.Helper()
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statements); err != nil {
		t.Fatal(err)
	}
}

// sumOfLast returns the sum of the last event of a job with one batch.
func sumOfLast(t *testing.T, batch []record.Event, sound []byte) []byte {
	s, _ := create(t)
	mustAppend(t, s, batch, sound)
	var sum []byte
	if err := s.db.QueryRow("SELECT sha256 FROM events ORDER BY id DESC LIMIT 1").Scan(&sum); err != nil {
		t.Fatal(err)
	}
	return sum
}

func TestAlteredJobs(t *testing.T) {
	lastSum := sumOfLast(t, phrase(0), wav(1, 10))
	for name, c := range map[string]struct {
		sql    string
		reason error
		opens  bool // found when the events are read
	}{
		"newer":              {sql: "PRAGMA user_version = 99", reason: ErrNewer},
		"impossible version": {sql: "PRAGMA user_version = -1", reason: ErrDamaged},
		"no triggers":        {sql: "DROP TRIGGER events_stay", reason: ErrDamaged},
		"extra table":        {sql: "CREATE TABLE more (x)", reason: ErrDamaged},
		"other application":  {sql: "PRAGMA application_id = 1", reason: ErrForeign},
		"a value changed": {sql: "DROP TRIGGER events_stay; UPDATE events SET data = '{\"text\":\"other\"}' WHERE id = 3;" +
			"CREATE TRIGGER events_stay BEFORE UPDATE ON events\nBEGIN\n    SELECT RAISE(ABORT, 'the event log is append-only');\nEND", reason: ErrDamaged, opens: true},
		"an event gone": {sql: "DROP TRIGGER events_are_kept; DELETE FROM events WHERE id = 2;" +
			"CREATE TRIGGER events_are_kept BEFORE DELETE ON events\nBEGIN\n    SELECT RAISE(ABORT, 'the event log is append-only');\nEND", reason: ErrDamaged, opens: true},
		"the sound gone": {sql: "DROP TRIGGER sounds_are_kept; DELETE FROM sounds;" +
			"CREATE TRIGGER sounds_are_kept BEFORE DELETE ON sounds\nBEGIN\n    SELECT RAISE(ABORT, 'the event log is append-only');\nEND", reason: ErrDamaged, opens: true},
		"a field of the future": {sql: "INSERT INTO events VALUES (4, '2026-03-14T12:00:00.000000000Z', 'said', '{\"mood\":1}', x'" +
			fmt.Sprintf("%x", jobfile.SumEvent(lastSum, &jobfile.Row{ID: 4, At: "2026-03-14T12:00:00.000000000Z", Kind: "said", Data: `{"mood":1}`})) + "', NULL)", reason: ErrDamaged, opens: true},
	} {
		t.Run(name, func(t *testing.T) {
			s, path := create(t)
			mustAppend(t, s, phrase(0), wav(1, 10))
			s.Close()
			alter(t, path, c.sql)
			for _, open := range []func(string) (*Store, error){Open, OpenReadOnly} {
				s, err := open(path)
				if !c.opens {
					refused(t, err, c.reason, path)
					continue
				}
				if err != nil {
					t.Fatal(err)
				}
				if name == "the sound gone" {
					_, err = s.Sound(ctx, 1)
				} else {
					_, err = s.Events(ctx)
				}
				refused(t, err, c.reason, path)
				s.Close()
			}
		})
	}
}

// A job of an earlier schema version is brought up to date when it is opened
// for work, and refused for reading only.
func TestMigration(t *testing.T) {
	s, path := create(t)
	mustAppend(t, s, phrase(0), wav(1, 10))
	s.Close()
	old := jobfile.Migrations
	t.Cleanup(func() { jobfile.Migrations = old })
	jobfile.Migrations = append(old[:len(old):len(old)], "CREATE TABLE later (x TEXT) STRICT")
	_, err := OpenReadOnly(path)
	refused(t, err, ErrReadOnly, "open it once for work")
	if s, err = Open(path); err != nil {
		t.Fatal(err)
	}
	if n := len(mustEvents(t, s)); n != 3 {
		t.Errorf("%d events after the migration, want 3", n)
	}
	s.Close()
	if s, err = OpenReadOnly(path); err != nil {
		t.Fatal(err)
	}
	s.Close()

	jobfile.Migrations = append(jobfile.Migrations, "CREATE TABLE half (x); not SQL")
	if _, err = Open(path); err == nil {
		t.Fatal("a migration that fails was passed over")
	}
	jobfile.Migrations = jobfile.Migrations[:len(jobfile.Migrations)-1]
	if s, err = Open(path); err != nil {
		t.Fatal("a migration that failed left something behind:", err)
	}
	s.Close()
}

// timed runs a benchmark and reports how its times are spread.
func timed(b *testing.B, do func()) {
	var took []time.Duration
	for b.Loop() {
		start := time.Now()
		do()
		took = append(took, time.Since(start))
	}
	slices.Sort(took)
	for name, at := range map[string]int{"p50-ms": len(took) / 2, "p99-ms": len(took) * 99 / 100, "max-ms": len(took) - 1} {
		b.ReportMetric(float64(took[at].Microseconds())/1000, name)
	}
}

// BenchmarkAppend is one phrase of two seconds in a job that already holds
// 99,999 events.
func BenchmarkAppend(b *testing.B) {
	s, path := create(b)
	batch := make([]record.Event, 1000)
	for i := range batch {
		batch[i] = record.Event{At: noon, Kind: record.Said, Text: "Way three, live and neutral to earth?"}
	}
	for n := range int64(99) {
		mustAppend(b, s, number(1000*n+1, batch), nil)
	}
	mustAppend(b, s, number(99001, batch[:999]), nil) // 3 x 33,333, where phrases go on
	sound, n := wav(1, 32000), int64(33333)
	b.Run("phrase", func(b *testing.B) {
		timed(b, func() {
			mustAppend(b, s, phrase(n), sound)
			n++
		})
	})
	// What the disk alone takes for as much, to judge the figures above by.
	b.Run("write and sync", func(b *testing.B) {
		f, err := os.Create(filepath.Join(b.TempDir(), "x"))
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		timed(b, func() {
			if _, err := f.Write(sound); err != nil {
				b.Fatal(err)
			}
			if err := f.Sync(); err != nil {
				b.Fatal(err)
			}
		})
	})
	b.Run("read all", func(b *testing.B) {
		for b.Loop() {
			mustEvents(b, s)
		}
	})
	s.Close()
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			s, err := Open(path)
			if err != nil {
				b.Fatal(err)
			}
			s.Close()
		}
	})
}
