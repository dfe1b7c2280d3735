// Package overview is a job with its boards: what is recorded way by way and what is due,
// as waycall show prints it.
package overview

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"waycall/internal/board"
	"waycall/internal/english"
	"waycall/internal/jobs"
	"waycall/internal/record"
	"waycall/internal/sequence"
	"waycall/internal/show"
	"waycall/internal/store"
	"waycall/internal/waymark"
	"waycall/internal/words"
)

// Job is what is shown of a job.
type Job struct {
	Job      board.Job         `json:"job"`
	File     string            `json:"file"`
	Progress sequence.Progress `json:"progress"`
	Next     string            `json:"next"` // what is due, empty when nothing is
	Pending  *record.Proposal  `json:"pending"`
	Finished bool              `json:"finished"`
	Signed   *Signed           `json:"signed"` // null while the record is a draft
	Ways     []Way             `json:"ways"`   // board by board; way 0 is the board itself
	Notes    []store.Finding   `json:"notes"`  // what should be known of the file
	Times    []show.Times      `json:"times"`  // how the time on each board went
}

// Signed is who signed the record off.
type Signed struct {
	Name string    `json:"name"`
	By   string    `json:"by"`
	At   time.Time `json:"at"`
	Sum  string    `json:"sum"` // of the last event that was signed
}

// Way is a way of a board, or a board itself.
type Way struct {
	Board    int              `json:"board"`
	Way      int              `json:"way"`
	Feeds    string           `json:"feeds"`
	Spare    bool             `json:"spare"`
	Readings []record.Reading `json:"readings"` // those that stand, in the order in which they were taken
	Skips    []record.Skip    `json:"skips"`
	Due      []record.Slot    `json:"due"`
}

// Of returns the overview of a job that was read.
func Of(known jobs.Known) Job {
	s := known.State
	v := Job{Times: append([]show.Times{}, known.Times...), Notes: append([]store.Finding{}, known.Found...), Job: s.Job, File: known.Path, Progress: sequence.Count(s), Pending: s.Pending, Finished: s.Finished}
	if sig := s.Signed; sig != nil {
		v.Signed = &Signed{sig.Name, sig.By, sig.At, sig.Sum}
	}
	if due, ok := sequence.Next(s); ok {
		v.Next = describe(due, len(s.Job.Boards) > 1)
	}
	due := map[[2]int][]record.Slot{}
	for _, d := range sequence.Remaining(s) {
		if d.Step == nil {
			at := [2]int{d.Board, d.Slot.Way}
			due[at] = append(due[at], d.Slot)
		}
	}
	for _, b := range s.Job.Boards {
		all := append([]board.Way{{Feeds: b.Name}}, b.Ways...) // way 0 is the board itself
		for _, w := range all {
			wv := Way{Board: b.Number, Way: w.Number, Feeds: w.Feeds, Spare: w.Spare, Readings: []record.Reading{}, Skips: []record.Skip{}, Due: []record.Slot{}}
			for _, r := range s.Readings {
				if r.Slot.Board == b.Number && r.Slot.Way == w.Number && r.Standing == record.Stands {
					wv.Readings = append(wv.Readings, *r)
				}
			}
			for _, k := range s.Skips {
				if k.Slot.Board == b.Number && k.Slot.Way == w.Number && k.Ended == 0 {
					wv.Skips = append(wv.Skips, k)
				}
			}
			wv.Due = append(wv.Due, due[[2]int{b.Number, w.Number}]...)
			v.Ways = append(v.Ways, wv)
		}
	}
	return v
}

// describe says what is due; several is whether the job has several boards.
func describe(d sequence.Due, several bool) string {
	if d.Step != nil {
		return english.Lower(words.OnBoard(d.Step.ID, d.Board, several))
	}
	name := placeName(d.Slot, several)
	if d.Slot.Test.Insulation() {
		return fmt.Sprintf("%s at %.0f V", name, d.Volts)
	}
	return name
}

// Write prints it for a person.
func (v Job) Write(w io.Writer) error {
	j := v.Job
	fmt.Fprintf(w, "Job %s, %s, %s, tester %s\nRecord: %s\n", j.Reference, j.Address, j.Date, j.Tester, v.File)
	fmt.Fprintf(w, "Preparation %d of %d. Tests %d of %d recorded, %d left out, %d waiting.\n",
		v.Progress.StepsDone, v.Progress.Steps, v.Progress.Recorded, v.Progress.Tests, v.Progress.LeftOut, v.Progress.Waiting)
	switch sig := v.Signed; {
	case sig != nil:
		fmt.Fprintf(w, "Signed off by %s (%s) at %s.\n", sig.Name, sig.By, sig.At.Local().Format("15:04 on 2 January 2006"))
	case v.Finished:
		fmt.Fprintf(w, "Draft: not signed off yet; waycall review does that.\n")
	default:
		fmt.Fprintf(w, "Draft: the session has not ended.\n")
	}
	if v.Next != "" {
		fmt.Fprintf(w, "Next: %s.\n", v.Next)
	}
	for _, t := range v.Times {
		fmt.Fprintf(w, "Time on board %d: %s.\n", t.Board, t)
	}
	for _, f := range v.Notes {
		fmt.Fprintf(w, "Note: %s.\n", f)
	}
	several := len(j.Boards) > 1
	if p := v.Pending; p != nil {
		for _, one := range p.Each() {
			fmt.Fprintf(w, "Not yet confirmed: %s, %s.\n", placeName(one.Slot, several), one.Quantity)
		}
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, way := range v.Ways {
		switch {
		case way.Way == 0:
			b := j.Board(way.Board)
			fmt.Fprintf(t, "\nboard %d\t%s, %s%s\n", b.Number, b.Name, b.Earthing, from(*b))
		case way.Spare:
			fmt.Fprintf(t, "way %s\tspare\n", waymark.Print(way.Way))
			continue
		default:
			fmt.Fprintf(t, "way %s\t%s\n", waymark.Print(way.Way), way.Feeds)
		}
		for _, r := range way.Readings {
			fmt.Fprintf(t, "\t%s\t%s\t%s\n", words.Slot(r.Slot), r.Quantity, r.Verdict.Result)
		}
		for _, k := range way.Skips {
			fmt.Fprintf(t, "\t%s\t%s\t%s\n", words.Slot(k.Slot), k.How, k.Reason)
		}
		for _, d := range way.Due {
			fmt.Fprintf(t, "\t%s\tdue\t\n", words.Slot(d))
		}
	}
	return t.Flush()
}

// placeName is a place within a sentence.
func placeName(s record.Slot, several bool) string { return english.Lower(words.Place(s, several)) }

// from says what feeds a board.
func from(b board.Board) string {
	switch {
	case b.Supply.OnlyIsolated:
		return ", only isolated"
	case b.Supply.From != 0:
		return ", from " + words.FedFrom(b.Supply.From, b.Supply.FromWay)
	}
	return ""
}
