// Package report makes the schedule of test results, for people and for other
// programs.
//
// Build derives a Schedule from what the log says, and Write writes it as JSON,
// which Read reads back. The other formats are functions of a Schedule, each in a
// package of its own: plaintext, spreadsheet (CSV and xlsx) and paper (PDF).
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
	"time"

	"waycall/internal/board"
	"waycall/internal/reading"
)

// Observation is a defect or departure that the tester found, with its code, in the
// tester's words as they were heard. Its sound is in the record.
type Observation struct {
	Board int       `json:"board"`
	Way   int       `json:"way"`            // 0 is the board itself
	Code  string    `json:"code"`           // C1, C2, C3 or FI, see record.Codes
	Told  string    `json:"told,omitempty"` // who was told of a danger, or that nobody was; absent where it was not said
	Text  string    `json:"text"`
	At    time.Time `json:"at"`
	Event int64     `json:"event"`           // in the log
	Heard int64     `json:"heard,omitempty"` // in the log: the phrase, whose sound is kept
}

// Note is a remark in the tester's words as they were heard. Its sound is in the
// record.
type Note struct {
	Board int       `json:"board"`
	Way   int       `json:"way"` // 0 is the board itself
	Text  string    `json:"text"`
	At    time.Time `json:"at"`
	Event int64     `json:"event"`           // in the log
	Heard int64     `json:"heard,omitempty"` // in the log: the phrase, whose sound is kept
}

// Title is above every paper and in the properties of files.
const Title = "Schedule of circuit details and test results"

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

	// Terms are the kind of work and what was agreed for it, with their names: of a
	// periodic inspection its extent, sampling, limitations and who agreed. Absent where
	// the kind was not said.
	Terms []Term `json:"terms,omitempty"`

	// The job as it was described when it was set up, from which another can be set
	// up; absent for an empty log.
	Setup *board.Job `json:"setup,omitempty"`
}

// Term is something that was agreed for the work, in print.
type Term struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// SignOff is by whom and how the record was signed off that the schedule was made
// from. The signature is for the record up to the event before it.
type SignOff struct {
	Name     string    `json:"name"` // in full
	Initials string    `json:"initials"`
	At       time.Time `json:"at"`
	Event    int64     `json:"event"` // in the log
	Sum      string    `json:"sum"`   // of the event before it, in hexadecimal

	// Statement is what was signed, in lines, as the signer was shown it; absent where
	// the record did not keep it.
	Statement string `json:"statement,omitempty"`
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
	Reference  string       `json:"reference"`
	Address    string       `json:"address"`
	Date       string       `json:"date"`                    // 2006-01-02
	Tester     string       `json:"tester"`                  // initials
	Others     []string     `json:"other_testers,omitempty"` // initials of who tested in some of the sessions
	Instrument string       `json:"instrument_serial"`
	Checked    string       `json:"instrument_checked"`           // date of its last calibration check, 2006-01-02
	OverRange  float64      `json:"instrument_over_range"`        // where its insulation scale ends, Mohm
	Serials    []Particular `json:"instrument_serials,omitempty"` // of other instruments, by what they measure
	Edition    string       `json:"edition,omitempty"`            // of BS 7671, that the readings were judged by; absent in a schedule that was made before it was kept
	Work       string       `json:"work,omitempty"`               // new, addition, alteration or periodic; absent where it was not said
	Limited    []string     `json:"limited_to"`                   // the kinds of test that the job is limited to; empty for all
}

// Board is a board with the readings of the board itself: of its supply, its
// earthing and bonding, its main switch, and of all its ways together.
type Board struct {
	Number            int          `json:"board"`
	Name              string       `json:"name"`
	Earthing          string       `json:"earthing"` // TN-S, TN-C-S or TT
	Voltage           float64      `json:"voltage"`  // nominal, line to earth, V
	Phases            int          `json:"phases"`
	SurgeProtection   bool         `json:"surge_protection"`
	OnlyIsolated      bool         `json:"only_isolated"`      // no test is asked for on it
	FedFrom           int          `json:"fed_from,omitempty"` // board; absent at the origin of the installation
	FedFromWay        int          `json:"fed_from_way,omitempty"`
	Zdb               string       `json:"zdb,omitempty"`          // of a board that another feeds: the Zs of that way as it was read, with its unit; absent before it was
	DeclaredZe        float64      `json:"declared_ze,omitempty"`  // ohm; absent when unknown
	DeclaredPFC       float64      `json:"declared_pfc,omitempty"` // kA; absent when unknown
	Main              Device       `json:"main"`
	EarthingConductor float64      `json:"earthing_conductor,omitempty"` // mm2; absent when unknown
	Bonding           []string     `json:"bonding"`                      // services; position 1 of a bonding test is the first
	BondingSize       float64      `json:"bonding_size,omitempty"`       // mm2; absent when unknown
	NoBonding         bool         `json:"no_bonding,omitempty"`         // it is said that there is no service to bond
	AllBonded         bool         `json:"all_bonded,omitempty"`         // every extraneous-conductive-part is said to be bonded
	Conditional       float64      `json:"conditional_rating,omitempty"` // of the board as it is declared, kA; absent when unknown
	Particulars       []Particular `json:"particulars,omitempty"`        // of its supply, its main switch and its protection, in the order of the model forms; absent in a schedule that was made before they were kept
	Tested
}

// Particular is something that the model forms ask of a board.
type Particular struct {
	Name  string `json:"name"`
	Value string `json:"value"` // "unknown" where it is not known
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
	Cells    []Cell   `json:"tests"`             // in the order of the tests on a schedule, as far as there are any
	Earlier  []Cell   `json:"earlier"`           // readings that no longer stand, in the order in which they were taken
	Result   string   `json:"result,omitempty"`  // the worst of its readings: fail, investigate, cannot say or pass; absent when there is none
	Covers   string   `json:"covers,omitempty"`  // what the job was limited to, such as insulation; absent when every kind of test was asked for
	Outside  string   `json:"outside,omitempty"` // not asked or not verified: the kind of work asks for nothing of it, and the remarks say why; absent else
	Complete bool     `json:"complete"`          // every test was made or left out with a reason
	Remarks  []string `json:"remarks"`           // one sentence or two each
}

// Line is one way, or one switch position of a way with two-way switching; what
// is tested once on such a way stands on the line of the first position.
type Line struct {
	Board    int     `json:"board"`
	Way      int     `json:"way"`                // as board.Way.Number has it: 1L2 is 201
	Marked   string  `json:"marked,omitempty"`   // the way as the board is marked, such as 1L2; absent where that is its number
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
	Method   string  `json:"reference_method,omitempty"`    // of BS 7671 Appendix 4; absent when unknown
	AFDD     bool    `json:"afdd,omitempty"`                // an arc fault detection device
	Kind     string  `json:"kind,omitempty"`                // EV charging, PV, battery or emergency lighting; absent for no special kind
	PEN      string  `json:"pen_protection,omitempty"`      // of EV charging: device, electrode, not needed, none or unknown
	DC       string  `json:"dc_protection,omitempty"`       // of EV charging: charger, RDC-DD, type B, none or unknown
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
	Skipped       Status = "skipped"         // left out, with a reason
	NotApplicable Status = "not applicable"  // with a reason
	Limitation    Status = "limitation"      // it could not be made, with a reason
	NotVerified   Status = "not verified"    // of a periodic inspection: it was not found out, with a reason
	Waived        Status = "waived"          // a dead test that live ones did not wait for, with a reason
	Accepted      Status = "missing"         // not made, and a reviewer lets it be so, with a reason
	ByBoard       Status = "by the board"    // not made: the reading of the whole board shows that it meets its limit; the text is that bound
	NotAsked      Status = "not asked"       // not made because of what stays connected, or not possible
	Waiting       Status = "waiting"         // until the way was worked on
	Replaced      Status = "replaced"        // a reading that another took the place of
	Withdrawn     Status = "withdrawn"       // a reading that was taken back
	BeforeWork    Status = "before work"     // a reading from before the way was worked on
	AtFull        Status = "at full voltage" // of insulation: a reading that passed before the equipment was connected; it counts beside the later one at 250 V
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

// Order are the tests in the order in which they stand on a schedule.
var Order = []reading.Test{
	reading.Earthing, reading.Bonding,
	reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE, reading.R1R2, reading.R2,
	reading.LNE, reading.LN, reading.LE, reading.NE, reading.LL,
	reading.L1E, reading.L2E, reading.L3E, reading.L1L2, reading.L2L3, reading.L1L3, reading.L1N, reading.L2N, reading.L3N,
	reading.Polarity,
	reading.Ze, reading.RA, reading.Zs, reading.PFC, reading.PSC,
	reading.RCDHalf, reading.RCD1x, reading.RCD5x, reading.RCDRamp, reading.RCDButton, reading.AFDDButton, reading.PENFault, reading.DCFault, reading.PhaseSequence, reading.Functional,
}

var cautions = []string{
	"This is a record of readings as they were read out and confirmed, with what a reviewer put in marked as such, for a competent person to judge.",
	"It is no certificate and says nothing about whether an installation or a circuit may be used or touched.",
	"A pass says only that one reading meets one limit. Local rules and licensed practice prevail.",
	"Sources marked \"from a public print\" were read in public pages or books, which print older editions, and those marked \"from memory\" were not read: check them against the published text.",
}
