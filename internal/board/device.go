package board

import (
	"fmt"
	"slices"
	"strings"

	"waycall/internal/printable"
	"waycall/internal/waymark"
)

// Standards of protective devices and switches that are known by what they are
// made for. Others are taken as they are written, and nothing is reckoned from
// them.
const (
	MCB              = "BS EN 60898"   // miniature circuit-breaker, type B, C or D
	RCBO             = "BS EN 61009"   // the same with a residual current part
	RCCB             = "BS EN 61008"   // residual current device without overcurrent part: a main switch
	FuseBS88         = "BS 88-2"       // bolted or clip-in fuse, gG
	FuseBS88Domestic = "BS 88-3"       // cartridge fuse for consumer units
	FuseBS1361       = "BS 1361"       // cartridge fuse before BS 88-3
	FuseBS3036       = "BS 3036"       // rewirable fuse
	FuseBS1362       = "BS 1362"       // cartridge fuse of plugs and fused connection units
	MCBBefore        = "BS 3871"       // miniature circuit-breaker before BS EN 60898, type 1, 2, 3 or 4, or B, C or D
	CircuitBreaker   = "BS EN 60947-2" // circuit-breaker with its own magnetic setting
	SwitchIsolator   = "BS EN 60947-3" // switch-disconnector: a main switch
)

var standards = []string{MCB, RCBO, RCCB, FuseBS88, FuseBS88Domestic, FuseBS1361, FuseBS3036, FuseBS1362, MCBBefore, CircuitBreaker, SwitchIsolator}

// curves are the types of a standard's devices, and whether one must be given.
// From memory of each standard.
var curves = map[string]struct {
	types []string
	must  bool
}{
	MCB: {[]string{"B", "C", "D"}, true}, RCBO: {[]string{"B", "C", "D"}, true},
	CircuitBreaker: {[]string{"B", "C", "D"}, false}, FuseBS88: {[]string{"gG", "gM"}, false},
	FuseBS88Domestic: {[]string{"C"}, false}, FuseBS1361: {[]string{"1", "2", "I", "II"}, false},
	MCBBefore:  {[]string{"1", "2", "3", "4", "B", "C", "D"}, true},
	FuseBS3036: {}, FuseBS1362: {}, RCCB: {}, SwitchIsolator: {},
}

// ratings are the rated currents in ampere that devices of a standard are made
// for, from memory: preferred values of BS EN 60898-1, BS EN 61009-1 and BS EN
// 61008-1, of IEC 60269-1 for BS 88-2 (with the 35 A of BS 88), and the ratings
// of BS 88-3, BS 1361 and BS 3036. That miniature circuit-breakers of 1 to 5 A,
// 15, 45 and 70 A, BS 88-3 fuses of 6 to 50 A beside those of BS 7671 Table 41.4
// and BS 1361 and BS 3036 fuses of 10 A are met as well is common practice, no
// published source, and so are the ratings of BS 1362 and BS 3871. A standard that is not listed is taken with any rating.
var ratings = map[string][]float64{
	MCB:              {1, 2, 3, 4, 5, 6, 8, 10, 13, 15, 16, 20, 25, 32, 40, 45, 50, 63, 70, 80, 100, 125},
	RCBO:             {1, 2, 3, 4, 5, 6, 8, 10, 13, 15, 16, 20, 25, 32, 40, 45, 50, 63, 70, 80, 100, 125},
	RCCB:             {10, 13, 16, 20, 25, 32, 40, 63, 80, 100, 125},
	FuseBS88:         {2, 4, 6, 8, 10, 12, 16, 20, 25, 32, 35, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250},
	FuseBS88Domestic: {5, 6, 10, 16, 20, 25, 32, 40, 45, 50, 63, 80, 100},
	FuseBS1361:       {5, 10, 15, 20, 30, 45, 60, 80, 100},
	FuseBS3036:       {5, 10, 15, 20, 30, 45, 60, 100},
	FuseBS1362:       {1, 2, 3, 5, 7, 10, 13},
	MCBBefore:        {1, 2, 3, 4, 5, 6, 10, 15, 16, 20, 25, 30, 32, 40, 45, 50, 60, 63, 80, 100},
}

// rcdRatings are rated residual operating currents in mA: preferred values of
// IEC 60755, from memory, with the 20 and 200 mA that are also met.
var rcdRatings = []float64{5, 6, 10, 20, 30, 100, 200, 300, 500, 1000, 2000, 3000, 5000, 10000}

// Family returns which of the standards above the device is made to, its parts
// and editions (BS EN 60898-1, BS 88-2:2013) among them, or "" for another.
func (v Device) Family() string {
	for _, s := range standards {
		if rest, ok := strings.CutPrefix(v.Standard, s); ok && (rest == "" || strings.ContainsRune("-:. /", rune(rest[0]))) {
			return s
		}
	}
	return ""
}

// device checks the protective device of a way. It may be left out on a spare
// way, not otherwise.
func (d *decoder) device(v *Device, path string) {
	d.anyDevice(v, path)
	switch family := v.Family(); family {
	case RCCB, SwitchIsolator:
		d.bad(path+".standard", fmt.Sprintf("a device to %s does not break an overcurrent, so it cannot protect a way", family), "give the way's own fuse or circuit-breaker, and this one as main or as the rcd of the way")
	}
}

// mainSwitch checks the main switch, which may be unknown.
func (d *decoder) mainSwitch(v *Device, path string) {
	if *v == (Device{}) && d.at[path] == nil {
		return
	}
	d.anyDevice(v, path)
	if v.RCD != nil && v.RCD.Group != "" {
		d.bad(path+".rcd.group", "the main switch is described as one of a group", "give the group to the ways that share a device")
	}
	if v.Family() == RCCB && v.RCD == nil {
		d.bad(path, "the main switch is a residual current device but has no rcd", "add rcd with its rated current and type")
	}
}

func (d *decoder) anyDevice(v *Device, path string) {
	family := v.Family()
	if d.line(path+".standard", v.Standard, 40) {
		d.curve(v, family, path)
	}
	if d.number(path+".rating", v.Rating, 0.5, 1250, "A") && ratings[family] != nil && !slices.Contains(ratings[family], v.Rating) {
		d.bad(path+".rating", fmt.Sprintf("no device to %s has a rating of %v A", family, v.Rating), "read it off the device again")
	}
	d.unknownOr(path+".breaking", v.Breaking, 0.5, 200, "kA, or leave it out when unknown")
	if v.BackedUp != 0 && d.within(path+".backed_up", v.BackedUp, 0.5, 200, "kA, or leave it out when unknown") && v.BackedUp < v.Breaking {
		d.bad(path+".backed_up", fmt.Sprintf("with back-up it breaks %v kA, less than the %v kA that it breaks alone", v.BackedUp, v.Breaking), "correct backed_up or breaking")
	}
	if v.Trip != 0 {
		switch {
		case family != CircuitBreaker:
			d.bad(path+".trip", "a trip setting is given for a device that has none to set", "give trip for BS EN 60947-2 only; the type of other devices says where they trip")
		case d.number(path+".trip", v.Trip, 1, 50000, "A: the magnetic setting") && v.Trip <= v.Rating:
			d.bad(path+".trip", fmt.Sprintf("the magnetic setting of %v A is not above the rating of %v A", v.Trip, v.Rating), "give the setting in ampere, not as a multiple of the rating")
		}
	}
	if v.RCD != nil {
		d.rcd(v, family, path+".rcd")
	} else if family == RCBO {
		d.bad(path, "a device to "+RCBO+" has a residual current part but no rcd is given", "add rcd with its rated current and type")
	}
}

func (d *decoder) curve(v *Device, family, path string) {
	c, known := curves[family]
	switch {
	case !known:
		if near := nearStandard(v.Standard); near != "" {
			d.bad(path+".standard", fmt.Sprintf("%q is nearly %s", printable.Cut(v.Standard, 40), near), "write "+near+" if that is meant")
		} else if v.Type != "" {
			d.line(path+".type", v.Type, 8)
		}
	case v.Type == "" && !c.must:
	case len(c.types) == 0:
		d.bad(path+".type", fmt.Sprintf("device type is %q, but devices to %s have none", printable.Cut(v.Type, 40), family), "remove the type or correct the standard")
	case !slices.Contains(c.types, v.Type):
		d.bad(path+".type", fmt.Sprintf("device type is %q", printable.Cut(v.Type, 40)), "write "+choice(c.types)+" for "+v.Standard)
	}
}

// nearStandard finds the standard that was meant where only case, blanks,
// hyphens or points differ. A wrong figure cannot be told from another standard.
func nearStandard(s string) string {
	plain := func(s string) string {
		return strings.NewReplacer(" ", "", "-", "", ".", "").Replace(strings.ToUpper(s))
	}
	for _, known := range standards {
		if plain(s) == plain(known) {
			return known
		}
	}
	return ""
}

func (d *decoder) rcd(v *Device, family, path string) {
	r := v.RCD
	if d.number(path+".rated", r.Rated, 5, 10000, "mA, such as 30") && !slices.Contains(rcdRatings, r.Rated) {
		d.bad(path+".rated", fmt.Sprintf("no residual current device is rated %v mA", r.Rated), "read it off the device again")
	}
	if d.given(path+".type", r.Type) && !oneOf(r.Type, "AC", "A", "F", "B") {
		d.bad(path+".type", fmt.Sprintf("RCD type is %q", printable.Cut(r.Type, 40)), "write AC, A, F or B, and delayed: true for an S type")
	}
	// S types are made above 30 mA: IEC 61008-1 and 61009-1, from memory.
	if r.Delayed && r.Rated > 0 && r.Rated <= 30 {
		d.bad(path+".delayed", fmt.Sprintf("an S type of %v mA is not made", r.Rated), "correct rated or delayed")
	}
	if r.Standard != "" && d.line(path+".standard", r.Standard, 40) && family == RCBO && (Device{Standard: r.Standard}).Family() != RCBO {
		d.bad(path+".standard", "the residual current part of a device to "+RCBO+" is given another standard", "remove one of the two standards")
	}
	if r.Group != "" && d.line(path+".group", r.Group, 20) && family == RCBO {
		d.bad(path+".group", "a device to "+RCBO+" has its own residual current part but is in a group", "remove the group or correct the standard")
	}
}

// groups checks that the ways of one group describe one and the same device,
// which feeds one neutral bar.
func (d *decoder) groups(b *Board, board string) {
	first := map[string]*Way{}
	for i := range b.Ways {
		w := &b.Ways[i]
		if w.Device.RCD == nil || w.Device.RCD.Group == "" {
			continue
		}
		path := fmt.Sprintf("%s.ways[%d]", board, i)
		f, seen := first[w.Device.RCD.Group]
		switch {
		case !seen:
			first[w.Device.RCD.Group] = w
		case *f.Device.RCD != *w.Device.RCD:
			d.bad(path+".device.rcd", fmt.Sprintf("ways %s and %s share the residual current device of group %s but describe two", waymark.Print(f.Number), waymark.Print(w.Number), printable.Cut(w.Device.RCD.Group, 40)), "make the two alike or give them different groups")
		case !f.Spare && !w.Spare && !f.NoNeutral && !w.NoNeutral && f.NeutralBar != w.NeutralBar:
			d.bad(path+".neutral_bar", fmt.Sprintf("ways %s and %s share the residual current device of group %s but are on different neutral bars", waymark.Print(f.Number), waymark.Print(w.Number), printable.Cut(w.Device.RCD.Group, 40)), "correct the bar or the group")
		}
	}
}

func choice(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " or " + list[len(list)-1]
}
