package record

import (
	"fmt"
	"slices"
	"time"

	"waycall/internal/waymark"
)

// Note is a remark in the electrician's own words, whose sound is kept, or an
// observation: a remark with a classification code.
type Note struct {
	Board   int
	Way     int    // 0 is the board itself; a spare way may be remarked on, too
	Code    string // of an observation one of Codes; empty for a note
	Text    string // as it was heard
	EventID int64
	HeardID int64 // the sound
	At      time.Time
	Ended   int64 // the event that took it back; 0 while it stands

	Told   string // of an observation: who was told of it, or that nobody was; "" while it was not said
	ToldAt time.Time
	ToldID int64 // the event that said so; 0 while none did
}

// Codes are the classification codes of an observation, in the words of the model
// forms (BS 7671 Appendix 6; the words are printed in Best Practice Guide 4 of
// Electrical Safety First and, of FI, at eicranswers.pages.dev). Which one is due is
// for the competent person.
var Codes = map[string]string{
	"C1": "Danger present",
	"C2": "Potentially dangerous",
	"C3": "Improvement recommended",
	"FI": "Further investigation required without delay",
}

// LastNote returns the last note or observation that still stands.
func (s State) LastNote() (Note, bool) {
	for _, n := range slices.Backward(s.Notes) {
		if n.Ended == 0 {
			return n, true
		}
	}
	return Note{}, false
}

// Untold returns the last observation of present danger that stands and of which it
// was not said who was told.
func (s State) Untold() (Note, bool) {
	for _, n := range slices.Backward(s.Notes) {
		if n.Ended == 0 && n.Code == "C1" && n.ToldID == 0 {
			return n, true
		}
	}
	return Note{}, false
}

// told keeps who was told of an observation.
func (s State) told(e Event) (State, error) {
	i := slices.IndexFunc(s.Notes, func(n Note) bool { return n.EventID == e.Of && n.Code != "" && n.Ended == 0 })
	if i < 0 || e.Code != "" {
		return s, fmt.Errorf("event %d is no observation that stands", e.Of)
	}
	s.Notes = own(s.Notes)
	s.Notes[i].Told, s.Notes[i].ToldAt, s.Notes[i].ToldID = e.Text, e.At, e.ID
	return s, nil
}

func (s State) noted(e Event) (State, error) {
	if e.Slot == nil || e.Text == "" {
		return s, fmt.Errorf("it has no place or no text")
	}
	b := s.Job.Board(e.Slot.Board)
	if b == nil {
		return s, s.noBoard(e.Slot.Board)
	}
	if e.Slot.Way != 0 && b.Way(e.Slot.Way) == nil {
		return s, fmt.Errorf("there is no way %s on board %d", waymark.Print(e.Slot.Way), e.Slot.Board)
	}
	if _, known := Codes[e.Code]; known != (e.Kind == Observed) {
		return s, fmt.Errorf("its code is %q", e.Code)
	}
	if e.Kind == Noted && e.Of != 0 {
		return s.told(e)
	}
	s.Notes = append(s.Notes, Note{
		Board: e.Slot.Board, Way: e.Slot.Way, Code: e.Code, Text: e.Text, EventID: e.ID, HeardID: e.HeardID, At: e.At,
	})
	return s, nil
}

// unnoted takes a note or an observation back.
func (s State) unnoted(e Event) (State, error) {
	i := slices.IndexFunc(s.Notes, func(n Note) bool { return n.EventID == e.Of && n.Ended == 0 })
	if i < 0 {
		return s, fmt.Errorf("event %d is no note that stands", e.Of)
	}
	s.Notes = own(s.Notes)
	s.Notes[i].Ended = e.ID
	return s, nil
}
