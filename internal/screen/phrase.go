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
	File    string            `json:"file"`    // empty for --words
	Outcome string            `json:"outcome"` // reading, command or none
	Agreed  bool              `json:"agreed"`  // nothing spoke against it; false when it is disputed
	Text    string            `json:"text"`    // the words understood
	Way     *int              `json:"way"`
	Test    *reading.Test     `json:"test"`
	Bound   *reading.Bound    `json:"bound"`
	Value   *float64          `json:"value"` // in Unit
	Unit    *reading.Unit     `json:"unit"`
	Command *phrase.Command   `json:"command"`
	Words   map[string]string `json:"words"`    // witness -> its words
	MS      float64           `json:"ms"`       // from the end of the sound to its meaning
	AudioMS float64           `json:"audio_ms"` // length of the sound
	Note    string            `json:"note,omitempty"`
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
	if m.Command != "" {
		l.Command = &m.Command
	}
	q := m.Quantity
	if m.OverRange {
		q.Bound, q.Value, q.Unit = reading.GreaterThan, overRange, reading.Megohm
	}
	if h.Outcome == hear.Reading {
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
