// Package show says what a screen shows of a job at one look: the place and the
// test that are due, the last reading with its verdict, and what is left. It is
// worked out from the facts alone, as package record folds them. The full screen of
// the terminal (fullscreen) and the live page in the browser (web/live) are drawn from it.
//
// Its texts may hold anything that a board file or a voice put there; who draws them
// makes them harmless.
package show

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/printable"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/waymark"
	"waycall/internal/words"
)

// Facts is what is shown of a job.
type Facts struct {
	Job    string // reference
	Board  int    // the board in hand
	Name   string // of that board
	Boards []Board

	Place string // shown largest: the way as it is marked (1L2), B and the board's number, END, or nothing before there is a job
	Label string // what Place is, in capitals
	Feeds string // what the way feeds, or the board's name
	Due   string // the test or the question in words
	With  string // set-up and test voltage, or what is waited for

	// Options are the readings that a phrase may have given, in the order in which they
	// were offered, while it is asked which was meant. Nothing else matters then.
	Options []Option

	Last *Last // nil before the first reading

	// Tally is what stands on the schedule, the gravest first, once nothing is left to
	// ask or the work is finished: then no single reading speaks for the job.
	Tally []Count

	Tests, Steps int // left
	Done, All    int // tests; Done is Recorded and LeftOut
	Recorded     int // tests with a reading that stands
	LeftOut      int // tests that were left out
	Waiting      int // tests that wait for work on what failed
	// Estimate is how long the rest may take; where Estimated is false it says nothing.
	Estimate  time.Duration
	Estimated bool // Estimate says something
}

// Board is how far the work on one board is.
type Board struct {
	Number int
	Name   string
	Left   int // steps and tests
}

// Option is one of several readings to choose from.
type Option struct {
	Place string // the way, or B and the board's number
	Text  string // 350 MΩ; the tests with it where there are several
}

// Verdict is a result as a page shows it: a word, and how it is coloured (pass, look, fail,
// or out for what was left out).
func Verdict(r check.Result) (word, class string) {
	switch r {
	case check.Pass:
		return "PASS", "pass"
	case check.Investigate:
		return "LOOK INTO IT", "look"
	case check.Fail:
		return "FAIL", "fail"
	case check.CannotSay:
		return "CANNOT SAY", "look"
	case "":
		return "LEFT OUT", "out"
	}
	return "", "" // of a later version
}

// Longest is how many characters of a text a page shows: more is nobody's speech.
const Longest = 240

// Short makes a text from a board file or a voice fit for one line of a page.
func Short(text string) string { return printable.Line(printable.Cut(text, Longest)) }

// Count is how many tests ended alike.
type Count struct {
	N      int
	Result check.Result // "" for those that were left out
}

// Last is the reading that waits for "confirm", or else the last one that was
// confirmed, whether or not it still stands. Of several that were given in one breath
// it is the one to look at first.
type Last struct {
	Waits   bool   // it is read back and not confirmed
	Place   string // whose it is, as in Facts.Place: the way, or B and the board's number
	Gone    string // why it no longer stands: TAKEN OFF, REPLACED, BEFORE WORK; "" while it does
	Where   string // way and test in words
	Figure  string // >999, 0.47, CORRECT
	Unit    string // MΩ, Ω, or nothing
	Others  string // all of the same breath, where there are several
	Result  check.Result
	Because string // the reason of the verdict, a sentence
}

// Of returns what is shown of a job in state s.
func Of(s record.State) Facts {
	f := Facts{Job: s.Job.Reference, Board: s.Board}
	if s.Sessions == 0 {
		f.Label = "NO JOB YET"
		return f
	}
	due, any := sequence.Next(s)
	switch {
	case s.Pending != nil:
		each := s.Pending.Each()
		f.at(s, each[worst(each)].Slot) // whose verdict it is
		f.With = "Read back. Say confirm, or correct it."
	case !any:
		f.Place, f.Label, f.Due = "END", "NOTHING LEFT TO ASK", "Say finish here, or name a way to go back to."
	case due.Step != nil:
		f.Board = due.Board
		f.Place, f.Label, f.Feeds = fmt.Sprintf("B%d", due.Board), "BEFORE THE DEAD TESTS", nameOf(s, due.Board)
		if due.Step.Live {
			f.Label = "BEFORE THE LIVE TESTS"
		}
		if due.Step.Back != "" {
			f.Label = "TO BE PUT BACK"
		}
		f.Due = due.Step.Brief
	default:
		f.at(s, due.Slot)
		f.With = string(due.Setup)
		if due.Volts > 0 {
			f.With += fmt.Sprintf(", %g V, at least %g MΩ", due.Volts, due.Least)
		}
	}
	f.Name = nameOf(s, f.Board)
	left := map[int]int{}
	for _, d := range sequence.Remaining(s) {
		if left[d.Board]++; d.Step != nil {
			f.Steps++
		} else {
			f.Tests++
		}
	}
	for _, b := range s.Job.Boards {
		f.Boards = append(f.Boards, Board{b.Number, b.Name, left[b.Number]})
	}
	n := sequence.Count(s)
	f.Done, f.All, f.Waiting = n.Recorded+n.LeftOut, n.Tests, n.Waiting
	f.Recorded, f.LeftOut = n.Recorded, n.LeftOut
	f.Estimate, f.Estimated = sequence.Estimate(s)
	f.Last, f.Options = lastOf(s), optionsOf(s)
	if s.Pending == nil && (!any || s.Finished) {
		f.Tally, f.Last = tallyOf(s, n.LeftOut), nil
	}
	return f
}

// optionsOf is what a phrase may have given, in print.
func optionsOf(s record.State) (all []Option) {
	var first record.Slot
	alike := true // all are for one place, so that the figures alone tell them apart
	for i, each := range s.Offers {
		if len(each) == 0 {
			return nil
		}
		if i == 0 {
			first = each[0].Slot
		}
		alike = alike && len(each) == 1 && each[0].Slot == first
	}
	for _, each := range s.Offers {
		var words []string
		for _, o := range each {
			text := strings.TrimSpace(Figure(o.Quantity) + " " + Unit(o.Quantity.Unit))
			if !alike {
				text = InWords(s, o.Slot) + " " + text
			}
			words = append(words, text)
		}
		all = append(all, Option{placeOf(each[0].Slot), strings.Join(words, ", ")})
	}
	return all
}

// tallyOf counts what stands.
func tallyOf(s record.State, leftOut int) (all []Count) {
	n := map[check.Result]int{}
	for _, r := range s.Readings {
		if r.Standing == record.Stands {
			n[r.Verdict.Result]++
		}
	}
	for _, r := range slices.Backward(check.Results()) {
		if n[r] > 0 {
			all = append(all, Count{n[r], r})
		}
	}
	if leftOut > 0 {
		all = append(all, Count{leftOut, ""})
	}
	return all
}

// placeOf is a place as it is shown largest.
func placeOf(slot record.Slot) string {
	if slot.Way == 0 {
		return fmt.Sprintf("B%d", slot.Board)
	}
	return waymark.Print(slot.Way)
}

// at shows a test.
func (f *Facts) at(s record.State, slot record.Slot) {
	f.Board = slot.Board
	f.Due = InWords(s, slot)
	if slot.Way == 0 {
		f.Place, f.Label, f.Feeds = placeOf(slot), "THE BOARD ITSELF", nameOf(s, slot.Board)
		return
	}
	f.Place, f.Label = placeOf(slot), "WAY"
	if w := s.Job.Way(slot.Board, slot.Way); w != nil {
		f.Feeds = w.Feeds
	}
}

// where is a place with its test, as it is said: "way 3, Live to neutral".
func where(s record.State, slot record.Slot) string {
	return slot.Place(waymark.Print) + ", " + InWords(s, slot)
}

// InWords is a test as it is said, with what tells it from others of its kind.
func InWords(s record.State, slot record.Slot) string {
	if !slot.Test.Known() {
		return string(slot.Test) // an identity, in which a capital is another test
	}
	return english.Capital(slot.Spoken(s.Job))
}

func nameOf(s record.State, board int) string {
	if b := s.Job.Board(board); b != nil {
		return b.Name
	}
	return ""
}

// AtPlace is a place as it is shown largest, in words: "way 6", "board 1".
func AtPlace(place string) string {
	if n, ok := strings.CutPrefix(place, "B"); ok {
		return "board " + n
	}
	return "way " + place
}

// worst is which of several readings is to be looked at first.
func worst(each []record.Proposal) int {
	at := 0
	for i, p := range each {
		if p.Verdict.Result.Severity() > each[at].Verdict.Result.Severity() {
			at = i
		}
	}
	return at
}

// gone is how it is shown that a reading no longer stands.
var gone = map[record.Standing]string{record.Replaced: "REPLACED", record.TakenOff: "TAKEN OFF", record.BeforeWork: "BEFORE WORK", record.AtFull: "AT FULL VOLTAGE"}

func lastOf(s record.State) *Last {
	var each []record.Proposal
	var standing []record.Standing
	if s.Pending != nil {
		each = s.Pending.Each()
		standing = slices.Repeat([]record.Standing{record.Stands}, len(each))
	} else if n := len(s.Readings); n > 0 {
		for _, r := range s.Readings { // all that were confirmed with the last
			if r.ConfirmedID == s.Readings[n-1].ConfirmedID {
				each, standing = append(each, r.Proposal), append(standing, r.Standing)
			}
		}
	}
	if len(each) == 0 {
		return nil
	}
	at := worst(each)
	var all []string
	for _, p := range each {
		all = append(all, string(p.Slot.Test)+" "+Figure(p.Quantity)+" "+Unit(p.Quantity.Unit))
	}
	p := each[at]
	l := &Last{
		Waits: s.Pending != nil, Place: placeOf(p.Slot), Where: where(s, p.Slot), Gone: gone[standing[at]],
		Figure: Figure(p.Quantity), Unit: Unit(p.Quantity.Unit), Result: p.Verdict.Result, Because: p.Verdict.Reason,
	}
	if len(each) > 1 {
		l.Others = strings.Join(all, ", ")
	}
	return l
}

// Figure is a quantity as it is shown large: >999, 0.47, or CORRECT.
func Figure(q reading.Quantity) string {
	switch {
	case q.Unit == reading.NoUnit && q.Equal(reading.Correct):
		return "CORRECT"
	case q.Unit == reading.NoUnit:
		return "WRONG"
	case q.Bound == reading.Exactly:
		return q.Figure()
	}
	return string(q.Bound) + q.Figure()
}

// Unit is a unit as it is written: MΩ, Ω, ms, or nothing.
func Unit(u reading.Unit) string { return words.Unit(string(u)) }
