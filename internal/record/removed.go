package record

import "time"

// Removed is something that was taken off, out or linked for a test: a conductor out
// of its terminal, a device out of its base, a link put in. It counts as off until
// somebody says that it is back. That the answer which took it off is taken back says
// nothing about the conductor, so it does not end it.
type Removed struct {
	Board   int
	Way     int    // 0 is the board itself
	What    string // a name that package sequence knows; stored
	EventID int64  // the event that said so, the last one where it was said again
	At      time.Time
	Ended   int64 // the event that said that it is back; 0 while it is off
}

// Off returns what is off on a board, in the order in which it was taken off.
func (s State) Off(board int) (all []Removed) {
	for _, r := range s.Removed {
		if r.Board == board && r.Ended == 0 {
			all = append(all, r)
		}
	}
	return all
}

// OffLast returns the last that was said about one thing of a board that is off.
func (s State) OffLast(board int, what string) (last Removed, off bool) {
	for _, r := range s.Removed {
		if r.Board == board && r.What == what && r.Ended == 0 {
			last, off = r, true
		}
	}
	return last, off
}

// takenOff notes that something is off at a place. Said again, the new event counts.
func (s State) takenOff(at Slot, what string, e Event) State {
	if what == "" {
		return s
	}
	s.Removed = own(s.Removed)
	for i := range s.Removed {
		if r := &s.Removed[i]; r.Board == at.Board && r.Way == at.Way && r.What == what && r.Ended == 0 {
			r.Ended = e.ID
		}
	}
	s.Removed = append(s.Removed, Removed{Board: at.Board, Way: at.Way, What: what, EventID: e.ID, At: e.At})
	return s
}

// putBack notes that something is back, wherever it was off on the board.
func (s State) putBack(board int, what string, by int64) State {
	if what == "" {
		return s
	}
	s.Removed = own(s.Removed)
	for i := range s.Removed {
		if r := &s.Removed[i]; r.Board == board && r.What == what && r.Ended == 0 {
			r.Ended = by
		}
	}
	return s
}

// Work is that a way, or with way 0 the board itself, is tested again after work on it.
type Work struct {
	Board, Way int
	EventID    int64
}
