// Package waymark says which way of a board is meant, as the board is marked: 3, or on
// a three-phase board 1L1, 1L2 and 1L3 for the three single-phase ways that stand
// beside each other in one place of it (common practice, no published source).
//
// A way is kept as one whole number, its identity in the record: 1 to 99 for a place
// that is one way, and 100 more for each line for a way of a place that is divided, so
// that 1L1 is 101, 1L2 201 and 1L3 301. Way 0 is the board itself. These numbers are
// stored and never change.
package waymark

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"waycall/internal/reading"
)

const (
	// MaxPlace is the highest place of a board.
	MaxPlace = 99
	// Lines is how many ways a divided place has.
	Lines = 3
	each  = 100
)

// Of returns the way at a place, 1 to 99, on a line, 1 to 3, or with 0 the way that is
// the whole place.
func Of(place, line int) int { return line*each + place }

// Known reports whether there can be such a way: 1 to 99, 1L1 to 99L3.
func Known(way int) bool {
	return way > 0 && Place(way) > 0 && Line(way) <= Lines
}

// Place returns where on the board the way is, 1 to 99.
func Place(way int) int { return way % each }

// Line returns the line that the way is marked with, 1 to 3, or 0.
func Line(way int) int { return way / each }

// Phase returns that line as "L2", or nothing.
func Phase(way int) string {
	if Line(way) == 0 {
		return ""
	}
	return "L" + strconv.Itoa(Line(way))
}

// Print writes the way as it is marked: "3", "1L2".
func Print(way int) string { return strconv.Itoa(Place(way)) + Phase(way) }

// Aloud says the way as it is called: "three", "one L two".
func Aloud(way int) string {
	if Line(way) == 0 {
		return reading.Cardinal(way)
	}
	return reading.Cardinal(Place(way)) + " L " + reading.Cardinal(Line(way))
}

// Compare orders ways as they stand on a board: place by place, and line by line within
// one.
func Compare(a, b int) int {
	return cmp.Or(cmp.Compare(Place(a), Place(b)), cmp.Compare(Line(a), Line(b)))
}

// Clash reports whether two ways are at one place of which one of them is the whole,
// so that there cannot be both.
func Clash(a, b int) bool {
	return a != b && Place(a) == Place(b) && (Line(a) == 0 || Line(b) == 0)
}

// Parse reads a way as it is marked, "3" or "1L2", and returns an error that says what
// was written when it is neither. It is written by a person: nothing else is taken.
func Parse(text string) (int, error) {
	place, line, divided := strings.Cut(text, "L")
	n, ok := figures(place, 2)
	if !ok || n == 0 {
		return 0, fmt.Errorf("%.40q is no way of a board", text)
	}
	if !divided {
		return n, nil
	}
	l, ok := figures(line, 1)
	if !ok || l == 0 || l > Lines {
		return 0, fmt.Errorf("%.40q names no line of a board", text)
	}
	return Of(n, l), nil
}

// figures reads up to most figures and nothing else.
func figures(text string, most int) (int, bool) {
	if text == "" || len(text) > most || strings.Trim(text, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.Atoi(text)
	return n, err == nil
}
