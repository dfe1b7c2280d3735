// This file says in sentences what the columns of a schedule cannot show: what became of
// a reading, why and by whom, and what is left to do.

package report

import (
	"fmt"
	"slices"
	"strings"

	"waycall/internal/check"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/words"
)

// remark writes what the columns cannot show, after what is said of the line.
func (t *Tested) remark(first ...string) {
	add := func(format string, args ...any) { t.Remarks = append(t.Remarks, fmt.Sprintf(format, args...)) }
	t.Remarks = append(t.Remarks, first...)
	names := ""
	for i, c := range t.Cells {
		// Tests with the same thing to be said of them share a sentence.
		if names += c.Name(); c.Status != Recorded && i+1 < len(t.Cells) {
			if n := t.Cells[i+1]; n.Status == c.Status && n.Reason == c.Reason && n.Source == c.Source && n.Settled.same(c.Settled) {
				names += ", "
				continue
			}
		}
		switch c.Status {
		case Recorded:
			if c.Result != string(check.Pass) {
				add("%s: %s. %s (%s)", names, c.Result, words.Sentence(c.Why), words.OrNone(c.Source))
			}
		case Skipped, NotApplicable, Limitation, NotVerified, Waived:
			add("%s: %s. %s", names, c.Status, words.Sentence(c.Reason))
		case Accepted:
			add("%s: not made. %s lets it be missing: %s", names, c.Settled.Reviewer(), words.Sentence(c.Reason))
		case ByBoard:
			add("%s: by the board's reading. %s (%s)", names, words.Sentence(c.Reason), c.Source)
		case NotAsked, Waiting:
			add("%s: not made. %s (%s)", names, words.Sentence(c.Reason), words.OrNone(c.Source))
		}
		if c.Settled != nil && c.Status != Accepted {
			add("%s: looked at by %s, who lets it stand: %s", names, c.Settled.Reviewer(), words.Sentence(c.Settled.Reason))
		}
		if e := c.Edited; e != nil && !slices.ContainsFunc(t.Earlier, func(old Cell) bool { return old.Ended != nil && old.Ended.Event == e.Event }) {
			add("%s: %s was put in by %s in review, and was not read out: %s", names, c.WithUnit(), e.Reviewer(), words.Sentence(e.Reason))
		}
		names = ""
	}
	for _, c := range t.Earlier {
		t.Remarks = append(t.Remarks, c.Correction())
	}
}

// Correction says of a reading that no longer stands what it was, what became of
// it, why and by whom.
func (c Cell) Correction() string {
	if c.Status == AtFull {
		return fmt.Sprintf("%s: %s at %s V, %s, was read before the equipment was connected. It stands beside the reading at 250 V.", c.Name(), c.WithUnit(), words.Number(c.Volts), c.Result)
	}
	text := fmt.Sprintf("%s: %s, %s, ", c.Name(), c.WithUnit(), c.Result)
	by, to := "", ""
	if c.Ended != nil {
		by, to = c.Ended.By, c.Ended.To
	}
	switch {
	case c.Status == Replaced && by != "":
		text += fmt.Sprintf("was corrected to %s by %s in review.", to, by)
	case c.Status == Replaced && to != "":
		text += fmt.Sprintf("was replaced by a later reading, %s.", to)
	case c.Status == Replaced:
		text += "was replaced by a later reading."
	case c.Status == Withdrawn && by != "":
		text += fmt.Sprintf("was taken off by %s in review.", by)
	case c.Status == Withdrawn:
		text += "was taken back."
	default:
		text += "was read before work on the way."
	}
	if c.Reason != "" {
		text += " " + words.Sentence(c.Reason)
	}
	return text
}

// same reports whether two tests were settled alike, or neither.
func (r *Review) same(o *Review) bool {
	return r == nil && o == nil || r != nil && o != nil && r.By == o.By && r.Reason == o.Reason
}

// toDo says what remains, in one sentence for each way.
func toDo(s record.State) []string {
	all := []string{}
	if s.Sessions == 0 {
		return append(all, "No session was begun.")
	}
	several := len(s.Job.Boards) > 1
	if p := s.Pending; p != nil {
		for _, one := range p.Each() {
			all = append(all, fmt.Sprintf("%s: %s was read back but not confirmed, so it is not on the schedule.", words.Place(one.Slot, several), one.Quantity))
		}
	}
	steps := map[int][]string{}
	tests := map[wayAt]string{}
	var order []wayAt
	settled := s.AllSettled()
	for _, d := range sequence.Remaining(s) {
		if _, ok := settled[d.Slot]; ok && d.Step == nil {
			continue
		}
		if d.Step != nil {
			steps[d.Board] = append(steps[d.Board], d.Step.ID)
			continue
		}
		at := wayAt{d.Slot.Board, d.Slot.Way}
		if tests[at] == "" {
			tests[at] = words.At(d.Slot.Board, d.Slot.Way, several) + ": "
			order = append(order, at)
		} else {
			tests[at] += ", "
		}
		tests[at] += words.Slot(d.Slot)
		if d.Slot.Test.Insulation() {
			tests[at] += fmt.Sprintf(" at %s V", words.Number(d.Volts))
		}
	}
	for _, number := range s.Job.InOrder() {
		// Without a test to be made no step is, either.
		if len(steps[number]) > 0 && len(order) > 0 {
			all = append(all, fmt.Sprintf("%s: %s.", words.OnBoard("Preparation", number, several), strings.Join(steps[number], ", ")))
		}
	}
	for _, at := range order {
		all = append(all, tests[at]+".")
	}
	for _, number := range sequence.Boards(s.Job) {
		for _, way := range sequence.Failing(s, number) {
			if !letStand(s, settled, number, way) {
				all = append(all, words.At(number, way, several)+" fails: find the cause, put it right and test it again.")
			}
		}
	}
	if !s.Finished {
		all = append(all, "The work was not finished.")
	}
	return all
}

// letStand reports whether a reviewer let every reading stand that fails on a way.
func letStand(s record.State, settled map[record.Slot]record.Settlement, number, way int) bool {
	for i := range s.Readings {
		r := s.Readings[i]
		if r.Slot.Board == number && r.Slot.Way == way && r.Standing == record.Stands && r.Verdict.Result == check.Fail {
			if _, ok := settled[r.Slot]; !ok {
				return false
			}
		}
	}
	return true
}
