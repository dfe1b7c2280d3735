// What must hold of the tables by rule, whatever their figures are: sizes and ratings
// that are made, one figure that follows from another, bands that join.

package limits

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"waycall/internal/board"
)

// The nominal sizes of IEC 60228 from 1 mm2 on.
var sizes228 = []float64{1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240, 300, 400, 500, 630}

// Each class of each material has every nominal size from its first to its last, and
// each has less resistance than the one before. Solid and stranded conductors are
// alike to 150 mm2; above, solid ones have a little more.
func TestConductorSizes(t *testing.T) {
	last := map[string]int{}
	for _, r := range data.rows["conductors"].list {
		n := r.number
		name := fmt.Sprint(r.text["material"], n["class"])
		i := slices.Index(sizes228, n["size"])
		if i < 0 || !slices.Contains([]float64{1, 2, 5}, n["class"]) {
			t.Errorf("%s: no conductor of %v mm2 is made", name, n["size"])
			continue
		}
		if before, ok := last[name]; ok && (i != before+1 || n["ohm_per_km"] >= data.conductors[conductorKey{r.text["material"], n["class"], sizes228[before]}]) {
			t.Errorf("%s: %v mm2 after %v", name, n["size"], sizes228[before])
		}
		last[name] = i
		if n["class"] != 1 {
			continue
		}
		stranded := data.conductors[conductorKey{r.text["material"], 2, n["size"]}]
		if n["size"] <= 150 && n["ohm_per_km"] != stranded || n["size"] > 150 && !(n["ohm_per_km"] > stranded*0.98 && n["ohm_per_km"] < stranded*1.04) {
			t.Errorf("%s, %v mm2: %v, stranded %v", name, n["size"], n["ohm_per_km"], stranded)
		}
	}
	for name, want := range map[string]float64{"copper1": 400, "copper2": 630, "copper5": 300, "aluminium1": 150, "aluminium2": 630} {
		if got := sizes228[last[name]]; got != want {
			t.Errorf("%s ends at %v mm2", name, got)
		}
	}
}

// The temperatures of k: a separate or bare conductor begins at 30 degrees C, a core
// at what its insulation may have, armour ten degrees and a conduit twenty or thirty
// below; thermoplastic insulation ends at 160, 140 above 300 mm2, thermosetting at
// 250, and a sheath or armour at 200. Each kind has a table of its own.
func TestKTemperatures(t *testing.T) {
	number := map[string]string{"separate": "54.2", "core": "54.3", "armour": "54.4", "conduit": "54.5", "bare": "54.6"}
	bare := map[string]float64{"copper visible": 500, "aluminium visible": 300, "steel visible": 500, "normal": 200, "fire risk": 150}
	for _, r := range data.rows["k"].list {
		kind, insulation := r.text["conductor"], r.text["insulation"]
		var operating float64
		fmt.Sscan(strings.TrimLeft(insulation, "abcdefghijklmnopqrstuvwxyz "), &operating)
		first, last := 30.0, 160.0
		switch {
		case strings.Contains(insulation, "thermosetting"):
			last = 250
		case strings.Contains(insulation, "large"):
			last = 140
		}
		switch kind {
		case "core":
			first = operating
		case "armour":
			first, last = operating-10, 200
		case "conduit":
			first = map[string]float64{"thermoplastic 70": 50, "thermoplastic 90": 60, "thermosetting 90": 60}[insulation]
		case "bare":
			if last = bare[insulation]; last == 0 {
				last = bare[r.text["material"]+" "+insulation]
			}
		}
		if r.text["table"] != number[kind] || r.number["initial"] != first || r.number["final"] != last {
			t.Errorf("%v %v: from %v to %v in Table %s", r.text, r.number, first, last, number[kind])
		}
	}
}

// The bands of Table 41.1 join, and end at the nominal voltages; those of Table 54.8
// end at sizes that are made, and more neutral never needs less bonding.
func TestBandsJoin(t *testing.T) {
	list := data.rows["disconnection"].list
	ends := []float64{50, 120, 230, 400, 1000}
	for i, r := range list {
		if r.number["volts_over"] != ends[i] || r.number["volts_to"] != ends[i+1] {
			t.Errorf("band %d is %v", i+1, r.number)
		}
		if i > 0 && (r.number["final_tn"] >= list[i-1].number["final_tn"] || r.number["final_tt"] >= list[i-1].number["final_tt"]) || r.number["final_tt"] >= r.number["final_tn"] || r.number["other_tt"] >= r.number["other_tn"] {
			t.Errorf("times of band %d: %v", i+1, r.number)
		}
	}
	before := row{number: map[string]float64{}}
	bonds := data.rows["54.8"].list
	for i, r := range bonds {
		if i < len(bonds)-1 && !slices.Contains(sizes228, r.number["neutral_to"]) || i == len(bonds)-1 && r.number["neutral_to"] != 1e5 || !slices.Contains(sizes228, r.number["size"]) ||
			r.number["neutral_to"] <= before.number["neutral_to"] || r.number["size"] <= before.number["size"] {
			t.Errorf("Table 54.8: %v after %v", r.number, before.number)
		}
		before = r
	}
}

// Devices are of ratings that are made, and times are those of Table 41.1.
func TestRatingsAreMade(t *testing.T) {
	made := map[string][]float64{
		"BS 88-2": {2, 4, 6, 10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200}, "BS 88-3": {5, 16, 20, 32, 45, 63, 80, 100},
		"BS 3036": {5, 15, 20, 30, 45, 60, 100}, "BS 1361": {5, 15, 20, 30, 45, 60, 80, 100}, "BS 1362": {3, 13},
		"B": {3, 6, 10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125}, "C": {6, 10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125}, "D": {6, 10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125},
	}
	for _, table := range []string{"41.2", "41.3", "41.4", "bs1361", "fuses"} {
		for _, r := range data.rows[table].list {
			kind := r.text["standard"] + r.text["type"]
			if table == "bs1361" {
				kind = "BS 1361"
			}
			if !slices.Contains(made[kind], r.number["rating"]) {
				t.Errorf("table %s: %s of %v A is not made", table, kind, r.number["rating"])
			}
			if s, ok := r.number["seconds"]; ok && s != 0.4 && s != 5 {
				t.Errorf("table %s: %v s", table, s)
			}
		}
	}
	for _, r := range data.rows["41.5"].list {
		if !slices.Contains([]float64{30, 100, 300, 500}, r.number["milliamps"]) {
			t.Errorf("%v mA", r.number)
		}
	}
}

// Energy limiting class 3 is given for devices to 16 and to 32 A, at fault currents of
// 3, 6 and 10 kA, in whole thousands: more current and a greater device let more pass,
// and type C more than type B.
func TestEnergyRises(t *testing.T) {
	at := func(kind string, rating, kA float64) float64 {
		r, _ := find("energy", kind, rating, kA)
		return r.number["energy"]
	}
	for _, r := range data.rows["energy"].list {
		n := r.number
		if n["rating"] != 16 && n["rating"] != 32 || n["kiloamps"] != 3 && n["kiloamps"] != 6 && n["kiloamps"] != 10 || math.Mod(n["energy"], 1000) != 0 {
			t.Errorf("%v %v", r.text, n)
		}
		for _, less := range []float64{at(r.text["type"], n["rating"]/2, n["kiloamps"]), at(r.text["type"], n["rating"], map[float64]float64{6: 3, 10: 6}[n["kiloamps"]]), map[string]float64{"C": at("B", n["rating"], n["kiloamps"])}[r.text["type"]]} {
			if less >= n["energy"] {
				t.Errorf("%v %v is not above %v", r.text, n, less)
			}
		}
	}
}

// Armour of more cores round the same conductor is wider and has less resistance, and
// so has that round larger ones.
func TestArmourFalls(t *testing.T) {
	sizes := []float64{1.5, 2.5, 4, 6}
	for _, r := range data.rows["armour"].list {
		n := r.number
		if !slices.Contains(sizes, n["size"]) || n["cores"] != 2 && n["cores"] != 3 && n["cores"] != 4 {
			t.Errorf("%v", n)
		}
		if fewer, ok := find("armour", n["cores"]-1, n["size"]); ok && fewer.number["ohm_per_km"] <= n["ohm_per_km"] {
			t.Errorf("%v beside %v", n, fewer.number)
		}
		if i := slices.Index(sizes, n["size"]); i > 0 {
			if smaller, _ := find("armour", n["cores"], sizes[i-1]); smaller.number["ohm_per_km"] <= n["ohm_per_km"] {
				t.Errorf("%v beside %v", n, smaller.number)
			}
		}
	}
}

// BS 3871: where one type ends the next begins.
func TestTypesOfBS3871Join(t *testing.T) {
	for i, kind := range []string{"1", "2", "3", "4"} {
		r, _ := find("breakers", kind)
		if r.number["within_5"] != r.number["upper"] || r.number["upper"] <= r.number["lower"] {
			t.Errorf("type %s: %v", kind, r.number)
		}
		if i > 0 {
			before, _ := find("breakers", fmt.Sprint(i))
			if before.number["upper"] != r.number["lower"] {
				t.Errorf("type %s begins at %v, type %d ends at %v", kind, r.number["lower"], i, before.number["upper"])
			}
		}
	}
	z, _, err := ZsMax(board.Device{Standard: board.MCBBefore, Type: "2", Rating: 30}, 230, 0.4)
	if err != nil || math.Abs(z-218.5/210) > 1e-9 {
		t.Errorf("%v %v", z, err)
	}
}
