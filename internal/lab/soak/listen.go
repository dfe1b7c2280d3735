package soak

import (
	"regexp"
	"slices"
	"strings"

	"waycall/internal/board"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// listener follows what waycall says as an attentive person would: on which board and
// way it is, what it asks for, and what it reads back. It hears words alone, so what
// it concludes owes nothing to waycall's own state.
type listener struct {
	job   board.Job
	at    record.Slot // board, way and position in hand, as they were named
	due   due
	tests map[string]record.Slot // how tests are announced -> test, of bonding the service too
}

// due is what waycall asked for last.
type due struct {
	kind string      // "", "step", "test" or "nothing"
	step string      // its name
	slot record.Slot // of a test
}

func newListener(job board.Job) *listener {
	l := &listener{job: job, tests: map[string]record.Slot{}}
	for test := range values {
		l.tests[test.Spoken()] = record.Slot{Test: test}
	}
	l.tests["polarity of the supply"] = record.Slot{Test: reading.Polarity}
	for _, b := range job.Boards {
		for i, service := range b.Bonding {
			l.tests["bonding "+service] = record.Slot{Test: reading.Bonding, Position: i + 1}
		}
	}
	return l
}

var (
	sentence = regexp.MustCompile(`[^.?]+[.?]`)
	volts    = regexp.MustCompile(` \d+ volts$`)
)

// sentences splits what was said, each with the mark that ends it.
func sentences(text string) []string {
	var all []string
	for _, s := range sentence.FindAllString(text, -1) {
		all = append(all, strings.TrimSpace(s))
	}
	return all
}

// number is the number that words begin with, as the job's boards and ways have any.
func number(words, after string) (n int, rest string, ok bool) {
	for n := 20; n > 0; n-- {
		if rest, ok := strings.CutPrefix(words, after+" "+reading.Cardinal(n)); ok && (rest == "" || rest[0] == ' ') {
			return n, strings.TrimPrefix(rest, " "), true
		}
	}
	return 0, words, false
}

// listen takes in what waycall said.
func (l *listener) listen(text string) {
	for _, s := range sentences(text) {
		words := plain(s)
		if n, rest, ok := number(words, "board"); ok {
			if b := l.job.Board(n); b != nil && (rest == "" || rest == plain(b.Name)) {
				if l.at.Board != n {
					l.at = record.Slot{Board: n}
				}
			}
			continue
		}
		if n, rest, ok := number(words, "way"); ok {
			if w := l.job.Way(l.at.Board, n); w != nil && (rest == "" || rest == plain(w.Feeds)) {
				l.at.Way, l.at.Position = n, 0
			}
			continue
		}
		if n, rest, ok := number(words, "switch position"); ok && rest == "" {
			l.at.Position = n
			continue
		}
		switch {
		case words == "the board itself":
			l.at.Way, l.at.Position = 0, 0
			continue
		case words == "nothing more is due" || words == "nothing is due here now":
			l.due = due{kind: "nothing"}
			continue
		}
		if step := asksStep(s); step != "" {
			l.due = due{kind: "step", step: step}
			continue
		}
		if t, ok := l.tests[volts.ReplaceAllString(words, "")]; ok && strings.HasSuffix(s, ".") {
			slot := l.at
			slot.Test = t.Test
			switch {
			case t.Position != 0:
				slot.Position = t.Position
			case !t.Test.Insulation():
				slot.Position, l.at.Position = 0, 0
			}
			l.due = due{kind: "test", slot: slot}
		}
	}
}

// asksStep returns the preparation step that a sentence asks for.
func asksStep(s string) string {
	words := plain(s)
	for step := range steps {
		if strings.HasPrefix(words, "say "+step) || strings.HasSuffix(s, "?") && strings.HasPrefix(words, step) {
			return step
		}
	}
	return ""
}

// readBack reports whether the words read a reading back, and so wait for "confirm".
func readBack(text string) bool {
	if strings.Contains(text, "Confirm?") {
		return true
	}
	return slices.ContainsFunc(sentences(text), func(s string) bool {
		return strings.HasSuffix(s, " pass.") && !strings.HasPrefix(s, "Leads ")
	})
}

// offers reports whether the words ask which of two readings was meant.
func offers(text string) bool {
	return strings.Contains(strings.ToLower(text), "option one")
}

// said is a reading that the electrician gave: where, what, and how far the words
// named the place.
type said struct {
	slot    record.Slot
	written string // as on a schedule, without the unit
	place   bool   // way and test were named
	spec    spec   // the sound that was made
}

// quantity is the reading with its unit.
func (s said) quantity() reading.Quantity {
	q, err := reading.ParseQuantity(s.written, s.slot.Test.Unit())
	if err != nil {
		panic(err) // a mistake in the lists of this package
	}
	return q
}

// short is a test as a brief read-back calls it.
func short(test string) string {
	return strings.NewReplacer(" and ", " ", " to ", " ", " plus ", " ", " switch position ", " position ").Replace(test)
}

// readsBack reports whether the words read back just this reading, at this place.
func (l *listener) readsBack(text string, s said) bool {
	q := s.quantity()
	if l.at.Board != s.slot.Board {
		return false
	}
	spoken := plain(q.Spoken())
	bare := spoken
	for _, unit := range []string{"megohms", "megohm", "ohms", "ohm", "milliseconds", "millisecond", "kiloamps", "kiloamp"} {
		if cut, ok := strings.CutSuffix(spoken, " "+unit); ok {
			bare = cut
			break
		}
	}
	unit := strings.TrimPrefix(spoken, bare)
	over := bare
	if rest, ok := strings.CutPrefix(bare, "greater than "); ok {
		over = "over " + rest
	}
	digits := plain(q.Grouped())
	figures := []string{over, digits} // a brief read-back may go figure by figure
	if rest, ok := strings.CutPrefix(digits, "greater than "); ok {
		figures[1] = "over " + rest
	}
	test := plain(s.slot.Test.Spoken())
	switch {
	case s.slot.Test == reading.Polarity && s.slot.Way == 0:
		test += " of the supply"
	case s.slot.Test == reading.Bonding:
		test += " " + plain(l.job.Board(s.slot.Board).Bonding[s.slot.Position-1])
	}
	tests := []string{test}
	if s.slot.Test.Insulation() && s.slot.Position > 0 {
		tests = append(tests, test+" switch position "+reading.Cardinal(s.slot.Position))
	}
	if s.slot.Test == reading.Bonding {
		tests = append(tests, "bonding")
	}
	bareWay := ""
	if s.slot.Way != 0 {
		bareWay = reading.Cardinal(s.slot.Way) + " "
	}
	whose := s.slot.Place(reading.Cardinal)
	for _, one := range sentences(text) {
		words := plain(one)
		words = strings.TrimPrefix(words, "changed to ")
		if value, ok := strings.CutSuffix(words, " pass"); ok {
			for _, figure := range figures {
				if value == figure && !s.place {
					return true
				}
				for _, t := range tests {
					if brief := short(t); value == t+" "+figure && !s.place || value == brief+" "+figure && !s.place ||
						value == whose+" "+t+" "+figure || value == bareWay+brief+" "+figure {
						return true
					}
				}
			}
		}
		for _, t := range tests {
			if (s.slot.Position == 0 || t != test || s.slot.Test == reading.Bonding) && (words == whose+" "+t+" "+spoken || words == whose+" "+t+" "+digits+unit) {
				return true
			}
		}
	}
	return false
}
