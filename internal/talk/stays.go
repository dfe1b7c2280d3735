package talk

import (
	"waycall/internal/english"
	"waycall/internal/phrase"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// at250 is the reason of a step that is not carried out because of the test voltage.
const at250 = "tested at 250 volts"

// staysConnected takes "two fifty volts" where it is not about surge protection:
// equipment stays connected, so that live conductors are tested together to earth at
// 250 V (BS 7671 regulation 643.3.3). Said of the electronics or the loads it is for
// the whole board, otherwise for the way in hand.
func (t *turn) staysConnected() {
	r := &t.s.Record
	on := t.board()
	if due, ok := t.dueStep(); ok {
		if due.ID != sequence.ElectronicsOut && due.ID != sequence.LoadsOut {
			t.say("Say that at the way that it is for.", notStored)
			t.remind()
			return
		}
		t.follows(record.Event{Kind: record.Prepared, Board: on, Step: record.StaysConnected, Answer: record.Done})
		t.follows(due.Answer(on, record.Limitation, at250))
		t.say("The tests are at 250 volts, live conductors together to earth. The full voltage comes before the equipment is connected.")
		t.announce()
		return
	}
	slot, ok := t.hand()
	w := r.Job.Way(slot.Board, slot.Way)
	switch {
	case !ok || w == nil || !slot.Test.Insulation() || w.Separated:
		t.say("Say that at the way that it is for, when its insulation is due.", notStored)
	case w.Keep500Off != "":
		t.say("It is tested at 250 volts.")
	default:
		t.follows(record.Event{Kind: record.Prepared, Board: on, Step: string(phrase.TwoFifty), Answer: record.Done, Slot: &record.Slot{Board: slot.Board, Way: slot.Way}})
		t.sayf("%s at 250 volts, live conductors together to earth. The full voltage comes before the equipment is connected.", english.Capital(way(slot.Way)))
	}
	t.remind()
}
