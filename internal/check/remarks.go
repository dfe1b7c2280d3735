package check

import (
	"fmt"

	"waycall/internal/board"
	"waycall/internal/waymark"
)

// Remark is something about what is described, not about a reading: it is told and
// printed, and never makes a verdict worse.
type Remark struct {
	Text   string // one sentence, as it is printed
	Source string // with the edition of BS 7671 that the job is judged by
}

// Cited is the remark with its source, as it is printed.
func (r Remark) Cited() string { return r.Text + " (" + r.Source + ")" }

// The sources of remarks. Amendment 3 is part of both editions: it was published on
// 31 July 2024, and jobs judged by A2 are older than A4.
const (
	oneWaySource = "BS 7671:2018 Amendment 3:2024 regulation 530.3.201, as a trade article tells it"
	typeACSource = "BS 7671 regulation 531.3.3, as the IET's Wiring Matters 91 of July 2022 tells it for A2:2022"
)

// Remarks returns what is to be remarked on the description of a way, or with way 0
// on that of the board itself: a source that feeds back through a device marked for
// a supply from one side only, and a type AC residual current device on socket-outlets.
func Remarks(job board.Job, number, way int) []Remark {
	b := job.Board(number)
	if b == nil {
		return nil
	}
	var all []Remark
	add := func(source, format string, args ...any) {
		all = append(all, Remark{fmt.Sprintf(format, args...), job.JudgedBy().Of(source)})
	}
	oneWay := func(what, by string) {
		add(oneWaySource, "%s is marked for a supply from one side only, and %s feeds back through it: ask its maker, or have it changed.", what, by)
	}
	if way == 0 {
		if by := feedsBack(&job, b, 0); by != "" && (b.Main.Unidirectional || b.Main.RCD != nil && b.Main.RCD.Unidirectional) {
			oneWay("The main switch", by)
		}
		return all
	}
	w := b.Way(way)
	if w == nil || w.Spare {
		return nil
	}
	rcd := w.Device.RCD
	if by := wayFeedsBack(&job, w, 0); by != "" {
		if w.Device.Unidirectional {
			oneWay("The device of this way", by)
		}
		if rcd != nil && rcd.Unidirectional {
			oneWay("The residual current device of this way", by)
		}
	} else if rcd != nil && rcd.Unidirectional && rcd.Group != "" {
		for i := range b.Ways {
			other := &b.Ways[i]
			if r := other.Device.RCD; r != nil && r.Group == rcd.Group && wayFeedsBack(&job, other, 0) != "" {
				oneWay("The residual current device of this way", fmt.Sprintf("%s on way %s", wayFeedsBack(&job, other, 0), waymark.Print(other.Number)))
				break
			}
		}
	}
	if rcd != nil && rcd.Type == "AC" && w.Use == board.Socket {
		add(typeACSource, "A type AC device serves socket-outlets, and is only for loads known to give no direct current.")
	}
	return all
}

// wayFeedsBack names the source that can feed a board through a way of it, there or
// behind a board that the way supplies; "" when there is none.
func wayFeedsBack(job *board.Job, w *board.Way, depth int) string {
	switch {
	case w.Spare:
		return ""
	case w.FeedsBack == board.PV:
		return "PV"
	case w.FeedsBack != "":
		return "a " + string(w.FeedsBack)
	}
	return feedsBack(job, job.Board(w.Supplies), depth+1)
}

// feedsBack does the same for a whole board. depth stops at a job that was not read
// from a file and feeds itself.
func feedsBack(job *board.Job, b *board.Board, depth int) string {
	if b == nil || depth > len(job.Boards) {
		return ""
	}
	for i := range b.Ways {
		if by := wayFeedsBack(job, &b.Ways[i], depth); by != "" {
			return by
		}
	}
	return ""
}
