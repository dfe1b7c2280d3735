// This file names the tests in the words of the trade.

package words

import (
	"waycall/internal/english"
	"waycall/internal/reading"
)

// names are the tests as a page has them beside their letters. Readings are spoken by
// other words: reading.Test.Spoken.
var names = map[reading.Test]string{
	reading.R1R2:          "Line and protective conductor",
	reading.R2:            "Protective conductor, long lead",
	reading.RingR1:        "Ring, line end to end",
	reading.RingRn:        "Ring, neutral end to end",
	reading.RingR2:        "Ring, protective conductor end to end",
	reading.RingLN:        "Ring, crossed, line to neutral",
	reading.RingLE:        "Ring, crossed, line to earth",
	reading.LNE:           "Insulation, live conductors to earth",
	reading.LE:            "Insulation, line to earth",
	reading.NE:            "Insulation, neutral to earth",
	reading.LN:            "Insulation, line to neutral",
	reading.LL:            "Insulation, line to line",
	reading.L1E:           "Insulation, line 1 to earth",
	reading.L2E:           "Insulation, line 2 to earth",
	reading.L3E:           "Insulation, line 3 to earth",
	reading.L1L2:          "Insulation, line 1 to line 2",
	reading.L2L3:          "Insulation, line 2 to line 3",
	reading.L1L3:          "Insulation, line 1 to line 3",
	reading.L1N:           "Insulation, line 1 to neutral",
	reading.L2N:           "Insulation, line 2 to neutral",
	reading.L3N:           "Insulation, line 3 to neutral",
	reading.Earthing:      "Main earthing conductor",
	reading.Bonding:       "Main bonding",
	reading.RA:            "Earth electrode",
	reading.Polarity:      "Polarity",
	reading.Ze:            "External earth fault loop",
	reading.Zs:            "Earth fault loop",
	reading.PFC:           "Fault current, line to earth",
	reading.PSC:           "Short-circuit current",
	reading.RCD1x:         "RCD time at rated current",
	reading.RCD5x:         "RCD time at five times rated",
	reading.RCDHalf:       "RCD at half rated current",
	reading.RCDRamp:       "RCD operating current",
	reading.RCDButton:     "RCD test button",
	reading.AFDDButton:    "AFDD test button",
	reading.PENFault:      "PEN fault protection",
	reading.DCFault:       "DC fault protection",
	reading.PhaseSequence: "Phase sequence",
	reading.Functional:    "Functional test",
}

// Name is a test in words.
func Name(t reading.Test) string {
	if name, ok := names[t]; ok {
		return name
	}
	return english.Capital(t.Spoken())
}

// Letters are the letters of a test, where they are not its name again.
func Letters(t reading.Test) string {
	switch t {
	case reading.Polarity, reading.PhaseSequence, reading.Functional, reading.Earthing, reading.Bonding, reading.RCDButton, reading.AFDDButton, reading.PENFault, reading.DCFault:
		return ""
	}
	return string(t)
}

// Short names a test in a list: its letters, or else its name.
func Short(t reading.Test) string {
	if l := Letters(t); l != "" {
		return l
	}
	return Name(t)
}
