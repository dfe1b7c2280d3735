// Package screen shows a session as it goes, a line for each thing that happens: for a
// person to read, or as JSON for a program.
package screen

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"golang.org/x/term"

	"waycall/internal/hear"
	"waycall/internal/printable"
	"waycall/internal/record"
)

// Lines shows a session to a person. Its methods are those of session.Watcher and more.
type Lines struct {
	w      io.Writer
	colour bool
	told   map[string]bool // the choices that were shown
}

// New shows a session on w, in colour where w is a terminal that wants it.
func New(w io.Writer) *Lines {
	s := &Lines{w: w, colour: Coloured(w), told: map[string]bool{}}
	if p, ok := w.(*printable.Writer); ok && s.colour {
		p.AllowStyles()
	}
	return s
}

// Coloured reports whether what is printed on w may have colours: w is a terminal, and
// nothing in the environment speaks against it.
func Coloured(w io.Writer) bool {
	f, ok := Under(w).(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}

// Under returns what a command's output goes to in the end.
func Under(w io.Writer) io.Writer {
	if p, ok := w.(*printable.Writer); ok {
		return p.Under()
	}
	return w
}

const (
	plain = ""
	dim   = "\x1b[2m"
	bold  = "\x1b[1m"
	amber = "\x1b[33m"
)

// line prints a line with who or what it is about in front.
func (s *Lines) line(style, who, text string) {
	text = printable.Text(text)
	if s.colour && style != plain {
		fmt.Fprintf(s.w, "%s%8s  %s\x1b[0m\n", style, who, text)
		return
	}
	fmt.Fprintf(s.w, "%8s  %s\n", who, text)
}

// Speaking shows what is said.
func (s *Lines) Speaking(text string) { s.line(plain, "waycall", text) }

// Listening shows what may be said, each time that it is another than ever before. Who
// reads along sees that it is his turn.
func (s *Lines) Listening(choices string) {
	if choices == "" || s.told[choices] {
		return
	}
	s.told[choices] = true
	s.line(dim, "may say", choices)
}

// Begin shows nothing.
func (s *Lines) Begin(record.State) {}

// Stage shows how far a demonstration is, and what it is about to show.
func (s *Lines) Stage(at, text string) { s.line(dim, at, "-- "+text) }

// Heard shows what was understood, and whether it was sure.
func (s *Lines) Heard(h hear.Heard) {
	switch h.Outcome {
	case hear.Note:
		s.line(bold, "you", fmt.Sprintf("%q", h.Best().Text))
	case hear.None:
		if h.Missed {
			s.line(amber, "", "(not understood)")
			return
		}
		s.line(dim, "", "(talk, not for waycall)")
	case hear.Misplaced:
		s.line(amber, "you", h.Best().Text+"  (not on this board)")
	default:
		if h.Agreed {
			s.line(bold, "you", h.Best().Text)
		} else {
			s.line(amber, "you", h.Best().Text+"  (disputed)")
		}
	}
}

// Stored shows the taps of a key; of all else waycall says what it stored.
func (s *Lines) Stored(facts []record.Event) {
	for _, e := range facts {
		if e.Kind == record.Tapped {
			s.line(bold, "you", e.Text+"  (by the key)")
		}
	}
}

// TooLong shows that what was said had no pause for so long.
func (s *Lines) TooLong(d time.Duration) {
	s.line(dim, "", fmt.Sprintf("(talk of more than %d s without a pause, ignored)", int(d.Seconds())))
}

// JSON prints the same as JSON, one object a line.
type JSON struct{ w io.Writer }

// NewJSON returns one that prints on w.
func NewJSON(w io.Writer) JSON { return JSON{w} }

// Print prints v on one line, with ">" as it is and nothing hidden in its texts.
func Print(w io.Writer, v any) error {
	enc := json.NewEncoder(printable.JSON(w))
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// Event is one line. Only what the event has is set.
type Event struct {
	Event   string            `json:"event"`             // speaking, listening, heard, stored, too long, sound, found or ended
	Text    string            `json:"text,omitempty"`    // spoken, understood, or what may be said
	Outcome string            `json:"outcome,omitempty"` // of what was heard
	Agreed  bool              `json:"agreed,omitempty"`
	Missed  bool              `json:"missed,omitempty"` // probably for waycall, and not understood
	Words   map[string]string `json:"words,omitempty"`  // witness -> its words
	Facts   []record.Event    `json:"facts,omitempty"`
	Gone    bool              `json:"gone,omitempty"`  // the device is
	Lost    int               `json:"lost,omitempty"`  // times that sound was lost so far
	Sound   *End              `json:"sound,omitempty"` // at the end
}

func (j JSON) print(e Event) { _ = Print(j.w, e) } // a closed pipe must not end a session

// Speaking prints what is said.
func (j JSON) Speaking(text string) { j.print(Event{Event: "speaking", Text: text}) }

// Listening prints that waycall waits for somebody to speak, and what may be said.
func (j JSON) Listening(choices string) { j.print(Event{Event: "listening", Text: choices}) }

// Found prints what opening the job found.
func (j JSON) Found(text string) { j.print(Event{Event: "found", Text: text}) }

// Heard prints what was understood.
func (j JSON) Heard(h hear.Heard) {
	j.print(Event{Event: "heard", Text: h.Best().Text, Outcome: string(h.Outcome), Agreed: h.Agreed, Missed: h.Missed, Words: h.Words})
}

// Stored prints what was stored. Where the job is is nobody's business who reads a
// log of the output; the record has it.
func (j JSON) Stored(facts []record.Event) {
	facts = slices.Clone(facts)
	for i := range facts {
		if job := facts[i].Job; job != nil {
			without := *job
			without.Address = ""
			facts[i].Job = &without
		}
	}
	j.print(Event{Event: "stored", Facts: facts})
}

// TooLong prints that what was said had no pause for too long.
func (j JSON) TooLong(time.Duration) { j.print(Event{Event: "too long"}) }
