// Package board describes what is being tested: a job, its board, the ways of
// that board, and for each way its cable and protective device.
//
// A description comes from a file that a person wrote (see Read) and is not
// changed by testing. What was measured belongs to package record.
package board

// Job is one visit to one installation.
type Job struct {
	Reference  string     `yaml:"reference" json:"reference"`   // the electrician's own, also the name of the job's file
	Address    string     `yaml:"address" json:"address"`       // one line
	Date       string     `yaml:"date" json:"date"`             // 2006-01-02
	Tester     string     `yaml:"tester" json:"tester"`         // initials
	Instrument Instrument `yaml:"instrument" json:"instrument"` // the insulation tester used
	Board      Board      `yaml:"board" json:"board"`
}

// Instrument is the tester whose display is read out.
type Instrument struct {
	Serial    string  `yaml:"serial" json:"serial"`
	Checked   string  `yaml:"checked" json:"checked"`       // date of the last calibration check, 2006-01-02
	OverRange float64 `yaml:"over_range" json:"over_range"` // the end of its insulation scale, Mohm: "over range" means greater than this
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
	Name            string   `yaml:"name" json:"name"`
	Earthing        Earthing `yaml:"earthing" json:"earthing"`
	Voltage         float64  `yaml:"voltage" json:"voltage"`                   // nominal line to earth, V
	SurgeProtection bool     `yaml:"surge_protection" json:"surge_protection"` // a surge protective device is fitted
	Ways            []Way    `yaml:"ways" json:"ways"`                         // in the order of their numbers
}

// Way is one outgoing way of a board.
type Way struct {
	Number     int     `yaml:"way" json:"way"`     // as marked on the board, 1 to 99
	Feeds      string  `yaml:"feeds" json:"feeds"` // what it supplies, as marked on the board
	Spare      bool    `yaml:"spare" json:"spare,omitempty"`
	Device     Device  `yaml:"device" json:"device"`
	Wiring     Wiring  `yaml:"wiring" json:"wiring"`
	Line       float64 `yaml:"line" json:"line"`                           // line conductor, mm2; 0 when unknown
	CPC        float64 `yaml:"cpc" json:"cpc"`                             // protective conductor, mm2; 0 when unknown
	Length     float64 `yaml:"length" json:"length,omitempty"`             // m; 0 when unknown
	Points     int     `yaml:"points" json:"points,omitempty"`             // points served; 0 when unknown
	NeutralBar string  `yaml:"neutral_bar" json:"neutral_bar,omitempty"`   // the bar its neutral is on, when there are several
	TwoWay     bool    `yaml:"two_way" json:"two_way,omitempty"`           // two-way or intermediate switching: test in both positions
	Keep500Off string  `yaml:"keep_500_off" json:"keep_500_off,omitempty"` // equipment that stays connected and must not see 500 V between live conductors
	Separated  bool    `yaml:"separated" json:"separated,omitempty"`       // SELV or PELV
}

// Wiring is how a circuit's cable runs.
type Wiring string

// The wirings.
const (
	Radial Wiring = "radial"
	Ring   Wiring = "ring"
)

// Device is the overcurrent protective device of a way.
type Device struct {
	Standard string  `yaml:"standard" json:"standard"`           // such as BS EN 60898
	Type     string  `yaml:"type" json:"type,omitempty"`         // B, C or D where the standard has types
	Rating   float64 `yaml:"rating" json:"rating"`               // A
	Breaking float64 `yaml:"breaking" json:"breaking,omitempty"` // rated short-circuit capacity, kA; 0 when unknown
	RCD      *RCD    `yaml:"rcd" json:"rcd,omitempty"`           // residual current part or upstream RCD; nil when none
}

// RCD is a residual current device.
type RCD struct {
	Rated float64 `yaml:"rated" json:"rated"` // rated residual operating current, mA
	Type  string  `yaml:"type" json:"type"`   // AC, A, F or B
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
