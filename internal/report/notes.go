package report

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"waycall/internal/board"
	"waycall/internal/record"
)

// Observation is a defect or departure that the tester found, with its code, in the
// tester's words as they were heard. Its sound is in the record.
type Observation struct {
	Board int       `json:"board"`
	Way   int       `json:"way"`            // 0 is the board itself
	Code  string    `json:"code"`           // C1, C2, C3 or FI, see record.Codes
	Told  string    `json:"told,omitempty"` // who was told of a danger, or that nobody was; absent where it was not said
	Text  string    `json:"text"`
	At    time.Time `json:"at"`
	Event int64     `json:"event"`           // in the log
	Heard int64     `json:"heard,omitempty"` // in the log: the phrase, whose sound is kept
}

// Note is a remark in the tester's words as they were heard. Its sound is in the
// record.
type Note struct {
	Board int       `json:"board"`
	Way   int       `json:"way"` // 0 is the board itself
	Text  string    `json:"text"`
	At    time.Time `json:"at"`
	Event int64     `json:"event"`           // in the log
	Heard int64     `json:"heard,omitempty"` // in the log: the phrase, whose sound is kept
}

// remarks sorts what stands of the notes of a record into observations and notes.
func remarks(s record.State) (found []Observation, notes []Note) {
	found, notes = []Observation{}, []Note{}
	for _, n := range s.Notes {
		switch {
		case n.Ended != 0:
		case n.Code != "":
			found = append(found, Observation{Board: n.Board, Way: n.Way, Code: n.Code, Told: n.Told, Text: n.Text, At: n.At.UTC(), Event: n.EventID, Heard: n.HeardID})
		default:
			notes = append(notes, Note{n.Board, n.Way, n.Text, n.At.UTC(), n.EventID, n.HeardID})
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

// testers are the initials of all who tested, the job's tester first.
func (h Header) testers() string { return strings.Join(append([]string{h.Tester}, h.Others...), ", ") }

const inTheirWords = ", in the tester's words as they were heard"

// notes writes what the tester found, with what the codes mean, and noted.
func (t *text) notes(s Schedule) {
	several := len(s.Boards) > 1
	if len(s.Observations) > 0 {
		t.line("")
		t.line("OBSERVATIONS" + inTheirWords)
		for _, o := range s.Observations {
			t.item("- ", fmt.Sprintf("%s, %s: %s (%s)", onBoard(wayWords(o.Way), o.Board, several), o.Code, o.Text, o.At.UTC().Format("15:04 UTC")+o.told()))
		}
		t.item("", codesMean(s.Job.Edition))
	}
	if len(s.Notes) > 0 {
		t.line("")
		t.line("NOTES MADE ON SITE" + inTheirWords)
		for _, n := range s.Notes {
			t.item("- ", fmt.Sprintf("%s: %s (%s)", onBoard(wayWords(n.Way), n.Board, several), n.Text, n.At.UTC().Format("15:04 UTC")))
		}
	}
}

// told says who was told of a danger, after the time of the observation.
func (o Observation) told() string {
	switch {
	case o.Told != "":
		return ", told " + o.Told
	case o.Code == "C1":
		return ", not said who was told"
	}
	return ""
}

// codesMean is what the codes of observations mean, with their source.
func codesMean(edition string) string {
	var all []string
	for _, code := range slices.Sorted(maps.Keys(record.Codes)) {
		all = append(all, code+": "+record.Codes[code])
	}
	judged := board.Job{Edition: board.Edition(edition)}.JudgedBy()
	text := strings.Join(all, "; ") + ". " + judged.Of("BS 7671 Appendix 6, from memory.")
	if judged == board.A4 {
		text += " These are the meanings of " + string(board.A2) + ": Amendment 4 reworked that of FI, and its words could not be read."
	}
	return text
}

// observations writes what the tester found, with what the codes mean.
func (p *pdf) observations() {
	title := "Observations" + inTheirWords
	if len(p.s.Observations) == 0 {
		p.heading(title)
		p.item("", "None is recorded.")
		return
	}
	var rows [][]entry
	for i, o := range p.s.Observations {
		rows = append(rows, []entry{{text: strconv.Itoa(o.Board)}, {text: placeOf(o.Way)}, {text: o.Code, key: fmt.Sprintf("observed code/%d", i)}, {text: o.Text, key: fmt.Sprintf("observed text/%d", i)}, {text: o.At.UTC().Format("2006-01-02 15:04 UTC") + o.told()}})
	}
	p.remarked(title, []column{{head: "Board"}, {head: "Way"}, {head: "Code"}, {head: "Observation", grow: true}, {head: "At"}}, rows)
	p.item("", codesMean(p.s.Job.Edition))
}

// notesMade writes what the tester noted.
func (p *pdf) notesMade() {
	var rows [][]entry
	for i, n := range p.s.Notes {
		rows = append(rows, []entry{{text: strconv.Itoa(n.Board)}, {text: placeOf(n.Way)}, {text: n.Text, key: fmt.Sprintf("noted text/%d", i)}, {text: n.At.UTC().Format("2006-01-02 15:04 UTC")}})
	}
	if len(rows) > 0 {
		p.remarked("Notes made on site"+inTheirWords, []column{{head: "Board"}, {head: "Way"}, {head: "Note", grow: true}, {head: "At"}}, rows)
	}
}

func placeOf(way int) string {
	if way == 0 {
		return "the board"
	}
	return strconv.Itoa(way)
}

// remarked writes a table whose first columns are the board and the way, and what of
// it was too long.
func (p *pdf) remarked(title string, columns []column, rows [][]entry) {
	var rest []string
	p.table(title, columns, rows, func(row int, text string) {
		rest = append(rest, fmt.Sprintf("Board %s, way %s, in full: %s", rows[row][0].text, rows[row][1].text, text))
	})
	for _, r := range rest {
		p.item("•", r)
	}
}
