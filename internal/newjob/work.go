// This file asks for the kind of work, and for what hangs on it: the ways that an addition
// touches, and what was agreed for a periodic inspection.

package newjob

import (
	"fmt"
	"slices"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/waymark"
)

// kindOfWork asks for the kind of work. With ways false the ways are not known yet, so
// what is to be said of them is left to the board file.
func (w *wizard) kindOfWork(ways bool) error {
	fmt.Fprint(w.out, "\nThe work\n")
	if err := w.set("Kind of work: new, addition, alteration or periodic", string(board.NewWork), func(j *board.Job, a string) error {
		j.Work = board.Work(strings.ToLower(a))
		return nil
	}); err != nil {
		return err
	}
	switch w.job.Work {
	case board.Addition, board.Alteration:
		if !ways {
			fmt.Fprintln(w.out, "  Mark its ways in the board file: work: new, or work: altered. The others are not asked for then.")
			return nil
		}
		if err := w.mark("Ways that are new", func(way *board.Way) { way.Work = board.Fresh }); err != nil {
			return err
		}
		return w.mark("Ways that are altered", func(way *board.Way) { way.Work = board.Altered })
	case board.PeriodicInspection:
		return w.periodic(ways)
	}
	return nil
}

// periodic asks for what was agreed for a periodic inspection. What was not stays
// unstated, and shows as such.
func (w *wizard) periodic(ways bool) error {
	for _, q := range []struct {
		question string
		change   func(p *board.Periodic, a string)
	}{
		{"Who agreed to the extent and the limitations; - when nobody has yet", func(p *board.Periodic, a string) { p.AgreedWith = a }},
		{"Extent, what is inspected and tested; - when not stated", func(p *board.Periodic, a string) { p.Extent = a }},
		{"Sampling, how what is tested was chosen; - when not stated", func(p *board.Periodic, a string) { p.Sampling = a }},
		{"Limitations, what is left out and why; - for none", func(p *board.Periodic, a string) { p.Limitations = a }},
	} {
		if err := w.agree(q.question, "-", func(p *board.Periodic, a string) error {
			if a == "-" {
				a = ""
			}
			q.change(p, a)
			return nil
		}); err != nil {
			return err
		}
	}
	if err := w.agree("Dead tests that were agreed, all or none", string(board.AllWays), func(p *board.Periodic, a string) error {
		p.DeadTests = board.Agreed(strings.ToLower(a))
		return nil
	}); err != nil {
		return err
	}
	if err := w.agree("Does the installation stay on, so that live tests come first, y or n", "n", func(p *board.Periodic, a string) (err error) {
		p.StaysOn, err = yesOrNo(a)
		return err
	}); err != nil || !ways {
		return err
	}
	if w.job.Periodic.DeadTests == board.NoWays {
		if err := w.mark("Ways of which dead tests were agreed all the same", func(way *board.Way) { way.Tested = board.DeadAndLive }); err != nil {
			return err
		}
	}
	return w.mark("Ways that are not in the sample", func(way *board.Way) { way.Tested = board.NotTested })
}

// agree asks for something of what was agreed for a periodic inspection.
func (w *wizard) agree(question, usual string, change func(p *board.Periodic, a string) error) error {
	return w.set(question, usual, func(j *board.Job, a string) error {
		p := board.Periodic{DeadTests: board.AllWays}
		if j.Periodic != nil {
			p = *j.Periodic
		}
		j.Periodic = &p
		return change(&p, a)
	})
}

// mark asks for ways, and marks each.
func (w *wizard) mark(question string, mark func(*board.Way)) error {
	such := "such as 2, 4"
	if len(w.job.Boards) > 1 {
		such = "with their boards, such as 1/2, 1/4"
	}
	return w.set(fmt.Sprintf("%s, %s; - for none", question, such), "-", func(j *board.Job, a string) error {
		if a == "-" {
			return nil
		}
		for one := range strings.SplitSeq(a, ",") {
			way, err := wayOf(j, strings.TrimSpace(one))
			if err != nil {
				return err
			}
			mark(way)
		}
		return nil
	})
}

// wayOf finds a way by its number, with that of its board before it where there are
// several.
func wayOf(j *board.Job, name string) (*board.Way, error) {
	on, number, both := strings.Cut(name, "/")
	if !both {
		on, number = fmt.Sprint(j.Boards[0].Number), name
	}
	if !both && len(j.Boards) > 1 {
		return nil, advice.Errorf("write the board before it, such as 1/2", "%q names no board", name)
	}
	for i := range j.Boards {
		b := &j.Boards[i]
		k := slices.IndexFunc(b.Ways, func(way board.Way) bool { return strings.EqualFold(waymark.Print(way.Number), number) && !way.Spare })
		if fmt.Sprint(b.Number) == on && k >= 0 {
			return &b.Ways[k], nil
		}
	}
	return nil, advice.Errorf("give the numbers of ways that feed something, with commas between them", "there is no way %q", name)
}
