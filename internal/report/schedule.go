// Package report makes the schedule of test results, for people and for other
// programs.
//
// Build derives a Schedule from what the log says; Text, CSV and JSON write it.
// Nothing is looked up or measured here, so the same log always gives the same
// bytes. Only confirmed readings are on a schedule. What was not made, and what
// was confirmed and later replaced or taken back, is said beside them.
//
// A schedule is a record of what was read out, for a competent person to judge.
// It has no line that says an installation is safe, and a test that was not
// made is never shown as one that passed.
//
// # Columns
//
// The layout is our own. It gives for each circuit what the model schedule of
// test results in BS 7671 Appendix 6 gives for the same tests, from memory:
// circuit, protective device, conductors, insulation test voltage and readings,
// remarks.
package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// Format is the version of the JSON layout, in Schedule.Format. It goes up when
// a field is removed or changes its meaning; a new field alone does not change
// it.
const Format = 1

// Schedule is the schedule of test results of one job. Its JSON form is the
// layout for other programs. Lists are never null, and a time is UTC as in
// RFC 3339.
type Schedule struct {
	Format      int      `json:"format"`
	Job         Header   `json:"job"`
	Record      Record   `json:"record"`
	Limits      []Limit  `json:"limits"`      // what readings are judged by, one for each kind of circuit on the board
	Preparation []Step   `json:"preparation"` // in the order in which the steps are asked for
	Lines       []Line   `json:"lines"`       // in the order of the board: one for each way, and for each switch position of a two-way one
	ToDo        []string `json:"to_do"`       // what remains, one sentence each; empty when nothing does
	Cautions    []string `json:"cautions"`    // to be shown wherever the readings are
}

// Header is what was tested, by whom and with what.
type Header struct {
	Reference       string  `json:"reference"`
	Address         string  `json:"address"`
	Date            string  `json:"date"`   // 2006-01-02
	Tester          string  `json:"tester"` // initials
	Board           string  `json:"board"`
	Earthing        string  `json:"earthing"` // TN-S, TN-C-S or TT
	Voltage         float64 `json:"voltage"`  // nominal, line to earth, V
	SurgeProtection bool    `json:"surge_protection"`
	Instrument      string  `json:"instrument_serial"`
	Checked         string  `json:"instrument_checked"`    // date of its last calibration check, 2006-01-02
	OverRange       float64 `json:"instrument_over_range"` // where its insulation scale ends, Mohm
}

// Record says how far the log goes that the schedule was made from.
type Record struct {
	LastEvent int64     `json:"last_event"` // 0 for an empty log
	LastAt    time.Time `json:"last_at"`
	Sessions  int       `json:"sessions"` // how often a session was opened
	Finished  bool      `json:"finished"` // the electrician ended the work
	Complete  bool      `json:"complete"` // finished, and nothing is left to do
}

// Limit is a limit of insulation resistance.
type Limit struct {
	Least  float64 `json:"least"` // Mohm: a reading below it fails
	Volts  float64 `json:"test_voltage"`
	Source string  `json:"source"`
	Ways   []int   `json:"ways"` // that it is for
}

// Step is a preparation step, as the electrician answered it. Nothing was
// checked by waycall.
type Step struct {
	Step   string     `json:"step"`
	Answer string     `json:"answer"` // done, not applicable or limitation; empty when it was not answered
	Reason string     `json:"reason,omitempty"`
	At     *time.Time `json:"at,omitempty"`
	Event  int64      `json:"event,omitempty"` // in the log
}

// Line is one way, or one switch position of a way with two-way switching.
type Line struct {
	Way      int     `json:"way"`
	Position int     `json:"position,omitempty"` // 1 or 2; absent where there is none
	Feeds    string  `json:"feeds"`
	Spare    bool    `json:"spare"`
	Device   Device  `json:"device"`
	Wiring   string  `json:"wiring,omitempty"` // radial or ring
	Line     float64 `json:"line"`             // conductor, mm2; 0 when unknown
	CPC      float64 `json:"cpc"`              // mm2; 0 when unknown
	Points   int     `json:"points,omitempty"` // absent when unknown
	Neutral  string  `json:"neutral_bar,omitempty"`

	Cells    []Cell   `json:"tests"`            // LN-E, L-N, L-E, N-E, as far as this line has them, then any other
	Earlier  []Cell   `json:"earlier"`          // readings that no longer stand, in the order in which they were taken
	Result   string   `json:"result,omitempty"` // the worst of its readings: fail, investigate, cannot say or pass; absent when there is none
	Complete bool     `json:"complete"`         // every test was made or left out with a reason
	Remarks  []string `json:"remarks"`          // one sentence or two each
}

// Device is the overcurrent protective device, with any RCD.
type Device struct {
	Standard string  `json:"standard,omitempty"`
	Type     string  `json:"type,omitempty"`
	Rating   float64 `json:"rating,omitempty"`    // A
	Breaking float64 `json:"breaking,omitempty"`  // kA; absent when unknown
	RCDRated float64 `json:"rcd_rated,omitempty"` // mA; absent when there is none
	RCDType  string  `json:"rcd_type,omitempty"`
}

// Status says what became of a test. The strings are exported, so they never
// change.
type Status string

// The statuses.
const (
	Recorded      Status = "recorded"
	ToDo          Status = "to do"
	Skipped       Status = "skipped"        // left out, with a reason
	NotApplicable Status = "not applicable" // with a reason
	Limitation    Status = "limitation"     // it could not be made, with a reason
	NotAsked      Status = "not asked"      // not made because of what stays connected
	Waiting       Status = "waiting"        // until the way was worked on
	Replaced      Status = "replaced"       // a reading that another took the place of
	Withdrawn     Status = "withdrawn"      // a reading that was taken back
	BeforeWork    Status = "before work"    // a reading from before the way was worked on
)

// Cell is one test on one line.
type Cell struct {
	Test   reading.Test `json:"test"`
	Status Status       `json:"status"`
	Reason string       `json:"reason,omitempty"` // of the status, where there is one

	// The reading, absent where there is none. A bound ">" with value 999 is
	// "greater than 999": it must not be read as 999.
	Text   string   `json:"text,omitempty"` // without the unit: ">999"
	Bound  string   `json:"bound,omitempty"`
	Value  *float64 `json:"value,omitempty"`
	Unit   string   `json:"unit,omitempty"`
	Result string   `json:"result,omitempty"` // pass, investigate, fail or cannot say, when it was confirmed
	Why    string   `json:"why,omitempty"`    // of the result
	Source string   `json:"source,omitempty"` // of Why, or of the reason of a test that was not asked for

	// The DC voltage in V that was asked for, insulation tests only; what the
	// instrument was set to, waycall does not see.
	Volts float64    `json:"test_voltage,omitempty"`
	At    *time.Time `json:"at,omitempty"`    // of its confirmation
	Event int64      `json:"event,omitempty"` // in the log: the confirmation, or what left the test out
	Heard int64      `json:"heard,omitempty"` // in the log: the phrase, whose sound is kept
}

// columns are the tests with a column of their own, in their order.
var columns = []reading.Test{reading.LNE, reading.LN, reading.LE, reading.NE}

var cautions = []string{
	"This is a record of readings as they were read out and confirmed, for a competent person to judge.",
	"It is no certificate and says nothing about whether an installation or a circuit may be used or touched.",
	"A pass says only that one reading meets one limit. Local rules and licensed practice prevail.",
	"Sources marked \"from memory\" were not checked against the published text.",
}

// builder is the state with what follows from it, worked out once.
type builder struct {
	record.State
	due      map[record.Slot]sequence.Due
	notAsked map[record.Slot]sequence.Omitted
}

// Build derives the schedule from what the log says.
func Build(s record.State) Schedule {
	b := builder{s, map[record.Slot]sequence.Due{}, map[record.Slot]sequence.Omitted{}}
	for _, d := range sequence.Remaining(s) {
		if d.Step == nil {
			b.due[d.Slot] = d
		}
	}
	for _, o := range sequence.NotAsked(s) {
		b.notAsked[o.Slot] = o
	}
	job := s.Job
	var first board.Board
	if len(job.Boards) > 0 {
		first = job.Boards[0]
	}
	out := Schedule{
		Format: Format,
		Job: Header{
			Reference: job.Reference, Address: job.Address, Date: job.Date, Tester: job.Tester,
			Board: first.Name, Earthing: string(first.Earthing), Voltage: first.Voltage, SurgeProtection: first.SurgeProtection,
			Instrument: job.Instrument.Serial, Checked: job.Instrument.Checked, OverRange: job.Instrument.OverRange,
		},
		Record:      Record{LastEvent: s.LastID, LastAt: s.LastAt.UTC(), Sessions: s.Sessions, Finished: s.Finished},
		Limits:      []Limit{},
		Preparation: []Step{},
		Lines:       []Line{},
		ToDo:        toDo(s),
		Cautions:    slices.Clone(cautions),
	}
	out.Record.Complete = s.Finished && len(out.ToDo) == 0
	if s.Sessions == 0 {
		return out
	}
	for _, number := range sequence.Boards(job) {
		for _, step := range sequence.Steps(job, number) {
			out.Preparation = append(out.Preparation, preparation(s, number, step))
		}
		one := job.Board(number)
		for _, w := range one.Ways {
			if w.Spare {
				out.Lines = append(out.Lines, newLine(w, 0))
				continue
			}
			out.addLimit(check.InsulationLimit(w, one.Voltage, sequence.SurgeConnected(s, number)), w.Number)
			for _, p := range positions(s, number, w) {
				out.Lines = append(out.Lines, b.line(number, w, p))
			}
		}
	}
	return out
}

func (s *Schedule) addLimit(l check.Limit, way int) {
	for i := range s.Limits {
		if have := &s.Limits[i]; have.Least == l.Least && have.Volts == l.TestVoltage && have.Source == l.Source {
			have.Ways = append(have.Ways, way)
			return
		}
	}
	s.Limits = append(s.Limits, Limit{Least: l.Least, Volts: l.TestVoltage, Source: l.Source, Ways: []int{way}})
}

func preparation(s record.State, board int, step sequence.Step) Step {
	a, ok := s.Answered(board, step.ID)
	if !ok {
		return Step{Step: step.ID}
	}
	at := a.At.UTC()
	return Step{Step: step.ID, Answer: string(a.How), Reason: a.Reason, At: &at, Event: a.EventID}
}

// positions returns the switch positions of a way that have a line: those that
// are tested, and any other that the log has a reading or a skip for, so that
// nothing recorded is missing from the schedule.
func positions(s record.State, number int, w board.Way) []int {
	all := slices.Clone(sequence.Positions(w))
	for _, r := range s.Readings {
		if r.Slot.Board == number && r.Slot.Way == w.Number {
			all = append(all, r.Slot.Position)
		}
	}
	for _, k := range s.Skips {
		if k.Slot.Board == number && k.Slot.Way == w.Number && k.Ended == 0 {
			all = append(all, k.Slot.Position)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func newLine(w board.Way, position int) Line {
	l := Line{
		Way: w.Number, Position: position, Feeds: w.Feeds, Spare: w.Spare, Wiring: string(w.Wiring), Line: w.Line, CPC: w.CPC, Points: w.Points, Neutral: w.NeutralBar,
		Device: Device{Standard: w.Device.Standard, Type: w.Device.Type, Rating: w.Device.Rating, Breaking: w.Device.Breaking},
		Cells:  []Cell{}, Earlier: []Cell{}, Remarks: []string{}, Complete: true,
	}
	if r := w.Device.RCD; r != nil {
		l.Device.RCDRated, l.Device.RCDType = r.Rated, r.Type
	}
	return l
}

func (b *builder) line(number int, w board.Way, position int) Line {
	s := b.State
	l := newLine(w, position)
	tests := slices.Clone(columns)
	for _, r := range s.Readings {
		if r.Slot.Board == number && r.Slot.Way == w.Number && r.Slot.Position == position && !slices.Contains(tests, r.Slot.Test) {
			tests = append(tests, r.Slot.Test)
		}
	}
	worst := -1
	for _, test := range tests {
		slot := record.Slot{Board: number, Way: w.Number, Test: test, Position: position}
		if c, ok := b.cell(slot); ok {
			l.Cells = append(l.Cells, c)
			l.Complete = l.Complete && c.Status != ToDo && c.Status != Waiting
			worst = max(worst, slices.Index(badness, c.Result))
		}
		for _, r := range s.Readings {
			if r.Slot == slot && r.Standing != record.Stands {
				l.Earlier = append(l.Earlier, earlier(s, r))
			}
		}
	}
	slices.SortStableFunc(l.Earlier, func(a, b Cell) int { return cmp.Compare(a.Event, b.Event) })
	if worst >= 0 {
		l.Result = badness[worst]
	}
	l.remark(w)
	return l
}

// badness is the results from best to worst, as package check ranks them.
var badness = []string{string(check.Pass), string(check.CannotSay), string(check.Investigate), string(check.Fail)}

// cell returns what became of a test, or false when the line does not have it.
func (b *builder) cell(slot record.Slot) (Cell, bool) {
	s := b.State
	if r, ok := s.Latest(slot); ok {
		return recorded(s, r, Recorded, ""), true
	}
	c := Cell{Test: slot.Test}
	if k, ok := s.LeftOut(slot); ok {
		at := k.At.UTC()
		c.Status, c.Reason, c.At, c.Event, c.Heard = Skipped, k.Reason, &at, k.EventID, k.HeardID
		switch k.How {
		case record.NotApplicable:
			c.Status = NotApplicable
		case record.Limitation:
			c.Status = Limitation
		}
		return c, true
	}
	if d, ok := b.due[slot]; ok {
		c.Status, c.Volts = ToDo, d.Volts
		return c, true
	}
	if o, ok := b.notAsked[slot]; ok {
		c.Status, c.Reason, c.Source = Waiting, o.Reason, o.Source
		if s.Job.Way(slot.Board, slot.Way).Keep500Off != "" {
			c.Status = NotAsked
		}
		return c, true
	}
	return Cell{}, false
}

func recorded(s record.State, r record.Reading, status Status, reason string) Cell {
	q, at := r.Quantity, r.Confirmed.UTC()
	value := q.Value
	c := Cell{
		Test: r.Slot.Test, Status: status, Reason: reason,
		Text: figure(q), Bound: string(q.Bound), Value: &value, Unit: string(q.Unit),
		Result: string(r.Verdict.Result), Why: r.Verdict.Reason, Source: r.Verdict.Source,
		At: &at, Event: r.ConfirmedID, Heard: r.HeardID,
	}
	if r.Slot.Test.Insulation() {
		c.Volts = check.InsulationLimit(*s.Job.Way(r.Slot.Board, r.Slot.Way), s.Job.Board(r.Slot.Board).Voltage, surgeConnectedAt(s, r.Slot.Board, r.EventID)).TestVoltage
	}
	return c
}

// surgeConnectedAt is sequence.SurgeConnected as it was at an event: the answer
// may have been taken back and given anew between two readings.
func surgeConnectedAt(s record.State, board int, event int64) bool {
	s.Answers = slices.Clone(s.Answers)
	for i := range s.Answers {
		a := &s.Answers[i]
		if a.EventID > event {
			a.Ended = a.EventID // not yet given
		} else if a.Ended > event {
			a.Ended = 0 // still stood
		}
	}
	return sequence.SurgeConnected(s, board)
}

func earlier(s record.State, r record.Reading) Cell {
	status := BeforeWork
	switch r.Standing {
	case record.Replaced:
		status = Replaced
	case record.TakenOff:
		status = Withdrawn
	}
	return recorded(s, r, status, r.EndReason)
}

// figure is a quantity without its unit: ">999", "2.00".
func figure(q reading.Quantity) string {
	return strings.TrimSuffix(q.String(), " "+string(q.Unit))
}

// remark writes what the columns cannot show.
func (l *Line) remark(w board.Way) {
	add := func(format string, args ...any) { l.Remarks = append(l.Remarks, fmt.Sprintf(format, args...)) }
	if w.Separated {
		add("SELV or PELV.")
	}
	for _, c := range l.Cells {
		switch c.Status {
		case Recorded:
			if !slices.Contains(columns, c.Test) {
				add("%s: %s, %s.", c.Test, c.withUnit(), c.Result)
			}
			if c.Result != string(check.Pass) {
				add("%s: %s. %s (%s)", c.Test, c.Result, sentence(c.Why), orNone(c.Source))
			}
		case Skipped, NotApplicable, Limitation:
			add("%s: %s. %s", c.Test, c.Status, sentence(c.Reason))
		case NotAsked, Waiting:
			add("%s: not made. %s (%s)", c.Test, sentence(c.Reason), orNone(c.Source))
		}
	}
	for _, c := range l.Earlier {
		text := fmt.Sprintf("%s: %s, %s, ", c.Test, c.withUnit(), c.Result)
		switch c.Status {
		case Replaced:
			text += "was replaced by a later reading."
		case Withdrawn:
			text += "was taken back."
		default:
			text += "was read before work on the way."
		}
		if c.Reason != "" {
			text += " " + sentence(c.Reason)
		}
		l.Remarks = append(l.Remarks, text)
	}
}

func (c Cell) withUnit() string { return strings.TrimSpace(c.Text + " " + c.Unit) }

// leftOut reports whether a test that the line needs was skipped, or could not be
// made.
func (l Line) leftOut() bool {
	return slices.ContainsFunc(l.Cells, func(c Cell) bool { return c.Status == Skipped || c.Status == Limitation })
}

// outcome is the result column of text and CSV. A line with a test still to do, or
// one that was left out, is never shown as a pass alone.
func (l Line) outcome() string {
	switch {
	case l.Spare:
		return ""
	case l.Result != "" && l.Result != string(check.Pass):
		return l.Result
	case l.Result != "" && !l.Complete:
		return "not complete"
	case l.Result != "" && l.leftOut():
		return "pass in part"
	case l.Result != "":
		return l.Result
	case !l.Complete:
		return "to do"
	}
	return "not tested"
}

// sentence ends s with a full stop and begins it with a capital.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return "No reason is recorded."
	}
	if c := s[0]; c >= 'a' && c <= 'z' {
		s = string(c-'a'+'A') + s[1:]
	}
	if !strings.ContainsRune(".?!", rune(s[len(s)-1])) {
		s += "."
	}
	return s
}

func orNone(source string) string {
	if source == "" {
		return "no source is recorded"
	}
	return source
}

// toDo says what remains.
func toDo(s record.State) []string {
	all := []string{}
	if s.Sessions == 0 {
		return append(all, "No session was begun.")
	}
	if p := s.Pending; p != nil {
		all = append(all, fmt.Sprintf("%s: %s was read back but not confirmed, so it is not on the schedule.", place(p.Slot), p.Quantity))
	}
	for _, d := range sequence.Remaining(s) {
		if d.Step != nil {
			all = append(all, fmt.Sprintf("Preparation: %s.", d.Step.ID))
		} else {
			all = append(all, fmt.Sprintf("%s, at %s V.", place(d.Slot), number(d.Volts)))
		}
	}
	for _, number := range sequence.Boards(s.Job) {
		for _, way := range sequence.Failing(s, number) {
			all = append(all, fmt.Sprintf("Way %d fails: find the cause, put it right and test the way again.", way))
		}
	}
	if !s.Finished {
		all = append(all, "The work was not finished.")
	}
	return all
}

func place(slot record.Slot) string {
	text := fmt.Sprintf("Way %d, %s", slot.Way, slot.Test)
	if slot.Position > 0 {
		text += fmt.Sprintf(", switch position %d", slot.Position)
	}
	return text
}
