package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"waycall/internal/board"
	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/words"
)

// Statement is what a signer ticks. It claims nothing of who took the readings, because
// it may be a supervisor who only looked at them; and it says what the signature is
// not for.
const Statement = "I am the competent person who answers for this record. I have looked at its readings, and at what is listed with this statement: " +
	"what fails and stands, what was let stand, what was corrected, what was left out and why, and what was observed. I take the record as mine. " +
	"I sign for it and for nothing else: what follows for the installation is judged with the inspection. " +
	"waycall has proved nothing dead and has judged nothing safe."

// Declaration is what is signed: the statement with all that a signer must not miss.
// It is shown, kept in the record and printed as one text, see Text.
type Declaration struct {
	About  string  // the job, its instrument and its results, in a few sentences
	Groups []Group // those that have something
}

// Group is one kind of thing that is signed for.
type Group struct {
	Name  string
	Items []string // in print, on one line each
}

// Text is the declaration as it is kept in the record and printed, in lines.
func (d Declaration) Text() string {
	lines := []string{Statement, d.About}
	for _, g := range d.Groups {
		lines = append(lines, g.Name+":")
		for _, item := range g.Items {
			lines = append(lines, "- "+item)
		}
	}
	return strings.Join(lines, "\n")
}

// Declare returns what is signed when s is signed off.
func Declare(s record.State) Declaration {
	j := s.Job
	n := map[check.Result]int{}
	var failing, stands, corrected, out, observed []string
	settled := s.AllSettled()
	let := func(slot record.Slot) string {
		if t, ok := settled[slot]; ok {
			return fmt.Sprintf("; let stand by %s: %s", t.By, t.Reason)
		}
		return ""
	}
	for _, r := range s.Readings {
		at := placeOf(r.Slot) + ": " + r.Quantity.String()
		switch {
		case r.Standing == record.AtFull:
			stands = append(stands, at+", at full voltage before the equipment was connected")
		case r.Standing == record.BeforeWork:
			corrected = append(corrected, at+", before work; the way was tested again")
		case r.Standing != record.Stands:
			corrected = append(corrected, at+", "+string(r.Standing)+why(r.EndedBy, r.EndReason))
		}
		if r.Standing != record.Stands {
			continue
		}
		n[r.Verdict.Result]++
		if r.Edited {
			corrected = append(corrected, at+", put there on review"+why(r.By, r.Reason))
		}
		switch {
		case r.Verdict.Result == check.Fail:
			failing = append(failing, at+let(r.Slot))
		case r.Verdict.Result != check.Pass || let(r.Slot) != "":
			stands = append(stands, at+", "+string(r.Verdict.Result)+let(r.Slot))
		}
	}
	for _, k := range s.Skips {
		if k.Ended == 0 {
			out = append(out, placeOf(k.Slot)+": "+string(k.How)+why("", k.Reason))
		}
	}
	for _, t := range s.Settlements {
		if _, ok := s.Latest(t.Slot); t.Ended == 0 && !ok {
			out = append(out, placeOf(t.Slot)+": accepted without a reading"+why(t.By, t.Reason))
		}
	}
	notes := slices.Clone(s.Notes)
	slices.SortStableFunc(notes, func(a, b record.Note) int { return cmp.Compare(codes(a.Code), codes(b.Code)) })
	for _, o := range notes {
		if o.Ended == 0 && o.Code != "" {
			text := o.Code + ", " + english.Lower(words.At(o.Board, o.Way, true)) + ": " + o.Text
			switch {
			case o.Told != "":
				text += "; told: " + o.Told
			case o.Code == "C1":
				text += "; not said who was told"
			}
			observed = append(observed, text)
		}
	}
	d := Declaration{About: fmt.Sprintf("Job %s, %s, tested %s, instrument serial %s. Readings: %d pass, %d fail, %d to investigate, %d that cannot be judged.",
		j.Reference, strings.TrimRight(j.Address, ". "), j.Date, j.Instrument.Serial, n[check.Pass], n[check.Fail], n[check.Investigate], n[check.CannotSay])}
	for _, g := range []Group{{"The work, as it was agreed", terms(j)}, {"Fails and stands", failing}, {"Looked at, and stands", stands}, {"Corrected, replaced or taken off", corrected}, {"Limitations and tests left out", out}, {"Observations", observed}} {
		if len(g.Items) > 0 {
			d.Groups = append(d.Groups, g)
		}
	}
	return d
}

// terms are the kind of work with what was agreed for it, and what of the ways it leaves
// out.
func terms(job board.Job) (all []string) {
	for _, t := range job.Terms() {
		all = append(all, t[0]+": "+t[1])
	}
	for _, number := range sequence.Boards(job) {
		for _, way := range append([]int{0}, sequence.Order(job, number)...) {
			why, _, whole, out := sequence.LeftOut(job, number, way)
			if !out {
				continue
			}
			what := "dead tests not asked for"
			if whole {
				what = "not asked for"
			}
			all = append(all, fmt.Sprintf("%s: %s. %s", english.Lower(words.At(number, way, true)), what, why))
		}
	}
	return all
}

// why is who did something and his reason, as far as they are known.
func why(by, reason string) (text string) {
	if by != "" {
		text += " by " + by
	}
	if reason != "" {
		text += ": " + reason
	}
	return text
}

// codes orders the codes of observations, danger first.
func codes(code string) int { return slices.Index([]string{"C1", "C2", "C3", "FI"}, code) }
