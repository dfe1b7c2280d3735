package talk

import (
	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/sequence"
)

// undescribed says which tests were not asked for because what they hang on is not
// described, so that nobody takes the end for the whole.
func (t *turn) undescribed() {
	r := t.s.Record
	for _, n := range sequence.Boards(r.Job) {
		places := []int{0}
		for _, w := range r.Job.Board(n).Ways {
			if !w.Spare {
				places = append(places, w.Number)
			}
		}
		for _, w := range places {
			for _, need := range sequence.Needs(r.Job, n, w) {
				kind := board.Continuity
				if need.Slot.Test.Live() {
					kind = board.Live
				}
				if _, stands := r.Latest(need.Slot); need.Need != sequence.Unknown || stands || !r.Job.Asks(kind) {
					continue
				}
				of := ""
				if w != 0 { // otherwise its name has the board
					of = t.ofBoard(n)
				}
				t.sayf("%s%s was not asked for. %s", english.Capital(t.name(need.Slot)), of, need.Why)
			}
		}
	}
}
