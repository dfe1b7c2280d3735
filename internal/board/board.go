// Package board describes what is being tested: a job, its boards, the ways of
// each board, and for each way its cable and protective device.
//
// Boards may feed one another. The one whose Supply comes from 0 is fed from
// the origin of the installation; another is fed by a way of a board, which
// says so in Supplies.
//
// What is not known is left out and is then zero: a length, a size, a breaking
// capacity. Nothing is assumed in its place here.
//
// A description comes from a file that a person wrote (see Read) and is not
// changed by testing. What was measured belongs to package record.
package board

import (
	"slices"
	"strings"
	"unicode"
)

// Job is one visit to one installation.
type Job struct {
	Reference  string     `yaml:"reference" json:"reference"`         // the electrician's own, also the name of the job's file
	Address    string     `yaml:"address" json:"address"`             // one line
	Date       string     `yaml:"date" json:"date"`                   // 2006-01-02
	Tester     string     `yaml:"tester" json:"tester"`               // initials of who tests, 1 to 8 letters
	Instrument Instrument `yaml:"instrument" json:"instrument"`       // the tester used
	Boards     []Board    `yaml:"boards" json:"boards"`               // see InOrder; a file with one may call it board
	Tests      []Kind     `yaml:"tests" json:"tests,omitempty"`       // the job is limited to these; empty for all
	Work       Work       `yaml:"work" json:"work,omitempty"`         // "" when not said
	Periodic   *Periodic  `yaml:"periodic" json:"periodic,omitempty"` // what was agreed for a periodic inspection; nil for other work, and where nothing was said
	Edition    Edition    `yaml:"edition" json:"edition,omitempty"`   // of BS 7671, that the job is judged by; Read makes it Current where a file gives none; "" in a job of before, see JudgedBy
}

// Kind is a kind of test that a job may be limited to.
type Kind string

// The kinds of test.
const (
	Continuity Kind = "continuity" // of protective conductors, of bonding and of rings
	Insulation Kind = "insulation"
	Polarity   Kind = "polarity" // of the ways, by continuity
	Live       Kind = "live"     // everything with the supply on
)

// Asks reports whether tests of a kind belong to the job.
func (j Job) Asks(k Kind) bool { return len(j.Tests) == 0 || slices.Contains(j.Tests, k) }

// InOrder returns the numbers of the boards in the order of work: as they are
// described, but a board that feeds others before those it feeds.
func (j Job) InOrder() []int {
	var order []int
	var add func(b *Board, depth int)
	add = func(b *Board, depth int) {
		if b == nil || depth > len(j.Boards) || slices.Contains(order, b.Number) {
			return // depth: a job that was not read from a file may feed itself
		}
		if b.Supply.From != 0 {
			add(j.Board(b.Supply.From), depth+1)
		}
		if !slices.Contains(order, b.Number) {
			order = append(order, b.Number)
		}
	}
	for i := range j.Boards {
		add(&j.Boards[i], 0)
	}
	return order
}

// Instrument is the tester whose display is read out.
type Instrument struct {
	Serial    string  `yaml:"serial" json:"serial"`
	Checked   string  `yaml:"checked" json:"checked"`       // date of the last calibration check, 2006-01-02
	OverRange float64 `yaml:"over_range" json:"over_range"` // the end of its insulation scale at 500 V, Mohm: "over range" means greater than this

	// The same at the other test voltages, as the instrument shows it there; 0 when
	// unknown. It is asked for then, and never taken from another voltage.
	OverRange250  float64 `yaml:"over_range_250" json:"over_range_250,omitempty"`   // at 250 V, Mohm
	OverRange1000 float64 `yaml:"over_range_1000" json:"over_range_1000,omitempty"` // at 1000 V, Mohm

	Serials Serials `yaml:"serials" json:"serials,omitzero"` // of other instruments, by what they measure
}

// Serials are the serial numbers of instruments that measure one thing each. Where one
// is "", that was measured with the job's instrument.
type Serials struct {
	Continuity string `yaml:"continuity" json:"continuity,omitempty"`
	Insulation string `yaml:"insulation" json:"insulation,omitempty"`
	Loop       string `yaml:"loop" json:"loop,omitempty"` // loop impedance and fault current
	RCD        string `yaml:"rcd" json:"rcd,omitempty"`
	Electrode  string `yaml:"electrode" json:"electrode,omitempty"`
}

// ScaleEnd returns where the insulation scale ends at a test voltage, V DC, in Mohm,
// and false where that is not known.
func (i Instrument) ScaleEnd(volts float64) (float64, bool) {
	end := 0.0
	switch volts {
	case 250:
		end = i.OverRange250
	case 500:
		end = i.OverRange
	case 1000:
		end = i.OverRange1000
	}
	return end, end > 0
}

// Earthing is the type of system earthing of the supply.
type Earthing string

// The system earthings of BS 7671 Part 2.
const (
	TNS  Earthing = "TN-S"
	TNCS Earthing = "TN-C-S"
	TT   Earthing = "TT"
)

// Board is a distribution board or consumer unit.
type Board struct {
	Number            int       `yaml:"number" json:"number"` // 1 to 99; where a file gives none, its place in the list from 1
	Name              string    `yaml:"name" json:"name"`
	Earthing          Earthing  `yaml:"earthing" json:"earthing"`
	Voltage           float64   `yaml:"voltage" json:"voltage"`                                 // nominal line to earth, V
	Phases            int       `yaml:"phases" json:"phases"`                                   // 1 or 3; Read makes it 1 where a file gives none
	SurgeProtection   bool      `yaml:"surge_protection" json:"surge_protection"`               // a surge protective device is fitted
	Main              Device    `yaml:"main" json:"main,omitzero"`                              // main switch; the zero Device when unknown
	Supply            Supply    `yaml:"supply" json:"supply,omitzero"`                          // what feeds it
	MainPoles         int       `yaml:"main_poles" json:"main_poles,omitempty"`                 // of the main switch, 1 to 4; 0 when unknown
	MainPlace         string    `yaml:"main_place" json:"main_place,omitempty"`                 // where the main switch is; "" when unknown
	SurgeType         string    `yaml:"surge_type" json:"surge_type,omitempty"`                 // of the surge protective device, T1, T2 or T3, or several with +; "" when unknown
	SurgeIndicator    Indicator `yaml:"surge_indicator" json:"surge_indicator,omitempty"`       // what its status indicator shows; "" when unknown
	Electrode         Electrode `yaml:"electrode" json:"electrode,omitzero"`                    // the earth electrode; its value is the RA that is measured
	EarthingConductor float64   `yaml:"earthing_conductor" json:"earthing_conductor,omitempty"` // mm2 copper; 0 when unknown
	Bonding           []string  `yaml:"bonding" json:"bonding,omitempty"`                       // bonded services, such as water; one bonding reading each
	EarthingLength    float64   `yaml:"earthing_length" json:"earthing_length,omitempty"`       // m; 0 when unknown
	NoBonding         bool      `yaml:"no_bonding" json:"no_bonding,omitempty"`                 // there is no service to bond; without it and Bonding it is unknown whether there is
	BondingSize       float64   `yaml:"bonding_size" json:"bonding_size,omitempty"`             // main protective bonding conductors, mm2 copper; 0 when unknown
	BondingLengths    []float64 `yaml:"bonding_lengths" json:"bonding_lengths,omitempty"`       // m, one for each service of Bonding; empty when unknown
	AllBonded         bool      `yaml:"all_bonded" json:"all_bonded,omitempty"`                 // every extraneous-conductive-part is connected to the main earthing terminal
	Conditional       float64   `yaml:"conditional_rating" json:"conditional_rating,omitempty"` // kA: rated conditional short-circuit current of the assembly with the cut-out fuse that its maker names; 0 when unknown
	Ambient           float64   `yaml:"ambient" json:"ambient,omitempty"`                       // temperature of the conductors at the dead tests, degrees C; 0 stands for 20
	Ways              []Way     `yaml:"ways" json:"ways"`                                       // in the order of their numbers
}

// Indicator is what the status indicator of a surge protective device shows.
type Indicator string

// What an indicator shows.
const (
	IndicatorGood    Indicator = "good"
	IndicatorExpired Indicator = "expired" // the device is to be replaced
	NoIndicator      Indicator = "none"    // it has none
)

// Electrode is the earth electrode of an installation.
type Electrode struct {
	Type  string `yaml:"type" json:"type,omitempty"`   // such as rod, tape or plate; "" when unknown
	Place string `yaml:"place" json:"place,omitempty"` // "" when unknown
}

// Cutout is the distributor's main fuse. Each field is zero when unknown.
type Cutout struct {
	Standard string  `yaml:"standard" json:"standard,omitempty"` // such as BS 88-3
	Type     string  `yaml:"type" json:"type,omitempty"`         // such as II
	Rating   float64 `yaml:"rating" json:"rating,omitempty"`     // A
	Breaking float64 `yaml:"breaking" json:"breaking,omitempty"` // rated short-circuit capacity, kA
}

// LiveConductors is the number and type of the live conductors of a supply, in the
// words of the model forms of BS 7671 Appendix 6, from memory.
type LiveConductors string

// The live conductors of a supply.
const (
	OnePhaseTwo   LiveConductors = "1-phase 2-wire"
	TwoPhaseThree LiveConductors = "2-phase 3-wire"
	ThreePhase    LiveConductors = "3-phase 3-wire"
	ThreePhaseN   LiveConductors = "3-phase 4-wire"
)

// Supply is what feeds a board.
type Supply struct {
	From          int            `yaml:"from" json:"from,omitempty"`                       // the board that feeds it; 0 is the origin of the installation
	FromWay       int            `yaml:"from_way" json:"from_way,omitempty"`               // the way of that board, as in Way.Number; 0 at the origin
	DeclaredZe    float64        `yaml:"declared_ze" json:"declared_ze,omitempty"`         // as the distributor declares it, ohm; 0 when unknown
	DeclaredPFC   float64        `yaml:"declared_pfc" json:"declared_pfc,omitempty"`       // as the distributor declares it, kA; 0 when unknown
	Frequency     float64        `yaml:"frequency" json:"frequency,omitempty"`             // nominal, Hz; 0 when unknown
	Conductors    LiveConductors `yaml:"live_conductors" json:"live_conductors,omitempty"` // "" when unknown
	Cutout        Cutout         `yaml:"cutout" json:"cutout,omitzero"`                    // the zero Cutout when unknown
	MaximumDemand float64        `yaml:"maximum_demand" json:"maximum_demand,omitempty"`   // of the installation, A a line; 0 when unknown
	OnlyIsolated  bool           `yaml:"only_isolated" json:"only_isolated,omitempty"`     // upstream of the work and only isolated: no test is asked for here
}

// Way is one outgoing way of a board.
type Way struct {
	Number       int           `yaml:"way" json:"way"`     // as marked on the board, 1 to 99, or 1L1 to 99L3 as package waymark has it
	Feeds        string        `yaml:"feeds" json:"feeds"` // what it supplies, as marked on the board
	Spare        bool          `yaml:"spare" json:"spare,omitempty"`
	Device       Device        `yaml:"device" json:"device"`
	Wiring       Wiring        `yaml:"wiring" json:"wiring"`
	Phases       int           `yaml:"phases" json:"phases,omitempty"`                     // 1 or 3; Read makes it 1 where a file gives none; 0 on a spare way
	NoNeutral    bool          `yaml:"no_neutral" json:"no_neutral,omitempty"`             // three-phase without a neutral, such as a motor: nothing is tested to neutral
	Phase        string        `yaml:"phase" json:"phase,omitempty"`                       // L1, L2 or L3: where a single-phase way of a three-phase board is connected
	Line         float64       `yaml:"line" json:"line"`                                   // line conductor, mm2; 0 when unknown
	CPC          float64       `yaml:"cpc" json:"cpc"`                                     // protective conductor, mm2; 0 when unknown
	Material     Material      `yaml:"material" json:"material,omitempty"`                 // of the conductors; Read makes it copper where a file gives none
	CPCKind      CPCKind       `yaml:"cpc_kind" json:"cpc_kind,omitempty"`                 // Read makes it a conductor where a file gives none
	Cores        int           `yaml:"cores" json:"cores,omitempty"`                       // of a cable whose armour is the protective conductor, 2 to 4; 0 when unknown
	Flexible     bool          `yaml:"flexible" json:"flexible,omitempty"`                 // class 5 conductors of IEC 60228
	Length       float64       `yaml:"length" json:"length,omitempty"`                     // m, of a ring all the way round; 0 when unknown
	Points       int           `yaml:"points" json:"points,omitempty"`                     // points served; 0 when unknown
	Spurs        int           `yaml:"spurs" json:"spurs,omitempty"`                       // unfused spurs off a ring; 0 when there are none
	NeutralBar   string        `yaml:"neutral_bar" json:"neutral_bar,omitempty"`           // the bar its neutral is on, when there are several
	TwoWay       bool          `yaml:"two_way" json:"two_way,omitempty"`                   // two-way or intermediate switching: test in both positions
	Keep500Off   string        `yaml:"keep_500_off" json:"keep_500_off,omitempty"`         // equipment that stays connected and must not see 500 V between live conductors
	Separated    bool          `yaml:"separated" json:"separated,omitempty"`               // SELV or PELV
	Use          Use           `yaml:"use" json:"use,omitempty"`                           // "" when unknown; Read makes it distribution where Supplies is given
	Supplies     int           `yaml:"supplies" json:"supplies,omitempty"`                 // the number of the board that it feeds; 0 when it feeds none
	Undocumented bool          `yaml:"undocumented" json:"undocumented,omitempty"`         // an existing circuit without documents
	Work         Touch         `yaml:"work" json:"work,omitempty"`                         // of an addition or alteration: what is done to the way; "" for nothing
	Tested       Extent        `yaml:"tested" json:"tested,omitempty"`                     // of a periodic inspection: what was agreed of the way; "" for what Periodic says
	Method       string        `yaml:"reference_method" json:"reference_method,omitempty"` // how its cable is installed, a reference method of BS 7671 Appendix 4; "" when unknown
	AFDD         bool          `yaml:"afdd" json:"afdd,omitempty"`                         // an arc fault detection device with a test button
	Kind         CircuitKind   `yaml:"kind" json:"kind,omitempty"`                         // "" for a circuit of no special kind
	PEN          PENProtection `yaml:"pen_protection" json:"pen_protection,omitempty"`     // of EV charging; "" when unknown
	DC           DCProtection  `yaml:"dc_protection" json:"dc_protection,omitempty"`       // of EV charging; "" when unknown
	FeedsBack    Source        `yaml:"feeds_back" json:"feeds_back,omitempty"`             // a source on the circuit that can feed the board; "" when there is none
}

// CircuitKind is a kind of circuit that is tested otherwise than others, or that has
// tests which are made and recorded elsewhere.
type CircuitKind string

// The kinds of circuit.
const (
	EVCharging        CircuitKind = "EV charging"
	PVSupply          CircuitKind = "PV"
	BatteryStorage    CircuitKind = "battery"
	EmergencyLighting CircuitKind = "emergency lighting"
)

// FeedsBack is the source that a circuit of the kind always has, which can feed the board;
// "" where the kind has none.
func (k CircuitKind) FeedsBack() Source {
	switch k {
	case PVSupply:
		return PV
	case BatteryStorage:
		return Battery
	}
	return ""
}

// PENProtection is what protects at an electric vehicle charging point where the
// combined neutral and earth conductor of the supply breaks.
type PENProtection string

// The protections against a broken PEN conductor.
const (
	PENDevice    PENProtection = "device"     // a device, in the charging point or by itself, that disconnects all conductors
	PENElectrode PENProtection = "electrode"  // the charging point is earthed by an electrode of its own
	PENNotNeeded PENProtection = "not needed" // it is not earthed by a PEN conductor, or stands indoors
	PENNone      PENProtection = "none"
)

// DCProtection is what protects at an electric vehicle charging point where the vehicle
// gives a smooth direct residual current.
type DCProtection string

// The protections against a direct residual current.
const (
	DCInCharger DCProtection = "charger" // an RDC-DD, or the like, in the charging point
	DCDevice    DCProtection = "RDC-DD"  // an RDC-DD by itself
	DCTypeB     DCProtection = "type B"  // a type B residual current device
	DCNone      DCProtection = "none"
)

// Source is what may feed a board through one of its ways.
type Source string

// The sources.
const (
	PV      Source = "PV"
	Battery Source = "battery"
	Vehicle Source = "vehicle" // an electric vehicle that gives back
)

// Wiring is how a circuit's cable runs.
type Wiring string

// The wirings.
const (
	Radial Wiring = "radial"
	Ring   Wiring = "ring"
)

// Material is what the conductors of a circuit are made of.
type Material string

// The materials.
const (
	Copper    Material = "copper"
	Aluminium Material = "aluminium"
)

// CPCKind is what serves as circuit protective conductor.
type CPCKind string

// The kinds of protective conductor.
const (
	Conductor CPCKind = "conductor" // a core or a separate wire
	Steel     CPCKind = "steel"     // enclosure, conduit, trunking or armour: no resistance can be reckoned from a size
	Armour    CPCKind = "armour"    // the steel wire armour of the circuit's cable, of Cores of the size Line
)

// Use is what a circuit is for, as far as its disconnection time depends on it.
type Use string

// The uses.
const (
	Socket       Use = "socket"       // socket-outlets
	Lighting     Use = "lighting"     // luminaires
	Fixed        Use = "fixed"        // fixed equipment, connected for good
	Distribution Use = "distribution" // another board
)

// Device is the overcurrent protective device of a way, or the main switch of a
// board.
type Device struct {
	Standard       string  `yaml:"standard" json:"standard"`                       // such as BS EN 60898
	Type           string  `yaml:"type" json:"type,omitempty"`                     // B, C or D where the standard has types
	Rating         float64 `yaml:"rating" json:"rating"`                           // A
	Breaking       float64 `yaml:"breaking" json:"breaking,omitempty"`             // rated short-circuit capacity, kA; 0 when unknown
	BackedUp       float64 `yaml:"backed_up" json:"backed_up,omitempty"`           // kA that it breaks with the device upstream that its maker names for that; 0 when unknown
	Unidirectional bool    `yaml:"unidirectional" json:"unidirectional,omitempty"` // marked for a supply from one side only: line and load, or in and out
	Trip           float64 `yaml:"trip" json:"trip,omitempty"`                     // magnetic setting of a BS EN 60947-2 device, A; 0 when unknown or for others
	RCD            *RCD    `yaml:"rcd" json:"rcd,omitempty"`                       // residual current part or upstream RCD; nil when none
}

// RCD is a residual current device.
type RCD struct {
	Rated          float64 `yaml:"rated" json:"rated"`                             // rated residual operating current, mA
	Type           string  `yaml:"type" json:"type"`                               // AC, A, F or B
	Delayed        bool    `yaml:"delayed" json:"delayed,omitempty"`               // S type, time-delayed
	Group          string  `yaml:"group" json:"group,omitempty"`                   // ways of one group on a board share one device upstream of theirs
	Standard       string  `yaml:"standard" json:"standard,omitempty"`             // such as BS EN 61008; "" when unknown
	Unidirectional bool    `yaml:"unidirectional" json:"unidirectional,omitempty"` // marked for a supply from one side only
}

// Board returns the board with the given number, or nil.
func (j Job) Board(number int) *Board {
	for i := range j.Boards {
		if j.Boards[i].Number == number {
			return &j.Boards[i]
		}
	}
	return nil
}

// Way returns a way of a board by their numbers, or nil.
func (j Job) Way(board, way int) *Way {
	if b := j.Board(board); b != nil {
		return b.Way(way)
	}
	return nil
}

// Way returns the way with the given number, or nil.
func (b *Board) Way(number int) *Way {
	for i := range b.Ways {
		if b.Ways[i].Number == number {
			return &b.Ways[i]
		}
	}
	return nil
}

// Named returns the number of the one board whose name has the word, or 0 where none or
// several have it. Capitals do not matter.
func (j Job) Named(word string) int {
	number := 0
	for _, b := range j.Boards {
		if !slices.Contains(strings.FieldsFunc(strings.ToLower(b.Name), notOfAWord), word) {
			continue
		}
		if number != 0 {
			return 0
		}
		number = b.Number
	}
	return number
}

// NameWords returns the words by which a board can be named, in the order of the boards.
func (j Job) NameWords() (words []string) {
	for _, b := range j.Boards {
		for _, w := range strings.FieldsFunc(strings.ToLower(b.Name), notOfAWord) {
			if j.Named(w) != 0 {
				words = append(words, w)
			}
		}
	}
	return words
}

func notOfAWord(r rune) bool { return !unicode.IsLetter(r) && r != '\'' }

// BoardNames returns the names of the boards, as they are described.
func (j Job) BoardNames() []string {
	names := []string{}
	for _, b := range j.Boards {
		names = append(names, b.Name)
	}
	return names
}
