// This file names a place on the schedule, and says which places a job has.

package board

import (
	"fmt"

	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// Slot is one place on the schedule for one reading.
type Slot struct {
	Board int          `json:"board"` // the board's number, always given
	Way   int          `json:"way"`   // 0 is the board itself: its supply, its earthing, its main switch, all ways together
	Test  reading.Test `json:"test"`
	// Position tells readings of one test apart: 1 and 2 are the positions of
	// two-way switching; of bonding it is the service, 1 the first in
	// Board.Bonding; of the cross-connected ring readings the point, as the
	// electrician counts them. 0 where there is only one reading.
	Position int `json:"position,omitempty"`
}

// Place is the place of s as it is called: "way 3", and for the board itself "board 1".
// number says a number: waymark.Print in print, waymark.Aloud in speech.
func (s Slot) Place(number func(int) string) string {
	if s.Way == 0 {
		return "board " + number(s.Board)
	}
	return "way " + number(s.Way)
}

// Which says which of several readings of a test is meant: the service of a bonding
// conductor ("water", or "service 2" where job does not name it), the point of a ring, the
// position of a switch; "" where there is only one. number says a number: strconv.Itoa in
// print, reading.Cardinal in speech.
func (s Slot) Which(job Job, number func(int) string) string {
	b := job.Board(s.Board)
	switch {
	case s.Position == 0:
		return ""
	case s.Test == reading.Bonding && b != nil && s.Position > 0 && s.Position <= len(b.Bonding):
		return b.Bonding[s.Position-1]
	case s.Test == reading.Bonding:
		return "service " + number(s.Position)
	case s.Test == reading.RingLN, s.Test == reading.RingLE:
		return "point " + number(s.Position)
	}
	return "switch position " + number(s.Position)
}

// Spoken is the test as it is said aloud, with which of several is meant: "live to
// neutral, switch position one", "bonding, water", "polarity of the supply". A test that
// is not known is its identity.
func (s Slot) Spoken(job Job) string {
	text := s.Test.Spoken()
	switch which := s.Which(job, reading.Cardinal); {
	case text == "":
		return string(s.Test)
	case s.Way == 0 && s.Test == reading.Polarity:
		return text + " of the supply"
	case which != "":
		return text + ", " + which
	}
	return text
}

// maxPoint is the highest point of a ring when their number is not known.
const maxPoint = 500

// Check returns an error that says why job has no such place, or nil. It does
// not ask whether the test makes sense there: the reading of a ring on what is
// described as a radial is a fact, and the description may be what is wrong.
func (s Slot) Check(job Job) error {
	b := job.Board(s.Board)
	if b == nil {
		return fmt.Errorf("there is no board %d in this job", s.Board)
	}
	if err := b.InUse(s.Way); err != nil {
		return err
	}
	switch {
	case !s.Test.Known():
		return fmt.Errorf("unknown test %q", s.Test)
	case s.Way == 0:
		return s.atBoard(*b)
	}
	return s.atWay(*b.Way(s.Way))
}

// InUse returns an error that says that a way is not there to be tested, or nil. Way 0, the
// board itself, always is.
func (b *Board) InUse(number int) error {
	if way := b.Way(number); number != 0 && (way == nil || way.Spare) {
		return fmt.Errorf("way %s is not in use on board %d", waymark.Print(number), b.Number)
	}
	return nil
}

func (s Slot) atBoard(b Board) error {
	switch s.Test {
	case reading.R1R2, reading.R2, reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE, reading.Zs, reading.AFDDButton, reading.PENFault, reading.DCFault:
		return fmt.Errorf("%s is a test of a way, not of board %d itself", s.Test, b.Number)
	case reading.Bonding:
		if s.Position == 0 {
			return fmt.Errorf("bonding must say which service of board %d is meant", b.Number)
		}
		if s.Position < 0 || s.Position > len(b.Bonding) {
			return fmt.Errorf("board %d has %d bonded services, not %d", b.Number, len(b.Bonding), s.Position)
		}
		return nil
	}
	if s.Position != 0 {
		return fmt.Errorf("%s of board %d has no position %d", s.Test, b.Number, s.Position)
	}
	return nil
}

func (s Slot) atWay(way Way) error {
	switch s.Test {
	case reading.Ze, reading.RA, reading.Earthing, reading.Bonding:
		return fmt.Errorf("%s is a test of the board, not of way %s", s.Test, waymark.Print(s.Way))
	case reading.RingLN, reading.RingLE:
		most := maxPoint
		if way.Points > 0 {
			most = way.Points
		}
		if way.Wiring != Ring {
			most = 0
		}
		if s.Position < 0 || s.Position > most {
			return fmt.Errorf("way %s has no point %d on a ring", waymark.Print(s.Way), s.Position)
		}
		return nil
	}
	if s.Position < 0 || s.Position > 2 || s.Position > 0 && !way.TwoWay {
		return fmt.Errorf("way %s has no switch position %d", waymark.Print(s.Way), s.Position)
	}
	return nil
}
