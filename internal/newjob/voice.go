package newjob

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/waymark"
)

// Voice is the conversation in which the ways of a job's boards are said one by one,
// in the phrases of grammar/setup.gram. It is pure: Begin and Step say what is to be
// spoken, and Job is what came of it. Each way is read back and put on its board by
// "confirm" alone.
type Voice struct {
	Job board.Job // with the ways that were confirmed

	at      int        // the board in hand, by its place
	pending *board.Way // read back and not confirmed
	order   []int      // the numbers of the ways as they were confirmed
	last    string     // said last
}

// NewVoice returns a conversation about the ways of a job, whose boards have none yet.
func NewVoice(job board.Job) *Voice {
	job.Boards = slices.Clone(job.Boards)
	return &Voice{Job: job}
}

// Begin returns what is said first.
func (v *Voice) Begin() string {
	return v.say("Board " + v.board().Name + ". Say each way, such as, way one lighting six amp type b. Then its r c d, such as, r c d thirty type a, and the group that shares it, its cable, c p c and length, if you know them, and confirm. Say finish here at the end.")
}

func (v *Voice) board() *board.Board { return &v.Job.Boards[v.at] }

func (v *Voice) say(words ...string) string {
	v.last = strings.Join(words, " ")
	return v.last
}

// Scope is what may be said: any way of a board.
func (v *Voice) Scope() phrase.Scope {
	s := phrase.Scope{Ways: map[int][]reading.Test{}}
	for n := 1; n <= 99; n++ {
		s.Ways[n] = nil
		for line := 1; line <= waymark.Lines && v.board().Phases == 3; line++ {
			s.Ways[waymark.Of(n, line)] = nil
		}
	}
	return s
}

// kinds are the kinds of circuit that can be said, with what is known of each by its
// name.
var kinds = map[phrase.Command]board.Way{
	"radial":   {Feeds: "Radial circuit", Wiring: board.Radial},
	"ring":     {Feeds: "Ring circuit", Wiring: board.Ring},
	"lighting": {Feeds: "Lighting", Wiring: board.Radial, Use: board.Lighting},
	"cooker":   {Feeds: "Cooker", Wiring: board.Radial},
	"shower":   {Feeds: "Shower", Wiring: board.Radial, Use: board.Fixed},
}

// details are what can be said of a way once it is named.
var details = []phrase.Command{"cable", "cpc", "length", "rcd", "no rcd", "group", "three phase"}

// Step takes a phrase. agreed is false when it is not sure what was said: what is read
// back anyway and waits for "confirm" is then taken with a word about it, and nothing
// else is done. done is true when the last board is finished.
func (v *Voice) Step(m phrase.Meaning, agreed bool) (says string, done bool) {
	_, isWay := kinds[m.Command]
	isWay = isWay || m.Command == "spare"
	if !agreed {
		if isWay || slices.Contains(details, m.Command) {
			says, _ = v.Step(m, true)
			return v.say("I am not sure that I heard this right.", says), false
		}
		return v.say("I am not sure what you said. Say it again.", v.remind()), false
	}
	if isWay {
		return v.way(m, kinds[m.Command]), false
	}
	switch m.Command {
	case phrase.Confirm:
		return v.confirm(), false
	case phrase.No:
		if v.pending == nil {
			return v.say("Nothing waits to be corrected.", v.next()), false
		}
		return v.say("Dropped. Say " + way(v.drop()) + " again."), false
	case phrase.Scratch:
		return v.scratch(), false
	case phrase.SayAgain:
		return v.last, false
	case phrase.Finish:
		return v.finish()
	}
	return v.detail(m), false
}

// way takes a way with its device.
func (v *Voice) way(m phrase.Meaning, kind board.Way) string {
	if v.pending != nil && v.pending.Number != m.Way {
		return v.say("First this one.", v.readBack())
	}
	w := board.Way{Number: m.Way, Spare: true}
	if m.Command != "spare" {
		w = draftWay(m.Way)
		w.Feeds, w.Wiring, w.Use = kind.Feeds, kind.Wiring, kind.Use
		w.Device.Type, w.Device.Rating = m.Code, m.Quantity.Value
	}
	return v.propose(w)
}

// detail takes the cable, the protective conductor or the length of the way in hand.
func (v *Voice) detail(m phrase.Meaning) string {
	if v.pending == nil {
		return v.say("Say the way first.", v.next())
	}
	w := *v.pending
	switch m.Command {
	case "rcd":
		one := board.RCD{Rated: m.Quantity.Value, Type: m.Code}
		if w.Device.RCD != nil {
			one.Group = w.Device.RCD.Group
		}
		w.Device.RCD = &one
	case "no rcd":
		w.Device.RCD = nil
	case "group":
		if w.Device.RCD == nil {
			return v.say("Say its r c d first.", v.readBack())
		}
		one := *w.Device.RCD
		one.Group = m.Code
		w.Device.RCD = &one
	case "three phase":
		w.Phases, w.Phase = 3, ""
	case "cable":
		w.Line = m.Quantity.Value
	case "cpc":
		w.CPC = m.Quantity.Value
	case "length":
		w.Length = m.Quantity.Value
	default:
		return v.say("That cannot be said here.", v.remind())
	}
	if w.Spare {
		return v.say("A spare way has no cable.", v.readBack())
	}
	return v.propose(w)
}

// propose reads a way back if a board can have it.
func (v *Voice) propose(w board.Way) string {
	if err := v.check(w); err != nil {
		return v.say("That cannot be. "+spoken(err), v.remind())
	}
	v.pending = &w
	return v.say(v.readBack())
}

// check judges the job as it would be with w.
func (v *Voice) check(w board.Way) error {
	job := v.Job
	job.Boards = slices.Clone(job.Boards)
	for i := range job.Boards {
		b := &job.Boards[i]
		if b.Ways = slices.Clone(b.Ways); i == v.at {
			b.Ways = with(b.Ways, w)
		}
		if !slices.ContainsFunc(b.Ways, func(w board.Way) bool { return !w.Spare }) { // to be judged by
			b.Ways = with(b.Ways, draftWay(freeNumber(b.Ways)))
		}
	}
	return board.Check(job)
}

func freeNumber(ways []board.Way) int {
	for n := 1; ; n++ {
		if !slices.ContainsFunc(ways, func(w board.Way) bool { return waymark.Place(w.Number) == n }) {
			return n
		}
	}
}

// with returns the ways with w in its place.
func with(ways []board.Way, w board.Way) []board.Way {
	ways = slices.DeleteFunc(slices.Clone(ways), func(x board.Way) bool { return x.Number == w.Number })
	ways = append(ways, w)
	slices.SortFunc(ways, func(a, b board.Way) int { return waymark.Compare(a.Number, b.Number) })
	return ways
}

// spoken is why something cannot be, in a sentence.
func spoken(err error) string {
	text := advice.What(err)
	if p := new(board.Problem); errors.As(err, &p) {
		text = p.What // the first of them, without its place in a file
	}
	return english.Capital(text) + "."
}

func way(n int) string { return "way " + waymark.Aloud(n) }

// readBack says the way that waits.
func (v *Voice) readBack() string {
	w := v.pending
	if w.Spare {
		return fmt.Sprintf("Way %s, spare. Confirm?", waymark.Aloud(w.Number))
	}
	text := fmt.Sprintf("Way %s, %s, %s amp type %s", waymark.Aloud(w.Number), strings.ToLower(w.Feeds), reading.Number(w.Device.Rating), w.Device.Type)
	if w.Phases == 3 {
		text += ", three phase"
	}
	text += ", " + spokenRCD(w.Device.RCD)
	if w.Line != 0 {
		text += ", cable " + reading.Number(w.Line)
	}
	if w.CPC != 0 {
		text += ", c p c " + reading.Number(w.CPC)
	}
	if w.Length != 0 {
		text += ", " + reading.Number(w.Length) + " metres"
	}
	if old := v.board().Way(w.Number); old != nil {
		text += ". It replaces what was said before"
	}
	return text + ". Confirm?"
}

// spokenRCD says the residual current device of a way, or that it has none.
func spokenRCD(r *board.RCD) string {
	if r == nil {
		return "no r c d"
	}
	text := "r c d " + reading.Number(r.Rated) + " type " + r.Type
	if r.Group != "" {
		text += ", group " + r.Group
	}
	return text
}

// remind says what is waited for.
func (v *Voice) remind() string {
	if v.pending != nil {
		return v.readBack()
	}
	return v.next()
}

// next asks for the way after the last.
func (v *Voice) next() string {
	n := 1
	if len(v.order) > 0 {
		n = min(v.order[len(v.order)-1]+1, 99)
	}
	return fmt.Sprintf("Way %s?", waymark.Aloud(n))
}

func (v *Voice) confirm() string {
	if v.pending == nil {
		return v.say("There is nothing to confirm.", v.next())
	}
	b := v.board()
	b.Ways = with(b.Ways, *v.pending)
	v.order = append(slices.DeleteFunc(v.order, func(n int) bool { return n == v.pending.Number }), v.pending.Number)
	v.pending = nil
	return v.say(v.next())
}

// drop forgets the way that waits and returns its number.
func (v *Voice) drop() int {
	n := v.pending.Number
	v.pending = nil
	return n
}

// scratch takes back what waits, or else the way that was confirmed last.
func (v *Voice) scratch() string {
	switch {
	case v.pending != nil:
		return v.say("Scratched. Say " + way(v.drop()) + " again.")
	case len(v.order) == 0:
		return v.say("There is nothing to take back.", v.next())
	}
	n := v.order[len(v.order)-1]
	v.order = v.order[:len(v.order)-1]
	b := v.board()
	b.Ways = slices.DeleteFunc(slices.Clone(b.Ways), func(w board.Way) bool { return w.Number == n })
	return v.say(fmt.Sprintf("Way %s is taken out.", waymark.Aloud(n)), v.next())
}

// finish ends the board in hand, and the whole with the last of them.
func (v *Voice) finish() (says string, done bool) {
	b := v.board()
	switch {
	case v.pending != nil:
		return v.say("First this one.", v.readBack()), false
	case !slices.ContainsFunc(b.Ways, func(w board.Way) bool { return !w.Spare }):
		return v.say("There is no way to test on this board yet.", v.next()), false
	case v.at+1 < len(v.Job.Boards):
		v.at, v.order = v.at+1, nil
		return v.Begin(), false
	}
	return v.say(fmt.Sprintf("Finished, %s ways.", reading.Cardinal(len(b.Ways)))), true
}
