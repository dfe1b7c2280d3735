package sequence

import (
	"slices"

	"waycall/internal/reading"
	"waycall/internal/record"
)

// Together returns the places that one question asks of when d is due, or nil when it
// is asked of its own place alone. Whoever went to one test is asked of that.
func Together(s record.State, d Due) []record.Slot {
	if d.Step != nil || d.Again || !inOneRound(d.Slot) || s.Aim != nil && *s.Aim == d.Slot {
		return nil
	}
	p := newSite(s)
	var all []record.Slot
	for _, it := range p.at[d.Board].items {
		if it.open && it.round > 0 && it.setup == d.Setup && it.slot.Test == d.Slot.Test && (!it.live || p.blocked(it.slot).need == "") {
			all = append(all, it.slot)
		}
	}
	if len(all) < 2 || !slices.Contains(all, d.Slot) {
		return nil
	}
	return all
}

// inOneRound reports whether a test of a way is asked of all ways of a board at once:
// what has no figure and is seen or worked way after way on site, where what is not as
// it should be is named (common practice, no published source).
func inOneRound(s record.Slot) bool {
	return s.Way != 0 && (s.Test == reading.Polarity || s.Test == reading.Functional || s.Test == reading.RCDButton || s.Test == reading.AFDDButton)
}
