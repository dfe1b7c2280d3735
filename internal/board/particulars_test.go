package board_test

import (
	"strings"
	"testing"

	"waycall/internal/board"
	"waycall/internal/board/boardtest"
)

// What the forms ask is read, and written as it was read.
func TestParticulars(t *testing.T) {
	job := boardtest.Read(t, "charging.yaml")
	b := job.Board(1)
	if u := b.Supply; u.Frequency != 50 || u.Conductors != board.OnePhaseTwo || u.Cutout != (board.Cutout{Standard: "BS 88-3", Rating: 100, Breaking: 16}) || u.MaximumDemand != 0 {
		t.Errorf("supply %+v", u)
	}
	if b.MainPoles != 2 || b.MainPlace != "at the board" || b.SurgeType != "T2" || b.SurgeIndicator != board.IndicatorGood || job.Instrument.Serials.RCD != "0052218" {
		t.Errorf("board %+v", b)
	}
	if w := b.Way(1); w.Kind != board.EVCharging || w.PEN != board.PENDevice || w.DC != board.DCDevice || w.Method != "C" {
		t.Errorf("way %+v", w)
	}
	if w := b.Way(2); w.FeedsBack != board.PV {
		t.Errorf("PV does not feed back: %+v", w)
	}
	written(t, job)
}

func TestParticularsRefused(t *testing.T) {
	refused(t, "charging.yaml", map[string]refusal{
		"unknown kind":      {"kind: EV charging", "kind: heat pump", `line 34, column 13: unknown kind of way "heat pump"; write EV charging, PV, battery or emergency lighting`},
		"kind hostile":      {"kind: EV charging", `kind: "EV charging\n=1+1"`, `unknown kind of way "EV charging`},
		"frequency":         {"frequency: 50", "frequency: 5000", "supply.frequency is 5000, outside 16 to 400"},
		"live conductors":   {"1-phase 2-wire", "two", `live_conductors is "two"; write 1-phase 2-wire, 2-phase 3-wire, 3-phase 3-wire or 3-phase 4-wire`},
		"cut-out":           {"rating: 100, breaking: 16}", "rating: 0.1, breaking: 16}", "supply.cutout.rating is 0.1, outside 5 to 1250"},
		"cut-out unknown":   {"cutout: {standard", "cutout: {make: 3, standard", `unknown key "make" in board.supply.cutout`},
		"poles":             {"main_poles: 2", "main_poles: 5", "main_poles is 5, outside 1 to 4"},
		"place too long":    {"main_place: at the board", "main_place: " + strings.Repeat("a", 81), "board.main_place has more than 80 characters"},
		"surge type":        {"surge_type: T2", "surge_type: T4", `surge_type is "T4"; write T1`},
		"surge without":     {"surge_protection: true", "surge_protection: false", "a surge protective device is described but surge_protection is not said"},
		"indicator":         {"surge_indicator: good", "surge_indicator: green", `surge_indicator is "green"; write good, expired or none`},
		"method":            {"reference_method: C", "reference_method: H", `reference_method is "H"; write A, B`},
		"PEN without EV":    {"      kind: EV charging\n", "", "way 1: pen_protection is given for a way that charges no electric vehicle"},
		"type B not there":  {"dc_protection: RDC-DD", "dc_protection: type B", "way 1: it is said to be protected by a type B device, but none is described"},
		"PEN unknown":       {"pen_protection: device", "pen_protection: yes", `pen_protection is "yes"; write device, electrode, not needed or none`},
		"PV fed by another": {"kind: PV", "kind: PV\n      feeds_back: battery", "way 2: a way of PV is said to be fed back by another source"},
		"bonding twice":     {"bonding: [water, gas]", "bonding: [water, gas]\n  no_bonding: true", "services are bonded and no_bonding is given"},
		"serial":            {`rcd: "0052218"`, `rcd: " 1"`, "instrument.serials.rcd has a line break, a blank at its end"},
		"function":          {`rcd: "0052218"`, `lux: "0052218"`, `unknown key "lux" in instrument.serials`},
	})
}
