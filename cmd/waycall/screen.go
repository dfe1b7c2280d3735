package main

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

// screen shows a session as it goes, a line for each thing that happens.
type screen struct {
	w      io.Writer
	colour bool
}

// newScreen shows on w, in colour where w is a terminal that wants it.
func newScreen(w io.Writer) *screen {
	f, ok := under(w).(*os.File)
	s := &screen{w: w, colour: ok && term.IsTerminal(int(f.Fd())) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"}
	if p, ok := w.(*printable.Writer); ok && s.colour {
		p.AllowStyles()
	}
	return s
}

// under is what a command's output goes to in the end.
func under(w io.Writer) io.Writer {
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
func (s *screen) line(style, who, text string) {
	text = printable.Text(text)
	if s.colour && style != plain {
		fmt.Fprintf(s.w, "%s%8s  %s\x1b[0m\n", style, who, text)
		return
	}
	fmt.Fprintf(s.w, "%8s  %s\n", who, text)
}

func (s *screen) Speaking(text string) { s.line(plain, "waycall", text) }

func (s *screen) Listening() {}

func (s *screen) Begin(record.State) {}

// Stage prints how far a demonstration is, and what it is about to show.
func (s *screen) Stage(at, text string) { s.line(dim, at, "-- "+text) }

func (s *screen) Heard(h hear.Heard) {
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

func (s *screen) Stored([]record.Event) {}

func (s *screen) TooLong(d time.Duration) {
	s.line(dim, "", fmt.Sprintf("(talk of more than %d s without a pause, ignored)", int(d.Seconds())))
}

// jsonScreen prints the same as JSON, one object a line.
type jsonScreen struct{ w io.Writer }

// printJSON prints v on one line, with ">" as it is and nothing hidden in its texts.
func printJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(printable.JSON(w))
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// jsonEvent is one line. Only what the event has is set.
type jsonEvent struct {
	Event   string            `json:"event"`             // speaking, listening, heard, stored, too long, sound, found or ended
	Text    string            `json:"text,omitempty"`    // spoken, or understood
	Outcome string            `json:"outcome,omitempty"` // of what was heard
	Agreed  bool              `json:"agreed,omitempty"`
	Missed  bool              `json:"missed,omitempty"` // probably for waycall, and not understood
	Words   map[string]string `json:"words,omitempty"`  // witness -> its words
	Facts   []record.Event    `json:"facts,omitempty"`
	Gone    bool              `json:"gone,omitempty"`  // the device is
	Lost    int               `json:"lost,omitempty"`  // times that sound was lost so far
	Sound   *soundEnd         `json:"sound,omitempty"` // at the end
}

func (j jsonScreen) print(e jsonEvent) { _ = printJSON(j.w, e) } // a closed pipe must not end a session

func (j jsonScreen) Speaking(text string) { j.print(jsonEvent{Event: "speaking", Text: text}) }
func (j jsonScreen) Listening()           { j.print(jsonEvent{Event: "listening"}) }
func (j jsonScreen) Heard(h hear.Heard) {
	j.print(jsonEvent{Event: "heard", Text: h.Best().Text, Outcome: string(h.Outcome), Agreed: h.Agreed, Missed: h.Missed, Words: h.Words})
}

// Stored prints what was stored. Where the job is is nobody's business who reads a
// log of the output; the record has it.
func (j jsonScreen) Stored(facts []record.Event) {
	facts = slices.Clone(facts)
	for i := range facts {
		if job := facts[i].Job; job != nil {
			without := *job
			without.Address = ""
			facts[i].Job = &without
		}
	}
	j.print(jsonEvent{Event: "stored", Facts: facts})
}
func (j jsonScreen) TooLong(time.Duration) { j.print(jsonEvent{Event: "too long"}) }
