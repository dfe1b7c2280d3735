package limits

import (
	"fmt"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/printable"
)

// described names a device as in a sentence.
func described(d board.Device) string {
	if d.Standard == "" {
		return "the device"
	}
	return strings.Join(strings.Fields(fmt.Sprintf("%s %s %v A", printable.Cut(d.Standard, 40), printable.Cut(d.Type, 40), d.Rating)), " ")
}

// IsBreaker reports whether a device is a circuit-breaker, or has one in it as an RCBO
// has, by the standard that it is made to.
func IsBreaker(d board.Device) bool {
	return strings.HasPrefix(d.Standard, "BS EN 60898") || strings.HasPrefix(d.Standard, "BS EN 61009") || strings.HasPrefix(d.Standard, board.MCBBefore) || strings.HasPrefix(d.Standard, "BS EN 60947-2")
}

// TripCurrent returns Ia, the current in A that makes a device operate within
// seconds, with its source. A circuit-breaker to BS EN 60898 or 61009 operates
// at 5, 10 or 20 times its rating by type, type D within 5 s at 10 times; one to
// BS 3871 at 4, 7, 10 or 50 times; one to BS EN 60947-2 at its magnetic
// setting and the 20 % that it may be out; a fuse by its curve. What is not
// tabled is an error.
func TripCurrent(d board.Device, seconds float64) (amps float64, source string, err error) {
	switch {
	case d.Standard == "":
		return 0, "", advice.New("the protective device is not known", "read it off the device")
	case !Positive(d.Rating):
		return 0, "", advice.New("the rating of the device is not known", "read it off the device")
	case strings.HasPrefix(d.Standard, "BS EN 60947-2"):
		if !Positive(d.Trip) {
			return 0, "", advice.New("the magnetic setting of the device is not known", "give trip in A")
		}
		return d.Trip * (1 + Value("release_tolerance")), SourceOf("release_tolerance"), nil
	case IsBreaker(d):
		r, ok := find("breakers", d.Type)
		if !ok {
			return 0, "", advice.New("the type of the circuit-breaker is not known", "give B, C or D, or 1 to 4 of BS 3871")
		}
		if seconds >= 5 {
			return d.Rating * r.number["within_5"], tableOf("breakers", r.text["rests"]), nil
		}
		return d.Rating * r.number["upper"], tableOf("breakers", r.text["rests"]), nil
	}
	if standard := FuseStandard(d); standard != "" {
		if a, ok := data.fuses[ratedKey{standard, d.Rating, seconds}]; ok {
			return a.value, tableOf("fuses", a.rests), nil
		}
	}
	return 0, "", advice.Errorf("see its time-current curve", "what makes %s operate within %v s is not known", described(d), seconds)
}

// FuseStandard returns the standard of a fuse without its part of system or edition, such
// as "BS 3036", or "" for what is no fuse that the tables know.
func FuseStandard(d board.Device) string {
	for _, s := range [...]string{"BS 88-2", "BS 88-3", "BS 3036", "BS 1361", "BS 1362"} {
		if strings.HasPrefix(d.Standard, s) {
			return s
		}
	}
	return ""
}
