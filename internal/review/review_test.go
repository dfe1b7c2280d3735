package review

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// job is a ring, a two-way switched lighting circuit, a radial and a spare way.
func job() board.Job {
	return board.Job{Reference: "R1", Tester: "AB", Boards: []board.Board{{
		Number: 1, Name: "DB1", Earthing: board.TNCS, Voltage: 230, Ways: []board.Way{
			{Number: 1, Feeds: "Ring", Wiring: board.Ring, Line: 2.5, CPC: 1.5, Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 32}},
			{Number: 2, Feeds: "Landing", Wiring: board.Radial, Line: 1.5, CPC: 1, TwoWay: true, Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 6}},
			{Number: 3, Feeds: "Oven", Wiring: board.Radial, Line: 6, CPC: 2.5, Device: board.Device{Standard: "BS EN 60898", Type: "B", Rating: 32}},
			{Number: 4, Spare: true},
		},
	}}}
}

func at(way int, test reading.Test) record.Slot { return record.Slot{Board: 1, Way: way, Test: test} }

func quantity(text string, test reading.Test) reading.Quantity {
	q, err := reading.ParseQuantity(text, test.Unit())
	if err != nil {
		panic(err)
	}
	return q
}

var now = time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)

// book is a log that grows.
type book struct {
	t interface {
		Helper()
		Fatalf(string, ...any)
	}
	s      record.State
	events []record.Event
}

func (b *book) add(events ...record.Event) {
	b.t.Helper()
	for _, e := range events {
		if e.ID == 0 {
			e.ID, e.At = b.s.LastID+1, now.Add(time.Duration(b.s.LastID)*time.Second)
		}
		next, err := b.s.Apply(e)
		if err != nil {
			b.t.Fatalf("%v", err)
		}
		b.s, b.events = next, append(b.events, e)
	}
}

// open begins a session on job, finished or not.
func open(t *testing.T) *book {
	b := &book{t: t}
	j := job()
	b.add(record.Event{Kind: record.Opened, Job: &j})
	return b
}

// hear is a phrase; others are what else it may have been.
func (b *book) hear(text string, others ...string) int64 {
	b.add(record.Event{Kind: record.Heard, Phrase: &record.Phrase{Outcome: "reading", Agreed: len(others) == 0, Text: text, Others: others, Words: map[string]string{"a": text}}})
	return b.s.LastID
}

func (b *book) propose(slot record.Slot, text string, heard int64) {
	b.t.Helper()
	q := quantity(text, slot.Test)
	var before []check.Earlier
	for _, r := range b.s.Readings {
		if r.Standing == record.Stands && r.Slot != slot {
			before = append(before, check.Earlier{Slot: r.Slot, Quantity: r.Quantity})
		}
	}
	v := check.Judge(check.Input{Job: b.s.Job, Slot: slot, Quantity: q, Earlier: before})
	b.add(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &v, HeardID: heard})
}

func (b *book) confirm(slot record.Slot, text string, heard int64) int64 {
	b.t.Helper()
	b.propose(slot, text, heard)
	b.add(record.Event{Kind: record.Confirmed})
	return b.s.LastID
}

// of is the item of a place, or the zero Item.
func (b *book) of(slot record.Slot) Item {
	for _, it := range Queue(b.s, b.events) {
		if it.Slot == slot && it.Kind != Unfinished {
			return it
		}
	}
	return Item{}
}

func (b *book) change(slot record.Slot, text string) Change {
	c := Change{Slot: slot, Reason: "the note says so", By: "CD", At: now.Add(time.Hour)}
	if text != "" {
		c.Quantity = quantity(text, slot.Test)
	}
	if r, ok := b.s.Latest(slot); ok {
		c.Replaces = r.ConfirmedID
	}
	return c
}

func (b *book) must(events []record.Event, err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatalf("%v", err)
	}
	b.add(events...)
}

func TestQueueKinds(t *testing.T) {
	b := open(t)
	b.confirm(at(1, reading.LNE), "200", b.hear("two hundred"))
	if it := b.of(at(1, reading.LNE)); it.Kind != "" {
		t.Errorf("a plain reading is in the queue: %+v", it)
	}
	b.confirm(at(1, reading.LN), "0.2", b.hear("nought point two"))
	b.confirm(at(2, reading.LNE), "300", 0)
	b.confirm(at(3, reading.LNE), "15", b.hear("fifteen", "fifty"))
	first := b.hear("four hundred")
	b.propose(at(3, reading.LN), "400", first)
	b.add(record.Event{Kind: record.Dropped, Reason: "changed to 500"})
	second := b.hear("no five hundred")
	b.confirm(at(3, reading.LN), "500", second)
	b.add(record.Event{Kind: record.Skipped, Slot: &record.Slot{Board: 1, Way: 2, Test: reading.LN, Position: 1}, Answer: record.Limitation, Reason: "a lamp cannot be reached"})
	b.propose(at(1, reading.R1R2), "0.4", 0)

	if it := b.of(at(1, reading.LN)); it.Kind != Failed || it.Reading == nil || it.Of() != it.Reading.ConfirmedID || it.Source == "" || it.Why == "" || len(it.Heard) != 1 {
		t.Errorf("what fails: %+v", it)
	}
	if it := b.of(at(3, reading.LNE)); it.Kind != Disputed || !strings.Contains(it.Why, `"fifty"`) || it.Heard[0].Words["a"] != "fifteen" {
		t.Errorf("what was disputed: %+v", it)
	}
	if it := b.of(at(3, reading.LN)); it.Kind != Corrected || !strings.Contains(it.Why, "400 Mohm before") || len(it.Heard) != 2 || it.Heard[0].ID != first || it.Heard[1].ID != second || len(it.Before) != 1 {
		t.Errorf("what was corrected: %+v", it)
	}
	if it := b.of(record.Slot{Board: 1, Way: 2, Test: reading.LN, Position: 1}); it.Kind != LeftOut || it.Skip == nil || !strings.Contains(it.Why, "a lamp cannot be reached.") {
		t.Errorf("what was left out: %+v", it)
	}
	if it := b.of(at(1, reading.R1R2)); it.Kind != Unconfirmed || it.Waits == nil || it.Of() != 0 {
		t.Errorf("what waits: %+v", it)
	}
	if it := b.of(at(3, reading.Zs)); it.Kind != Missing || it.Why == "" {
		t.Errorf("what is missing: %+v", it)
	}
	if it := b.of(at(1, reading.Zs)); it.Kind != Missing || it.Due != nil || it.Why == "" {
		t.Errorf("what waits for work on what fails: %+v", it)
	}
	q := Queue(b.s, b.events)
	if last := q[len(q)-1]; last.Kind != Unfinished || last.String() != "the session: not finished" {
		t.Errorf("the session that was cut off: %+v", last)
	}
	for i := range q[1:] {
		if q[i].Kind.Severity() > q[i+1].Kind.Severity() {
			t.Errorf("%v comes before %v", q[i], q[i+1])
		}
	}
	if len(Queue(record.State{}, nil)) != 0 {
		t.Error("an empty log has a queue")
	}
}

// A figure that was given again without a change is no correction; one that was
// taken back and read anew is.
func TestCorrected(t *testing.T) {
	b := open(t)
	slot := at(1, reading.LNE)
	b.propose(slot, "200", 0)
	b.add(record.Event{Kind: record.Dropped})
	b.confirm(slot, "200.0", 0)
	if it := b.of(slot); it.Is(Corrected) {
		t.Errorf("%+v", it)
	}
	b.add(record.Event{Kind: record.Withdrawn, Slot: &slot})
	b.confirm(slot, "20.0", 0)
	if it := b.of(slot); !it.Is(Corrected) || len(it.Before) != 1 {
		t.Errorf("%+v", it)
	}
}

func TestImplausible(t *testing.T) {
	b := open(t)
	b.confirm(at(1, reading.LNE), "317", 0)
	b.confirm(at(3, reading.LNE), "317", 0)
	if it := b.of(at(3, reading.LNE)); it.Kind != Implausible {
		t.Errorf("%+v", it)
	}
}

// An edit is judged with all that stands, keeps what was there, and needs no
// second look at how it was heard.
func TestEdit(t *testing.T) {
	b := open(t)
	slot := at(3, reading.LNE)
	b.confirm(slot, "0.15", b.hear("nought point one five", "nought point five"))
	if it := b.of(slot); it.Kind != Failed || !it.Is(Disputed) {
		t.Fatalf("%+v", it)
	}
	b.must(Edit(b.s, b.change(slot, "150")))
	if it := b.of(slot); it.Kind != "" {
		t.Errorf("still open: %+v", it)
	}
	r, _ := b.s.Latest(slot)
	if !r.Edited || r.By != "CD" || r.Quantity.Figure() != "150" || r.Verdict.Result != check.Pass || r.Verdict.Source == "" {
		t.Errorf("%+v", r)
	}
	if old := b.s.Readings[0]; old.Standing != record.Replaced || old.Quantity.Figure() != "0.15" {
		t.Errorf("%+v", old)
	}
	b.must(Edit(b.s, b.change(slot, "0.2")))
	if it := b.of(slot); it.Kind != Failed || it.Is(Disputed) || it.Is(Corrected) {
		t.Errorf("an edit that fails: %+v", it)
	}
	// Where there was none.
	b.must(Edit(b.s, b.change(at(1, reading.LNE), ">999")))
	if r, ok := b.s.Latest(at(1, reading.LNE)); !ok || r.Replaces != 0 {
		t.Errorf("%+v", r)
	}
}

// The second of two reviewers is told what the first did, and nothing is done.
func TestTwoReviewers(t *testing.T) {
	b := open(t)
	slot := at(1, reading.LNE)
	b.confirm(slot, "200", 0)
	shown := b.change(slot, "300")
	b.must(Edit(b.s, b.change(slot, "250")))
	for name, f := range map[string]func(record.State, Change) ([]record.Event, error){"edit": Edit, "settle": Settle, "withdraw": Withdraw} {
		events, err := f(b.s, shown)
		var stale *StaleError
		if !errors.As(err, &stale) || len(events) != 0 || stale.Now == nil || stale.Now.Quantity.Figure() != "250" || !strings.Contains(err.Error(), "by CD; look at it again") {
			t.Errorf("%s: %v", name, err)
		}
	}
	b.must(Withdraw(b.s, b.change(slot, "")))
	var stale *StaleError
	if _, err := Edit(b.s, shown); !errors.As(err, &stale) || stale.Now != nil {
		t.Errorf("%v", err)
	}
	if err := (&StaleError{Slot: record.Slot{Board: 2, Test: reading.Ze}}).Error(); !strings.HasPrefix(err, "board 2 itself, Ze was changed") {
		t.Errorf("of the board itself it says %q", err)
	}
	// Having seen it, he may.
	shown.Replaces = 0
	b.must(Edit(b.s, shown))
}

func TestRefused(t *testing.T) {
	b := open(t)
	slot := at(1, reading.LNE)
	b.confirm(slot, "200", 0)
	for name, c := range map[string]struct {
		change func(*Change)
		field  string
	}{
		"no initials":            {func(c *Change) { c.By = "" }, "by"},
		"initials of a number":   {func(c *Change) { c.By = "C1" }, "by"},
		"no reason":              {func(c *Change) { c.Reason = " \t" }, "reason"},
		"long reason":            {func(c *Change) { c.Reason = strings.Repeat("x", MaxReason+1) }, "reason"},
		"reason of two lines":    {func(c *Change) { c.Reason = "a\nb" }, "reason"},
		"reason with a NUL":      {func(c *Change) { c.Reason = "a\x00b" }, "reason"},
		"reason turned round":    {func(c *Change) { c.Reason = "a\u202eb" }, "reason"},
		"reason that is no text": {func(c *Change) { c.Reason = "a\xffb" }, "reason"},
		"spare way":              {func(c *Change) { c.Slot.Way = 4 }, "slot"},
		"no such way":            {func(c *Change) { c.Slot.Way = 40 }, "slot"},
		"no such board":          {func(c *Change) { c.Slot.Board = 2 }, "slot"},
		"no such test":           {func(c *Change) { c.Slot.Test = "<script>" }, "slot"},
		"no time":                {func(c *Change) { c.At = time.Time{} }, "record"},
	} {
		t.Run(name, func(t *testing.T) {
			for _, f := range []func(record.State, Change) ([]record.Event, error){Edit, Settle, Withdraw} {
				change := b.change(slot, "300")
				c.change(&change)
				events, err := f(b.s, change)
				var invalid *InvalidError
				if !errors.As(err, &invalid) || invalid.Field != c.field || len(events) > 0 || !strings.Contains(err.Error(), "; ") {
					t.Errorf("%#v, %v", invalid, err)
				}
			}
		})
	}
	invalid := func(name, field string, _ []record.Event, err error) {
		t.Helper()
		var e *InvalidError
		if !errors.As(err, &e) || e.Field != field {
			t.Errorf("%s: %v", name, err)
		}
	}
	ohm := b.change(slot, "")
	ohm.Quantity = quantity("0.3", reading.Zs)
	events, err := Edit(b.s, ohm)
	invalid("ohms of insulation", "quantity", events, err)
	events, err = Edit(b.s, b.change(slot, "200"))
	invalid("what stands there", "quantity", events, err)
	events, err = Edit(b.s, b.change(slot, ""))
	invalid("no quantity", "quantity", events, err)
	events, err = Settle(b.s, b.change(at(3, reading.RingR1), ""))
	invalid("what nobody asks for", "slot", events, err)
	events, err = Withdraw(b.s, b.change(at(3, reading.Zs), ""))
	invalid("what is not there", "slot", events, err)
	events, err = Edit(record.State{}, b.change(slot, "1"))
	invalid("an empty log", "record", events, err)
	events, err = Finish(b.s, "", now)
	invalid("finished by nobody", "by", events, err)
}

func TestSignOff(t *testing.T) {
	b := open(t)
	b.confirm(at(1, reading.LNE), "0.2", 0)
	sig := Signature{Name: " C. D. Example ", By: "CD", Sum: strings.Repeat("0b", 32), At: now.Add(time.Hour)}
	_, err := SignOff(b.s, b.events, sig)
	var open *OpenError
	if !errors.As(err, &open) || len(open.Open) != len(Queue(b.s, b.events)) || !strings.Contains(err.Error(), "board 1, way 1, LN-E: fail") || !strings.Contains(err.Error(), "more") {
		t.Fatalf("%v", err)
	}
	b.closeAll()
	for name, bad := range map[string]Signature{
		"name": {Name: "", By: "CD", Sum: sig.Sum, At: now}, "by": {Name: "C. D.", Sum: sig.Sum, At: now}, "record": {Name: "C. D.", By: "CD", Sum: "12", At: now},
	} {
		var e *InvalidError
		if _, err := SignOff(b.s, b.events, bad); !errors.As(err, &e) || e.Field != name {
			t.Errorf("%s: %v", name, err)
		}
	}
	b.must(SignOff(b.s, b.events, sig))
	if b.s.Signed == nil || b.s.Signed.Name != "C. D. Example" || b.s.Signed.Sum != sig.Sum {
		t.Errorf("%+v", b.s.Signed)
	}
	var e *InvalidError
	if _, err := SignOff(b.s, b.events, sig); !errors.As(err, &e) || !strings.Contains(err.Error(), "signed off already, by C. D. Example") {
		t.Errorf("twice: %v", err)
	}
	// A later change makes it a draft, which may be signed again.
	b.must(Edit(b.s, b.change(at(1, reading.LNE), "200")))
	if b.s.Signed != nil {
		t.Error("signed off after an edit")
	}
	b.closeAll()
	b.must(SignOff(b.s, b.events, sig))
}

// closeAll settles what is in the queue, as a reviewer would, and finishes.
func (b *book) closeAll() {
	b.t.Helper()
	for range 1000 {
		q := Queue(b.s, b.events)
		if len(q) == 0 {
			return
		}
		var open *OpenError
		if _, err := SignOff(b.s, b.events, Signature{Name: "C. D.", By: "CD", Sum: strings.Repeat("0b", 32), At: now}); !errors.As(err, &open) || len(open.Open) != len(q) {
			b.t.Fatalf("%d open, and the sign-off says %v", len(q), err)
		}
		if q[0].Kind == Unfinished {
			b.must(Finish(b.s, "CD", now.Add(time.Hour)))
			continue
		}
		b.must(Settle(b.s, Change{Slot: q[0].Slot, Replaces: q[0].Of(), Reason: "seen", By: "CD", At: now.Add(time.Hour)}))
		if again := b.of(q[0].Slot); again.Kind == q[0].Kind && again.Of() == q[0].Of() {
			b.t.Fatalf("%v is open after it was settled", again)
		}
	}
	b.t.Fatalf("the queue has no end: %v", Queue(b.s, b.events)[0])
}

// Editing one end of a ring shows that the others do not go with it any more, also
// where a reviewer had let them stand.
func TestJudgedAnew(t *testing.T) {
	b := open(t)
	b.confirm(at(1, reading.RingR1), "0.40", 0)
	b.confirm(at(1, reading.RingRn), "0.40", 0)
	rn := at(1, reading.RingRn)
	if it := b.of(rn); it.Kind != "" {
		t.Fatalf("%+v", it)
	}
	b.must(Settle(b.s, b.change(rn, "")))
	b.must(Edit(b.s, b.change(at(1, reading.RingR1), "0.80")))
	it := b.of(rn)
	if it.Now == nil || it.Reading.Verdict.Result != check.Pass || it.Why != it.Now.Reason {
		t.Fatalf("rn beside another r1: %+v", it)
	}
	b.must(Settle(b.s, b.change(rn, "")))
	if it := b.of(rn); it.Kind != "" {
		t.Errorf("open after it was settled: %+v", it)
	}
}

// What waits of a session that was cut off is dropped by what a reviewer does there
// and left alone by what he does elsewhere.
func TestCutOff(t *testing.T) {
	slot := at(1, reading.LNE)
	for name, f := range map[string]func(record.State, Change) ([]record.Event, error){"edit": Edit, "settle": Settle, "withdraw": Withdraw} {
		b := open(t)
		b.propose(slot, "200", 0)
		b.must(Edit(b.s, b.change(at(3, reading.LNE), "12")))
		if b.s.Pending == nil {
			t.Fatal("an edit elsewhere dropped what waits")
		}
		if _, err := Finish(b.s, "CD", now); err == nil {
			t.Error("finished with a reading that waits")
		}
		b.must(f(b.s, b.change(slot, "300")))
		if it := b.of(slot); b.s.Pending != nil || it.Is(Unconfirmed) || (name == "withdraw") != it.Is(Missing) {
			t.Errorf("%s: %+v", name, it)
		}
	}
}

// Whatever a session did, and whatever reviewers do to it, also at the same time:
// the state stays that of the log; nothing of the log is lost; only what was asked
// changes; the queue can always be worked through; only then can it be signed.
func TestAnyReview(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := &book{t: t}
		j := job()
		b.add(record.Event{Kind: record.Opened, Job: &j})
		slots := []record.Slot{at(1, reading.LNE), at(1, reading.RingR1), at(1, reading.RingRn), at(1, reading.Zs), {Board: 1, Way: 2, Test: reading.LN, Position: 1}, at(3, reading.R1R2), at(3, reading.Polarity), at(0, reading.Ze)}
		slot := rapid.SampledFrom(slots)
		figure := func(s record.Slot) string {
			if s.Test.Judged() {
				return rapid.SampledFrom([]string{"correct", "wrong"}).Draw(t, "answer")
			}
			return rapid.SampledFrom([]string{"0.2", "0.4", "1.5", "200", ">999", "<0.05"}).Draw(t, "figure")
		}
		for range rapid.IntRange(0, 25).Draw(t, "phrases") {
			s := slot.Draw(t, "slot")
			heard := int64(0)
			if rapid.Bool().Draw(t, "heard") {
				heard = b.hear("x", rapid.SampledFrom([][]string{nil, {"y"}}).Draw(t, "others")...)
			}
			switch rapid.IntRange(0, 5).Draw(t, "what") {
			case 0:
				b.add(record.Event{Kind: record.Skipped, Slot: &s, Answer: record.NotMade, Reason: "r", HeardID: heard})
			case 1:
				if _, ok := b.s.Latest(s); ok {
					b.add(record.Event{Kind: record.Withdrawn, Slot: &s})
				}
			case 2:
				b.propose(s, figure(s), heard)
				b.add(record.Event{Kind: record.Dropped})
			default:
				b.confirm(s, figure(s), heard)
			}
		}
		switch rapid.IntRange(0, 2).Draw(t, "end") {
		case 0:
			b.add(record.Event{Kind: record.Finished})
		case 1:
			s := slot.Draw(t, "last")
			b.propose(s, figure(s), 0)
		}
		for range rapid.IntRange(0, 12).Draw(t, "changes") {
			s := slot.Draw(t, "slot")
			c := b.change(s, figure(s))
			if rapid.IntRange(0, 4).Draw(t, "stale") == 0 {
				c.Replaces = rapid.Int64Range(0, b.s.LastID).Draw(t, "shown")
			}
			before := b.s
			f := rapid.SampledFrom([]func(record.State, Change) ([]record.Event, error){Edit, Settle, Withdraw}).Draw(t, "change")
			events, err := f(b.s, c)
			if r, _ := b.s.Latest(s); r.ConfirmedID != c.Replaces {
				var stale *StaleError
				if !errors.As(err, &stale) {
					t.Fatalf("stale, and %v", err)
				}
			}
			if err != nil {
				continue
			}
			b.add(events...)
			for _, other := range slots {
				x, okx := before.Latest(other)
				y, oky := b.s.Latest(other)
				if other != s && (okx != oky || !cmp.Equal(x, y)) {
					t.Fatalf("a change of %v changed %v", s, other)
				}
			}
			for i, r := range before.Readings {
				if !cmp.Equal(r.Proposal, b.s.Readings[i].Proposal) {
					t.Fatalf("reading %d is another now", i)
				}
			}
		}
		sig := Signature{Name: "C. D.", By: "CD", Sum: strings.Repeat("0b", 32), At: now}
		_, err := SignOff(b.s, b.events, sig)
		var open *OpenError
		if n := len(Queue(b.s, b.events)); errors.As(err, &open) != (n > 0) {
			t.Fatalf("%d open, and the sign-off says %v", n, err)
		}
		b.closeAll()
		b.must(SignOff(b.s, b.events, sig))

		data, err := json.Marshal(b.events)
		if err != nil {
			t.Fatal(err)
		}
		var back []record.Event
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		again, err := record.Fold(back)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(b.s, again); d != "" {
			t.Fatal(d)
		}
	})
}

// No text gets into the log that is empty, long, or shows another thing than it is.
func FuzzReason(f *testing.F) {
	for _, s := range []string{"misread", "", " ", "a\u202eb", "\x00", "\xff", "<script>", strings.Repeat("語", 501), "👩‍🔧", "=1+1"} {
		f.Add(s, "AB")
	}
	b := &book{t: f}
	j := job()
	b.add(record.Event{Kind: record.Opened, Job: &j})
	f.Fuzz(func(t *testing.T, reason, by string) {
		events, err := Edit(b.s, Change{Slot: at(1, reading.LNE), Quantity: quantity("200", reading.LNE), Reason: reason, By: by, At: now})
		if err != nil {
			var invalid *InvalidError
			if !errors.As(err, &invalid) {
				t.Fatalf("%v", err)
			}
			return
		}
		e := events[0]
		if e.Reason == "" || e.Reason != strings.TrimSpace(reason) || len([]rune(e.Reason)) > MaxReason || strings.ContainsAny(e.Reason, "\x00\n\r\u202e\u2028") || board.CheckInitials(e.By) != nil {
			t.Errorf("%q by %q", e.Reason, e.By)
		}
	})
}

// The boards of the examples can be signed off once everything missing is settled.
func TestExampleBoards(t *testing.T) {
	for _, name := range []string{"terrace.yaml", "workshop.yaml", "annexe.yaml"} {
		b := &book{t: t}
		j := boardtest.Read(t, name)
		b.add(record.Event{Kind: record.Opened, Job: &j})
		q := Queue(b.s, b.events)
		if want := len(sequence.Remaining(b.s)); len(q) < want/2 {
			t.Errorf("%s: %d in the queue, %d to be done", name, len(q), want)
		}
		b.closeAll()
	}
}

func BenchmarkQueue(b *testing.B) {
	bk := &book{t: b}
	j := job()
	j.Boards = nil
	for n := range 4 {
		one := job().Boards[0]
		one.Number, one.Name, one.Ways = n+1, fmt.Sprintf("DB%d", n+1), nil
		for way := range 99 {
			w := job().Boards[0].Ways[2]
			w.Number = way + 1
			one.Ways = append(one.Ways, w)
		}
		j.Boards = append(j.Boards, one)
	}
	bk.add(record.Event{Kind: record.Opened, Job: &j})
	tests := []reading.Test{reading.R1R2, reading.LNE, reading.LN, reading.Zs, reading.R2, reading.LE, reading.NE}
	for i := range 5000 {
		slot := record.Slot{Board: i/99%4 + 1, Way: i%99 + 1, Test: tests[i/400%len(tests)]}
		q, heard := quantity("0.4", slot.Test), bk.hear("x")
		bk.add(record.Event{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Investigate, Reason: "r", Source: "s"}, HeardID: heard}, record.Event{Kind: record.Confirmed})
	}
	b.ResetTimer()
	for b.Loop() {
		Queue(bk.s, bk.events)
	}
}
