package screen

import (
	"strings"
	"testing"

	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/record"
)

// The address of a job is in its record and on its schedule, and not in what a
// session prints, which may end up in a log.
func TestOutputHasNoAddress(t *testing.T) {
	var b strings.Builder
	job := board.Job{Reference: "A-1", Address: "1 Example Row"}
	facts := []record.Event{{Kind: record.Opened, Job: &job}}
	NewJSON(&b).Stored(facts)
	if strings.Contains(b.String(), "Example") || !strings.Contains(b.String(), "A-1") {
		t.Error(b.String())
	}
	if facts[0].Job.Address == "" {
		t.Error("what was stored was changed")
	}
}

// What was heard is told apart: a note, what was missed, talk.
func TestScreenHeard(t *testing.T) {
	for want, h := range map[string]hear.Heard{
		`you  "the lid is cracked"`:            {Outcome: hear.Note, Candidates: []hear.Candidate{{Text: "the lid is cracked"}}},
		"(not understood)":                     {Outcome: hear.None, Missed: true},
		"(talk, not for waycall)":              {Outcome: hear.None},
		"you  four eight six  (disputed)":      {Outcome: hear.Reading, Candidates: []hear.Candidate{{Text: "four eight six"}}},
		"you  way thirty  (not on this board)": {Outcome: hear.Misplaced, Candidates: []hear.Candidate{{Text: "way thirty"}}},
	} {
		var b strings.Builder
		New(&b).Heard(h)
		if !strings.Contains(b.String(), want) {
			t.Errorf("%q for %+v", b.String(), h)
		}
	}
}

// What may be said is shown when it is news; to a program each time.
func TestChoices(t *testing.T) {
	var b, lines strings.Builder
	s := New(&b)
	for _, choices := range []string{"isolated", "isolated", "", "confirm, or no", "isolated", "confirm, or no"} {
		s.Listening(choices)
		NewJSON(&lines).Listening(choices)
	}
	if want := " may say  isolated\n may say  confirm, or no\n"; b.String() != want {
		t.Errorf("%q, want %q", b.String(), want)
	}
	if n := strings.Count(lines.String(), `{"event":"listening","text":"confirm, or no"}`); n != 2 {
		t.Errorf("%s", lines.String())
	}
}
