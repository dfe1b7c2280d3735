package web

import (
	"fmt"
	"time"

	"waycall/internal/record"
)

// danger is the code of an observation that is shown wherever there is something to
// look at.
const danger = "C1"

// noteView is a note or an observation that stands, as pages show it.
type noteView struct {
	Board, Way int
	Where      string
	Href       string // of the way
	Code       *mark  // nil of a note
	Text       string
	At         time.Time
	Play       *play
}

// notes are the observations and after them the notes that stand.
func (s *Snapshot) notes() (all []noteView) {
	add := func(board, way int, code *mark, text string, at time.Time, heard int64) {
		n := noteView{Board: board, Way: way, Where: s.where(record.Slot{Board: board, Way: way}), Href: wayPath(s.ID, board, way), Code: code, Text: text, At: at}
		if heard > 0 {
			n.Play = &play{Source: soundPath(s.ID, heard), Label: "Sound of what was said of " + n.Where, Session: sessionPath(s.ID, heard)}
		}
		all = append(all, n)
	}
	for _, o := range s.Schedule().Observations {
		m := codeMark(o.Code)
		add(o.Board, o.Way, &m, o.Text, o.At, o.Heard)
	}
	for _, n := range s.Schedule().Notes {
		add(n.Board, n.Way, nil, n.Text, n.At, n.Heard)
	}
	return all
}

// dangers are the observations of danger that stand.
func (s *Snapshot) dangers() (all []noteView) {
	want := codeMark(danger)
	for _, n := range s.notes() {
		if n.Code != nil && *n.Code == want {
			all = append(all, n)
		}
	}
	return all
}

// codeMark is the mark of an observation's code, with what it means.
func codeMark(code string) mark {
	class := map[string]string{"C1": "fail", "C2": "look", "C3": "out", "FI": "doubt"}[code]
	if class == "" {
		class = "none"
	}
	return mark{class, code + ", " + record.Codes[code]}
}

// noteOf is the text of a note or an observation by its event, taken back or not.
func (s *Snapshot) noteOf(event int64) string {
	for _, n := range s.State.Notes {
		if n.EventID == event {
			return n.Text
		}
	}
	return fmt.Sprintf("event %d", event)
}

// accepted says how a reading came onto the schedule, where it was not confirmed
// aloud, and by whom it was taken, where that was not the job's tester.
func (s *Snapshot) accepted(r record.Reading) string {
	text := ""
	if r.Implied {
		text = "Accepted when the next reading began; it was not confirmed aloud."
	}
	if r.Tester != "" && r.Tester != s.State.Job.Tester {
		if text != "" {
			text += " "
		}
		text += "Tested by " + r.Tester + "."
	}
	return text
}
