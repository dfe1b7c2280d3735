package soak

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/lab/noise"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/say/espeak"
)

const testdata = "../../../testdata"

func realEar(t *testing.T) *hear.Ear {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	var models []*whisper.Model
	for _, name := range []string{"tiny.en-waycall-q8_0.bin", "tiny.en-waycall-other-q8_0.bin"} {
		m, err := whisper.Open(filepath.Join("../../../models", name), runtime.NumCPU())
		if err != nil {
			t.Fatalf("%v (make test does that)", err)
		}
		t.Cleanup(m.Close)
		models = append(models, m)
	}
	second, err := sphinx.Open(g.Lexicon())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	t.Cleanup(second.Close)
	return hear.New(g, models[0], second).WithThird(models[1])
}

// The first minutes of a day, through everything, with much more trouble than a day has.
func TestMinutes(t *testing.T) {
	voice, err := espeak.Open(0)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Run(t.Context(), Plan{
		Testdata: testdata, Folder: t.TempDir(), Hours: 0.05, Phrases: 36, Seed: 3, Trouble: 0.3, Ear: realEar(t), Voice: voice,
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Log(r.Text())
	if !r.Met() || r.Audit.Problems != nil {
		t.Errorf("bars %+v, problems %q", r.Bars, r.Audit.Problems)
	}
	if r.Audit.Confirmed < 5 || r.Counts.Kills+r.Counts.Faults == 0 || r.Counts.Sessions != 1+r.Counts.Kills+r.Counts.Faults {
		t.Errorf("too little happened: %d readings, %+v", r.Audit.Confirmed, r.Counts)
	}
	if len(r.Minutes) < 3 || r.Minutes[2].RSS <= 0 || r.Minutes[2].Heap <= 0 || r.Minutes[2].Files <= 0 || r.Minutes[2].Database <= 0 {
		t.Errorf("what was seen each minute: %+v", r.Minutes)
	}
	folder := t.TempDir()
	if err := r.Plot(folder); err != nil {
		t.Fatal(err)
	}
	page := r.Page(".")
	for name := range r.plots() {
		if b, err := os.ReadFile(filepath.Join(folder, name)); err != nil || !strings.HasSuffix(string(b), "</svg>\n") || !strings.Contains(page, "(./"+name+")") {
			t.Errorf("%s: %d bytes, %v, or not on the page", name, len(b), err)
		}
	}
}

func flats(t *testing.T) board.Job {
	t.Helper()
	f, err := os.Open(filepath.Join(testdata, "soak", "board.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	job, err := board.Read(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return job
}

func at(board, way int, test reading.Test, position int) record.Slot {
	return record.Slot{Board: board, Way: way, Test: test, Position: position}
}

func TestListener(t *testing.T) {
	l := newListener(flats(t))
	for _, tt := range []struct {
		text string
		want due
	}{
		{"Job FLT-0815, three boards. Board one, Consumer unit, ground floor. Waycall keeps a record. It proves nothing. Isolate and prove dead by your own procedure. Is the board isolated and locked off? Say, isolated and locked off.", due{kind: "step", step: "isolated and locked off"}},
		{"Noted. Are the notices up? Say, notices up.", due{kind: "step", step: "notices up"}},
		{"Surge protection out, or two fifty volts?", due{kind: "step", step: "surge protection out"}},
		{"Leads joined, nought point nought three, pass. And apart? Say, leads apart, and the megohms, or over range.", due{kind: "step", step: "leads apart"}},
		{"Leads apart, over nine nine nine, pass. Long lead from the main earthing terminal. The board itself. Main earth.", due{kind: "test", slot: at(1, 0, reading.Earthing, 0)}},
		{"Stored. Bonding, gas.", due{kind: "test", slot: at(1, 0, reading.Bonding, 2)}},
		{"Line linked to the protective conductor at the board. Way two, Sockets, kitchen. R one plus r two.", due{kind: "test", slot: at(1, 2, reading.R1R2, 0)}},
		{"Polarity. Answer, polarity correct, or polarity wrong.", due{kind: "test", slot: at(1, 2, reading.Polarity, 0)}},
		{"Insulation tester at the board. Way four, Lighting. Switch position one. Live and neutral to earth, 500 volts.", due{kind: "test", slot: at(1, 4, reading.LNE, 1)}},
		{"Live to neutral.", due{kind: "test", slot: at(1, 4, reading.LN, 1)}},
		{"Switch position two. Live and neutral to earth.", due{kind: "test", slot: at(1, 4, reading.LNE, 2)}},
		{"Way five, Sockets, front room. Live and neutral to earth.", due{kind: "test", slot: at(1, 5, reading.LNE, 0)}},
		{"Board two, Consumer unit, first floor. At the incoming terminals, main switch off. The board itself. Polarity of the supply.", due{kind: "test", slot: at(2, 0, reading.Polarity, 0)}},
		{"Way three failed. After work, say test way three again.", due{kind: "test", slot: at(2, 0, reading.Polarity, 0)}},
		{"Nothing more is due. Say finish here to end.", due{kind: "nothing"}},
	} {
		if l.listen(tt.text); l.due != tt.want {
			t.Errorf("after %q: %+v, want %+v", tt.text, l.due, tt.want)
		}
	}
}

func TestReadsBack(t *testing.T) {
	l := newListener(flats(t))
	l.at.Board = 1
	alone := func(slot record.Slot, written string) said { return said{slot: slot, written: written} }
	named := func(slot record.Slot, written string) said { return said{slot: slot, written: written, place: true} }
	for _, tt := range []struct {
		text string
		said said
		want bool
	}{
		{"Over nine nine nine, pass.", alone(at(1, 2, reading.LNE, 0), ">999"), true},
		{"Nine nine nine, pass.", alone(at(1, 2, reading.LNE, 0), ">999"), false},
		{"Over nine nine nine, pass.", alone(at(1, 2, reading.LNE, 0), "999"), false},
		{"Over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), false}, // where, it does not say
		{"Way two live and neutral to earth over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), true},
		{"Way three live and neutral to earth over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), false},
		{"Way two live to neutral over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), false},
		{"Two live neutral earth over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), true},
		{"Three live neutral earth over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), false},
		{"Two live neutral over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), false},
		{"Two live neutral earth nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), false},
		{"Live neutral earth over nine nine nine, pass.", named(at(1, 2, reading.LNE, 0), ">999"), false}, // where, it does not say
		{"Two r c d one times, thirty one pass.", named(at(1, 2, reading.RCD1x, 0), "31"), true},
		{"Two r c d one times, thirteen pass.", named(at(1, 2, reading.RCD1x, 0), "31"), false},
		{"Five four two, pass.", alone(at(1, 2, reading.LNE, 0), "542"), true},
		{"Five four three, pass.", alone(at(1, 2, reading.LNE, 0), "542"), false},
		{"Nought point two three, pass.", alone(at(1, 2, reading.R1R2, 0), "0.23"), true},
		{"Way two, r one plus r two, nought point two three ohms. Pass. Confirm?", alone(at(1, 2, reading.R1R2, 0), "0.23"), true},
		{"Way two, r one plus r two, nought point two three ohms. Pass. It replaces nought point two two ohms. Confirm?", named(at(1, 2, reading.R1R2, 0), "0.23"), true},
		{"Way two, r one plus r two, nought point two two ohms. Pass. It replaces nought point two three ohms. Confirm?", named(at(1, 2, reading.R1R2, 0), "0.23"), false},
		{"Changed to: Way two, r one plus r two, nought point two, three ohms. Pass. Confirm?", alone(at(1, 2, reading.R1R2, 0), "0.23"), true},
		{"Way four, live to neutral, switch position one, two hundred megohms. Pass. Confirm?", alone(at(1, 4, reading.LN, 1), "200"), true},
		{"Way four, live to neutral, switch position two, two hundred megohms. Pass. Confirm?", alone(at(1, 4, reading.LN, 1), "200"), false},
		{"Way four, live to neutral, two hundred megohms. Pass. Confirm?", alone(at(1, 4, reading.LN, 1), "200"), false},
		{"Board one, bonding, gas, nought point nought three ohms. Pass. Confirm?", alone(at(1, 0, reading.Bonding, 2), "0.03"), true},
		{"Board one, bonding, water, nought point nought three ohms. Pass. Confirm?", alone(at(1, 0, reading.Bonding, 2), "0.03"), false},
		{"Polarity of the supply, correct, pass.", alone(at(1, 0, reading.Polarity, 0), "correct"), true},
		{"Test button, correct, pass.", alone(at(1, 2, reading.RCDButton, 0), "correct"), true},
		{"Functional, wrong, pass.", alone(at(1, 2, reading.Functional, 0), "correct"), false},
		{"Over nine nine nine, pass.", alone(at(2, 2, reading.LNE, 0), ">999"), false}, // it is on another board
	} {
		if !readBack(tt.text) {
			t.Errorf("%q is not taken as read back", tt.text)
		}
		if got := l.readsBack(tt.text, tt.said); got != tt.want {
			t.Errorf("%q for %+v: %v", tt.text, tt.said, got)
		}
	}
	if readBack("Leads apart, over nine nine nine, pass. Main earth.") || !offers("Fifteen, or fifty? Say option one, option two, or say it again.") {
		t.Error("an answer is taken for a reading, or an offer is not noticed")
	}
}

// The ledger notices whatever is lost, changed, put elsewhere or made up.
func TestLedger(t *testing.T) {
	tone := make(audio.Clip, audio.Rate)
	r := rand.New(rand.NewPCG(1, 2))
	for i := range tone {
		tone[i] = float32(0.2 * r.NormFloat64() * float64(i%4000) / 4000)
	}
	other := slices.Clone(tone)
	slices.Reverse(other)
	said := []said{
		{slot: at(1, 1, reading.LNE, 0), written: ">999"}, {slot: at(1, 1, reading.LN, 0), written: "200"}, {slot: at(1, 2, reading.R1R2, 0), written: "0.23"},
	}
	// A record of them, in which way 1 was tested again before way 2 was read.
	build := func() (ledger, record.State, report.Schedule) {
		var l ledger
		l.stored(said[0])
		l.stored(said[1])
		l.retest(1, 1)
		l.stored(said[2])
		var s record.State
		for i, x := range said {
			one := record.Reading{Proposal: record.Proposal{Slot: x.slot, Quantity: x.quantity(), HeardID: int64(i)}, Standing: record.BeforeWork}
			s.Readings = append(s.Readings, &one)
		}
		s.Readings[2].Standing = record.Stands
		cells := []report.Cell{{Test: reading.R1R2, Status: report.Recorded, Text: "0.23"}}
		return l, s, report.Schedule{Lines: []report.Line{{Board: 1, Way: 2, Tested: report.Tested{Cells: cells}}}}
	}
	for _, tt := range []struct {
		name             string
		spoil            func(l *ledger, s *record.State, p *report.Schedule)
		lost, wrong, bad int
	}{
		{"whole", func(*ledger, *record.State, *report.Schedule) {}, 0, 0, 0},
		{"the last is not in the record", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings = s.Readings[:2] }, 1, 0, 0},
		{"another value", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings[1].Quantity.Value = 201 }, 0, 1, 0},
		{"another bound", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings[0].Quantity.Bound = reading.Exactly }, 0, 1, 0},
		{"another way", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings[0].Slot.Way = 3 }, 0, 1, 0},
		{"it stands though the way is tested again", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings[0].Standing = record.Stands }, 0, 1, 0},
		{"one that was not said", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings = append(s.Readings, s.Readings[0]) }, 0, 1, 0},
		{"not on the schedule", func(_ *ledger, _ *record.State, p *report.Schedule) { p.Lines = nil }, 1, 0, 0},
		{"another value on the schedule", func(_ *ledger, _ *record.State, p *report.Schedule) { p.Lines[0].Cells[0].Text = "0.32" }, 0, 1, 0},
		{"on another way of the schedule", func(_ *ledger, _ *record.State, p *report.Schedule) { p.Lines[0].Way = 3 }, 1, 1, 0},
		{"a note is missing", func(l *ledger, _ *record.State, _ *report.Schedule) { l.notes++ }, 0, 1, 0},
		{"another sound", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings[1].HeardID = 9 }, 0, 0, 1},
		{"no sound", func(_ *ledger, s *record.State, _ *report.Schedule) { s.Readings[1].HeardID = 10 }, 0, 0, 1},
	} {
		l, s, p := build()
		tt.spoil(&l, &s, &p)
		var a Audit
		err := l.against(&a, s, p, func(id int64) ([]byte, error) {
			switch id {
			case 9:
				return audio.EncodeWAV(other), nil
			case 10:
				return nil, errors.New("there is none")
			}
			return audio.EncodeWAV(tone[audio.Rate/10 : audio.Rate*9/10]), nil
		}, func(spec) (audio.Clip, error) { return tone, nil })
		if err != nil || a.Lost != tt.lost || a.Wrong != tt.wrong || a.BadSounds != tt.bad || (len(a.Problems) == 0) != (tt.lost+tt.wrong+tt.bad == 0) {
			t.Errorf("%s: %+v, %v", tt.name, a, err)
		}
	}
}

// There is sound of all that is said, and it can be made again as it was.
func TestPhrases(t *testing.T) {
	p, err := loadPhrases(testdata)
	if err != nil {
		t.Fatal(err)
	}
	if err := p.check(); err != nil {
		t.Error(err)
	}
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	for test, list := range values {
		for _, v := range list {
			m, ok := g.Meaning(v.said)
			q, err := reading.ParseQuantity(v.written, test.Unit())
			if !ok || err != nil {
				t.Errorf("%q: %v, %v", v.said, ok, err)
				continue
			}
			if !test.Judged() && !m.OverRange && (m.Quantity.Value != q.Value || m.Quantity.Bound != q.Bound) {
				t.Errorf("%q is %s here and %s by the grammar", v.said, q, m.Quantity)
			}
		}
	}
	if n := len(p.withPlace()); n < 30 {
		t.Errorf("%d phrases with a place", n)
	}
	e := newElectrician(1, p, flats(t))
	for range 20 {
		clip, spec, err := e.sound("confirm")
		if err != nil {
			t.Fatal(err)
		}
		if again, err := e.remake(spec); err != nil || !slices.Equal(clip, again) {
			t.Errorf("%+v sounds otherwise when it is made again, %v", spec, err)
		}
	}
	clip, spec, err := e.sound("confirm")
	if err != nil {
		t.Fatal(err)
	}
	spec.at, spec.cut = 1000, 500
	if lossy, err := e.remake(spec); err != nil || !slices.Equal(lossy, slices.Concat(clip[:1000], clip[1500:])) {
		t.Errorf("a sound with a gap is not made again, %v", err)
	}
	if _, _, err := e.sound("nobody says this"); err == nil {
		t.Error("there is sound of what nobody says")
	}
}

func TestBars(t *testing.T) {
	whole := func() Result {
		r := Result{Hours: 8, Counts: Counts{Phrases: 3000}, Audit: Audit{Confirmed: 9, Sounds: 9, Integrity: true}}
		for i := range 480 {
			r.Minutes = append(r.Minutes, Minute{At: float64(i + 1), RSS: 300})
			for range 5 {
				took := Took{At: float64(i), Wall: 100, CPU: 50, Fixed: 5}
				r.Hearing, r.Storing = append(r.Hearing, took), append(r.Storing, took)
			}
		}
		return r
	}
	for name, spoil := range map[string]func(r *Result){
		"":                       func(*Result) {},
		"length":                 func(r *Result) { r.Counts.Phrases-- },
		"lost":                   func(r *Result) { r.Audit.Lost = 1 },
		"wrongly":                func(r *Result) { r.Audit.Wrong = 1 },
		"sound of each":          func(r *Result) { r.Audit.Sounds-- },
		"integrity":              func(r *Result) { r.Audit.Integrity = false },
		"memory":                 func(r *Result) { tail(r.Minutes, func(m *Minute) { m.RSS = 316 }) },
		"hearing":                func(r *Result) { tail(r.Hearing, func(x *Took) { x.CPU, x.Fixed = 56, 5.6 }) },
		"the same, as multiples": func(r *Result) { tail(r.Hearing, func(x *Took) { x.Fixed = 4 }) },
		"storing":                func(r *Result) { tail(r.Storing, func(x *Took) { x.CPU = 56 }) },
	} {
		r := whole()
		spoil(&r)
		r.Bars = bars(r, Plan{Hours: 8, Phrases: 3000})
		var not []string
		for _, b := range r.Bars {
			if !b.Met {
				not = append(not, b.What)
			}
		}
		if r.Met() != (name == "") || name != "" && (len(not) != 1 || !strings.Contains(not[0], name)) || len(r.Bars) < 11 {
			t.Errorf("%q: %d bars, not met %q", name, len(r.Bars), not)
		}
		if text := fmt.Sprint(r.Text(), r.Page("soak")); (name == "") == strings.Contains(text, "NOT MET") {
			t.Errorf("%q: the summary says otherwise:\n%s", name, text)
		}
	}
}

// tail changes the last quarter.
func tail[T any](list []T, change func(*T)) {
	for i := len(list) * 3 / 4; i < len(list); i++ {
		change(&list[i])
	}
}

func TestAlike(t *testing.T) {
	p, err := loadPhrases(testdata)
	if err != nil {
		t.Fatal(err)
	}
	kept := func(c audio.Clip) (all []int16) {
		for _, x := range c {
			all = append(all, int16(x*(1<<15)))
		}
		return all
	}
	one := p["confirm"][0]
	part := audio.Trim(one, audio.Settings{}).Sound
	if c := alike(kept(part), one); c < 0.97 {
		t.Errorf("a part of a sound is alike by %.2f", c)
	}
	for _, text := range []string{"yes", "over nine nine nine", "eight two four"} {
		if c := alike(kept(part), p[text][0]); c > 0.9 {
			t.Errorf("%q is alike by %.2f", text, c)
		}
	}
	noisy, err := noise.Condition{Noise: []noise.Added{{Kind: noise.Site, SNR: 20}}}.Apply(one, nil, 1)
	if err != nil {
		t.Fatal(err)
	}
	if c := alike(kept(audio.Trim(noisy, audio.Settings{}).Sound), noisy); c < 0.9 {
		t.Errorf("in noise alike by %.2f", c)
	}
}
