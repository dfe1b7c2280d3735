package record

import (
	"slices"

	"waycall/internal/board"
)

// StaysConnected is the answer, of a way or of a whole board, that equipment stays
// connected, so that its live conductors are tested together to earth at 250 V: as
// though its board file had said so. The string is stored.
const StaysConnected = "two fifty volts"

// stays is what then stands for the equipment, which nobody names in so few words.
const stays = "equipment that stays connected"

// is reports whether a is the answer that stands for a step of a place.
func (a Answer) is(board, way int, step string) bool {
	return a.Board == board && a.Way == way && a.Step == step && a.Ended == 0
}

// staysConnected is the job as it was given, with what was said to stay connected. The
// given one is not changed.
func (s State) staysConnected() board.Job {
	job := s.Given
	job.Boards = slices.Clone(job.Boards)
	for i := range job.Boards {
		b := &job.Boards[i]
		b.Ways = slices.Clone(b.Ways)
		for k := range b.Ways {
			w := &b.Ways[k]
			said := func(a Answer) bool {
				return a.is(b.Number, w.Number, StaysConnected) || a.is(b.Number, 0, StaysConnected)
			}
			if w.Keep500Off == "" && !w.Spare && !w.Separated && slices.ContainsFunc(s.Answers, said) {
				w.Keep500Off = stays
			}
		}
	}
	return job
}
