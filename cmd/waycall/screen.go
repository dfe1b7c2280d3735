package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/term"

	"waycall/internal/hear"
	"waycall/internal/record"
)

// screen shows a session as it goes, a line for each thing that happens.
type screen struct {
	w      io.Writer
	colour bool
	count  func(facts []record.Event) // told of what was stored; may be nil
}

// newScreen shows on w, in colour where w is a terminal that wants it.
func newScreen(w io.Writer) *screen {
	f, ok := w.(*os.File)
	return &screen{w: w, colour: ok && term.IsTerminal(int(f.Fd())) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"}
}

const (
	plain = ""
	dim   = "\x1b[2m"
	bold  = "\x1b[1m"
	red   = "\x1b[1;31m"
	amber = "\x1b[33m"
)

// line prints a line with who or what it is about in front.
func (s *screen) line(style, who, text string) {
	if s.colour && style != plain {
		fmt.Fprintf(s.w, "%s%8s  %s\x1b[0m\n", style, who, text)
		return
	}
	fmt.Fprintf(s.w, "%8s  %s\n", who, text)
}

func (s *screen) Speaking(text string) { s.line(plain, "waycall", text) }

func (s *screen) Listening() {}

func (s *screen) Heard(h hear.Heard) {
	switch h.Outcome {
	case hear.None:
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

func (s *screen) Stored(facts []record.Event) {
	if s.count != nil {
		s.count(facts)
	}
}

func (s *screen) TooLong(d time.Duration) {
	s.line(dim, "", fmt.Sprintf("(talk of more than %d s without a pause, ignored)", int(d.Seconds())))
}
