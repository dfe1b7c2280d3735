// Package words puts a job into print: its places and tests, quantities, the events of
// its record, and numbers. What is said aloud is in reading (Spoken), board.Slot.Spoken
// and talk.
package words

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/english"
	"waycall/internal/reading"
)

// YesNo is yes or no.
func YesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// Known is a number, or nothing when it is 0 for unknown.
func Known(x float64) string {
	if x == 0 {
		return ""
	}
	return Number(x)
}

// Sentence is a reason as a sentence, or says that there is none.
func Sentence(s string) string {
	return cmp.Or(english.Sentence(s), "No reason is recorded.")
}

// OrNone is a source, or that none is recorded.
func OrNone(source string) string {
	if source == "" {
		return "no source is recorded"
	}
	return source
}

// Join joins what is not "".
func Join(between string, parts ...string) string {
	some := slices.DeleteFunc(slices.Clone(parts), func(s string) bool { return s == "" })
	return strings.Join(some, between)
}

// Loop is a limit of loop impedance to the two places of the tables.
func Loop(ohm float64) string {
	if ohm >= 100 {
		return strconv.FormatFloat(ohm, 'f', 0, 64)
	}
	return strconv.FormatFloat(ohm, 'f', 2, 64)
}

// Unit is a unit, or a figure with its unit, with the sign that a reader expects: "MΩ"
// for "Mohm", ">999 MΩ" for ">999 Mohm".
func Unit(text string) string {
	if before, ok := strings.CutSuffix(text, "ohm"); ok {
		return before + "Ω"
	}
	return text
}

// Quantity is a reading with its unit: ">999 MΩ", "correct".
func Quantity(q reading.Quantity) string { return Unit(q.String()) }

// Number writes a number with no more decimal places than it needs.
func Number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
