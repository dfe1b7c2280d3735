package limits

import (
	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/printable"
)

// Resistance returns the most that one conductor may have in ohm: its size in
// mm2, its length in m, at t degrees C. IEC 60228 Tables 1 and 2,
// corrected by AtTemperature. Solid and stranded conductors of one size are
// alike in it where both are made; for flexible ones see FlexibleResistance.
func Resistance(material board.Material, size, length, t float64) (float64, error) {
	per, ok := data.conductors[conductorKey{string(OrCopper(material)), 2, size}]
	if !ok {
		per, ok = data.conductors[conductorKey{string(OrCopper(material)), 1, size}]
	}
	return resistance(material, size, per, ok, length, t)
}

// FlexibleResistance is Resistance of a flexible copper conductor, class 5 of IEC
// 60228 Table 3.
func FlexibleResistance(size, length, t float64) (float64, error) {
	per, ok := data.conductors[conductorKey{string(board.Copper), 5, size}]
	return resistance(board.Copper, size, per, ok, length, t)
}

// ArmourResistance returns what the steel wire armour of a cable to BS 5467 may have
// in ohm: its cores (2 to 4) and the size of each in mm2, its length in m, at t
// degrees C. From a public table, see tables/armour.csv.
func ArmourResistance(cores int, size, length, t float64) (float64, error) {
	r, ok := find("armour", cores, size)
	switch {
	case cores == 0:
		return 0, advice.New("how many cores the cable has is not known", "give cores")
	case !ok:
		return 0, advice.Errorf("see the cable's own table", "no resistance is known for the armour of %d cores of %v mm2", cores, size)
	case !Positive(length):
		return 0, advice.New("the length is not known", "give it in m")
	}
	return AtTemperature("steel", r.number["ohm_per_km"]*length/1000, Value("room"), t)
}

func resistance(material board.Material, size, per float64, ok bool, length, t float64) (float64, error) {
	material = OrCopper(material)
	switch {
	case !Positive(size):
		return 0, advice.New("the size of the conductor is not known", "give it in mm2")
	case !ok:
		return 0, advice.Errorf("give a size of IEC 60228", "no resistance is known for %v mm2 %s", size, printable.Cut(string(material), 40))
	case !Positive(length):
		return 0, advice.New("the length is not known", "give it in m")
	}
	return AtTemperature(material, per*length/1000, Value("room"), t)
}

// CPCResistance is the resistance of the protective conductor of a way at t degrees C.
func CPCResistance(w *board.Way, t float64) (float64, error) {
	if w.CPCKind == board.Armour {
		return ArmourResistance(w.Cores, w.Line, w.Length, t)
	}
	return CoreResistance(w, w.CPC, t)
}

// CoreResistance is the resistance of a core of a way, of size mm2, at t degrees C.
func CoreResistance(w *board.Way, size, t float64) (float64, error) {
	if w.Flexible {
		return FlexibleResistance(size, w.Length, t)
	}
	return Resistance(w.Material, size, w.Length, t)
}

// ExpectedR1R2 returns what R1+R2 of a way should read at t degrees C, in ohm: of a
// ring at its points. The error says what is not known.
func ExpectedR1R2(w *board.Way, t float64) (float64, error) {
	if w.CPCKind == board.Steel {
		return 0, advice.New("the resistance of a steel enclosure is not known", "give its cpc a size if it has one")
	}
	r1, err := CoreResistance(w, w.Line, t)
	if err != nil {
		return 0, err
	}
	r2, err := CPCResistance(w, t)
	if w.Wiring == board.Ring {
		return (r1 + r2) / 4, err
	}
	return r1 + r2, err
}

// R1R2 returns the most that line and protective conductor may have in series,
// in ohm, as Resistance does for each.
func R1R2(material board.Material, line, cpc, length, t float64) (float64, error) {
	r1, err := Resistance(material, line, length, t)
	if err != nil {
		return 0, err
	}
	r2, err := Resistance(material, cpc, length, t)
	return r1 + r2, err
}

// ColdTemperature is the temperature of the conductors at the dead tests, degrees C.
func ColdTemperature(b *board.Board) float64 {
	if b.Ambient == 0 {
		return Value("room")
	}
	return b.Ambient
}

// RingRatio returns what r2 is to r1 for sizes in mm2: between the ratio of the
// sizes (2.5/1.5 is 1.67) and that of the resistances of IEC 60228 (1.63). IET
// Guidance Note 3, from memory. Sizes that are not known give false.
func RingRatio(material board.Material, line, cpc float64) (Interval, bool) {
	if !Positive(line) || !Positive(cpc) {
		return Interval{}, false
	}
	r := Exact(line / cpc)
	a, errA := Resistance(material, line, 1, Value("room"))
	b, errB := Resistance(material, cpc, 1, Value("room"))
	if errA == nil && errB == nil {
		r = r.hull(Exact(b / a))
	}
	return r, true
}

// CrossConnected returns what a point on a sound ring reads between two
// conductors of a and b ohm end to end, with the ends crossed: (a + b)/4. IET
// Guidance Note 3, from memory.
func CrossConnected(a, b Interval) Interval { return a.Plus(b).Times(0.25) }
