package talk

import (
	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// confirmed is the fact that puts what waits on the schedule, with what was off for
// it.
func (t *turn) confirmed(how record.How) record.Event {
	return record.Event{Kind: record.Confirmed, Answer: how, Off: sequence.Leaves(t.s.Record, t.s.Record.Pending.Slot)}
}

// stillOff says what was taken off for a test and not said to be back.
func (t *turn) stillOff() {
	for _, n := range t.s.Record.Job.InOrder() {
		for _, what := range sequence.Off(t.s.Record)[n] {
			words := stillOff[what]
			t.sayf("By the record %s%s %s.", words.what, t.ofBoard(n), words.where)
		}
		if out := sequence.Out(t.s.Record, n); len(out) > 0 {
			t.sayf("%s%s were taken out and are not said to be back.", english.Capital(english.List(out)), t.ofBoard(n))
		}
	}
}

// stillOff is how that is said of each thing.
var stillOff = map[string]struct{ what, where string }{
	sequence.MainSwitch:        {"the main switch", "is still off"},
	sequence.EarthingConductor: {"the earthing conductor", "is still off"},
	sequence.Neutrals:          {"a neutral", "is still out of its bar"},
	sequence.SurgeProtection:   {"the surge protection", "is still out"},
	sequence.Conductors:        {"a test link", "is still in, or the end of a ring out"},
}
