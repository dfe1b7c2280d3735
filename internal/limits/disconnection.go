package limits

import (
	"slices"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
)

// ZsMax returns the greatest earth fault loop impedance in ohm, at operating
// temperature, at which a device operates within seconds: uo Cmin/Ia, uo in V
// line to earth. BS 7671 regulation 411.4.4 with Cmin 0.95, from
// memory.
func ZsMax(d board.Device, uo, seconds float64) (ohm float64, source string, err error) {
	if !Positive(uo) {
		return 0, "", advice.Errorf("give it line to earth, such as 230", "voltage is %v V", uo)
	}
	ia, from, err := TripCurrent(d, seconds)
	if err != nil {
		return 0, "", err
	}
	return uo * Value("cmin") / ia, SourceOf("cmin") + "; " + from, nil
}

// ZsTable returns the same as Tables 41.2 to 41.4 of BS 7671 print
// it for 230 V, from memory, for 0.4 and 5 s. A device that they do not list is
// not found.
func ZsTable(d board.Device, seconds float64) (ohm float64, source string, ok bool) {
	k, table := ratedKey{FuseStandard(d), d.Rating, seconds}, "41.2"
	switch {
	case k.kind != "" && seconds == 5:
		table = "41.4"
	case k.kind == "" && IsBreaker(d) && !strings.HasPrefix(d.Standard, "BS EN 60947-2") && !strings.HasPrefix(d.Standard, board.MCBBefore):
		k, table = ratedKey{d.Type, d.Rating, 0.4}, "41.3"
		if at5 := (ratedKey{d.Type, d.Rating, 5}); seconds >= 5 && data.loops41[at5].value != 0 {
			k = at5
		}
	case k.kind == "":
		return 0, "", false
	}
	z, ok := data.loops41[k]
	return z.value, tableOf(table, z.rests), ok
}

// DisconnectionTime returns within what a fault to earth must be cut off, in s.
// final says that the circuit is one of regulation 411.3.2.2: final, with
// socket-outlets up to 63 A or only fixed equipment up to 32 A. uo is in V, AC,
// line to earth. BS 7671 Table 41.1, 411.3.2.3 and 411.3.2.4, from
// memory.
func DisconnectionTime(e board.Earthing, uo float64, final bool) (seconds float64, source string, err error) {
	if e != board.TNS && e != board.TNCS && e != board.TT {
		return 0, "", advice.New("the earthing is not known", "give TN-S, TN-C-S or TT")
	}
	for _, r := range data.rows["disconnection"].list {
		n := r.number
		if uo > n["volts_over"] && uo <= n["volts_to"] {
			column := "other_"
			if final {
				column = "final_"
			}
			if e == board.TT {
				return n[column+"tt"], tableOf("disconnection", r.text["rests"]), nil
			}
			return n[column+"tn"], tableOf("disconnection", r.text["rests"]), nil
		}
	}
	return 0, "", advice.Errorf("give more than 50 V, line to earth", "no disconnection time for %v V", uo)
}

// times returns the disconnection times that the overcurrent device of a way may
// have to keep: two where its use is not known and decides. Where the earthing is
// TT and all extraneous-conductive-parts are bonded a final circuit has that of TN: BS 7671
// Table 41.1, the note below it, read in a public copy of the 2008 edition.
func times(b *board.Board, w *board.Way) ([]float64, error) {
	finals := []bool{true}
	switch sockets, fixed := Value("socket_rating"), Value("fixed_rating"); {
	case w.Use == board.Distribution || w.Supplies != 0 || w.Device.Rating > sockets:
		finals = []bool{false}
	case w.Device.Rating > fixed && w.Use == "":
		finals = []bool{true, false}
	case w.Device.Rating > fixed && w.Use != board.Socket:
		finals = []bool{false}
	}
	var out []float64
	for _, final := range finals {
		earthing := b.Earthing
		if final && earthing == board.TT && b.AllBonded {
			earthing = board.TNS // the note to Table 41.1, for an overcurrent device
		}
		s, _, err := DisconnectionTime(earthing, b.Voltage, final)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// MaxTime returns within what a fault to earth on a way of b must be cut off, in s, by
// the device that MaxZsOf goes by. Where what the circuit is for is not known and
// decides, it is the lesser. The error says what is not known.
func MaxTime(b *board.Board, w *board.Way) (seconds float64, source string, err error) {
	alone := *b
	if w.Device.RCD != nil || b.Main.RCD != nil {
		alone.AllBonded = false // the note to Table 41.1 is for overcurrent devices
	}
	all, err := times(&alone, w)
	if err != nil {
		return 0, "", err
	}
	_, source, err = DisconnectionTime(b.Earthing, b.Voltage, true)
	return slices.Min(all), source, err
}

// RCDZsMax returns the greatest earth fault loop impedance in ohm with an RCD of
// mA rated residual current, and the greatest RA: 50 V over that current. BS
// 7671 regulation 411.5.3 and Table 41.5, from memory.
func RCDZsMax(mA float64) (ohm float64, source string, err error) {
	if !Positive(mA) {
		return 0, "", advice.New("the rated residual current is not known", "read it off the device")
	}
	return Value("touch") / (mA / 1000), SourceOf("touch"), nil
}

// ZsLimit returns what the Zs of a way of b may be at operating temperature in ohm, by its
// overcurrent device, with the disconnection times in s that it follows from: at 230 V as
// the tables print it, otherwise reckoned. It is an interval where what the circuit is for
// is not known and decides. The error says what is not known.
func ZsLimit(b *board.Board, w *board.Way) (lim Interval, seconds []float64, source string, err error) {
	seconds, err = times(b, w)
	if err != nil {
		return lim, nil, "", err
	}
	for i, s := range seconds {
		z, from, err := ZsMax(w.Device, b.Voltage, s)
		if err != nil {
			return lim, nil, "", err
		}
		if b.Voltage == 230 {
			if table, where, ok := ZsTable(w.Device, s); ok {
				z, from = table, where
			}
		}
		if i == 0 {
			lim, source = Exact(z), from
		} else {
			lim = lim.hull(Exact(z))
		}
	}
	return lim, seconds, source, nil
}
