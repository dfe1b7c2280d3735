// This file puts places into words: a board, a way, a test at its position.

package words

import (
	"fmt"

	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/waymark"
)

// WayName is the way in a table.
func WayName(way int) string {
	if way == 0 {
		return "board"
	}
	return waymark.Print(way)
}

// SlotTest is a test with its position, as a table has room for it.
func SlotTest(test reading.Test, position int) string {
	if position == 0 {
		return string(test)
	}
	return fmt.Sprintf("%s (%d)", test, position)
}

// OfRing reports whether the positions of a test are points of a ring.
func OfRing(t reading.Test) bool { return t == reading.RingLN || t == reading.RingLE }

// Way is a way at the head of a sentence; way 0 is the board itself.
func Way(way int) string {
	if way == 0 {
		return "The board itself"
	}
	return "Way " + waymark.Print(way)
}

// OnBoard is what stands at the head of a sentence about a place: "Board 2, way
// 3", and without the board where there is only one.
func OnBoard(what string, number int, several bool) string {
	if !several {
		return what
	}
	return fmt.Sprintf("Board %d, %s", number, english.Lower(what))
}

// Slot is a test with its position in words.
func Slot(slot record.Slot) string {
	switch {
	case slot.Position == 0:
		return string(slot.Test)
	case slot.Test == reading.Bonding:
		return fmt.Sprintf("bonding, service %d", slot.Position)
	case OfRing(slot.Test):
		return fmt.Sprintf("%s, point %d", slot.Test, slot.Position)
	}
	return fmt.Sprintf("%s, switch position %d", slot.Test, slot.Position)
}

// Place is a test on its way, and on its board where there are several.
func Place(slot record.Slot, several bool) string {
	return OnBoard(Way(slot.Way), slot.Board, several) + ", " + Slot(slot)
}
