// Package plan is what is due on a job and why, in the order of the work, as waycall due
// prints it.
package plan

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"waycall/internal/check"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/report/columns"
	"waycall/internal/sequence"
	"waycall/internal/words"
)

// Format is the version of the JSON layout, in Plan.Format.
const Format = 2

// Plan is what is due on a job and why, and what is not. Its JSON form is the
// layout for other programs; lists are never null.
type Plan struct {
	Format    int      `json:"format"`
	Reference string   `json:"reference"` // of the job
	Limited   []string `json:"limited_to"`
	Tests     int      `json:"tests"` // as far as is known now: recorded, left out, waiting and still to do
	Recorded  int      `json:"recorded"`
	LeftOut   int      `json:"left_out"`
	Waiting   int      `json:"waiting"` // for work on what failed, or for a test that was skipped
	Steps     int      `json:"steps"`   // preparation
	StepsDone int      `json:"steps_done"`
	Estimate  Estimate `json:"estimate"`
	Boards    []Board  `json:"boards"` // in the order of work
	Cautions  []string `json:"cautions"`
}

// Board is one board of a plan.
type Board struct {
	Board        int      `json:"board"`
	Name         string   `json:"name"`
	OnlyIsolated bool     `json:"only_isolated"` // no test is asked for on it
	Remarks      []string `json:"remarks"`       // on what is described, each with its way and source
	Due          []Due    `json:"due"`           // in the order of the work
	Tests        []Test   `json:"tests"`         // every test of the board and its ways, with whether it is asked for
}

// Due is one thing that is still to be done.
type Due struct {
	Step     string       `json:"step,omitempty"` // of preparation; absent for a test
	Live     bool         `json:"live,omitempty"` // made with the supply on
	Way      int          `json:"way"`            // 0 is the board itself
	Test     reading.Test `json:"test,omitempty"`
	Position int          `json:"position,omitempty"`
	Setup    string       `json:"setup,omitempty"` // the leads and links it is made with
	// Volts is the DC voltage of an insulation test; 0 for the others.
	Volts  float64 `json:"test_voltage,omitempty"`
	Why    string  `json:"why"`
	Source string  `json:"source"`
}

// Test is one test of a board or way and what is asked of it.
type Test struct {
	Way      int          `json:"way"` // 0 is the board itself
	Test     reading.Test `json:"test"`
	Position int          `json:"position,omitempty"`
	Need     string       `json:"need"` // required, not required or not possible, as the board is described
	Now      string       `json:"now"`  // due, recorded, left out, waiting, not made because of what stays connected, or not asked
	Why      string       `json:"why"`  // of Need, or of Now where it waits or was left out
	Source   string       `json:"source"`
}

// Of derives the plan from what the log says.
func Of(s record.State) Plan {
	n := sequence.Count(s)
	p := Plan{
		Format: Format, Reference: s.Job.Reference, Limited: []string{}, Tests: n.Tests, Recorded: n.Recorded, LeftOut: n.LeftOut, Waiting: n.Waiting,
		Steps: n.Steps, StepsDone: n.StepsDone, Estimate: estimate(s), Boards: []Board{}, Cautions: slices.Clone(planCautions),
	}
	for _, kind := range s.Job.Tests {
		p.Limited = append(p.Limited, string(kind))
	}
	due, open := map[int][]Due{}, map[record.Slot]bool{}
	for _, d := range sequence.Remaining(s) {
		one := Due{Why: d.Why, Source: d.Source}
		if d.Step != nil {
			one.Step = d.Step.ID
		} else {
			open[d.Slot] = true
			one.Way, one.Test, one.Position, one.Setup, one.Volts, one.Live = d.Slot.Way, d.Slot.Test, d.Slot.Position, string(d.Setup), d.Volts, sequence.Live(d.Slot)
		}
		due[d.Board] = append(due[d.Board], one)
	}
	waits := map[record.Slot]sequence.Omitted{}
	for _, o := range sequence.NotAsked(s) {
		waits[o.Slot] = o
	}
	for _, number := range s.Job.InOrder() {
		b := s.Job.Board(number)
		one := Board{Board: number, Name: b.Name, OnlyIsolated: b.Supply.OnlyIsolated, Remarks: []string{}, Due: append([]Due{}, due[number]...), Tests: []Test{}}
		for _, way := range append([]int{0}, sequence.Order(s.Job, number)...) {
			for _, r := range check.Remarks(s.Job, number, way) {
				one.Remarks = append(one.Remarks, words.At(0, way, false)+": "+r.Cited())
			}
			for _, need := range sequence.Needs(s.Job, number, way) {
				one.Tests = append(one.Tests, planTest(s, need, open, waits))
			}
		}
		p.Boards = append(p.Boards, one)
	}
	return p
}

// The words for Now.
const (
	nowDue      = "due"
	nowRecorded = "recorded"
	nowLeftOut  = "left out"
	nowWaiting  = "waiting"
	nowNotMade  = "not made"
	nowNotAsked = "not asked"
)

func planTest(s record.State, need sequence.Need, open map[record.Slot]bool, waits map[record.Slot]sequence.Omitted) Test {
	t := Test{Way: need.Slot.Way, Test: need.Slot.Test, Position: need.Slot.Position, Need: string(need.Need), Now: nowNotAsked, Why: need.Why, Source: need.Source}
	if r, ok := s.Latest(need.Slot); ok {
		t.Now = nowRecorded
		if r.Verdict.Result != check.Pass {
			t.Now = nowRecorded + ", " + string(r.Verdict.Result)
		}
	} else if k, ok := s.LeftOut(need.Slot); ok {
		t.Now, t.Why, t.Source = nowLeftOut, words.Sentence(string(k.How)+": "+k.Reason), ""
		if k.Reason == "" {
			t.Why = words.Sentence(string(k.How))
		}
	} else if open[need.Slot] {
		t.Now = nowDue
	} else if o, ok := waits[need.Slot]; ok {
		t.Now, t.Why, t.Source = nowNotMade, o.Reason, o.Source
		if o.Waiting {
			t.Now = nowWaiting
		}
	}
	return t
}

var planCautions = []string{
	"This is an order of work, not a method of working safely: isolate and prove dead by your own safe system of work.",
	"Sources marked \"from a public print\" were read in public pages or books, which print older editions, and those marked \"from memory\" were not read: check them against the published text.",
}

// JSON writes the plan for other programs.
func (p Plan) JSON(w io.Writer) error { return printable.WriteJSON(w, p) }

// Text writes what is due in the order of the work, then what was left out, waits,
// cannot be made or did not pass. all adds what passed, what is not required and
// what is not possible.
func (p Plan) Text(w io.Writer, all bool) error {
	var t columns.Page
	t.Line("DUE, job " + printable.Words(p.Reference))
	if len(p.Limited) > 0 {
		t.Item("", "The job is limited to "+strings.Join(p.Limited, ", ")+".")
	}
	t.Item("", fmt.Sprintf("Preparation %d of %d. Tests %d of %d recorded, %d left out, %d waiting.", p.StepsDone, p.Steps, p.Recorded, p.Tests, p.LeftOut, p.Waiting))
	t.Item("", p.Estimate.text())
	if len(p.Boards) > 1 {
		t.Item("", "The dead tests of every board come before the live tests of any.")
	}
	var sources []string
	cite := func(source string) string {
		if source == "" {
			return ""
		}
		i := slices.Index(sources, source)
		if i < 0 {
			sources, i = append(sources, source), len(sources)
		}
		return fmt.Sprint(i + 1)
	}
	for _, b := range p.Boards {
		t.Line("")
		t.Line(fmt.Sprintf("BOARD %d, %s", b.Board, printable.Cut(printable.Words(b.Name), 80)))
		if b.OnlyIsolated {
			t.Item("", "Only isolated: no test is asked for on it.")
		}
		for _, r := range b.Remarks {
			t.Item("Remark: ", r)
		}
		writeDue(&t, b.Due, cite)
		var rows [][]string
		for _, one := range b.Tests {
			if one.Now == nowDue || !all && (one.Now == nowNotAsked || one.Now == nowRecorded) {
				continue
			}
			rows = append(rows, []string{words.WayName(one.Way), words.SlotTest(one.Test, one.Position), one.Need, one.Now, one.Why, cite(one.Source)})
		}
		if len(rows) > 0 {
			t.Line("")
			t.Rows(append([][]string{{"Way", "Test", "Need", "Now", "Why", "Source"}}, rows...), 4)
		}
	}
	if len(sources) > 0 {
		t.Line("")
		t.Line("SOURCES")
		for i, s := range sources {
			t.Item(fmt.Sprintf("%3d  ", i+1), s)
		}
	}
	t.Line("")
	for _, c := range p.Cautions {
		t.Item("", c)
	}
	return t.Print(w)
}

// writeDue writes the order of the work: the steps of preparation, and the tests
// under the set-up that they are made in.
func writeDue(t *columns.Page, due []Due, cite func(string) string) {
	var rows [][]string
	flush := func() {
		if len(rows) > 0 {
			t.Rows(append([][]string{{"Way", "Test", "Need", "Why", "Source"}}, rows...), 3)
			rows = nil
		}
	}
	heading := ""
	for _, d := range due {
		if d.Step != "" {
			flush()
			if heading != "preparation" {
				t.Line("")
				t.Line("Preparation")
			}
			heading = "preparation"
			t.Item("- ", d.Step)
			continue
		}
		now := "Dead"
		if d.Live {
			now = "Live"
		}
		if now += ", " + d.Setup; d.Volts != 0 {
			now += fmt.Sprintf(", %s V DC", words.Number(d.Volts))
		}
		if now != heading {
			flush()
			t.Line("")
			t.Item("", now)
			heading = now
		}
		rows = append(rows, []string{words.WayName(d.Way), words.SlotTest(d.Test, d.Position), string(sequence.Needed), d.Why, cite(d.Source)})
	}
	flush()
}
