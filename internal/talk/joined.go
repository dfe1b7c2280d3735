package talk

import (
	"fmt"

	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// wayOfWorking takes how the insulation of a joined board is read: in answer to the
// step that asks for it, or later, when insulation is due, in place of what was chosen.
func (t *turn) wayOfWorking(id string) {
	on := t.board()
	due, asked := t.dueStep()
	slot, inHand := t.hand()
	switch mode := sequence.Mode(t.s.Record, on); {
	case sequence.ReadApart(t.s.Record, on):
		t.say("Not every way of this board is asked for, so each that is, is read by itself.")
		t.remind()
		return
	case asked && due.ID == sequence.WholeFirst:
	case mode == id:
		t.say("That is answered already.")
		t.remind()
		return
	case mode == "" || asked || !inHand || !slot.Test.Insulation():
		t.say("One at a time.")
		t.remind()
		return
	}
	t.follows(record.Event{Kind: record.Prepared, Board: on, Step: id, Answer: record.Done})
	t.prepared(on, id)
}

// conductors says which breakers and neutrals are where for an insulation test, when
// that is not as it was.
func (t *turn) conductors(slot record.Slot, was string) (now string) {
	all, apart, chosen := sequence.WhichConductors(t.s.Record, slot)
	b := t.s.Record.Job.Board(slot.Board)
	switch {
	case !slot.Test.Insulation():
		return was
	case !chosen:
		return ""
	case !all:
		if was != "way" {
			t.say("Each way with its breaker off and its neutral out of the bar.")
		}
		return "way"
	case was == "all":
		return was
	}
	text := "All breakers in, neutrals as found"
	if len(apart) > 0 {
		var names []string
		for _, n := range apart {
			names = append(names, way(n))
		}
		text += fmt.Sprintf(", but %s off and %s out", english.List(names), map[bool]string{true: "its neutral", false: "their neutrals"}[len(apart) == 1])
	}
	t.say(text + ".")
	if twoWay(*b) {
		t.say("Work the two-way switches, and give the lowest.")
	}
	return "all"
}

func twoWay(b board.Board) bool {
	for _, w := range b.Ways {
		if w.TwoWay && !w.Spare {
			return true
		}
	}
	return false
}

// byTheBoard says what the reading of the whole board, just stored, shows of each way.
func (t *turn) byTheBoard(slot record.Slot) {
	r := t.s.Record
	if slot.Way != 0 || !slot.Test.Insulation() || sequence.Mode(r, slot.Board) != sequence.WholeFirst {
		return
	}
	covered := sequence.Covered(r)
	for _, n := range sequence.Order(r.Job, slot.Board) {
		for _, p := range sequence.Positions(*r.Job.Way(slot.Board, n)) {
			if x, ok := covered(record.Slot{Board: slot.Board, Way: n, Test: slot.Test, Position: p}); ok {
				q := x.Quantity
				q.Bound = reading.Exactly
				t.sayf("By the board's reading no way is below %s.", q.Spoken())
				return
			}
		}
	}
	t.say("That covers no way, so divide the board.")
}
