package talk

import (
	"fmt"
	"slices"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

const (
	paused     = "Paused. Say carry on when you are ready."
	notStored  = "Nothing was stored."
	chooseText = "Say the first, the second, or say it again."
	notLeftOut = "It is not left out."
	whyText    = "What is the reason? Such as no access, or equipment connected."
)

// Used when the electrician goes back to a way after work on it.
const proveAgain = "If it was energised meanwhile, prove dead again by your own procedure."

func way(n int) string { return "way " + reading.Cardinal(n) }

// capital begins a sentence.
func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// named is a slot in words: "way two, live to neutral, switch position one".
func named(s record.Slot) string {
	text := way(s.Way) + ", " + s.Test.Spoken()
	if s.Way == 0 {
		text = "board " + reading.Cardinal(s.Board) + ", " + s.Test.Spoken()
	}
	if s.Position > 0 {
		text += ", switch position " + reading.Cardinal(s.Position)
	}
	return text
}

func count(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	return reading.Cardinal(n) + " " + many
}

// list joins items as in speech: "a, b and c".
func list(items []string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	return strings.Join(items[:len(items)-1], ", ") + " and " + items[len(items)-1]
}

// verdict is the result in a few words, with the reason where it is not a pass.
func verdict(v check.Verdict) string {
	switch v.Result {
	case check.Pass:
		return "Pass."
	case check.CannotSay:
		return "Cannot say. " + v.Reason
	}
	return capital(string(v.Result)) + ". " + v.Reason
}

// unit returns the unit of q as it is said.
func unit(q reading.Quantity) string {
	words := strings.Fields(q.Spoken())
	return words[len(words)-1]
}

// readBack is what must be heard before a reading can be confirmed.
func (t *turn) readBack() string {
	p := t.s.Record.Pending
	value := p.Quantity.Spoken()
	if p.EventID == t.s.doubted {
		// Figure by figure: "fifteen" and "fifty" sound alike read back, too.
		value = p.Quantity.Grouped() + " " + unit(p.Quantity)
	}
	text := fmt.Sprintf("%s, %s. %s", capital(named(p.Slot)), value, verdict(p.Verdict))
	if old, ok := t.s.Record.Latest(p.Slot); ok {
		text += fmt.Sprintf(" It replaces %s.", old.Quantity.Spoken())
	}
	return text + " Confirm?"
}

// prompt says what is waited for in full.
func (t *turn) prompt() {
	if t.s.Record.Pending != nil {
		t.say(t.readBack())
		return
	}
	t.announce()
}

// remind says what is waited for in short. The place announced before is
// forgotten, so that the way is named again.
func (t *turn) remind() {
	switch {
	case t.s.offer != nil:
		t.say(t.offerText())
	case t.s.reason != nil:
		t.say(whyText)
	default:
		t.s.told = place{bar: t.s.told.bar, volts: t.s.told.volts}
		t.prompt()
	}
}

// remindPending repeats the reading that waits, if one does, so that a
// "confirm" that comes now is about the words just heard.
func (t *turn) remindPending() {
	if t.s.offer != nil {
		t.say(t.offerText())
	} else if t.s.Record.Pending != nil {
		t.say(t.readBack())
	}
}

// announce says what is due, leaving out what has not changed since the last
// announcement.
func (t *turn) announce() {
	d, ok := sequence.Next(t.s.Record)
	switch {
	case !ok:
		t.nothingDue()
	case d.Step != nil:
		t.ask(*d.Step)
	default:
		t.announceTest(d)
	}
}

func (t *turn) ask(step sequence.Step) {
	if t.s.asked == step.ID {
		t.say(step.Brief)
		return
	}
	t.s.asked = step.ID
	if step.Caution != "" {
		t.say(step.Caution)
	}
	t.say(step.Question)
}

func (t *turn) announceTest(d sequence.Due) {
	r := &t.s.Record
	w := r.Job.Way(d.Board, d.Slot.Way)
	if w == nil { // a test of the board itself
		t.say(capital(named(d.Slot)) + ".")
		return
	}
	now := place{d.Board, d.Slot.Way, d.Slot.Position, w.NeutralBar, d.Volts}
	was := t.s.told
	t.s.told = now
	if now.bar != was.bar && severalBars(*r.Job.Board(d.Board)) {
		t.sayf("Neutral bar %s.", w.NeutralBar)
	}
	if now.board != was.board || now.way != was.way {
		t.sayf("%s, %s.", capital(way(w.Number)), w.Feeds)
	}
	if now.position != was.position && now.position > 0 || (now.board != was.board || now.way != was.way) && now.position > 0 {
		t.sayf("Switch position %s.", reading.Cardinal(now.position))
	}
	if w.Keep500Off != "" {
		t.sayf("Together to earth only, because of %s.", w.Keep500Off)
	}
	if d.Slot.Test == reading.LE && !d.Again {
		t.say("To find the conductor:")
	}
	test := capital(d.Slot.Test.Spoken())
	if (now.board != was.board || now.way != was.way) || now.volts != was.volts {
		test += fmt.Sprintf(", %v volts", d.Volts)
	}
	t.say(test + ".")
	if d.Again {
		old, _ := r.Latest(d.Slot)
		t.sayf("It has %s. Read it again, or say carry on to keep it.", old.Quantity.Spoken())
	}
}

func severalBars(b board.Board) bool {
	for _, w := range b.Ways {
		if !w.Spare && w.NeutralBar != b.Ways[0].NeutralBar && !b.Ways[0].Spare {
			return true
		}
	}
	return false
}

func (t *turn) nothingDue() {
	t.say("Nothing more is due.")
	t.failing()
	t.say("Say finish here to end.")
}

// failing names the ways that fail and how they are taken up again.
func (t *turn) failing() {
	ways := slices.DeleteFunc(sequence.Failing(t.s.Record, t.s.Record.Board), func(n int) bool { return n == 0 })
	if len(ways) == 0 {
		return
	}
	var names []string
	for _, n := range ways {
		names = append(names, way(n))
	}
	t.sayf("%s failed. After work, say test %s again.", capital(list(names)), way(ways[0]))
}

// left says what remains in a sentence.
func (t *turn) left() {
	r := t.s.Record
	var steps, tests int
	ways := map[[2]int]bool{}
	for _, d := range sequence.Remaining(r) {
		if d.Step != nil {
			steps++
			continue
		}
		tests++
		ways[[2]int{d.Board, d.Slot.Way}] = true
	}
	if steps > 0 {
		t.sayf("%s of preparation left.", capital(count(steps, "step", "steps")))
	}
	if tests == 0 {
		t.say("No tests are left.")
	} else {
		t.sayf("%s left on %s.", capital(count(tests, "test", "tests")), count(len(ways), "way", "ways"))
	}
	p := sequence.Count(r)
	if p.LeftOut > 0 {
		t.sayf("%s left out.", capital(count(p.LeftOut, "test was", "tests were")))
	}
	if p.Waiting > 0 {
		t.sayf("%s until work is done.", capital(count(p.Waiting, "test waits", "tests wait")))
	}
}

func (t *turn) offerText() string {
	a, b := t.s.offer.choices[0], t.s.offer.choices[1]
	first, second := a.quantity.Grouped(), b.quantity.Grouped()
	if a.slot != b.slot {
		first, second = named(a.slot)+", "+first, named(b.slot)+", "+second
	}
	return fmt.Sprintf("%s, or %s? %s", capital(first), second, chooseText)
}
