package limits

import (
	"math"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/printable"
)

// AtTemperature returns the resistance at to degrees C of a conductor that has
// r ohm at from degrees C: r (beta + to)/(beta + from), with beta 234.5 for
// copper and 228 for aluminium. IEC 60228 Annex B, read in a public print of its
// Russian adoption, and IEC 60364-5-54 Table A54.1, from memory. From -50 to 250 degrees C.
func AtTemperature(material board.Material, r, from, to float64) (float64, error) {
	m, ok := find("materials", string(OrCopper(material)))
	switch {
	case !ok:
		return 0, advice.Errorf("write copper or aluminium", "no temperature coefficient is known for %q", printable.Cut(string(material), 40))
	case !(r >= 0 && r <= 1e6):
		return 0, advice.Errorf("give 0 to 1000000", "resistance is %v ohm", r)
	case !(from >= -50 && from <= 250 && to >= -50 && to <= 250):
		return 0, advice.Errorf("give -50 to 250", "a temperature of %v and %v degrees C cannot be", from, to)
	}
	beta := m.number["beta"]
	return r * (beta + to) / (beta + from), nil
}

// OperatingFactor returns by how much a resistance rises from t1 to t2 degrees
// C, in the form of BS 7671 Appendix 4 section 6: (230 + t2)/(230 + t1), from
// memory.
func OperatingFactor(t1, t2 float64) float64 {
	k := Value("operating_constant")
	return (k + t2) / (k + t1)
}

// OrCopper returns the material, copper where none is given.
func OrCopper(m board.Material) board.Material {
	if m == "" {
		return board.Copper
	}
	return m
}

// KTable returns k as BS 7671 Tables 54.2 to 54.6 print it. conductor is
// separate, core, armour, conduit or bare; insulation as in tables/k.csv.
func KTable(conductor, material, insulation string) (k float64, source string, err error) {
	r, ok := find("k", conductor, material, insulation)
	if !ok {
		return 0, "", advice.Errorf("see tables/k.csv", "no k is known for %s %s, %s", printable.Cut(conductor, 40), printable.Cut(material, 40), printable.Cut(insulation, 40))
	}
	return r.number["k"], cite("BS 7671 Table "+r.text["table"], r.text["rests"]), nil
}

// Adiabatic returns the least size of a protective conductor in mm2 for a fault
// of energy A2 s (I squared times t) and k: sqrt(I2 t)/k. BS 7671
// regulation 543.1.3, from memory.
func Adiabatic(energy, k float64) float64 {
	if !(energy >= 0) || !Positive(k) {
		return math.NaN()
	}
	return math.Sqrt(energy) / k
}

// MinCPC returns the size of a protective conductor in mm2 that needs no
// reckoning beside a line conductor of the same material: BS 7671
// Table 54.7, from memory.
func MinCPC(line float64) float64 {
	same := Value("cpc_same_to")
	switch {
	case line <= same:
		return line
	case line <= Value("cpc_half_from"):
		return same
	}
	return line / 2
}

// MinBonding returns the least size of a main protective bonding conductor in
// mm2 copper. Under PME conditions (TN-C-S) it follows from the neutral of the
// supply, BS 7671 Table 54.8; otherwise from half the earthing
// conductor, at least 6 and at most 25 mm2, regulation 544.1.1. From memory.
func MinBonding(pme bool, neutral, earthing float64) (size float64, source string, err error) {
	if !pme {
		if !Positive(earthing) {
			return 0, "", advice.New("the size of the earthing conductor is not known", "give it in mm2")
		}
		return min(max(earthing/2, Value("bonding_least")), Value("bonding_most")), SourceOf("bonding_least"), nil
	}
	if !Positive(neutral) {
		return 0, "", advice.New("the size of the supply neutral is not known", "give it in mm2")
	}
	size, source = math.Inf(1), ""
	for _, r := range data.rows["54.8"].list {
		if neutral <= r.number["neutral_to"] {
			if s := r.number["size"]; s < size {
				size, source = s, tableOf("54.8", r.text["rests"])
			}
		}
	}
	return size, source, nil
}

// Energy returns what a device lets through in a fault of amps ampere, at most,
// in A2 s. For a circuit-breaker above its instantaneous current it is I2 t with
// 0.1 s, or what energy limiting class 3 allows if that is less; for a fuse I2 t
// at the greatest tabled current that the fault reaches, because a fuse lets
// through less the greater the fault.
func Energy(d board.Device, amps float64) (energy float64, source string, err error) {
	none := advice.Errorf("see its time-current curve", "how long %s lets %.0f A flow is not known", described(d), amps)
	if !Positive(amps) {
		return 0, "", none
	}
	if IsBreaker(d) {
		trip, _, err := TripCurrent(d, Value("instantaneous"))
		if err != nil || amps < trip {
			return 0, "", none
		}
		energy, source = amps*amps*Value("instantaneous"), SourceOf("instantaneous")
		if strings.HasPrefix(d.Standard, "BS EN 60947") {
			return energy, source, nil
		}
		var size, ka float64
		for _, r := range data.rows["energy"].list {
			// The smallest class of rating that holds this one, then the least
			// fault current that holds this one.
			n := r.number
			if r.text["type"] != d.Type || n["rating"] < d.Rating || n["kiloamps"]*1000 < amps || size > 0 && (n["rating"] > size || n["rating"] == size && n["kiloamps"] >= ka) {
				continue
			}
			size, ka = n["rating"], n["kiloamps"]
			if n["energy"] < energy {
				energy, source = n["energy"], tableOf("energy", r.text["rests"])
			}
		}
		return energy, source, nil
	}
	best, rests := 0.0, ""
	for k, f := range data.fuses {
		if a := f.value; strings.HasPrefix(d.Standard, k.kind) && k.rating == d.Rating && amps >= a && a > best {
			best, energy, rests = a, a*a*k.seconds, f.rests
		}
	}
	if best == 0 {
		return 0, "", none
	}
	return energy, tableOf("fuses", rests), nil
}

// VoltDrop returns the drop in V along a circuit at amps ampere whose line
// conductor has r1 ohm cold, at the temperature t in degrees C: there and back,
// at operating temperature. A ring is fed from both ends, so a quarter of it
// counts. BS 7671 Appendix 4, from memory.
func VoltDrop(r1, amps, t float64, ring bool) float64 {
	if !(r1 >= 0) || !(amps >= 0) || !(t > -50 && t < 250) {
		return math.NaN()
	}
	v := 2 * r1 * amps * OperatingFactor(t, Value("operating"))
	if ring {
		v /= 4
	}
	return v
}

// VoltDropLimit returns how much may drop in V: 3 % of uo for lighting, 5 % for
// other uses, from a public supply. BS 7671 Appendix 4 Table 4Ab,
// from memory.
func VoltDropLimit(use board.Use, uo float64) float64 {
	if use == board.Lighting {
		return uo * Value("drop_lighting")
	}
	return uo * Value("drop_other")
}
