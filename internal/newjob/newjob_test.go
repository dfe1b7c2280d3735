package newjob

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board"
)

const today = "2026-03-14"

func answer(t *testing.T, known Known, ways bool, answers string) (board.Job, string, error) {
	t.Helper()
	known.Today = today
	var out strings.Builder
	job, err := Wizard(strings.NewReader(answers), &out, known, ways)
	return job, out.String(), err
}

const whole = `A-1
1 Example Row

AB
0012
2026-02-02

500
Unit in the hall

TN-S


y
BS EN 60947-3 100
0.8
2.4
16
water, gas
10
n
y
Sockets

RCBO b32

30 a
ring
2.5 1.5
64
14




spare
Lights
B
B6
-
-

1.5 1


y
smoke alarms
lighting

end
n

`

func TestWizard(t *testing.T) {
	job, shown, err := answer(t, Known{}, true, whole)
	if err != nil {
		t.Fatalf("%v\n%s", err, shown)
	}
	if err := board.Check(job); err != nil {
		t.Fatal(err)
	}
	b := job.Boards[0]
	one, three := b.Ways[0], b.Ways[2]
	if job.Date != today || job.Instrument.Serial != "0012" || job.Instrument.OverRange != 999 || job.Instrument.OverRange250 != 500 || !b.SurgeProtection || b.Earthing != board.TNS || len(b.Ways) != 3 || !b.Ways[1].Spare {
		t.Errorf("%+v", job)
	}
	if b.Supply.DeclaredZe != 0.8 || b.Supply.DeclaredPFC != 2.4 || b.EarthingConductor != 16 || !slices.Equal(b.Bonding, []string{"water", "gas"}) || b.BondingSize != 10 {
		t.Errorf("at the board itself: %+v", b)
	}
	if one.Device.Standard != board.RCBO || one.Device.Type != "B" || one.Device.Rating != 32 || one.Device.Breaking != 6 || *one.Device.RCD != (board.RCD{Rated: 30, Type: "A"}) ||
		one.Wiring != board.Ring || one.Line != 2.5 || one.CPC != 1.5 || b.Main.Family() != board.SwitchIsolator || b.Phases != 1 || three.Use != board.Lighting || one.Length != 64 || one.Points != 14 {
		t.Errorf("%+v", one)
	}
	if three.Device.Standard != board.MCB || three.Device.RCD != nil || three.Device.Breaking != 0 || !three.TwoWay || three.NeutralBar != "B" || one.NeutralBar != "A" || three.Keep500Off != "smoke alarms" || three.Length != 0 {
		t.Errorf("%+v", three)
	}
}

// What cannot be is said at once, in the words that a board file would get, and asked
// again.
func TestWizardAsksAgain(t *testing.T) {
	for _, c := range []struct{ before, wrong, says string }{
		{"", "../x", "reference"},
		{"", "TAKEN", "already"},
		{"A-1\n1 Example Row\n", "2026-02-30", "date"},
		{"A-1\n1 Example Row\n\nAB\n0012\n", "2026-03-15", "after the date of the job"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n", "5", "megohm"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n", "7", "no earlier job"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n", "TNX", "TN-S"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n", "12", "230"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n", "2", "write 1 or 3"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n", "1.5", "whole number"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n", "perhaps", "type y or n"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n", "thing", "no device"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n", "0,35", "type 0.35"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n", "900", "declared_pfc"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n", "water, water", "bonded twice"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n", "B31", "31"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n", "what", "no device"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n\n\n", "30", "has no type"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n\n\n30 a\n", "ggggggggggggggggggggg", "more than 20 characters"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n\n\n\n\n", "1.5", "give both"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n\n\n\n\n\n\n\n\n\n", "cooking", "use is"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n\n\n\n\n\n\n\n\n\n\n", "heat pump", "unknown kind of way"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\n\n\nLights\n\n\n\n\n\n\n\n\n\n\nEV charging\n", "yes", "pen_protection is"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\ny\n", "5", "frequency is 5"},
		{"A-1\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n\n\n\n\n\n\n\ny\n\n", "two", "live_conductors is"},
	} {
		_, shown, err := answer(t, Known{Taken: func(s string) bool { return s == "TAKEN" }}, true, c.before+c.wrong+"\n")
		if !errors.Is(err, ErrStopped) {
			t.Errorf("%q: %v", c.wrong, err)
		}
		lines := strings.Split(shown, "\n")
		last := strings.Join(lines[max(0, len(lines)-4):], "\n")
		if !strings.Contains(strings.ToLower(last), strings.ToLower(c.says)) {
			t.Errorf("%q: it says\n%s", c.wrong, last)
		}
	}
}

// A board may be like another, of this job or of an earlier one.
func TestWizardCopiesABoard(t *testing.T) {
	first, _, err := answer(t, Known{}, true, whole)
	if err != nil {
		t.Fatal(err)
	}
	known := Known{
		Instruments: []board.Instrument{{Serial: "77", Checked: "2026-01-01", OverRange: 200}},
		Job: func(name string) (board.Job, error) {
			if name != "A-1" {
				return board.Job{}, fmt.Errorf("no job %s", name)
			}
			return first, nil
		},
	}
	job, shown, err := answer(t, known, true, "A-2\n2 Example Row\n\nAB\n\nUnit\nA-9\nA-1/2\nA-1/1\ny\nAnother\n1\nn\n\n")
	if err != nil {
		t.Fatalf("%v\n%s", err, shown)
	}
	if len(job.Boards) != 2 || len(job.Boards[0].Ways) != 3 || len(job.Boards[1].Ways) != 3 || job.Boards[1].Name != "Another" || job.Boards[1].Number != 2 || job.Instrument.OverRange != 200 {
		t.Errorf("%+v", job)
	}
	for _, says := range []string{"no job A-9", "has no board 2", "known: 77"} {
		if !strings.Contains(shown, says) {
			t.Errorf("it does not say %q:\n%s", says, shown)
		}
	}
	if err := board.Check(job); err != nil {
		t.Error(err)
	}
	job.Boards[1].Ways[0].Feeds = "changed"
	if job.Boards[0].Ways[0].Feeds == "changed" || first.Boards[0].Ways[0].Feeds == "changed" {
		t.Error("the copies share their ways")
	}
}

// The kind of work is asked for at the end, with what hangs on it.
func TestWizardKindOfWork(t *testing.T) {
	before := strings.TrimSuffix(whole, "\n")
	for _, c := range []struct {
		answers string
		says    string
		right   func(board.Job) bool
	}{
		{"", "", func(j board.Job) bool { return j.Work == board.NewWork && j.Periodic == nil }},
		{"extension\naddition\n3\n2\n1\n", "write new, addition, alteration or periodic", func(j board.Job) bool {
			return j.Work == board.Addition && j.Boards[0].Ways[2].Work == board.Fresh && j.Boards[0].Ways[0].Work == board.Altered
		}},
		{"alteration\n\n1,x\n1\n", `there is no way "x"`, func(j board.Job) bool {
			return j.Boards[0].Ways[0].Work == board.Altered && j.Boards[0].Ways[2].Work == ""
		}},
		{"periodic\nthe owner\nThe whole\nOne in two\nNo floor lifted\nnone\ny\n1\n3\n", "", func(j board.Job) bool {
			return *j.Periodic == board.Periodic{Extent: "The whole", Sampling: "One in two", Limitations: "No floor lifted", AgreedWith: "the owner", DeadTests: board.NoWays, StaysOn: true} &&
				j.Boards[0].Ways[0].Tested == board.DeadAndLive && j.Boards[0].Ways[2].Tested == board.NotTested
		}},
		{"periodic\n\n\n\nNo floor lifted\n\n\n\n\n", "nobody is named who agreed", func(j board.Job) bool { return *j.Periodic == board.Periodic{DeadTests: board.AllWays} }},
	} {
		job, shown, err := answer(t, Known{}, true, before+c.answers+"\n")
		if err != nil {
			t.Errorf("%q: %v\n%s", c.answers, err, shown)
			continue
		}
		if !c.right(job) || !strings.Contains(shown, c.says) || board.Check(job) != nil {
			t.Errorf("%q: %+v %+v\n%s", c.answers, job, job.Periodic, shown)
		}
	}
}

// Whatever is typed, it ends, and what it makes is a job or nothing.
func TestWizardHostile(t *testing.T) {
	lines := strings.Split(whole, "\n")
	rapid.Check(t, func(t *rapid.T) {
		mixed := append([]string{}, lines...)
		for range rapid.IntRange(0, 6).Draw(t, "changes") {
			i := rapid.IntRange(0, len(mixed)-1).Draw(t, "line")
			mixed[i] = rapid.OneOf(rapid.String(), rapid.SampledFrom(lines), rapid.SampledFrom([]string{"end", "-", "1/1", "9999999999999999999999", "NaN", "1e9", "\x00"})).Draw(t, "text")
		}
		var out strings.Builder
		job, err := Wizard(strings.NewReader(strings.Join(mixed, "\n")), &out, Known{Today: today}, true)
		if err == nil {
			err = board.Check(job)
			if err != nil {
				t.Fatalf("it made a job that is none: %v", err)
			}
		} else if !errors.Is(err, ErrStopped) {
			t.Fatal(err)
		}
	})
	if _, _, err := answer(t, Known{}, true, strings.Repeat("x", 5000)); !errors.Is(err, ErrStopped) || !strings.Contains(err.Error(), "longer than") {
		t.Error(err)
	}
	if _, _, err := answer(t, Known{}, true, strings.Repeat("../\n", 100)); !errors.Is(err, ErrStopped) || !strings.Contains(err.Error(), "wrongly") {
		t.Error(err)
	}
}

func TestRegister(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	r := NewRegister(dir)
	if list, err := r.List(); err != nil || len(list) != 0 {
		t.Fatal(list, err)
	}
	for _, i := range []board.Instrument{{Serial: "20", Checked: "2026-01-01", OverRange: 999}, {Serial: "10", Checked: "2025-01-01", OverRange: 200}, {Serial: "20", Checked: "2026-03-01", OverRange: 999}} {
		if err := r.Put(i); err != nil {
			t.Fatal(err)
		}
	}
	list, err := r.List()
	if err != nil || len(list) != 2 || list[0].Serial != "10" || list[1].Checked != "2026-03-01" {
		t.Error(list, err)
	}
	for _, i := range []board.Instrument{{}, {Serial: "1", Checked: "soon", OverRange: 999}, {Serial: "1", Checked: "2026-01-01"}, {Serial: "1\n2", Checked: "2026-01-01", OverRange: 999}} {
		if err := r.Put(i); err == nil {
			t.Errorf("%+v was taken", i)
		}
	}
	if err := r.Remove("30"); err == nil {
		t.Error("what is not there was removed")
	}
	if err := r.Remove("10"); err != nil {
		t.Error(err)
	}
	path := filepath.Join(dir, "instruments.json")
	for _, text := range []string{"", "{}", "[1]", `[{"serial":"1"}]`, `[{"serial":"1","checked":"2026-01-01","over_range":999,"owner":"x"}]`} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := r.List(); err == nil || !strings.Contains(err.Error(), "move it away") {
			t.Errorf("%q: %v", text, err)
		}
		if err := r.Put(board.Instrument{Serial: "5", Checked: "2026-01-01", OverRange: 999}); err == nil {
			t.Errorf("%q was written over", text)
		}
	}
}

// What the forms want is asked for where somebody has it.
func TestWizardForms(t *testing.T) {
	job, shown, err := answer(t, Known{}, true, "A-4\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\nTT\n\n\ny\n\n\n\n\n"+
		"y\n50\n1-phase 2-wire\nBS 88-3\n100\nunknown\nrod\nfront garden\n2\n\nT2\ngood\n\n\n\n0077\n\n"+"\nLights\nB6\n\n\n\n\n\n\n\n\n\n\nend\nn\nnew\n")
	if err != nil {
		t.Fatalf("%v\n%s", err, shown)
	}
	b := job.Boards[0]
	if b.Supply.Frequency != 50 || b.Supply.Conductors != board.OnePhaseTwo || b.Supply.Cutout != (board.Cutout{Standard: "BS 88-3", Rating: 100}) || b.Supply.MaximumDemand != 0 ||
		b.Electrode != (board.Electrode{Type: "rod", Place: "front garden"}) || b.MainPoles != 2 || b.SurgeType != "T2" || b.SurgeIndicator != board.IndicatorGood || job.Instrument.Serials != (board.Serials{RCD: "0077"}) || b.NoBonding || strings.Contains(shown, "Ze as declared") {
		t.Errorf("%+v", job)
	}
}

// A three-phase board is asked for place by place, and the ways that share a residual
// current device say so.
func TestWizardThreePhases(t *testing.T) {
	job, shown, err := answer(t, Known{}, true, "A-3\n1 Example Row\n\nAB\n0012\n2026-02-02\n\n\nUnit\n\n\n\n3\n\nBS EN 61008 80\n100 S\n\n\n\nnone\n\n\n"+
		"y\nLights\nB6\n\n30 A\nA\n\n\n\n\n\n\n\n\n"+"Sockets\n\n\n\n\n\n\n\n\n\n\n\n\n"+"spare\n"+"n\nMotor\n3\nC20\n\n-\n\n\n\n\n\n\n\n\n"+"n\nend\nn\n\n")
	if err != nil {
		t.Fatalf("%v\n%s", err, shown)
	}
	b := job.Boards[0]
	if !b.NoBonding || b.Main.RCD == nil || !b.Main.RCD.Delayed || b.Main.RCD.Rated != 100 || len(b.Ways) != 4 {
		t.Fatalf("%+v\n%s", b, shown)
	}
	for i, want := range []int{101, 201, 301, 2} {
		if b.Ways[i].Number != want {
			t.Errorf("way %d is %d", i, b.Ways[i].Number)
		}
	}
	one, two, four := b.Ways[0], b.Ways[1], b.Ways[3]
	if one.Phase != "L1" || one.Device.RCD.Group != "A" || two.Device.RCD.Group != "A" || four.Phases != 3 || four.Device.RCD != nil {
		t.Errorf("%+v\n%+v\n%+v", one, two, four)
	}
}
