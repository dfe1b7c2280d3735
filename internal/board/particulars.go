package board

// This file checks what the model forms of the trade ask of a supply, a board and a
// circuit beside what tests are judged by.

import (
	"fmt"
	"slices"

	"waycall/internal/printable"
	"waycall/internal/waymark"
)

// referenceMethods are the methods of installation of BS 7671 Appendix 4, from memory:
// those of Table 4A2, with the numbered ones of cables in thermal insulation.
var referenceMethods = []string{"A", "B", "C", "D", "E", "F", "G", "100", "101", "102", "103"}

// surgeTypes are the types of surge protective devices: BS EN 61643-11, from memory.
var surgeTypes = []string{"T1", "T2", "T3", "T1+T2", "T2+T3", "T1+T2+T3"}

// known refuses a text that is none of all, where one is given.
func known[T ~string](d *decoder, path, name string, x T, all ...T) {
	if x == "" || slices.Contains(all, x) {
		return
	}
	var names []string
	for _, one := range all {
		names = append(names, string(one))
	}
	d.bad(path, fmt.Sprintf("%s is %q", name, printable.Cut(string(x), 40)), "write "+choice(names)+", or leave it out when unknown")
}

func (d *decoder) unknownLine(path, s string, most int) {
	if s != "" {
		d.line(path, s, most)
	}
}

func (d *decoder) serials(s *Serials) {
	for _, one := range []struct{ key, serial string }{
		{"continuity", s.Continuity}, {"insulation", s.Insulation}, {"loop", s.Loop}, {"rcd", s.RCD}, {"electrode", s.Electrode},
	} {
		d.unknownLine("instrument.serials."+one.key, one.serial, 40)
	}
}

func (d *decoder) particulars(b *Board, path string) {
	u, at := &b.Supply, path+".supply"
	// Railways to aircraft; a guard against slips, not a rule.
	d.unknownOr(at+".frequency", u.Frequency, 16, 400, "Hz, such as 50, or leave it out when unknown")
	known(d, at+".live_conductors", "live_conductors", u.Conductors, OnePhaseTwo, TwoPhaseThree, ThreePhase, ThreePhaseN)
	if three := u.Conductors == ThreePhase || u.Conductors == ThreePhaseN; u.From == 0 && u.Conductors != "" && b.Phases == 3 && !three {
		d.bad(at+".live_conductors", fmt.Sprintf("the board is three-phase but its supply is %s", printable.Cut(string(u.Conductors), 40)), "correct phases of the board or live_conductors")
	}
	d.unknownLine(at+".cutout.standard", u.Cutout.Standard, 40)
	d.unknownLine(at+".cutout.type", u.Cutout.Type, 20)
	d.unknownOr(at+".cutout.rating", u.Cutout.Rating, 5, 1250, "A, or leave it out when unknown")
	d.unknownOr(at+".cutout.breaking", u.Cutout.Breaking, 0.5, 200, "kA, or leave it out when unknown")
	d.unknownOr(at+".maximum_demand", u.MaximumDemand, 0.5, 5000, "A, or leave it out when unknown")
	d.unknownOr(path+".main_poles", float64(b.MainPoles), 1, 4, "poles, or leave it out when unknown")
	d.unknownLine(path+".main_place", b.MainPlace, 80)
	known(d, path+".surge_type", "surge_type", b.SurgeType, surgeTypes...)
	known(d, path+".surge_indicator", "surge_indicator", b.SurgeIndicator, IndicatorGood, IndicatorExpired, NoIndicator)
	if !b.SurgeProtection && (b.SurgeType != "" || b.SurgeIndicator != "") {
		d.bad(path+".surge_protection", "a surge protective device is described but surge_protection is not said to be true", "write surge_protection: true, or remove surge_type and surge_indicator")
	}
	d.unknownLine(path+".electrode.type", b.Electrode.Type, 40)
	d.unknownLine(path+".electrode.place", b.Electrode.Place, 80)
	if b.NoBonding && len(b.Bonding) > 0 {
		d.bad(path+".no_bonding", "services are bonded and no_bonding is given", "remove one of the two")
	}
}

// kind checks what kind of circuit a way is, and what only that kind has.
func (d *decoder) kind(b *Board, w *Way, path string) {
	if w.Kind != "" && !oneOf(w.Kind, EVCharging, PVSupply, BatteryStorage, EmergencyLighting) {
		d.bad(path+".kind", fmt.Sprintf("unknown kind of way %q", printable.Cut(string(w.Kind), 40)), "write EV charging, PV, battery or emergency lighting, or leave it out for a circuit of no special kind")
		return
	}
	known(d, path+".reference_method", "reference_method", w.Method, referenceMethods...)
	known(d, path+".pen_protection", "pen_protection", w.PEN, PENDevice, PENElectrode, PENNotNeeded, PENNone)
	known(d, path+".dc_protection", "dc_protection", w.DC, DCInCharger, DCDevice, DCTypeB, DCNone)
	name := "way " + waymark.Print(w.Number)
	ev := w.Kind == EVCharging
	for _, c := range []struct {
		found         bool
		key, what, do string
	}{
		{!ev && w.PEN != "", "pen_protection", "pen_protection is given for a way that charges no electric vehicle", "write kind: EV charging, or remove it"},
		{!ev && w.DC != "", "dc_protection", "dc_protection is given for a way that charges no electric vehicle", "write kind: EV charging, or remove it"},
		{w.DC == DCTypeB && (w.Device.RCD == nil || w.Device.RCD.Type != "B") && (b.Main.RCD == nil || b.Main.RCD.Type != "B"), "dc_protection", "it is said to be protected by a type B device, but none is described", "describe it as the rcd of the way, or correct dc_protection"},
		{w.Kind != "" && w.Supplies != 0, "kind", "a way that supplies a board is given a kind", "give it to the way of that board"},
		{w.Kind != "" && w.Separated, "separated", "a way of a kind of its own is described as SELV or PELV", "correct kind or separated"},
		{w.Kind == EmergencyLighting && w.Use != "" && w.Use != Lighting, "use", "emergency lighting is described for another use", "write lighting or remove use"},
		{w.Kind == PVSupply && w.FeedsBack != w.Kind.FeedsBack(), "feeds_back", "a way of PV is said to be fed back by another source", "correct kind or feeds_back"},
		{w.Kind == BatteryStorage && w.FeedsBack != w.Kind.FeedsBack(), "feeds_back", "a way of a battery is said to be fed back by another source", "correct kind or feeds_back"},
	} {
		if c.found {
			d.bad(path+"."+c.key, name+": "+c.what, c.do)
		}
	}
}
