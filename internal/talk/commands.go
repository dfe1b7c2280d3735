package talk

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

func (t *turn) heard(e Heard) {
	r := &t.s.Record
	if r.Sessions == 0 || r.Finished {
		return
	}
	if r.Paused && !(e.Phrase.Agreed && e.Meaning.Command == phrase.CarryOn) {
		return // talk in a pause is not for us: neither answered nor kept
	}
	if !t.takes(record.Event{Kind: record.Heard, Phrase: &e.Phrase}) {
		return
	}
	if !e.Phrase.Agreed {
		t.disputed(e)
		return
	}
	t.meaning(e.Meaning)
}

// takes begins to answer a phrase or a tap, which is kept in the record. It reports whether
// what was meant by it counts.
func (t *turn) takes(kept record.Event) bool {
	r, dictating := &t.s.Record, t.s.dictation != nil
	t.s.quiet, t.s.missed, t.s.dictation = 0, 0, nil
	t.paced = r.Manner.Pace
	t.fact(kept)
	if kept.Kind == record.Heard {
		t.heardID = r.LastID
	}
	t.offered = t.s.offer != nil
	t.asked, t.s.greater = t.s.greater, nil
	if dictating && r.Pending != nil {
		// The note was asked for last, so "confirm" cannot be about the reading.
		t.say("No note was made.")
		t.remindPending()
		return false
	}
	return true
}

// meaning acts on a phrase that was heard for certain, or on a tap.
func (t *turn) meaning(m phrase.Meaning) {
	m, ok := t.inFull(m)
	if !ok || t.asksAgain(m) {
		return
	}
	if t.s.offer != nil && t.choose(m) {
		return
	}
	if t.s.reason != nil && t.reasoned(m) {
		return
	}
	r := &t.s.Record
	if r.Pending != nil && leavesPending(m.Command) {
		t.firstThis()
		return
	}
	switch m.Command {
	case "":
		t.value(m)
	case phrase.Confirm:
		if m.Near && !t.casually() {
			return
		}
		t.confirm()
	case phrase.No:
		t.no(m)
	case phrase.OnlyBound, phrase.OnlyWay, phrase.OnlyTest:
		t.repair(m)
	case phrase.Replace:
		t.reading(m, false)
	case phrase.Several:
		t.reading(m, true)
	case phrase.Undo:
		t.undo(m)
	case phrase.Same:
		t.same()
	case phrase.Scratch:
		t.scratch()
	case phrase.SayAgain, phrase.SayAgainSlow:
		t.again(m.Command == phrase.SayAgainSlow)
	case phrase.Slower, phrase.Faster:
		t.speed(m.Command)
	case phrase.Brief, phrase.InFull:
		t.wording(m.Command)
	case phrase.EnergisedAgain:
		t.energisedAgain()
	case phrase.WhatsNext:
		t.remind()
	case phrase.WhatsLeft:
		t.left()
		t.pace()
		t.failing()
		t.remindPending()
	case phrase.WhatCanISay:
		t.options()
	case phrase.Skip:
		t.leaveOut(record.NotMade, m.Reason)
	case phrase.NotApplicable:
		t.leaveOut(record.NotApplicable, m.Reason)
	case phrase.NotVerified:
		t.leaveOut(record.NotVerified, m.Reason)
	case phrase.Limitation, phrase.NotPossible:
		t.leaveOut(record.Limitation, m.Reason)
	case phrase.GoBack:
		t.goBack()
	case phrase.GoTo:
		t.goTo(m.Way)
	case phrase.ReadBack:
		t.readWay(m.Way)
		t.remindPending()
	case phrase.TestAgain:
		t.testAgain(m.Way)
	case phrase.Pause:
		t.s.offer, t.s.reason = nil, nil
		t.follows(record.Event{Kind: record.Paused})
		t.say(paused)
	case phrase.CarryOn:
		t.carryOn()
	case phrase.Finish:
		if m.Near && !t.allDone() {
			return
		}
		t.finish()
	case phrase.Note:
		t.note()
	case phrase.Observation:
		t.observation(m)
	case phrase.Told:
		t.told(m.Reason)
	case phrase.First, phrase.Second:
		t.say("There is nothing to choose from.")
		t.remind()
	case phrase.Reason:
		t.say("No reason was asked for.")
		t.remind()
	case phrase.Correct, phrase.Incorrect:
		t.reading(m, false)
	case phrase.GoToBoard:
		t.goToBoard(cmp.Or(m.Board, r.Job.Named(m.Named)))
	case phrase.DeadTestsComplete, phrase.ReadyForLive:
		t.toLive(m)
	default:
		t.answer(m)
	}
}

// leavesPending reports whether a command would go away from a reading that
// waits to be confirmed.
func leavesPending(c phrase.Command) bool {
	switch c {
	case phrase.Skip, phrase.NotApplicable, phrase.NotVerified, phrase.Limitation, phrase.NotPossible, phrase.GoBack, phrase.GoTo, phrase.GoToBoard, phrase.TestAgain,
		phrase.DeadTestsComplete, phrase.ReadyForLive:
		return true
	}
	return false
}

// leavesQuestion reports whether a command is answered beside a question, which stays.
func leavesQuestion(c phrase.Command) bool {
	switch c {
	case phrase.WhatsLeft, phrase.WhatCanISay, phrase.ReadBack, phrase.Note, phrase.Observation, phrase.Told, phrase.Slower, phrase.Faster, phrase.Brief, phrase.InFull:
		return true
	}
	return false
}

// choose takes the answer to an offer. It reports false when the phrase is
// something else, for which the offer is then withdrawn.
func (t *turn) choose(m phrase.Meaning) bool {
	o := t.s.offer
	switch m.Command {
	case phrase.First, phrase.Second:
		t.s.offer = nil
		n := 0
		if m.Command == phrase.Second {
			n = 1
		}
		t.propose(o[n], true)
		return true
	case phrase.Confirm:
		// Of two readings neither can be confirmed, nor can one that waited
		// before them.
		t.say("Which one?", t.offerText())
		return true
	case phrase.SayAgain, phrase.SayAgainSlow, phrase.WhatsNext:
		t.slow = m.Command == phrase.SayAgainSlow
		t.say(t.offerText())
		return true
	case phrase.Correct, phrase.Incorrect:
		t.s.offer = nil
		t.reading(m, true)
		return true
	case phrase.No, "":
		t.s.offer = nil
		if m.HasValue() {
			// "No, four six", or the value said again: it belongs where both
			// offered readings do, if they are for one place.
			m.Command = ""
			if a, b := o[0], o[1]; len(a)+len(b) == 2 && a[0].slot == b[0].slot && m.Way == 0 && m.Test == "" {
				m.Way, m.Test = a[0].slot.Way, a[0].slot.Test
			}
			t.reading(m, true)
			return true
		}
		t.say("Neither, then. Say it again.")
		t.remind()
		return true
	}
	if !leavesQuestion(m.Command) { // otherwise the offer stays and is repeated
		t.s.offer = nil
	}
	return false
}

// reasoned takes the answer to "what is the reason?". It reports false when the
// phrase is something else, which then stands for itself.
func (t *turn) reasoned(m phrase.Meaning) bool {
	ask := *t.s.reason
	switch m.Command {
	case phrase.Reason:
		t.s.reason = nil
		t.omit(ask, m.Reason)
		return true
	case phrase.Confirm, phrase.SayAgain, phrase.SayAgainSlow, phrase.WhatsNext:
		t.slow = m.Command == phrase.SayAgainSlow
		t.say(t.whyText(false))
		return true
	case phrase.No, phrase.Scratch:
		t.s.reason = nil
		if m.HasValue() {
			return false
		}
		if m.Command == phrase.No && ask.why != "" {
			ask.who = "agreed with nobody"
			t.omit(ask, "")
			return true
		}
		t.say(notLeftOut)
		t.remind()
		return true
	}
	if leavesQuestion(m.Command) {
		return false
	}
	t.s.reason = nil
	t.say(notLeftOut)
	return false
}

func (t *turn) value(m phrase.Meaning) {
	if !m.HasValue() {
		t.say("That has no reading.")
		t.remind()
		return
	}
	if t.bounded(m) {
		return
	}
	// "Leads joined?" may be answered by the figure alone.
	if step, ok := t.dueStep(); ok && step.Unit != "" && m.Way == 0 && m.Test == "" && t.s.Record.Pending == nil {
		t.leads(t.board(), step, m)
		return
	}
	t.reading(m, false)
}

func (t *turn) confirm() {
	if t.s.Record.Pending == nil {
		t.say("There is nothing to confirm.")
		t.remind()
		return
	}
	t.s.stay = 0
	if at, told := t.s.Record.Pending.Slot, t.s.told; at.Board != told.board || at.Way != told.way || at.Test.Insulation() && at.Position != told.position {
		// After a reading of another place, the one that is due is named in full.
		t.s.told = told.forgotten()
	}
	whole, how := t.s.Record.Pending.Slot, record.How("")
	if t.byKey {
		how = record.ByKey
	}
	t.follows(t.confirmed(how))
	if !t.short(storedPrompt) {
		t.say("Stored.")
	}
	t.byTheBoard(whole)
	t.announce()
}

func (t *turn) no(m phrase.Meaning) {
	board, step, leads := t.lastLeads()
	switch {
	case m.HasValue() && t.s.Record.Pending == nil && leads:
		t.leads(board, step, m)
	case m.HasValue() && t.s.Record.Pending == nil:
		t.repair(m)
	case m.HasValue():
		t.reading(m, false)
	case t.s.Record.Pending == nil:
		t.say("Nothing waits to be corrected.")
		t.remind()
	default:
		why := "not right"
		if t.byKey {
			why = "not right, by the key"
		}
		t.follows(record.Event{Kind: record.Dropped, Reason: why})
		t.say("Dropped.")
		t.remind()
	}
}

// scratch takes back the pending reading, or else the last thing done: a
// reading is withdrawn, an answer to a preparation step taken back, a test left
// out is due again.
func (t *turn) scratch() {
	r := &t.s.Record
	if r.Pending != nil {
		t.follows(record.Event{Kind: record.Dropped, Reason: "scratched"})
		t.say("Scratched.")
		t.remind()
		return
	}
	var readingID, answerID, skipID int64
	last, _ := r.Last()
	readingID = last.ConfirmedID
	var answer record.Answer
	for _, a := range r.Answers {
		if a.Ended == 0 {
			answer, answerID = a, a.EventID
		}
	}
	var skip record.Skip
	for _, k := range r.Skips {
		if k.Ended == 0 {
			skip, skipID = k, k.EventID
		}
	}
	t.s.stay = 0
	if t.scratchNote(max(readingID, answerID, skipID)) {
		t.remind()
		return
	}
	switch max(readingID, answerID, skipID) {
	case 0:
		t.say("There is nothing to take back.")
	case readingID:
		t.withdraw(func(x record.Reading) bool { return x.ConfirmedID == readingID })
	case answerID:
		t.unanswer(answer)
	case skipID:
		t.takeBack(skip)
	}
	t.remind()
}

// unanswer takes an answer to a preparation step back. That the supply was put on
// stays, and so it does when the board was answered ready for live tests: whether
// it was put on then is not known, so proving dead is due again.
func (t *turn) unanswer(a record.Answer) {
	if a.Step == sequence.EnergisedAgain {
		t.say("That is not taken back.", isolateAgain)
		return
	}
	step := sequence.Step{ID: a.Step}
	for _, s := range sequence.Steps(t.s.Record.Job, a.Board) {
		if s.ID == a.Step {
			step = s
		}
	}
	e := step.TakeBack(a.Board, "scratched")
	if a.Way != 0 {
		e.Slot = &record.Slot{Board: a.Board, Way: a.Way}
	}
	t.follows(e)
	t.sayf("The answer %s is taken back.", a.Step)
	if a.Step == sequence.ReadyForLive && t.energise("the answer ready for live tests was taken back") {
		t.say(proveAgain)
	}
	t.s.asked = ""
}

// withdraw takes readings that were stored together off the schedule.
func (t *turn) withdraw(which func(record.Reading) bool) {
	var all []record.Proposal
	for _, x := range t.s.Record.Readings {
		if x.Standing == record.Stands && which(*x) {
			t.follows(record.Event{Kind: record.Withdrawn, Slot: &x.Slot, Reason: "scratched"})
			all = append(all, x.Proposal)
		}
	}
	name := t.name(all[0].Slot) + ", " + all[0].Quantity.Spoken()
	if len(all) > 1 {
		name = t.together(all)
	}
	t.sayf("%s, %s taken off the schedule.", english.Capital(name), are(len(all)-1))
}

// takeBack makes due again what was left out, all that was at once.
func (t *turn) takeBack(skip record.Skip) {
	var back []record.Slot
	for _, k := range t.s.Record.Skips {
		if k.Ended == 0 && k.How == skip.How && k.HeardID == skip.HeardID {
			back = append(back, k.Slot)
		}
	}
	for _, slot := range back {
		t.follows(record.Event{Kind: record.Skipped, Slot: &slot, Answer: record.TakenBack, Reason: "scratched"})
	}
	if skip.How == record.Waived {
		t.sayf("%s no longer waived.", english.Capital(count(len(back), "dead test is", "dead tests are")))
		return
	}
	if len(back) == 1 {
		t.follows(record.Event{Kind: record.Moved, Slot: &skip.Slot})
	}
	t.say("Taken back.")
}

// leaveOut leaves out the test or the step that is due, once the reason is
// known.
func (t *turn) leaveOut(how record.How, reason string) {
	d, ok := t.due()
	switch {
	case how == record.NotVerified && t.s.Record.Job.Work != board.PeriodicInspection:
		t.say("Not verified is for a periodic inspection. Say limitation, and the reason.", notStored)
		t.remind()
		return
	case !ok:
		t.say("Nothing is due.")
		t.nothingDue()
		return
	case d.Again:
		t.carryOn() // its reading is kept
		return
	case d.Step != nil && !d.Step.Alone && !d.Step.May(how):
		t.say("That step cannot be left out. Answer it, or finish here.")
		t.remind()
		return
	}
	ask := asking{how: how, board: d.Board, slot: d.Slot, all: sequence.Together(t.s.Record, d)}
	if d.Step != nil && !d.Step.Alone { // otherwise the test is left out that it is for
		ask.step = d.Step.ID
	}
	t.omit(ask, reason)
}

// omit leaves something out once what must be known is known. A limitation of a
// test has a reason and somebody who agreed to it (BS 7671 Appendix
// 6, agreed limitations, from memory): in a periodic inspection, whoever agreed to its
// limitations beforehand. What is waived by agreement has somebody who agreed, too.
func (t *turn) omit(ask asking, reason string) {
	agreed := strings.HasPrefix(reason, "agreed") || reason == byAgreement
	of := ask.how == record.Limitation && ask.step == "" || ask.how == record.Waived && ask.why == byAgreement
	switch {
	case reason == "":
	case of && agreed:
		ask.who = reason
	default:
		ask.why = reason
	}
	if p := t.s.Record.Job.Periodic; of && ask.who == "" && p != nil && p.AgreedWith != "" {
		ask.who = "agreed with " + p.AgreedWith
	}
	if ask.why == "" || ask.who == "" && of {
		t.s.reason = &ask
		t.say(t.whyText(true))
		return
	}
	reason = ask.why
	switch {
	case ask.who != "" && ask.why == byAgreement:
		reason = ask.who
	case ask.who != "":
		reason += ", " + ask.who
	}
	if ask.how == record.Waived {
		t.waive(ask.board, reason)
		return
	}
	t.leftOut(ask, reason)
	if ask.step == sequence.SurgeOut {
		t.say("The tests are at 250 volts.")
	}
	t.announce()
}

// leftOut puts on the record that what was asked for is left out, all that one question
// asked of, and says so.
func (t *turn) leftOut(ask asking, reason string) {
	said := fmt.Sprintf("%s, %s.", english.Capital(string(ask.how)), reason)
	switch {
	case ask.step != "":
		t.follows(record.Event{Kind: record.Prepared, Board: ask.board, Step: ask.step, Answer: ask.how, Reason: reason})
	case ask.all == nil:
		t.follows(record.Event{Kind: record.Skipped, Slot: &ask.slot, Answer: ask.how, Reason: reason})
	default:
		var all []record.Proposal
		for _, slot := range ask.all {
			t.follows(record.Event{Kind: record.Skipped, Slot: &slot, Answer: ask.how, Reason: reason})
			all = append(all, record.Proposal{Slot: slot})
		}
		said = english.Capital(t.span(all)) + ": " + english.Lower(said)
	}
	t.say(said)
}

// ready refuses what needs the preparation. The steps before live tests do not
// keep anybody from going back to a dead one.
func (t *turn) ready() bool {
	if d, ok := t.due(); !ok || d.Step == nil || d.Step.Live || d.Board != t.board() || t.s.Record.Aim != nil {
		return true
	}
	t.say("The preparation comes first.")
	t.remind()
	return false
}

// goBack goes to the test before: of those measured or left out, the last, or
// the one before where the electrician already went back to.
func (t *turn) goBack() {
	if !t.ready() {
		return
	}
	type done struct {
		id   int64
		slot record.Slot
	}
	var before []done
	r := &t.s.Record
	for _, x := range r.Readings {
		if x.Standing == record.Stands {
			before = append(before, done{x.ConfirmedID, x.Slot})
		}
	}
	for _, k := range r.Skips {
		if k.Ended == 0 {
			before = append(before, done{k.EventID, k.Slot})
		}
	}
	slices.SortFunc(before, func(a, b done) int { return cmp.Compare(a.id, b.id) })
	n := len(before) - 1
	if r.Aim != nil {
		if i := slices.IndexFunc(before, func(d done) bool { return d.slot == *r.Aim }); i >= 0 {
			n = i - 1
		}
	}
	if n < 0 {
		t.say("There is no test before this one.")
		t.remind()
		return
	}
	t.move(before[n].slot)
}

func (t *turn) move(slot record.Slot) {
	t.s.stay = 0
	t.follows(record.Event{Kind: record.Moved, Slot: &slot})
	t.remind()
}

// goTo goes to the first test of a way that can be made now.
func (t *turn) goTo(n int) {
	r := t.s.Record
	on := t.board()
	if why := t.noWay(on, n); why != "" {
		t.say(why)
		t.remind()
		return
	}
	if !t.ready() {
		return
	}
	why := ""
	for _, d := range sequence.Remaining(r) {
		if d.Step != nil || d.Board != on || d.Slot.Way != n {
			continue
		}
		o, no := sequence.Blocked(r, d.Slot)
		if !no {
			t.move(d.Slot)
			return
		}
		if why == "" {
			why = o.Reason
		}
	}
	if why == "" {
		for _, o := range sequence.NotAsked(r) {
			if o.Waiting && o.Slot.Board == on && o.Slot.Way == n {
				why = o.Reason
				break
			}
		}
	}
	required := sequence.Required(r.Job, on, n)
	switch {
	case why != "":
		t.sayf("%s waits. %s", english.Capital(way(n)), why)
		t.remind()
		return
	case len(required) == 0:
		t.sayf("Nothing is asked of %s.", way(n))
		if reason, _, _, out := sequence.LeftOut(r.Job, on, n); out {
			t.say(reason)
		}
		t.remind()
		return
	}
	left := sequence.Left(r, on)
	if i := slices.IndexFunc(left, func(s record.Slot) bool { return s.Way == n }); i >= 0 && !liveJob(r.Job) {
		t.move(left[i]) // one that was skipped
		return
	}
	t.say("All tests of that way are dealt with.")
	// With the supply on, a dead test would ask for the isolation again.
	first := required[0]
	if sequence.Ready(r, on) {
		for _, slot := range required {
			if _, no := sequence.Blocked(r, slot); sequence.Live(slot) && !no {
				first = slot
				break
			}
		}
	}
	t.move(first)
}

// longRead is how much of a way is read back, in characters: about twenty
// seconds. What waits to be confirmed may follow, and must be heard.
const longRead = 330

// readWay reads back what stands for a way: with the reasons where they are
// few, otherwise what passes without a word.
func (t *turn) readWay(n int) {
	r := t.s.Record
	on := t.board()
	if why := t.noWay(on, n); why != "" {
		t.say(why)
		if t.s.Record.Pending == nil { // which is read back otherwise
			t.remind()
		}
		return
	}
	t.nameBoard(on)
	t.say(english.Capital(way(n)) + ".")
	var full, short []string
	for _, x := range r.Readings {
		if x.Slot.Board == on && x.Slot.Way == n && x.Standing == record.Stands {
			text := english.Capital(t.tested(x.Slot)) + ", " + x.Quantity.Spoken()
			full = append(full, text+". "+verdict(x.Verdict))
			if x.Verdict.Result != check.Pass {
				text += ", " + string(x.Verdict.Result)
			}
			short = append(short, text+".")
		}
	}
	for _, k := range r.Skips {
		if k.Slot.Board == on && k.Slot.Way == n && k.Ended == 0 {
			text := fmt.Sprintf("%s, %s, %s.", english.Capital(t.tested(k.Slot)), k.How, k.Reason)
			full, short = append(full, text), append(short, text)
		}
	}
	if len(full) == 0 {
		t.say("No readings yet.")
		return
	}
	if len(strings.Join(full, " ")) <= longRead {
		t.say(full...)
		return
	}
	said := 0
	for i, text := range short {
		if said += len(text) + 1; said > longRead {
			t.sayf("And %s more, on the schedule.", reading.Cardinal(len(short)-i))
			return
		}
		t.say(text)
	}
}

func (t *turn) testAgain(n int) {
	on := t.board()
	if why := t.noWay(on, n); why != "" {
		t.say(why)
		t.remind()
		return
	}
	if !t.ready() {
		return
	}
	t.s.stay, t.s.asked = 0, ""
	t.follows(record.Event{Kind: record.Retest, Slot: &record.Slot{Board: on, Way: n}})
	t.sayf("%s is tested again, and its earlier readings are kept.", english.Capital(way(n)))
	t.say(proveAgain)
	t.remind()
}

func (t *turn) carryOn() {
	r := &t.s.Record
	t.s.stay = 0
	if r.Paused || r.Aim != nil && r.Pending == nil {
		t.follows(record.Event{Kind: record.CarriedOn})
	}
	t.say("Carrying on.")
	t.remind()
}

func (t *turn) finish() {
	r := &t.s.Record
	if p := r.Pending; p != nil {
		t.sayf("%s %s not confirmed and %s not on the schedule.", english.Capital(t.pendingName()), were(len(p.Then)), are(len(p.Then)))
		t.follows(record.Event{Kind: record.Dropped, Reason: "the session was finished before it was confirmed"})
	}
	t.say("Finished.")
	t.stillOff()
	t.untold()
	t.left()
	t.failing()
	t.say("The record is kept. The results are for the competent person to judge.")
	t.follows(record.Event{Kind: record.Finished})
	t.stop = true
}
