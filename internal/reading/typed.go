// The one rule for a figure that a person typed: in review, in a file of readings and
// at set-up. What could be meant in two ways is refused with what to type instead,
// because a figure that is quietly changed is a false record.

package reading

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"waycall/internal/advice"
)

// Most digits of a typed figure on either side of its point: what a Quantity can have.
const (
	maxWhole  = 5
	maxPlaces = 4
)

// overRange are the words for "past the end of the scale", in small letters: what
// instruments show, and what people write for it.
var overRange = []string{"ol", "o.l", "o.l.", "over range", "over-range", "overrange", "over scale"}

// unitsTyped are the ways in which a unit may be typed after a figure. Case counts:
// mohm is a thousandth of an ohm and Mohm a million of them.
var unitsTyped = map[Unit][]string{
	Megohm:   {"Mohm", "MΩ", "M\u2126", "megohm", "megohms"},
	Ohm:      {"ohm", "ohms", "Ω", "\u2126"},
	Millisec: {"ms"},
	Kiloamp:  {"kA"},
	Milliamp: {"mA"},
	Volt:     {"V"},
}

// ParseTyped reads a figure as a person typed it for a quantity in unit. It takes
//
//	0.47  206  0  0.00   one to five digits 0 to 9, then perhaps a point and one to four
//	>999  < 0.05         the same, above nought, behind the sign of a bound
//	0.47 ohm, 0.47 Ω     the same with the unit behind it, and no other unit
//	OL, over range       where end, the end of the scale in unit, is known; 0 when it is not
//	correct, wrong       for NoUnit, and nothing else for that
//
// with space before, behind, after a sign and before a unit. Nothing is guessed: a
// comma, space between digits, a second point, no digit on one side of the point, a
// nought in front of a whole number, >0, <0, powers and the digits of other scripts
// are errors, each of which says what to type instead after its first semicolon.
func ParseTyped(text string, unit Unit, end float64) (Quantity, error) {
	s := strings.TrimSpace(text)
	if unit == NoUnit {
		for _, q := range []Quantity{Correct, Wrong} {
			if s == q.judgement() {
				return q, nil
			}
		}
		return Quantity{}, advice.Errorf("type correct or wrong", "%s is neither correct nor wrong", shown(s))
	}
	for _, word := range overRange {
		if strings.EqualFold(s, word) {
			return pastEnd(s, unit, end)
		}
	}
	s, err := withoutUnit(s, unit)
	if err != nil {
		return Quantity{}, err
	}
	bound := ""
	if strings.HasPrefix(s, ">") || strings.HasPrefix(s, "<") {
		bound, s = s[:1], strings.TrimLeft(s[1:], " ")
	}
	if _, err := ParseFigure(s); err != nil {
		return Quantity{}, err
	}
	q, err := ParseQuantity(bound+s, unit)
	switch {
	case err != nil:
		return Quantity{}, err
	case q.Bound == GreaterThan && q.Value == 0:
		return Quantity{}, advice.New("greater than nought says nothing", "type > and the end of the instrument's scale, such as >999")
	case q.Bound == LessThan && q.Value == 0:
		return Quantity{}, advice.New("nothing is less than nought", "type < and the smallest figure that the instrument shows, such as <0.01")
	}
	return q, nil
}

// ParseFigure reads the digits of a typed figure, without sign or unit: one to five
// digits, then perhaps a point and one to four. Errors as of ParseTyped.
func ParseFigure(s string) (float64, error) {
	whole, places, point := strings.Cut(s, ".")
	digits := func(s string) bool { return strings.Trim(s, "0123456789") == "" }
	wrong := func(what, do string) (float64, error) { return 0, advice.New(shown(s)+" "+what, do) }
	switch {
	case s == "":
		return 0, advice.New("there is no figure", "type one such as 0.47")
	case strings.HasPrefix(s, "-") || strings.HasPrefix(s, "\u2212"):
		return wrong("is negative, which no reading is", "read it off the instrument again, and type it without a sign")
	case strings.Contains(s, ","):
		return wrong("has a comma, which may be a point or stand between thousands", either(s, ","))
	case strings.ContainsAny(s, " \t\u00a0\u2009\u202f") && digits(strings.Join(strings.Fields(s), "")):
		return wrong("has a space in it, which may be a point or nothing", either(s, " \t\u00a0\u2009\u202f"))
	case point && strings.Contains(places, "."):
		return wrong("has more than one point", "type one point only, such as 1000.0")
	case !digits(whole + places):
		return wrong("is not a figure", "type digits 0 to 9 and at most one point, such as 0.47")
	case whole == "" && point:
		return wrong("has no digit before its point", "type the nought as well, such as 0.47")
	case places == "" && point:
		return wrong("has no digit after its point", "type 5 or 5.0")
	case len(whole) > 1 && whole[0] == '0':
		return wrong("begins with a nought that does not belong there", "type it without, or with a point after the nought")
	case len(whole) > maxWhole:
		return wrong(fmt.Sprintf("is above %d", MaxValue), "check the unit, and type the figure as the instrument shows it")
	case len(places) > maxPlaces:
		return wrong(fmt.Sprintf("has %d decimal places", len(places)), "type it with 0 to 4 of them, as the instrument shows it")
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil { // digits alone, so it cannot happen
		return wrong("is not a figure", "type digits 0 to 9 and at most one point, such as 0.47")
	}
	return x, nil
}

// either says what may have been meant by a figure with one of marks in it.
func either(s, marks string) string {
	var all []string
	for _, mark := range []string{"", "."} {
		plain := strings.Join(strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(marks, r) }), mark)
		if strings.ContainsAny(plain, marks+",") {
			continue
		}
		if _, err := ParseFigure(plain); err == nil {
			all = append(all, plain)
		}
	}
	if len(all) == 0 {
		return "type digits 0 to 9 and at most one point, such as 0.47"
	}
	return "type " + strings.Join(all, " or ") + ", as the instrument shows it"
}

// pastEnd is what an instrument shows past the end of its scale.
func pastEnd(s string, unit Unit, end float64) (Quantity, error) {
	if end <= 0 {
		return Quantity{}, advice.Errorf("type > and the end of the scale, such as >999", "where the scale ends is not known here, so %s says no figure", shown(s))
	}
	return ParseQuantity(string(GreaterThan)+strconv.FormatFloat(end, 'f', -1, 64), unit)
}

// withoutUnit takes the unit off the end of s, and refuses another one.
func withoutUnit(s string, unit Unit) (string, error) {
	at := strings.LastIndexAny(s, "0123456789.") + 1
	tail := strings.TrimSpace(s[at:])
	if at == 0 || tail == "" {
		return s, nil
	}
	for _, u := range unitsTyped[unit] {
		if tail == u {
			return strings.TrimRight(s[:at], " "), nil
		}
	}
	for _, all := range unitsTyped {
		for _, u := range all {
			if strings.EqualFold(tail, u) || strings.EqualFold(tail, "k"+u) {
				return "", advice.Errorf("type the figure in "+string(unit), "%s is not in %s", shown(s), unit)
			}
		}
	}
	if tail == "A" || tail == "s" || tail == "amps" {
		return "", advice.Errorf("type the figure in "+string(unit), "%s is not in %s", shown(s), unit)
	}
	return s, nil
}

// shown is hostile text in quotes, shortened.
func shown(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most]) + "..."
	}
	return strconv.Quote(s)
}
