// This file puts places into words: a board, a way, a test at its position. What is said
// aloud of a test is board.Slot.Spoken.

package words

import (
	"fmt"
	"strconv"
	"strings"

	"waycall/internal/board"
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

// Ways are several ways as they are marked: "way 3", "ways 1, 1L2, 5".
func Ways(ways []int) string {
	all := make([]string, len(ways))
	for i, w := range ways {
		all[i] = waymark.Print(w)
	}
	return english.Plural(len(ways), "way ", "ways ") + strings.Join(all, ", ")
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

// At is a way, or with way 0 the board itself, at the head of a sentence: "Way 3", "The
// board itself"; of several boards "Board 2, way 3", "Board 2 itself".
func At(number, way int, several bool) string {
	switch {
	case several && way == 0:
		return fmt.Sprintf("Board %d itself", number)
	case several:
		return fmt.Sprintf("Board %d, way %s", number, waymark.Print(way))
	case way == 0:
		return "The board itself"
	}
	return "Way " + waymark.Print(way)
}

// FedFrom is what feeds a board, within a sentence: "board 1, way 7".
func FedFrom(number, way int) string { return english.Lower(At(number, way, true)) }

// OnBoard is what is said of a board as a whole: "Board 2, preparation", and without the
// board where there is only one.
func OnBoard(what string, number int, several bool) string {
	if !several {
		return what
	}
	return fmt.Sprintf("Board %d, %s", number, english.Lower(what))
}

// Slot is a test by its letters, with its position, as documents and lists have it: "LN,
// switch position 2", "bonding, service 1".
func Slot(slot record.Slot) string { return with(string(slot.Test), slot, board.Job{}) }

// Place is a test on its way, and on its board where there are several.
func Place(slot record.Slot, several bool) string {
	return At(slot.Board, slot.Way, several) + ", " + Slot(slot)
}

// Where is a place of a job as a page names it: as Place, with the name of a test that has
// no letters and that of a bonded service. Without a test it is the way.
func Where(job board.Job, slot record.Slot) string {
	at := At(slot.Board, slot.Way, len(job.Boards) > 1)
	if slot.Test == "" {
		return at
	}
	return at + ", " + with(Short(slot.Test), slot, job)
}

// Switched is a way, however named, with its switch position where it has one: "Way 3,
// switch position 2".
func Switched(way string, position int) string {
	return with(way, board.Slot{Position: position}, board.Job{})
}

// with is a test, or a way, with which of several readings is meant.
func with(test string, slot record.Slot, job board.Job) string {
	if which := slot.Which(job, strconv.Itoa); which != "" {
		return test + ", " + which
	}
	return test
}
