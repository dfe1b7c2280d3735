// This file shows one phrase that was heard by itself, without a session.

package screen

import (
	"fmt"
	"io"
	"time"

	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

// Phrase is what `waycall hear --json` prints for one file, or for --words. Fields that the
// phrase does not have are null.
type Phrase struct {
	File    string          `json:"file"`    // empty for --words
	Outcome string          `json:"outcome"` // reading, command or none
	Agreed  bool            `json:"agreed"`  // nothing spoke against it; false when it is disputed
	Text    string          `json:"text"`    // the words understood
	Way     *int            `json:"way"`
	Test    *reading.Test   `json:"test"`
	Bound   *reading.Bound  `json:"bound"`
	Value   *float64        `json:"value"` // in Unit
	Unit    *reading.Unit   `json:"unit"`
	Command *phrase.Command `json:"command"`
	// What only some phrases have.
	Last    int               `json:"last,omitempty"`    // the last of several ways from Way on
	Board   int               `json:"board,omitempty"`   // to go to
	Named   string            `json:"named,omitempty"`   // a word of the name of a board to go to
	Service string            `json:"service,omitempty"` // what a bonding conductor goes to
	Reason  string            `json:"reason,omitempty"`  // why something is left out
	Code    string            `json:"code,omitempty"`    // of an observation
	Near    bool              `json:"near,omitempty"`    // it might have been meant otherwise: a figure is read back digit by digit
	Then    []Part            `json:"then,omitempty"`    // what the same breath says after it
	Words   map[string]string `json:"words"`             // witness -> its words
	MS      float64           `json:"ms"`                // from the end of the sound to its meaning
	AudioMS float64           `json:"audio_ms"`          // length of the sound
	Note    string            `json:"note,omitempty"`
}

// Part is a further reading of the same breath and way.
type Part struct {
	Test  reading.Test  `json:"test"`
	Bound reading.Bound `json:"bound"`
	Value float64       `json:"value"` // in Unit
	Unit  reading.Unit  `json:"unit"`
}

// NoPhrase is the line of a file, or of none, before anything was heard in it.
func NoPhrase(file string) Phrase {
	return Phrase{File: file, Outcome: string(hear.None), Words: map[string]string{}}
}

// Fill puts in what was heard where that test of that way is due, if any, on an
// instrument whose scale ends at overRange, Mohm.
func (l *Phrase) Fill(h hear.Heard, way int, test reading.Test, overRange float64) {
	for _, w := range []string{hear.WhisperFree, hear.WhisperHeld, hear.WhisperOther, hear.Sphinx} {
		if words, ok := h.Words[w]; ok {
			l.Words[w] = words
		}
	}
	best := h.Best()
	m := best.Meaning
	if h.Outcome == hear.Misplaced {
		l.Note = fmt.Sprintf("%q cannot be on this board", best.Text)
		return
	}
	if h.Outcome == hear.None {
		return
	}
	l.Outcome, l.Agreed, l.Text = string(h.Outcome), h.Agreed, best.Text
	m = m.Standing(test.Judged()) // nothing waits
	if m.Command != "" {
		l.Command = &m.Command
	}
	l.Last, l.Board, l.Named, l.Service = m.Last, m.Board, m.Named, m.Service
	l.Reason, l.Code, l.Near = m.Reason, m.Code, m.Near
	for _, p := range m.Then {
		if p.Test != "" {
			l.Then = append(l.Then, Part{p.Test, p.Quantity.Bound, p.Quantity.Value, p.Test.Unit()})
		}
	}
	q := m.Quantity
	if m.OverRange {
		q.Bound, q.Value, q.Unit = reading.GreaterThan, overRange, reading.Megohm
	}
	if h.Outcome == hear.Reading || m.Command == phrase.Correct || m.Command == phrase.Incorrect {
		if m.Way == 0 {
			m.Way = way
		}
		if m.Test == "" && test != "" {
			m.Test = test
			q.Unit = test.Unit()
		}
	}
	if m.Way != 0 {
		l.Way = &m.Way
	}
	if m.Test != "" {
		l.Test = &m.Test
	}
	if m.HasValue() {
		l.Bound, l.Value = &q.Bound, &q.Value
		if q.Unit != "" {
			l.Unit = &q.Unit
		}
	}
}

// Write prints it for a person.
func (l Phrase) Write(w io.Writer) error {
	from := l.File + ": "
	if l.File == "" {
		from = ""
	}
	what := l.Text
	switch {
	case l.Outcome == string(hear.None):
		what = "(not for us)"
	case !l.Agreed:
		what += " ?"
	}
	if l.Note != "" {
		what += " [" + l.Note + "]"
	}
	_, err := fmt.Fprintf(w, "%s%s\n", from, what)
	return err
}

// MS is a time in milliseconds, to a tenth.
func MS(d time.Duration) float64 {
	return float64(d.Round(100*time.Microsecond)) / float64(time.Millisecond)
}
