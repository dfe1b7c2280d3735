package web

import (
	"cmp"
	"slices"
	"time"

	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/report"
)

// danger is the code of an observation that is shown wherever there is something to
// look at.
const danger = "C1"

// noteView is a note or an observation that stands, as pages show it.
type noteView struct {
	Board, Way int
	Where      string
	Href       string // of the way
	Code       mark
	Text       string
	Told       string // of a danger: who was told of it, and what was noted there afterwards
	At         time.Time
	Play       *play
}

// gravity is the order in which observations are shown: what must be acted upon first.
var gravity = []string{danger, "C2", "FI", "C3"}

// notes are the observations that stand, the gravest first, and after them the notes.
func (s *seen) notes() (all []noteView) {
	add := func(board, way int, code mark, text string, at time.Time, heard int64) {
		n := noteView{Board: board, Way: way, Where: s.where(record.Slot{Board: board, Way: way}), Href: wayPath(s.ID, board, way), Code: code, Text: text, At: at}
		if heard > 0 {
			n.Play = &play{Source: soundPath(s.ID, heard), Label: "Sound of what was said of " + n.Where, Session: sessionPath(s.ID, heard)}
		}
		all = append(all, n)
	}
	observed := slices.Clone(s.Schedule().Observations)
	slices.SortStableFunc(observed, func(a, b report.Observation) int {
		return cmp.Compare(slices.Index(gravity, a.Code), slices.Index(gravity, b.Code))
	})
	for _, o := range observed {
		add(o.Board, o.Way, codeMark(o.Code), o.Text, o.At, o.Heard)
		all[len(all)-1].Told = s.toldOf(o)
	}
	for _, n := range s.Schedule().Notes {
		add(n.Board, n.Way, mark{"none", "Note"}, n.Text, n.At, n.Heard)
	}
	return all
}

// toldOf says who was told of a danger, and what was noted at the same place afterwards,
// which is where the tester says what he did about it. Of other observations it says
// nothing.
func (s *seen) toldOf(o report.Observation) string {
	if o.Code != danger {
		return ""
	}
	text := "It is not said who was told."
	if o.Told != "" {
		text = "Told: " + o.Told + "."
	}
	after := ""
	for _, n := range s.Schedule().Notes {
		if n.Board == o.Board && n.Way == o.Way && n.Event > o.Event {
			after += " " + english.Sentence(n.Text)
		}
	}
	if after == "" {
		return text + " No note says what was done about it."
	}
	return text + " Noted there afterwards:" + after
}

// dangers are the observations of danger that stand.
func (s *seen) dangers() (all []noteView) {
	want := codeMark(danger)
	for _, n := range s.notes() {
		if n.Code == want {
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

// accepted says how a reading came onto the schedule, where it was not confirmed
// aloud, and by whom it was taken, where that was not the job's tester.
func (s *seen) accepted(r record.Reading) string {
	text := ""
	switch {
	case r.Implied:
		text = "Accepted when the next reading began; it was not confirmed aloud."
	case r.ByKey:
		text = "Confirmed by a tap of the key, not aloud."
	}
	if r.Tester != "" && r.Tester != s.State.Job.Tester {
		if text != "" {
			text += " "
		}
		text += "Tested by " + r.Tester + "."
	}
	return text
}
