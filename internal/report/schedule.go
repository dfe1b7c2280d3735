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
// circuit, protective device with its breaking capacity and any RCD, greatest Zs
// permitted, conductors, ring r1, rn and r2, R1+R2 or R2, insulation test voltage
// and readings, polarity, Zs, RCD times and test button, functional, remarks; and
// for each board Ze or RA, fault currents, phase sequence, earthing and bonding.
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
const Format = 2

// Schedule is the schedule of test results of one job. Its JSON form is the
// layout for other programs. Lists are never null, and a time is UTC as in
// RFC 3339.
type Schedule struct {
	Format       int           `json:"format"`
	Job          Header        `json:"job"`
	Record       Record        `json:"record"`
	Signed       *SignOff      `json:"signed,omitempty"` // absent while the schedule is a draft
	Boards       []Board       `json:"boards"`           // in the order of the job
	Limits       []Limit       `json:"limits"`           // what insulation is judged by, one for each kind of circuit on a board
	Preparation  []Step        `json:"preparation"`      // in the order in which the steps are asked for
	Lines        []Line        `json:"lines"`            // board by board: one for each way, and for each switch position of a two-way one
	Observations []Observation `json:"observations"`     // that stand, in the order in which they were made
	Notes        []Note        `json:"notes"`            // that stand, likewise
	ToDo         []string      `json:"to_do"`            // what remains, one sentence for each way; empty when nothing does
	Cautions     []string      `json:"cautions"`         // to be shown wherever the readings are

	// The job as it was described when it was set up, from which another can be set
	// up; absent for an empty log.
	Setup *board.Job `json:"setup,omitempty"`
}

// SignOff is by whom and how the record was signed off that the schedule was made
// from. The signature is for the record up to the event before it.
type SignOff struct {
	Name     string    `json:"name"` // in full
	Initials string    `json:"initials"`
	At       time.Time `json:"at"`
	Event    int64     `json:"event"` // in the log
	Sum      string    `json:"sum"`   // of the event before it, in hexadecimal
}

// Review is what a reviewer did about a test, and why.
type Review struct {
	By     string    `json:"by"` // initials
	Reason string    `json:"reason"`
	At     time.Time `json:"at"`
	Event  int64     `json:"event"` // in the log
}

// Ending is how a reading ceased to stand.
type Ending struct {
	To    string    `json:"to,omitempty"` // the reading that took its place, with its unit; absent where none did
	By    string    `json:"by,omitempty"` // the initials of the reviewer; absent when the tester did it himself
	At    time.Time `json:"at"`
	Event int64     `json:"event"` // in the log
}

// Header is what was tested, by whom and with what.
type Header struct {
	Reference  string   `json:"reference"`
	Address    string   `json:"address"`
	Date       string   `json:"date"`                    // 2006-01-02
	Tester     string   `json:"tester"`                  // initials
	Others     []string `json:"other_testers,omitempty"` // initials of who tested in some of the sessions
	Instrument string   `json:"instrument_serial"`
	Checked    string   `json:"instrument_checked"`    // date of its last calibration check, 2006-01-02
	OverRange  float64  `json:"instrument_over_range"` // where its insulation scale ends, Mohm
	Edition    string   `json:"edition,omitempty"`     // of BS 7671, that the readings were judged by; absent in a schedule that was made before it was kept
	Limited    []string `json:"limited_to"`            // the kinds of test that the job is limited to; empty for all
}

// Board is a board with the readings of the board itself: of its supply, its
// earthing and bonding, its main switch, and of all its ways together.
type Board struct {
	Number            int      `json:"board"`
	Name              string   `json:"name"`
	Earthing          string   `json:"earthing"` // TN-S, TN-C-S or TT
	Voltage           float64  `json:"voltage"`  // nominal, line to earth, V
	Phases            int      `json:"phases"`
	SurgeProtection   bool     `json:"surge_protection"`
	OnlyIsolated      bool     `json:"only_isolated"`      // no test is asked for on it
	FedFrom           int      `json:"fed_from,omitempty"` // board; absent at the origin of the installation
	FedFromWay        int      `json:"fed_from_way,omitempty"`
	Zdb               string   `json:"zdb,omitempty"`          // of a board that another feeds: the Zs of that way as it was read, with its unit; absent before it was
	DeclaredZe        float64  `json:"declared_ze,omitempty"`  // ohm; absent when unknown
	DeclaredPFC       float64  `json:"declared_pfc,omitempty"` // kA; absent when unknown
	Main              Device   `json:"main"`
	EarthingConductor float64  `json:"earthing_conductor,omitempty"` // mm2; absent when unknown
	Bonding           []string `json:"bonding"`                      // services; position 1 of a bonding test is the first
	BondingSize       float64  `json:"bonding_size,omitempty"`       // mm2; absent when unknown
	AllBonded         bool     `json:"all_bonded,omitempty"`         // every extraneous-conductive-part is said to be bonded
	Conditional       float64  `json:"conditional_rating,omitempty"` // of the board as it is declared, kA; absent when unknown
	Tested
}

// Record says how far the log goes that the schedule was made from.
type Record struct {
	LastEvent int64     `json:"last_event"` // 0 for an empty log
	LastAt    time.Time `json:"last_at"`
	Sessions  int       `json:"sessions"` // how often a session was opened
	Finished  bool      `json:"finished"` // the electrician ended the work
	Complete  bool      `json:"complete"` // finished, and nothing is left to do

	// The sum of the last event, in hexadecimal, as waycall verify prints it while
	// that event is the last. Build does not know it: who read the log puts it in.
	Sum string `json:"sum,omitempty"`
}

// Limit is a limit of insulation resistance.
type Limit struct {
	Board int     `json:"board"`
	Least float64 `json:"least"` // Mohm: a reading below it fails
	// Volts is the DC voltage that the test is made at.
	Volts  float64 `json:"test_voltage"`
	Source string  `json:"source"`
	Ways   []int   `json:"ways"` // of the board, that it is for
}

// Step is a preparation step, as the electrician answered it. Nothing was
// checked by waycall.
type Step struct {
	Board  int        `json:"board"`
	Step   string     `json:"step"`
	Answer string     `json:"answer"`           // done, not applicable or limitation; empty when it was not answered
	Reason string     `json:"reason,omitempty"` // or, of the leads, what they read, with its verdict
	At     *time.Time `json:"at,omitempty"`
	Event  int64      `json:"event,omitempty"` // in the log
}

// Tested is what became of the tests of one line, or of a board itself.
type Tested struct {
	Cells    []Cell   `json:"tests"`            // in the order of the tests on a schedule, as far as there are any
	Earlier  []Cell   `json:"earlier"`          // readings that no longer stand, in the order in which they were taken
	Result   string   `json:"result,omitempty"` // the worst of its readings: fail, investigate, cannot say or pass; absent when there is none
	Complete bool     `json:"complete"`         // every test was made or left out with a reason
	Remarks  []string `json:"remarks"`          // one sentence or two each
}

// Line is one way, or one switch position of a way with two-way switching; what
// is tested once on such a way stands on the line of the first position.
type Line struct {
	Board    int     `json:"board"`
	Way      int     `json:"way"`
	Position int     `json:"position,omitempty"` // 1 or 2; absent where there is none
	Feeds    string  `json:"feeds"`
	Spare    bool    `json:"spare"`
	Device   Device  `json:"device"`
	Wiring   string  `json:"wiring,omitempty"` // radial or ring
	Phases   int     `json:"phases,omitempty"`
	Phase    string  `json:"phase,omitempty"`    // L1, L2 or L3 on a three-phase board
	Line     float64 `json:"line"`               // conductor, mm2; 0 when unknown
	CPC      float64 `json:"cpc"`                // mm2; 0 when unknown
	Material string  `json:"material,omitempty"` // copper or aluminium
	CPCKind  string  `json:"cpc_kind,omitempty"` // conductor, steel or armour
	Length   float64 `json:"length,omitempty"`   // m; absent when unknown
	Points   int     `json:"points,omitempty"`   // absent when unknown
	Neutral  string  `json:"neutral_bar,omitempty"`
	Use      string  `json:"use,omitempty"`                 // socket, lighting, fixed or distribution; absent when unknown
	Supplies int     `json:"supplies,omitempty"`            // the board that it feeds
	MaxZs    *MaxZs  `json:"max_zs,omitempty"`              // absent when it is not known
	MaxTime  float64 `json:"max_disconnection_s,omitempty"` // within what a fault to earth must be cut off, s; absent when it is not known

	// R1+R2 in ohm by length and size at the temperature of the dead tests, of a
	// ring at its points; IEC 60228. Absent when it is not known.
	Expected float64 `json:"expected_r1r2,omitempty"`

	Tested
}

// MaxZs is the greatest earth fault loop impedance permitted on a way.
type MaxZs struct {
	Ohm      float64 `json:"ohm"`      // at operating temperature
	Measured float64 `json:"measured"` // ohm: what a reading taken cold is held against
	Source   string  `json:"source"`
}

// Device is a protective device or main switch, with any RCD.
type Device struct {
	Standard    string  `json:"standard,omitempty"`
	Type        string  `json:"type,omitempty"`
	Rating      float64 `json:"rating,omitempty"`    // A
	Breaking    float64 `json:"breaking,omitempty"`  // kA; absent when unknown
	Trip        float64 `json:"trip,omitempty"`      // A, where it is set
	RCDRated    float64 `json:"rcd_rated,omitempty"` // mA; absent when there is none
	RCDType     string  `json:"rcd_type,omitempty"`
	RCDStandard string  `json:"rcd_standard,omitempty"`
	RCDDelayed  bool    `json:"rcd_delayed,omitempty"` // S type
	RCDGroup    string  `json:"rcd_group,omitempty"`   // shared with the other ways of the group
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
	Waived        Status = "waived"         // a dead test that live ones did not wait for, with a reason
	Accepted      Status = "missing"        // not made, and a reviewer lets it be so, with a reason
	NotAsked      Status = "not asked"      // not made because of what stays connected, or not possible
	Waiting       Status = "waiting"        // until the way was worked on
	Replaced      Status = "replaced"       // a reading that another took the place of
	Withdrawn     Status = "withdrawn"      // a reading that was taken back
	BeforeWork    Status = "before work"    // a reading from before the way was worked on
)

// Cell is one test on one line.
type Cell struct {
	Test     reading.Test `json:"test"`
	Position int          `json:"position,omitempty"` // switch position, bonded service or point of a ring
	Status   Status       `json:"status"`
	Reason   string       `json:"reason,omitempty"` // of the status, where there is one

	// The reading, absent where there is none. A bound ">" with value 999 is
	// "greater than 999": it must not be read as 999. Tests without a unit have
	// the text correct or wrong.
	Text  string `json:"text,omitempty"` // without the unit: ">999"
	Bound string `json:"bound,omitempty"`
	// Value is in Unit, 0 or more.
	Value  *float64 `json:"value,omitempty"`
	Unit   string   `json:"unit,omitempty"`
	Result string   `json:"result,omitempty"` // pass, investigate, fail or cannot say, when it was confirmed
	Why    string   `json:"why,omitempty"`    // of the result
	Source string   `json:"source,omitempty"` // of Why, or of the reason of a test that was not asked for
	Margin float64  `json:"margin,omitempty"` // how many times better than the limit
	Next   string   `json:"next,omitempty"`   // what to look at

	// The DC voltage in V that was asked for, insulation tests only; what the
	// instrument was set to, waycall does not see.
	Volts float64    `json:"test_voltage,omitempty"`
	At    *time.Time `json:"at,omitempty"`    // of its confirmation
	Event int64      `json:"event,omitempty"` // in the log: the confirmation, or what left the test out
	Heard int64      `json:"heard,omitempty"` // in the log: the phrase, whose sound is kept

	Edited  *Review `json:"edited,omitempty"`  // of a reading that a reviewer put here, which was neither heard nor read back
	Settled *Review `json:"settled,omitempty"` // a reviewer looked at what is doubtful and lets it stand; the result stays what it is
	Ended   *Ending `json:"ended,omitempty"`   // of a reading that no longer stands
}

// columns are the tests in the order in which they stand on a schedule.
var columns = []reading.Test{
	reading.Earthing, reading.Bonding,
	reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE, reading.R1R2, reading.R2,
	reading.LNE, reading.LN, reading.LE, reading.NE, reading.LL,
	reading.L1E, reading.L2E, reading.L3E, reading.L1L2, reading.L2L3, reading.L1L3, reading.L1N, reading.L2N, reading.L3N,
	reading.Polarity,
	reading.Ze, reading.RA, reading.Zs, reading.PFC, reading.PSC,
	reading.RCDHalf, reading.RCD1x, reading.RCD5x, reading.RCDRamp, reading.RCDButton, reading.PhaseSequence, reading.Functional,
}

var cautions = []string{
	"This is a record of readings as they were read out and confirmed, with what a reviewer put in marked as such, for a competent person to judge.",
	"It is no certificate and says nothing about whether an installation or a circuit may be used or touched.",
	"A pass says only that one reading meets one limit. Local rules and licensed practice prevail.",
	"Sources marked \"from a public print\" were read in public pages or books, which print older editions, and those marked \"from memory\" were not read: check them against the published text.",
}

// place1 is a way of a board, or with way 0 the board itself.
type place1 struct{ board, way int }

// builder is the state with what follows from it, worked out once.
type builder struct {
	record.State
	due      map[record.Slot]sequence.Due
	notAsked map[record.Slot]sequence.Omitted
	slots    map[place1][]record.Slot // that have anything to say, in the order of columns
	latest   map[record.Slot]record.Reading
	left     map[record.Slot]record.Skip
	settled  map[record.Slot]record.Settlement
	next     map[reached]reading.Quantity
	ended    map[record.Slot][]int // readings that no longer stand, by their index
}

// reached is a reading: one event may confirm several, of one breath.
type reached struct {
	slot  record.Slot
	event int64
}

func newBuilder(s record.State) *builder {
	b := &builder{s, map[record.Slot]sequence.Due{}, map[record.Slot]sequence.Omitted{}, map[place1][]record.Slot{}, map[record.Slot]record.Reading{}, map[record.Slot]record.Skip{}, s.AllSettled(), map[reached]reading.Quantity{}, map[record.Slot][]int{}}
	add := func(slot record.Slot) {
		at := place1{slot.Board, slot.Way}
		b.slots[at] = append(b.slots[at], slot)
	}
	for _, d := range sequence.Remaining(s) {
		if d.Step == nil {
			b.due[d.Slot] = d
			add(d.Slot)
		}
	}
	for _, o := range sequence.NotAsked(s) {
		b.notAsked[o.Slot] = o
		add(o.Slot)
	}
	for i, r := range s.Readings {
		if r.Standing == record.Stands {
			b.latest[r.Slot] = *r
		} else {
			b.ended[r.Slot] = append(b.ended[r.Slot], i)
		}
		b.next[reached{r.Slot, r.ConfirmedID}] = r.Quantity
		add(r.Slot)
	}
	for _, k := range s.Skips {
		if k.Ended == 0 {
			b.left[k.Slot] = k
			add(k.Slot)
		}
	}
	for at, all := range b.slots {
		slices.SortFunc(all, func(a, b record.Slot) int {
			return cmp.Or(cmp.Compare(slices.Index(columns, a.Test), slices.Index(columns, b.Test)), cmp.Compare(a.Position, b.Position))
		})
		b.slots[at] = slices.Compact(all)
	}
	return b
}

// Build derives the schedule from what the log says.
func Build(s record.State) Schedule {
	b := newBuilder(s)
	job := s.Job
	out := Schedule{
		Format: Format,
		Job: Header{
			Reference: job.Reference, Address: job.Address, Date: job.Date, Tester: job.Tester,
			Instrument: job.Instrument.Serial, Checked: job.Instrument.Checked, OverRange: job.Instrument.OverRange, Edition: string(job.JudgedBy()), Limited: []string{},
		},
		Record:      Record{LastEvent: s.LastID, LastAt: s.LastAt.UTC(), Sessions: s.Sessions, Finished: s.Finished},
		Boards:      []Board{},
		Limits:      []Limit{},
		Preparation: []Step{},
		Lines:       []Line{},
		ToDo:        toDo(s),
		Cautions:    slices.Clone(cautions),
	}
	if g := s.Signed; g != nil {
		out.Signed = &SignOff{Name: g.Name, Initials: g.By, At: g.At.UTC(), Event: g.EventID, Sum: g.Sum}
	}
	for _, kind := range job.Tests {
		out.Job.Limited = append(out.Job.Limited, string(kind))
	}
	out.Observations, out.Notes = remarks(s)
	out.Job.Others = testers(s)
	out.Record.Complete = s.Finished && len(out.ToDo) == 0
	if s.Sessions == 0 {
		return out
	}
	out.Setup = &job
	for i := range job.Boards {
		if job.Boards[i].Ways == nil { // lists are never null
			job.Boards = slices.Clone(job.Boards)
			job.Boards[i].Ways = []board.Way{}
		}
	}
	for _, number := range sequence.Boards(job) {
		for _, step := range sequence.Steps(job, number) {
			if sequence.Concerns(s, number, step) {
				out.Preparation = append(out.Preparation, preparation(s, number, step))
			}
		}
		for _, a := range s.Answers {
			if a.Board == number && a.Step == sequence.EnergisedAgain {
				at := a.At.UTC()
				out.Preparation = append(out.Preparation, Step{Board: number, Step: a.Step, Answer: string(a.How), Reason: a.Reason, At: &at, Event: a.EventID})
			}
		}
	}
	for i := range job.Boards {
		one := &job.Boards[i]
		out.Boards = append(out.Boards, b.board(one))
		for k := range one.Ways {
			w := &one.Ways[k]
			if w.Spare {
				out.Lines = append(out.Lines, newLine(one, w, 0))
				continue
			}
			if !one.Supply.OnlyIsolated {
				out.addLimit(one.Number, check.InsulationLimit(*w, one.Voltage, sequence.SurgeConnected(s, one.Number)), w.Number)
			}
			out.Lines = append(out.Lines, b.lines(one, w)...)
		}
	}
	out.cite(job.JudgedBy())
	for i := range out.Boards {
		out.Boards[i].Zdb = out.zdb(&out.Boards[i])
	}
	return out
}

// zdb is the Zs of the way that feeds a board, as it was read.
func (s *Schedule) zdb(b *Board) string {
	for i := range s.Lines {
		l := &s.Lines[i]
		if c := l.cell(reading.Zs); b.FedFrom != 0 && l.Board == b.FedFrom && l.Way == b.FedFromWay && c != nil && c.Status == Recorded {
			return c.withUnit()
		}
	}
	return ""
}

// cite names the edition of BS 7671 in the sources of limits.
func (s *Schedule) cite(edition board.Edition) {
	for i := range s.Limits {
		s.Limits[i].Source = edition.Of(s.Limits[i].Source)
	}
	for i := range s.Lines {
		if z := s.Lines[i].MaxZs; z != nil {
			z.Source = edition.Of(z.Source)
		}
	}
}

func (s *Schedule) addLimit(number int, l check.Limit, way int) {
	for i := range s.Limits {
		if have := &s.Limits[i]; have.Board == number && have.Least == l.Least && have.Volts == l.TestVoltage && have.Source == l.Source {
			have.Ways = append(have.Ways, way)
			return
		}
	}
	s.Limits = append(s.Limits, Limit{Board: number, Least: l.Least, Volts: l.TestVoltage, Source: l.Source, Ways: []int{way}})
}

func preparation(s record.State, number int, step sequence.Step) Step {
	a, ok := sequence.Answered(s, number, step)
	if !ok {
		return Step{Board: number, Step: step.ID}
	}
	at, reason := a.At.UTC(), a.Reason
	if a.Quantity.Bound != "" {
		reason = a.Quantity.String() + ", " + string(a.Verdict.Result)
	}
	return Step{Board: number, Step: step.ID, Answer: string(a.How), Reason: reason, At: &at, Event: a.EventID}
}

func (b *builder) board(one *board.Board) Board {
	out := Board{
		Number: one.Number, Name: one.Name, Earthing: string(one.Earthing), Voltage: one.Voltage, Phases: max(1, one.Phases),
		SurgeProtection: one.SurgeProtection, OnlyIsolated: one.Supply.OnlyIsolated, FedFrom: one.Supply.From, FedFromWay: one.Supply.FromWay,
		DeclaredZe: one.Supply.DeclaredZe, DeclaredPFC: one.Supply.DeclaredPFC, Main: newDevice(one.Main),
		EarthingConductor: one.EarthingConductor, Bonding: append([]string{}, one.Bonding...), BondingSize: one.BondingSize, AllBonded: one.AllBonded, Conditional: one.Conditional,
		Tested: newTested(),
	}
	out.fill(b, b.slots[place1{one.Number, 0}])
	out.remark(remarksOn(b.Job, one.Number, 0)...)
	return out
}

// lines returns the lines of a way: one, or one for each switch position.
func (b *builder) lines(one *board.Board, w *board.Way) []Line {
	all := b.slots[place1{one.Number, w.Number}]
	positions := slices.Clone(sequence.Positions(*w))
	first := positions[0]
	for _, slot := range all {
		positions = append(positions, lineOf(slot, all, first))
	}
	slices.Sort(positions)
	var out []Line
	for _, p := range slices.Compact(positions) {
		l := newLine(one, w, p)
		l.fill(b, slices.DeleteFunc(slices.Clone(all), func(slot record.Slot) bool { return lineOf(slot, all, first) != p }))
		var first []string
		if w.Separated {
			first = append(first, "SELV or PELV.")
		}
		l.remark(append(first, remarksOn(b.Job, one.Number, w.Number)...)...)
		out = append(out, l)
	}
	return out
}

// remarksOn are the remarks on the description of a way, or with way 0 of a board.
func remarksOn(job board.Job, number, way int) []string {
	var all []string
	for _, r := range check.Remarks(job, number, way) {
		all = append(all, fmt.Sprintf("%s (%s)", r.Text, r.Source))
	}
	return all
}

// lineOf returns the position whose line a slot of a way stands on: its own
// switch position, and the first one for what is tested once on the way. A
// reading without a position beside others of the same test that have one has a
// line of its own, so that nothing recorded is hidden behind another.
func lineOf(slot record.Slot, all []record.Slot, first int) int {
	if ofRing(slot.Test) {
		return first // the position is a point
	}
	if slot.Position == 0 && !slices.ContainsFunc(all, func(s record.Slot) bool { return s.Test == slot.Test && s.Position != 0 }) {
		return first
	}
	return slot.Position
}

func ofRing(t reading.Test) bool { return t == reading.RingLN || t == reading.RingLE }

func newTested() Tested {
	return Tested{Cells: []Cell{}, Earlier: []Cell{}, Remarks: []string{}, Complete: true}
}

func newDevice(v board.Device) Device {
	d := Device{Standard: v.Standard, Type: v.Type, Rating: v.Rating, Breaking: v.Breaking, Trip: v.Trip}
	if r := v.RCD; r != nil {
		d.RCDRated, d.RCDType, d.RCDStandard, d.RCDDelayed, d.RCDGroup = r.Rated, r.Type, r.Standard, r.Delayed, r.Group
	}
	return d
}

func newLine(one *board.Board, w *board.Way, position int) Line {
	l := Line{
		Board: one.Number, Way: w.Number, Position: position, Feeds: w.Feeds, Spare: w.Spare, Device: newDevice(w.Device),
		Wiring: string(w.Wiring), Phases: w.Phases, Phase: w.Phase, Line: w.Line, CPC: w.CPC, Material: string(w.Material), CPCKind: string(w.CPCKind),
		Length: w.Length, Points: w.Points, Neutral: w.NeutralBar, Use: string(w.Use), Supplies: w.Supplies, Tested: newTested(),
	}
	if s, _, err := check.MaxTime(one, w); err == nil && !w.Spare && !w.Separated {
		l.MaxTime = s
	}
	if z, err := check.MaxZsOf(one, w); err == nil && !w.Spare && !w.Separated {
		l.MaxZs = &MaxZs{z.Ohm, z.Measured, z.Source}
	}
	if !w.Spare {
		ambient := cmp.Or(one.Ambient, 20) // as board.Board says
		if r, err := check.ExpectedR1R2(w, ambient); err == nil {
			l.Expected = r
		}
	}
	return l
}

// fill puts in what became of the tests of slots.
func (t *Tested) fill(b *builder, slots []record.Slot) {
	worst := -1
	for _, slot := range slots {
		if c, ok := b.cell(slot); ok {
			t.Cells = append(t.Cells, c)
			t.Complete = t.Complete && c.Status != ToDo && c.Status != Waiting
			worst = max(worst, slices.Index(badness, c.Result))
		}
	}
	for _, slot := range slots {
		for _, i := range b.ended[slot] {
			t.Earlier = append(t.Earlier, b.earlier(*b.Readings[i]))
		}
	}
	slices.SortStableFunc(t.Earlier, func(a, b Cell) int { return cmp.Compare(a.Event, b.Event) })
	if worst >= 0 {
		t.Result = badness[worst]
	}
}

// badness is the results from best to worst, as package check ranks them.
var badness = []string{string(check.Pass), string(check.CannotSay), string(check.Investigate), string(check.Fail)}

// cell returns what became of a test, or false when there is nothing to say.
func (b *builder) cell(slot record.Slot) (Cell, bool) {
	settled, ok := b.settled[slot]
	var review *Review
	if ok {
		review = &Review{By: settled.By, Reason: settled.Reason, At: settled.At.UTC(), Event: settled.EventID}
	}
	if r, ok := b.latest[slot]; ok {
		c := recorded(b.State, r, Recorded, "")
		c.Settled = review
		return c, true
	}
	c := Cell{Test: slot.Test, Position: slot.Position, Settled: review}
	if k, ok := b.left[slot]; ok {
		at := k.At.UTC()
		c.Status, c.Reason, c.At, c.Event, c.Heard = Skipped, k.Reason, &at, k.EventID, k.HeardID
		switch k.How {
		case record.NotApplicable:
			c.Status = NotApplicable
		case record.Limitation:
			c.Status = Limitation
		case record.Waived:
			c.Status = Waived
		}
		return c, true
	}
	if o, waits := b.notAsked[slot]; settled.EventID != 0 && !(waits && !o.Waiting) {
		c.Status, c.Reason, c.At, c.Event = Accepted, review.Reason, &review.At, review.Event
		return c, true
	}
	if d, ok := b.due[slot]; ok {
		c.Status = ToDo
		if slot.Test.Insulation() {
			c.Volts = d.Volts
		}
		return c, true
	}
	if o, ok := b.notAsked[slot]; ok {
		c.Status, c.Reason, c.Source = NotAsked, o.Reason, o.Source
		if o.Waiting {
			c.Status = Waiting
		}
		return c, true
	}
	return Cell{}, false
}

func recorded(s record.State, r record.Reading, status Status, reason string) Cell {
	q, at := r.Quantity, r.Confirmed.UTC()
	value := q.Value
	c := Cell{
		Test: r.Slot.Test, Position: r.Slot.Position, Status: status, Reason: reason,
		Text: figure(q), Bound: string(q.Bound), Value: &value, Unit: string(q.Unit),
		Result: string(r.Verdict.Result), Why: r.Verdict.Reason, Source: r.Verdict.Source, Margin: r.Verdict.Margin, Next: r.Verdict.Next,
		At: &at, Event: r.ConfirmedID, Heard: r.HeardID,
	}
	if r.Edited {
		c.Edited = &Review{By: r.By, Reason: r.Reason, At: at, Event: r.ConfirmedID}
	}
	if r.Slot.Test.Insulation() {
		c.Volts = voltsOf(s, r)
	}
	return c
}

// voltsOf is what an insulation reading was measured with: what its verdict says, or
// for one of an early version what all were then.
func voltsOf(s record.State, r record.Reading) float64 {
	if volts, ok := r.Verdict.TestVoltage(); ok {
		return volts
	}
	var way board.Way // the zero Way stands for the whole board
	if w := s.Job.Way(r.Slot.Board, r.Slot.Way); w != nil {
		way = *w
	}
	way.Keep500Off = "" // it made no difference then
	return check.InsulationLimit(way, s.Job.Board(r.Slot.Board).Voltage, surgeConnectedAt(s, r.Slot.Board, r.EventID)).TestVoltage
}

// surgeConnectedAt is sequence.SurgeConnected as it was at an event: the answer
// may have been taken back and given anew between two readings.
func surgeConnectedAt(s record.State, number int, event int64) bool {
	s.Answers = slices.Clone(s.Answers)
	for i := range s.Answers {
		a := &s.Answers[i]
		if a.EventID > event {
			a.Ended = a.EventID // not yet given
		} else if a.Ended > event {
			a.Ended = 0 // still stood
		}
	}
	return sequence.SurgeConnected(s, number)
}

func (b *builder) earlier(r record.Reading) Cell {
	status := BeforeWork
	switch r.Standing {
	case record.Replaced:
		status = Replaced
	case record.TakenOff:
		status = Withdrawn
	}
	c := recorded(b.State, r, status, r.EndReason)
	c.Ended = &Ending{By: r.EndedBy, At: r.EndedAt.UTC(), Event: r.Ended}
	if next, ok := b.next[reached{r.Slot, r.Ended}]; ok && r.Standing == record.Replaced {
		c.Ended.To = next.String()
	}
	return c
}

// figure is a quantity without its unit: ">999", "2.00", "correct".
func figure(q reading.Quantity) string {
	return strings.TrimSuffix(q.String(), " "+string(q.Unit))
}

// remark writes what the columns cannot show, after what is said of the line.
func (t *Tested) remark(first ...string) {
	add := func(format string, args ...any) { t.Remarks = append(t.Remarks, fmt.Sprintf(format, args...)) }
	t.Remarks = append(t.Remarks, first...)
	names := ""
	for i, c := range t.Cells {
		// Tests with the same thing to be said of them share a sentence.
		if names += c.name(); c.Status != Recorded && i+1 < len(t.Cells) {
			if n := t.Cells[i+1]; n.Status == c.Status && n.Reason == c.Reason && n.Source == c.Source && n.Settled.same(c.Settled) {
				names += ", "
				continue
			}
		}
		switch c.Status {
		case Recorded:
			if c.Result != string(check.Pass) {
				add("%s: %s. %s (%s)", names, c.Result, sentence(c.Why), orNone(c.Source))
			}
		case Skipped, NotApplicable, Limitation, Waived:
			add("%s: %s. %s", names, c.Status, sentence(c.Reason))
		case Accepted:
			add("%s: not made. %s lets it be missing: %s", names, c.Settled.by(), sentence(c.Reason))
		case NotAsked, Waiting:
			add("%s: not made. %s (%s)", names, sentence(c.Reason), orNone(c.Source))
		}
		if c.Settled != nil && c.Status != Accepted {
			add("%s: looked at by %s, who lets it stand: %s", names, c.Settled.by(), sentence(c.Settled.Reason))
		}
		if e := c.Edited; e != nil && !slices.ContainsFunc(t.Earlier, func(old Cell) bool { return old.Ended != nil && old.Ended.Event == e.Event }) {
			add("%s: %s was put in by %s in review, and was not read out: %s", names, c.withUnit(), e.by(), sentence(e.Reason))
		}
		names = ""
	}
	for _, c := range t.Earlier {
		t.Remarks = append(t.Remarks, c.correction())
	}
}

// correction says of a reading that no longer stands what it was, what became of
// it, why and by whom.
func (c Cell) correction() string {
	text := fmt.Sprintf("%s: %s, %s, ", c.name(), c.withUnit(), c.Result)
	by, to := "", ""
	if c.Ended != nil {
		by, to = c.Ended.By, c.Ended.To
	}
	switch {
	case c.Status == Replaced && by != "":
		text += fmt.Sprintf("was corrected to %s by %s in review.", to, by)
	case c.Status == Replaced && to != "":
		text += fmt.Sprintf("was replaced by a later reading, %s.", to)
	case c.Status == Replaced:
		text += "was replaced by a later reading."
	case c.Status == Withdrawn && by != "":
		text += fmt.Sprintf("was taken off by %s in review.", by)
	case c.Status == Withdrawn:
		text += "was taken back."
	default:
		text += "was read before work on the way."
	}
	if c.Reason != "" {
		text += " " + sentence(c.Reason)
	}
	return text
}

// same reports whether two tests were settled alike, or neither.
func (r *Review) same(o *Review) bool {
	return r == nil && o == nil || r != nil && o != nil && r.By == o.By && r.Reason == o.Reason
}

// by is the reviewer, as far as he is known.
func (r *Review) by() string {
	if r == nil || r.By == "" {
		return "a reviewer"
	}
	return r.By
}

// name is the test, with the point or the service where there are several on
// one line. The line itself names the switch position.
func (c Cell) name() string {
	if c.Position > 0 && (ofRing(c.Test) || c.Test == reading.Bonding) {
		return slotTest(c.Test, c.Position)
	}
	return string(c.Test)
}

func (c Cell) withUnit() string { return strings.TrimSpace(c.Text + " " + c.Unit) }

// leftOut reports whether a test that the line needs was skipped, or could not be
// made.
func (t Tested) leftOut() bool {
	return slices.ContainsFunc(t.Cells, func(c Cell) bool {
		return c.Status == Skipped || c.Status == Limitation || c.Status == Waived || c.Status == Accepted
	})
}

// outcome is the result column of text and CSV. A line with a test still to do, or
// one that was left out, is never shown as a pass alone.
func (l Line) outcome() string {
	if l.Spare {
		return ""
	}
	return l.Tested.outcome()
}

func (t Tested) outcome() string {
	switch {
	case t.Result != "" && t.Result != string(check.Pass):
		return t.Result
	case t.Result != "" && !t.Complete:
		return "not complete"
	case t.Result != "" && t.leftOut():
		return "pass in part"
	case t.Result != "":
		return t.Result
	case !t.Complete:
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

// toDo says what remains, in one sentence for each way.
func toDo(s record.State) []string {
	all := []string{}
	if s.Sessions == 0 {
		return append(all, "No session was begun.")
	}
	several := len(s.Job.Boards) > 1
	if p := s.Pending; p != nil {
		for _, one := range p.Each() {
			all = append(all, fmt.Sprintf("%s: %s was read back but not confirmed, so it is not on the schedule.", place(one.Slot, several), one.Quantity))
		}
	}
	steps := map[int][]string{}
	tests := map[place1]string{}
	var order []place1
	settled := s.AllSettled()
	for _, d := range sequence.Remaining(s) {
		if _, ok := settled[d.Slot]; ok && d.Step == nil {
			continue
		}
		if d.Step != nil {
			steps[d.Board] = append(steps[d.Board], d.Step.ID)
			continue
		}
		at := place1{d.Slot.Board, d.Slot.Way}
		if tests[at] == "" {
			tests[at] = onBoard(wayWords(d.Slot.Way), d.Slot.Board, several) + ": "
			order = append(order, at)
		} else {
			tests[at] += ", "
		}
		tests[at] += slotWords(d.Slot)
		if d.Slot.Test.Insulation() {
			tests[at] += fmt.Sprintf(" at %s V", number(d.Volts))
		}
	}
	for _, number := range s.Job.InOrder() {
		// Without a test to be made no step is, either.
		if len(steps[number]) > 0 && len(order) > 0 {
			all = append(all, fmt.Sprintf("%s: %s.", onBoard("Preparation", number, several), strings.Join(steps[number], ", ")))
		}
	}
	for _, at := range order {
		all = append(all, tests[at]+".")
	}
	for _, number := range sequence.Boards(s.Job) {
		for _, way := range sequence.Failing(s, number) {
			if !letStand(s, settled, number, way) {
				all = append(all, onBoard(wayWords(way), number, several)+" fails: find the cause, put it right and test it again.")
			}
		}
	}
	if !s.Finished {
		all = append(all, "The work was not finished.")
	}
	return all
}

// letStand reports whether a reviewer let every reading stand that fails on a way.
func letStand(s record.State, settled map[record.Slot]record.Settlement, number, way int) bool {
	for i := range s.Readings {
		r := s.Readings[i]
		if r.Slot.Board == number && r.Slot.Way == way && r.Standing == record.Stands && r.Verdict.Result == check.Fail {
			if _, ok := settled[r.Slot]; !ok {
				return false
			}
		}
	}
	return true
}

func wayWords(way int) string {
	if way == 0 {
		return "The board itself"
	}
	return fmt.Sprintf("Way %d", way)
}

// onBoard is what stands at the head of a sentence about a place: "Board 2, way
// 3", and without the board where there is only one.
func onBoard(what string, number int, several bool) string {
	if !several {
		return what
	}
	return fmt.Sprintf("Board %d, %s", number, strings.ToLower(what[:1])+what[1:])
}

// slotWords is a test with its position in words.
func slotWords(slot record.Slot) string {
	switch {
	case slot.Position == 0:
		return string(slot.Test)
	case slot.Test == reading.Bonding:
		return fmt.Sprintf("bonding, service %d", slot.Position)
	case ofRing(slot.Test):
		return fmt.Sprintf("%s, point %d", slot.Test, slot.Position)
	}
	return fmt.Sprintf("%s, switch position %d", slot.Test, slot.Position)
}

func place(slot record.Slot, several bool) string {
	return onBoard(wayWords(slot.Way), slot.Board, several) + ", " + slotWords(slot)
}
