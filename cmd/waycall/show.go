package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"waycall/internal/board"
	"waycall/internal/record"
	"waycall/internal/sequence"
)

// jobView is what `waycall show --json` prints.
type jobView struct {
	Job      board.Job         `json:"job"`
	File     string            `json:"file"`
	Progress sequence.Progress `json:"progress"`
	Next     string            `json:"next"` // what is due, empty when nothing is
	Pending  *record.Proposal  `json:"pending"`
	Finished bool              `json:"finished"`
	Ways     []wayView         `json:"ways"`
}

type wayView struct {
	Board    int              `json:"board"`
	Way      int              `json:"way"`
	Feeds    string           `json:"feeds"`
	Spare    bool             `json:"spare"`
	Readings []record.Reading `json:"readings"` // those that stand, in the order in which they were taken
	Skips    []record.Skip    `json:"skips"`
	Due      []record.Slot    `json:"due"`
}

func newShow() *cobra.Command {
	var (
		data   dataFlag
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "show JOB",
		Short: "Show a job: its board, what is recorded and what is due",
		Args:  wantArgs(1, 1, "one job"),
		RunE: func(cmd *cobra.Command, args []string) error {
			state, path, err := data.readJob(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			v := viewJob(state, path)
			if asJSON {
				return printJSON(cmd.OutOrStdout(), v)
			}
			return v.write(cmd.OutOrStdout())
		},
	}
	data.add(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

func viewJob(s record.State, path string) jobView {
	v := jobView{Job: s.Job, File: path, Progress: sequence.Count(s), Pending: s.Pending, Finished: s.Finished}
	if due, ok := sequence.Next(s); ok {
		v.Next = describe(due)
	}
	due := map[[2]int][]record.Slot{}
	for _, d := range sequence.Remaining(s) {
		if d.Step == nil {
			at := [2]int{d.Board, d.Slot.Way}
			due[at] = append(due[at], d.Slot)
		}
	}
	for _, b := range s.Job.Boards {
		for _, w := range b.Ways {
			wv := wayView{Board: b.Number, Way: w.Number, Feeds: w.Feeds, Spare: w.Spare, Readings: []record.Reading{}, Skips: []record.Skip{}, Due: []record.Slot{}}
			for _, r := range s.Readings {
				if r.Slot.Board == b.Number && r.Slot.Way == w.Number && r.Standing == record.Stands {
					wv.Readings = append(wv.Readings, r)
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

func describe(d sequence.Due) string {
	if d.Step != nil {
		return d.Step.ID
	}
	return fmt.Sprintf("way %d, %s at %.0f V", d.Slot.Way, slotName(d.Slot), d.Volts)
}

func slotName(s record.Slot) string {
	if s.Position != 0 {
		return fmt.Sprintf("%s, switch position %d", s.Test, s.Position)
	}
	return string(s.Test)
}

func (v jobView) write(w io.Writer) error {
	j := v.Job
	fmt.Fprintf(w, "Job %s, %s, %s, tester %s\n%s, %s. Record: %s\n", j.Reference, j.Address, j.Date, j.Tester, j.Boards[0].Name, j.Boards[0].Earthing, v.File)
	fmt.Fprintf(w, "Preparation %d of %d. Tests %d of %d recorded, %d left out, %d waiting for work.\n",
		v.Progress.StepsDone, v.Progress.Steps, v.Progress.Recorded, v.Progress.Tests, v.Progress.LeftOut, v.Progress.Waiting)
	if v.Next != "" {
		fmt.Fprintf(w, "Next: %s.\n", v.Next)
	}
	if p := v.Pending; p != nil {
		fmt.Fprintf(w, "Not yet confirmed: way %d, %s, %s.\n", p.Slot.Way, slotName(p.Slot), p.Quantity)
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, way := range v.Ways {
		if way.Spare {
			fmt.Fprintf(t, "way %d\tspare\n", way.Way)
			continue
		}
		fmt.Fprintf(t, "way %d\t%s\n", way.Way, way.Feeds)
		for _, r := range way.Readings {
			fmt.Fprintf(t, "\t%s\t%s\t%s\n", slotName(r.Slot), r.Quantity, r.Verdict.Result)
		}
		for _, k := range way.Skips {
			fmt.Fprintf(t, "\t%s\t%s\t%s\n", slotName(k.Slot), k.How, k.Reason)
		}
		for _, d := range way.Due {
			fmt.Fprintf(t, "\t%s\tdue\t\n", slotName(d))
		}
	}
	return t.Flush()
}
