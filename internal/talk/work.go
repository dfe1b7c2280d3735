// This file says what kind of work it is, where that decides what is asked for.

package talk

import (
	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/sequence"
)

// mostNamed is how many ways are named one by one.
const mostNamed = 6

// kindOfWork says at the start what an addition or alteration asks for, and of a
// periodic inspection in which order it goes.
func (t *turn) kindOfWork() {
	job := t.s.Record.Job
	switch {
	case job.Changes():
		kind := map[board.Work]string{board.Addition: "Addition", board.Alteration: "Alteration"}[job.Work]
		t.sayf("%s. Asked for: %s, and what is needed of the supply.", kind, t.touched())
	case job.Work == board.PeriodicInspection && job.LiveFirst() && liveJob(job):
		t.say("Periodic inspection, live tests first.")
	case job.Work == board.PeriodicInspection:
		t.say("Periodic inspection.")
	}
}

// touched names the ways that are new or altered, or says how many they are.
func (t *turn) touched() string {
	var names []string
	for _, n := range sequence.Boards(t.s.Record.Job) {
		for _, w := range sequence.Order(t.s.Record.Job, n) {
			if t.s.Record.Job.Way(n, w).Work != "" {
				names = append(names, way(w))
			}
		}
	}
	if len(names) > mostNamed || t.several() {
		return count(len(names), "way", "ways")
	}
	return english.List(names)
}
