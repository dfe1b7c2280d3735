package report

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"waycall/internal/record"
)

// Observation is a defect or departure that the tester found, with its code, in the
// tester's words as they were heard. Its sound is in the record.
type Observation struct {
	Board int       `json:"board"`
	Way   int       `json:"way"`  // 0 is the board itself
	Code  string    `json:"code"` // C1, C2, C3 or FI; BS 7671 Appendix 6, from memory
	Text  string    `json:"text"`
	At    time.Time `json:"at"`
	Event int64     `json:"event"` // in the log
}

// Note is a remark in the tester's words as they were heard. Its sound is in the
// record.
type Note struct {
	Board int       `json:"board"`
	Way   int       `json:"way"` // 0 is the board itself
	Text  string    `json:"text"`
	At    time.Time `json:"at"`
	Event int64     `json:"event"` // in the log
}

// remarks sorts what stands of the notes of a record into observations and notes.
func remarks(s record.State) (found []Observation, notes []Note) {
	found, notes = []Observation{}, []Note{}
	for _, n := range s.Notes {
		switch {
		case n.Ended != 0:
		case n.Code != "":
			found = append(found, Observation{n.Board, n.Way, n.Code, n.Text, n.At.UTC(), n.EventID})
		default:
			notes = append(notes, Note{n.Board, n.Way, n.Text, n.At.UTC(), n.EventID})
		}
	}
	return found, notes
}

// testers are the initials of those who took the readings that were ever confirmed,
// beside the job's tester.
func testers(s record.State) (others []string) {
	for _, r := range s.Readings {
		if r.Tester != "" && r.Tester != s.Job.Tester && !slices.Contains(others, r.Tester) {
			others = append(others, r.Tester)
		}
	}
	return others
}

// notes writes what the tester found and noted.
func (t *text) notes(s Schedule) {
	place := func(board, way int) string {
		p := fmt.Sprintf("way %d", way)
		if way == 0 {
			p = "the board itself"
		}
		if len(s.Boards) > 1 {
			p = fmt.Sprintf("board %d, ", board) + p
		}
		return p
	}
	if len(s.Observations) > 0 {
		t.line("")
		t.line("OBSERVATIONS, in the tester's words as they were heard")
		for _, o := range s.Observations {
			t.item(fmt.Sprintf("- %s ", o.Code), fmt.Sprintf("%s: %s, %s (%s)", place(o.Board, o.Way), o.Text, o.At.Format("15:04 UTC"), record.Codes[o.Code]))
		}
	}
	if len(s.Notes) > 0 {
		t.line("")
		t.line("NOTES MADE ON SITE, in the tester's words as they were heard")
		for _, n := range s.Notes {
			t.item("- ", fmt.Sprintf("%s: %s, %s", place(n.Board, n.Way), n.Text, n.At.Format("15:04 UTC")))
		}
	}
}

// remarked writes what the tester found and noted.
func (p *pdf) remarked() {
	var rows [][]entry
	var rest []string
	add := func(board, way int, code, text string, at time.Time) {
		place := strconv.Itoa(way)
		if way == 0 {
			place = "the board"
		}
		rows = append(rows, []entry{{text: strconv.Itoa(board)}, {text: place}, {text: code}, {text: text}, {text: at.Format("2006-01-02 15:04 UTC")}})
	}
	for _, o := range p.s.Observations {
		add(o.Board, o.Way, o.Code, o.Text, o.At)
	}
	for _, n := range p.s.Notes {
		add(n.Board, n.Way, "note", n.Text, n.At)
	}
	if len(rows) == 0 {
		return
	}
	p.table("Observations and notes, in the tester's words as they were heard",
		[]column{{head: "Board"}, {head: "Way"}, {head: "Code"}, {head: "What", grow: true}, {head: "At"}}, rows,
		func(row int, text string) { rest = append(rest, "In full: "+text) })
	for _, r := range rest {
		p.item("•", r)
	}
}
