package talk

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/waymark"
)

const (
	paused     = "Paused. Say carry on when you are ready."
	notStored  = "Nothing was stored."
	notLeftOut = "It is not left out."
)

// isolateAgain is said when the supply was put on while it was off.
const isolateAgain = "Isolate and lock off again by your own procedure, then prove dead."

// Used when the electrician goes back to a way after work on it.
const proveAgain = "If it was energised meanwhile, prove dead again by your own procedure."

func way(n int) string { return "way " + waymark.Aloud(n) }

// name is a slot in words: "way two, live to neutral, switch position one".
func (t *turn) name(s record.Slot) string {
	return s.Place(waymark.Aloud) + ", " + t.tested(s)
}

// tested is the test of a slot in words: "bonding, water".
func (t *turn) tested(s record.Slot) string { return s.Spoken(t.s.Record.Job) }

// pendingName is what waits, in words.
func (t *turn) pendingName() string { return t.together(t.s.Record.Pending.Each()) }

// together is what one breath gave, in words.
func (t *turn) together(all []record.Proposal) string {
	switch {
	case len(all) == 1:
		return t.name(all[0].Slot)
	case manyWays(all):
		return t.span(all)
	}
	return way(all[0].Slot.Way) + ", the ends of the ring"
}

// end is a test of a ring's ends without its first word, which goes before all
// of them.
func end(test reading.Test) string { return strings.TrimPrefix(test.Spoken(), "ring ") }

// answers says how a test without a figure is answered, in phrases of the
// grammar.
func answers(test reading.Test) string {
	switch test {
	case reading.RCDButton:
		return "test button works, or test button does not trip"
	case reading.AFDDButton:
		return "a f d d button works, or a f d d button does not trip"
	case reading.RCDHalf:
		return "r c d half times no trip, or r c d half times failed"
	}
	return test.Spoken() + " correct, or " + test.Spoken() + " wrong"
}

// written is what a breath gave, as it is written.
func written(c choice) string {
	var all []string
	for _, p := range c {
		all = append(all, p.quantity.String())
	}
	return english.List(all)
}

// count is n things in words: "three tests".
func count(n int, one, many string) string {
	return reading.Cardinal(n) + " " + english.Plural(n, one, many)
}

// verdict is the result in a few words, with the reason where it is not a pass.
func verdict(v check.Verdict) string {
	switch v.Result {
	case check.Pass:
		return "Pass."
	case check.CannotSay:
		return "Cannot say. " + v.Reason
	}
	return english.Capital(string(v.Result)) + ". " + v.Reason
}

// unit returns the unit of q as it is said.
func unit(q reading.Quantity) string {
	if q.Unit == reading.NoUnit {
		return ""
	}
	words := strings.Fields(q.Spoken())
	return words[len(words)-1]
}

// figure is a quantity as it is said, without its unit.
func figure(q reading.Quantity, doubted bool) string {
	if doubted {
		// Figure by figure: "fifteen" and "fifty" sound alike read back, too.
		return q.Grouped()
	}
	return strings.TrimSpace(strings.TrimSuffix(q.Spoken(), unit(q)))
}

// readBack is what must be heard before a reading can be confirmed. The first
// time it says what to look at where a reading is no pass, and is brief when
// nothing is odd: it then leaves out what was not said but due.
func (t *turn) readBack(first bool) string {
	t.asksWhole = true
	board := ""
	if slot := t.s.Record.Pending.Slot; t.several() && t.s.named != slot.Board {
		if t.s.named = slot.Board; slot.Way != 0 {
			board = "Board " + reading.Cardinal(slot.Board) + ". "
		}
	}
	next, implied := t.implied()
	then := &next
	if !implied || t.asks {
		then = nil
	}
	text := t.readBackAs(then, first, first, false)
	// Three ends of a ring, or twelve ways, can have more to say of than a voice
	// speaks. The question comes last and must be heard.
	if len(board+text) > longest {
		text = t.readBackAs(then, false, false, false)
	}
	if len(board+text) > longest {
		text = t.readBackAs(then, false, false, true)
	}
	return board + text
}

// readBackAs is readBack with advice or without, and, if results is true, with the
// results alone, without their reasons. then is the test whose reading stores what
// waits, or nil when it must be confirmed.
func (t *turn) readBackAs(then *sequence.Due, first, advice, results bool) string {
	p := t.s.Record.Pending
	var words []string
	add := func(format string, args ...any) { words = append(words, fmt.Sprintf(format, args...)) }
	var replaced, kept []string
	all := p.Each()
	for _, one := range all {
		switch old, ok := t.s.Record.Latest(one.Slot); {
		case ok && t.s.Record.Gives(one) == record.AtFull:
			volts, _ := old.Verdict.TestVoltage()
			kept = append(kept, fmt.Sprintf("%s at %v volts", old.Quantity.Spoken(), volts))
		case ok:
			replaced = append(replaced, old.Quantity.Spoken())
		}
	}
	if first && !manyWays(all) && len(replaced)+len(kept) == 0 && p.MayBeImplied() && !t.s.unheard && t.short(readPrompt) {
		t.brisk = len(t.words) == 0 // what is said before it is not known
		t.sounds = append(t.sounds, Passed)
		if len(all) == 1 {
			add("%s", t.readBriefly(*p))
		} else {
			add("%s", t.readEnds(*p))
		}
		if then != nil {
			add("%s", t.wordsOf(*then))
		}
		return strings.Join(words, " ")
	}
	switch {
	case len(all) == 1:
		value := strings.TrimSpace(figure(p.Quantity, p.Doubted) + " " + unit(p.Quantity))
		add("%s, %s. %s", english.Capital(t.name(p.Slot)), value, verdict(p.Verdict))
		if advice && p.Verdict.Result != check.Pass && p.Verdict.Next != "" {
			add("%s", p.Verdict.Next)
		}
	case manyWays(all) && p.Slot.Test.Judged():
		add("%s %s, %s.", english.Capital(p.Slot.Test.Spoken()), p.Quantity.Spoken(), t.ways(all))
		if text := verdicts(all, advice, results); text != "Pass." {
			add("%s", text)
		} else if first {
			t.sounds = append(t.sounds, Passed)
		}
	case manyWays(all):
		add("%s, all %s: %s. %s", english.Capital(t.span(all)), p.Quantity.Spoken(), t.places(all), verdicts(all, advice, results))
	default:
		add("%s. %s %s", english.Capital(way(p.Slot.Way)), t.endsOf(*p), verdicts(all, advice, results))
	}
	if len(replaced) > 0 {
		add("It replaces %s.", english.List(replaced))
	}
	if len(kept) > 0 {
		add("It stands beside %s, from before the equipment was connected.", english.List(kept))
	}
	if then != nil {
		add("Next, %s", english.Lower(t.wordsOf(*then)))
	} else {
		add("Confirm?")
	}
	return strings.Join(words, " ")
}

// endsOf is what one breath gave of a ring: "R one nought point four two, r n nought
// point four two, r two nought point six nine."
func (t *turn) endsOf(p record.Proposal) string {
	var ends []string
	for _, one := range p.Each() {
		ends = append(ends, end(one.Slot.Test)+" "+figure(one.Quantity, p.Doubted))
	}
	return english.Capital(strings.Join(ends, ", ")) + "."
}

// readEnds reads back what one breath gave of a ring, as readBriefly does one figure.
func (t *turn) readEnds(p record.Proposal) string {
	if t.placed[0] {
		return english.Capital(way(p.Slot.Way)) + ". " + t.endsOf(p)
	}
	return t.endsOf(p)
}

// firstThis says that what waits is to be confirmed or dropped before anything else.
func (t *turn) firstThis() {
	t.asks = true
	t.say("First this one.", t.readBack(false))
}

// readBriefly is a reading as it was heard, with the place as far as that was
// said: "Three live earth over nine nine nine." A tone says that it passes. What was
// not said is what is due, which was announced, and so is a test that is answered by
// its own name. There is a comma only between two figures, which would be heard as
// one: it is a quarter of a second.
func (t *turn) readBriefly(p record.Proposal) string {
	var words []string
	value := briefFigure(p.Quantity)
	d, ok := t.due()
	switch announced := ok && d.Step == nil && d.Slot == p.Slot; {
	case t.placed[1] && p.Slot.Test.Judged() && announced && !t.placed[0]:
	case t.placed[1]:
		at := p.Slot
		if announced && at.Test != reading.Bonding {
			at.Position = 0
		}
		if t.placed[0] {
			words = append(words, waymark.Aloud(p.Slot.Way))
		}
		name := briefTest(at.Test, t.tested(at))
		switch last := name[strings.LastIndexByte(name, ' ')+1:]; {
		case last == "one" || last == "two" || last == "times" || at.Position > 0:
			name += ","
		}
		words = append(words, name)
	case t.placed[0]:
		words = append(words, way(p.Slot.Way)) // a bare number would run into the figure
	}
	if len(words) == 0 && t.s.form == inBrief {
		// After a name "one point two" would be another figure.
		value = strings.TrimPrefix(value, "nought ")
	}
	return english.Capital(strings.Join(append(words, value), " ")) + "."
}

// briefTest is a test with its place, as tested has it, without the small words of
// its name, as it is called on site (common practice, no published source): "live
// neutral earth", "r one r two".
func briefTest(test reading.Test, tested string) string {
	name, place := test.Spoken(), strings.TrimPrefix(tested, test.Spoken())
	if test != reading.LL { // "line line" is nothing
		name = strings.NewReplacer(" and ", " ", " to ", " ", " plus ", " ").Replace(name)
	}
	return name + strings.Replace(strings.TrimPrefix(place, ","), " switch position", " position", 1)
}

// briefFigure is a figure as it is said on site: "over nine nine nine", "three seven
// seven", and "two hundred".
func briefFigure(q reading.Quantity) string {
	whole, places, point := strings.Cut(q.Figure(), ".")
	if len(whole) != 3 || strings.HasSuffix(whole, "00") {
		return over(figure(q, false))
	}
	text := reading.Digits(whole, " ")
	if point {
		text += " point " + reading.Digits(places, " ")
	}
	switch q.Bound {
	case reading.GreaterThan:
		return "over " + text
	case reading.LessThan:
		return "less than " + text
	}
	return text
}

// over says "greater than" as it is said on site.
func over(figure string) string {
	if rest, ok := strings.CutPrefix(figure, "greater than "); ok {
		return "over " + rest
	}
	return figure
}

// wordsOf is what is said when d is due, the test or the step that comes next, before
// what waits is stored.
func (t *turn) wordsOf(d sequence.Due) string {
	words := t.words
	t.words = nil
	if d.Step != nil {
		t.ask(d.Board, *d.Step)
	} else {
		t.announceTest(d)
	}
	said := strings.Join(t.words, " ")
	t.words = words
	return said
}

// verdicts says the verdicts on the readings of one breath: one word when all
// pass, otherwise each that does not, with its reason unless results alone are
// wanted, and with advice what to look at for the worst.
func verdicts(all []record.Proposal, advice, results bool) string {
	var words []string
	next, worst := "", check.Pass
	named := map[check.Result][]string{}
	for _, p := range all {
		if p.Verdict.Result == check.Pass {
			continue
		}
		name := end(p.Slot.Test)
		if manyWays(all) {
			name = way(p.Slot.Way)
		}
		named[p.Verdict.Result] = append(named[p.Verdict.Result], name)
		words = append(words, fmt.Sprintf("%s: %s", english.Capital(name), english.Lower(verdict(p.Verdict))))
		if p.Verdict.Result.Severity() > worst.Severity() {
			next, worst = p.Verdict.Next, p.Verdict.Result
		}
	}
	differs := func(p record.Proposal) bool { return p.Verdict.Reason != all[0].Verdict.Reason }
	switch {
	case len(words) == 0:
		return "Pass."
	case manyWays(all) && !slices.ContainsFunc(all, differs):
		words = []string{"Each: " + english.Lower(verdict(all[0].Verdict))}
	case results:
		words = nil
		for _, r := range slices.Backward(check.Results()) { // the most severe first
			if len(named[r]) > 0 {
				words = append(words, fmt.Sprintf("%s: %s.", english.Capital(string(r)), english.List(named[r])))
			}
		}
	}
	if advice && next != "" {
		words = append(words, next)
	}
	return strings.Join(words, " ")
}

// prompt says what is waited for in full.
func (t *turn) prompt() {
	if t.s.Record.Pending != nil {
		t.say(t.readBack(false))
		return
	}
	t.announce()
}

// remind says what is waited for in short. The place announced before is
// forgotten, so that the way is named again.
func (t *turn) remind() {
	t.asksWhole = true
	switch {
	case t.s.dictation != nil:
		t.say(sayNote)
	case t.s.offer != nil:
		t.say(t.offerText())
	case t.s.reason != nil:
		t.say(t.whyText(false))
	default:
		t.s.told = t.s.told.forgotten()
		if slot, ok := t.hand(); ok {
			t.s.taught = slices.DeleteFunc(slices.Clone(t.s.taught), func(x reading.Test) bool { return x == slot.Test })
		}
		t.prompt()
	}
}

// remindPending repeats the reading that waits, if one does, so that a
// "confirm" that comes now is about the words just heard.
func (t *turn) remindPending() {
	if t.s.offer != nil {
		t.say(t.offerText())
	} else if t.s.Record.Pending != nil {
		t.say(t.readBack(false))
	}
}

// announce says what is due, leaving out what has not changed since the last
// announcement.
func (t *turn) announce() {
	t.asksWhole, t.s.stay = true, 0
	d, ok := t.due()
	if !ok {
		t.nothingDue()
		return
	}
	t.nameBoard(d.Board)
	if d.Step != nil {
		t.ask(d.Board, *d.Step)
		return
	}
	t.s.asked = "" // a step that comes again is a new round of work, with its caution
	t.announceTest(d)
}

func (t *turn) announceTest(d sequence.Due) {
	r := &t.s.Record
	test := d.Slot.Test
	w := board.Way{} // of the board itself
	if d.Slot.Way != 0 {
		w = *r.Job.Way(d.Board, d.Slot.Way)
	}
	now := place{d.Board, d.Slot.Way, d.Slot.Position, w.NeutralBar, d.Setup, d.Volts, t.s.told.joint, test}
	was := t.s.told
	all := t.asOne(d)
	if all != nil {
		now.way = 0
	}
	if was.board == now.board && was.way == now.way {
		now.began = was.began
	}
	if d.Slot.Way == 0 || w.NoNeutral {
		now.bar = was.bar
	}
	if !test.Insulation() {
		now.volts = was.volts
	}
	t.s.told = now
	moved := now.board != was.board || now.way != was.way
	if now.setup != was.setup && now.setup != "" && len(r.Job.Tests) != 1 {
		t.say(english.Capital(string(now.setup)) + ".")
	}
	if now.setup == sequence.Megohms && was.setup != now.setup {
		t.sayf("Nobody on a circuit at %v volts. Discharge each after its test.", d.Volts)
	}
	now.joint = t.conductors(d.Slot, was.joint)
	t.s.told.joint = now.joint
	if now.bar != was.bar && severalBars(*r.Job.Board(d.Board)) {
		t.sayf("Neutral bar %s.", w.NeutralBar)
	}
	brief := moved && t.short(testPrompt)
	switch {
	case all != nil || !moved:
	case d.Slot.Way == 0 && t.s.form == inBrief:
	case d.Slot.Way == 0:
		t.say("The board itself.")
	case t.s.form == inBrief || brief && t.nextTo(was, now):
		t.say(english.Capital(way(w.Number)) + ".")
	default:
		t.sayf("%s, %s.", english.Capital(way(w.Number)), w.Feeds)
	}
	if test.Insulation() && now.position > 0 && (moved || now.position != was.position) {
		t.sayf("Switch position %s.", reading.Cardinal(now.position))
	}
	if test.Insulation() && w.Keep500Off != "" {
		t.sayf("Together to earth only, because of %s.", w.Keep500Off)
	}
	if !d.Again {
		switch test {
		case reading.LE, reading.L1E, reading.L1L2, reading.L1N:
			t.say("To find the conductor:")
		}
	}
	said := t.tested(record.Slot{Board: d.Slot.Board, Way: d.Slot.Way, Test: test})
	if d.Slot.Way != 0 && (brief || !moved && t.s.times[testPrompt] == 3 || t.s.form == inBrief) && t.s.form != inFull {
		said = calledBriefly(test, said)
	}
	if test == reading.Bonding {
		said = t.tested(d.Slot)
	}
	if test.Insulation() && (moved && !brief || now.volts != was.volts) {
		said += fmt.Sprintf(", %v volts", d.Volts)
	}
	switch {
	case test == reading.RingR1 && !d.Again && t.asksEnds(d.Slot) && (t.s.form == inBrief || slices.Contains(t.s.taught, test)):
		said = "ring ends"
	case test == reading.RingR1 && !d.Again && t.asksEnds(d.Slot):
		said = "ring r one, r n and r two"
	case all != nil:
		said = test.Spoken() + ", " + t.ways(all)
	case brief && test == was.began && now.setup == was.setup && now.volts == was.volts && now.position == was.position && now.joint == was.joint && w.Keep500Off == "":
		said = "" // another way begins as the one before did
	}
	if said != "" {
		t.say(english.Capital(said) + ".")
	}
	t.teach(test, len(all) > 1)
	if d.Again {
		old, _ := r.Latest(d.Slot)
		t.sayf("It has %s. Read it again, or say carry on to keep it.", old.Quantity.Spoken())
	}
}

// calledBriefly is a test of a way as it is called on site where it has been named in
// full before: "r one r two", "line neutral", "r c d" (common practice, no published
// source).
func calledBriefly(test reading.Test, said string) string {
	switch test {
	case reading.R1R2, reading.RingLN, reading.RingLE:
		return strings.TrimPrefix(briefTest(test, said), "ring ")
	case reading.RCD1x:
		return "r c d"
	}
	return said
}

// asOne is what one question asks of when d is due, as it would be confirmed.
func (t *turn) asOne(d sequence.Due) (all []record.Proposal) {
	for _, slot := range sequence.Together(t.s.Record, d) {
		all = append(all, record.Proposal{Slot: slot})
	}
	return all
}

// nextTo reports whether the way of now is the obvious one after that of was.
func (t *turn) nextTo(was, now place) bool {
	ways := sequence.Order(t.s.Record.Job, now.board)
	i := slices.Index(ways, was.way)
	return was.board == now.board && was.setup == now.setup && i >= 0 && i+1 < len(ways) && ways[i+1] == now.way
}

// asksEnds reports whether all three ends of a ring are still to be read.
func (t *turn) asksEnds(slot record.Slot) bool {
	for _, slot.Test = range [...]reading.Test{reading.RingRn, reading.RingR2} {
		_, stands := t.s.Record.Latest(slot)
		_, out := t.s.Record.LeftOut(slot)
		if stands || out {
			return false
		}
	}
	return true
}

// teach says how a test is answered, the first time that it is due. Who keeps it brief
// knows how a test is answered, but which of several figures is meant is always said.
func (t *turn) teach(test reading.Test, several bool) {
	text, known := "", t.s.form == inBrief
	switch {
	case test == reading.PFC:
		if text = "The greater, of line to neutral and line to earth."; known {
			text, known = "The greater of the two.", false
		}
	case test.Judged() && several:
		right, _, _ := strings.Cut(answers(test), ",")
		text = "Answer, " + right + ", or name a way that fails."
	case test.Judged():
		text = "Answer, " + answers(test) + "."
	case test == reading.RingR1:
		text = "In one breath, or one by one."
	case test == reading.RingLN || test == reading.RingLE:
		test, known = reading.RingLN, false
		text = "With the ends crossed. Give the highest of the points."
	}
	if text == "" || slices.Contains(t.s.taught, test) {
		return
	}
	t.s.taught = append(slices.Clip(t.s.taught), test)
	if !known {
		t.say(text)
	}
}

func severalBars(b board.Board) bool {
	first := ""
	for _, w := range b.Ways {
		switch {
		case w.Spare || w.NeutralBar == "":
		case first == "":
			first = w.NeutralBar
		case w.NeutralBar != first:
			return true
		}
	}
	return false
}

func (t *turn) nothingDue() {
	t.say("Nothing more is due.")
	before := len(t.words)
	t.failing()
	for _, n := range sequence.Boards(t.s.Record.Job) {
		if text := t.skippedDead(n); text != "" {
			t.say(text)
		}
	}
	if p := sequence.Count(t.s.Record); p.Waiting > 0 && len(t.words) == before {
		// Neither a failure nor a skipped dead test: say what it is.
		for _, o := range sequence.NotAsked(t.s.Record) {
			if o.Waiting {
				t.sayf("%s. %s", english.Capital(count(p.Waiting, "test waits", "tests wait")), o.Reason)
				break
			}
		}
	}
	t.undescribed()
	if t.s.form != inBrief {
		t.say("Say finish here to end.")
	}
}

// failing names what fails and how it is taken up again.
func (t *turn) failing() {
	r := t.s.Record
	var names, itself []string
	board, first := 0, 0
	for _, n := range sequence.Boards(r.Job) {
		for _, w := range sequence.Failing(r, n) {
			name := way(w)
			if t.several() {
				name = "board " + reading.Cardinal(n) + " " + name
			}
			if w == 0 {
				itself = append(itself, t.failingOf(n)...)
				continue
			}
			names = append(names, name)
			if first == 0 {
				board, first = n, w
			}
		}
	}
	if len(itself) > 0 {
		t.sayf("%s failed. After work, give the reading again.", english.Capital(english.List(itself)))
	}
	if len(names) == 0 {
		return
	}
	const most = 5
	if len(names) > most {
		names = append(names[:most:most], fmt.Sprintf("%s more", reading.Cardinal(len(names)-most)))
	}
	goes := ""
	if board != t.board() {
		goes = "board " + reading.Cardinal(board) + ", then "
	}
	t.sayf("%s failed. After work, say %stest %s again.", english.Capital(english.List(names)), goes, way(first))
}

// failingOf names the tests of a board itself that fail.
func (t *turn) failingOf(n int) (names []string) {
	for _, x := range t.s.Record.Readings {
		if x.Slot.Board == n && x.Slot.Way == 0 && x.Standing == record.Stands && x.Verdict.Result == check.Fail {
			names = append(names, t.name(x.Slot))
		}
	}
	return names
}

// left says what remains, in how many places, and how long that may take.
func (t *turn) left() {
	r := t.s.Record
	var steps, tests int
	ways, boards := map[[2]int]bool{}, map[int]bool{}
	for _, d := range sequence.Remaining(r) {
		if d.Step != nil {
			steps++
			continue
		}
		tests++
		boards[d.Board] = true
		if d.Slot.Way != 0 {
			ways[[2]int{d.Board, d.Slot.Way}] = true
		}
	}
	if steps > 0 {
		t.sayf("%s of preparation left.", english.Capital(count(steps, "step", "steps")))
	}
	where := count(len(ways), "way", "ways")
	switch {
	case len(ways) == 0:
		where = "the board itself"
	case t.several():
		where += " of " + count(len(boards), "board", "boards")
	}
	if tests == 0 {
		t.say("No tests are left.")
	} else {
		t.sayf("%s left on %s.", english.Capital(count(tests, "test", "tests")), where)
	}
	p := sequence.Count(r)
	if p.LeftOut > 0 {
		t.sayf("%s left out.", english.Capital(count(p.LeftOut, "test was", "tests were")))
	}
	if p.Waiting > 0 {
		t.sayf("%s until work is done.", english.Capital(count(p.Waiting, "test waits", "tests wait")))
	}
}

// pace says how long what is left may take, once the pace is known.
func (t *turn) pace() {
	if took, ok := sequence.Estimate(t.s.Record); ok && took > 0 {
		t.sayf("About %s at your pace.", roughly(took))
	}
}

// roughly says a time no finer than it can be known: minutes under ten, then
// five minutes, then half hours.
func roughly(d time.Duration) string {
	switch m := int(d.Round(time.Minute) / time.Minute); {
	case m <= 1:
		return "a minute"
	case m < 10:
		return reading.Cardinal(m) + " minutes"
	case d < 58*time.Minute:
		return reading.Cardinal((m+2)/5*5) + " minutes"
	}
	switch half := int(d.Round(30*time.Minute) / (30 * time.Minute)); {
	case half == 2:
		return "an hour"
	case half%2 == 0:
		return reading.Cardinal(half/2) + " hours"
	case half == 3:
		return "an hour and a half"
	default:
		return reading.Cardinal(half/2) + " and a half hours"
	}
}

// offerText asks which of two readings was meant. Of the ends of a ring it says
// only those that differ.
func (t *turn) offerText() string {
	t.asksWhole = true
	a, b := t.s.offer[0], t.s.offer[1]
	alike := len(a) == len(b) && a.has(b[0].slot)
	say := func(c, other choice) string {
		var words []string
		for i, p := range c {
			text := p.quantity.Grouped()
			switch {
			case len(c) == 1 && alike:
			case len(c) > 1 && alike && p.quantity.Equal(other[i].quantity):
				continue
			case len(c) > 1:
				text = end(p.slot.Test) + ", " + text
			default:
				text = t.name(p.slot) + ", " + text
			}
			words = append(words, text)
		}
		if len(c) > 1 && !alike {
			return way(c[0].slot.Way) + ", " + strings.Join(words, ", ")
		}
		return strings.Join(words, ", ")
	}
	how := "Say option one, option two, or say it again."
	if t.short(offerPrompt) {
		how = "Option one, or option two?"
	}
	return fmt.Sprintf("%s, or %s? %s", english.Capital(say(a, b)), say(b, a), how)
}
