// This file has what the model forms ask of a board beside its readings, in words: one
// list, which every format shows. What is not known is unknown there and never left out.

package report

import (
	"cmp"
	"strconv"
	"strings"

	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/words"
)

// unknown is what stands for what is not known.
const unknown = "unknown"

// amount is a figure with its unit, or unknown for 0.
func amount(x float64, unit string) string {
	if x == 0 {
		return unknown
	}
	return words.Number(x) + " " + unit
}

// known is what is not "" of a list, or unknown.
func known(between string, parts ...string) string {
	return cmp.Or(words.Join(between, parts...), unknown)
}

// particulars are those of a board. What belongs to the supply stands at the origin of
// the installation only.
func particulars(b *board.Board) []Particular {
	var all []Particular
	add := func(name, value string) { all = append(all, Particular{name, value}) }
	if u := &b.Supply; u.From == 0 {
		add("Nominal frequency", amount(u.Frequency, "Hz"))
		add("Live conductors", cmp.Or(string(u.Conductors), unknown))
		if b.Earthing != board.TT || u.DeclaredZe != 0 { // the earth of a TT board is its own
			add("Declared Ze", amount(u.DeclaredZe, "ohm"))
		}
		add("Declared fault current", amount(u.DeclaredPFC, "kA"))
		add("Cut-out fuse", fuse(u.Cutout))
		add("Maximum demand", amount(u.MaximumDemand, "A"))
	}
	if b.Earthing == board.TT || b.Electrode != (board.Electrode{}) {
		electrode := unknown
		if b.Electrode != (board.Electrode{}) {
			electrode = "type " + cmp.Or(b.Electrode.Type, unknown) + ", place " + cmp.Or(b.Electrode.Place, unknown)
		}
		add("Earth electrode", electrode)
	}
	poles := unknown
	if b.MainPoles != 0 {
		poles = strconv.Itoa(b.MainPoles)
	}
	add("Main switch", cmp.Or(newDevice(b.Main).Long(), unknown))
	add("Main switch poles", poles)
	add("Main switch place", cmp.Or(b.MainPlace, unknown))
	surge := "none"
	if b.SurgeProtection {
		surge = "fitted, type " + cmp.Or(b.SurgeType, unknown) + ", status indicator " + indicators[b.SurgeIndicator]
	}
	add("Surge protection", surge)
	add("Conditional rating of the board", amount(b.Conditional, "kA"))
	described := b.EarthingConductor != 0 || len(b.Bonding) > 0 || b.BondingSize != 0 || b.AllBonded
	if b.Supply.From == 0 || b.Earthing == board.TT || described {
		add("Earthing conductor", amount(b.EarthingConductor, "mm2"))
		bonded := known(", ", b.Bonding...)
		if b.NoBonding {
			bonded = "none to bond"
		}
		if b.AllBonded {
			bonded += "; every extraneous-conductive-part is said to be bonded"
		}
		add("Bonded services", bonded)
		if !b.NoBonding {
			add("Bonding conductors", amount(b.BondingSize, "mm2"))
		}
	}
	return all
}

// Described parts the particulars of a board into those that are known and the names
// of those that are not, in a sentence; "" where all are known.
func (b Board) Described() (described []Particular, missing string) {
	var names []string
	for _, one := range b.Particulars {
		if one.Value == unknown {
			names = append(names, english.Lower(one.Name))
		} else {
			described = append(described, one)
		}
	}
	return described, strings.Join(names, ", ")
}

var indicators = map[board.Indicator]string{
	"": unknown, board.IndicatorGood: "good", board.IndicatorExpired: "to be replaced", board.NoIndicator: "not there",
}

func typed(t string) string {
	if t == "" {
		return ""
	}
	return "type " + t
}

// fuse is the distributor's fuse, with its rating in any case.
func fuse(f board.Cutout) string {
	if f == (board.Cutout{}) {
		return unknown
	}
	rating := "rating unknown"
	if f.Rating != 0 {
		rating = amount(f.Rating, "A")
	}
	breaking := ""
	if f.Breaking != 0 {
		breaking = amount(f.Breaking, "kA")
	}
	return known(", ", f.Standard, typed(f.Type), rating, breaking)
}

// serials are those of the instruments beside the job's.
func serials(i board.Instrument) []Particular {
	var all []Particular
	for _, one := range []Particular{
		{"continuity", i.Serials.Continuity}, {"insulation", i.Serials.Insulation}, {"loop impedance", i.Serials.Loop}, {"RCD", i.Serials.RCD}, {"earth electrode", i.Serials.Electrode},
	} {
		if one.Value != "" {
			all = append(all, one)
		}
	}
	return all
}

// InstrumentWords are the serial numbers of a header's instruments.
func (h Header) InstrumentWords() string {
	text := "serial " + h.Instrument
	for _, one := range h.Serials {
		text += "; " + one.Name + ": serial " + one.Value
	}
	return text
}

// MethodWords is the reference method of a way, or that it is unknown; nothing on a
// spare way.
func (l Line) MethodWords() string {
	if l.Spare {
		return ""
	}
	return cmp.Or(l.Method, unknown)
}

// KindWords is what kind of way it is, with its protection; nothing where it is of no
// special kind.
func (l Line) KindWords() string {
	switch {
	case l.PEN != "" || l.DC != "":
		return l.Kind + ", PEN fault protection: " + l.PEN + ", direct current protection: " + l.DC
	case l.Kind != "":
		return l.Kind
	}
	return ""
}
