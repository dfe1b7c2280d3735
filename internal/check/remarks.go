package check

import (
	"fmt"

	"waycall/internal/board"
	"waycall/internal/limits"
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
	// PENSource and EVSource say what protects at a charging point against a broken PEN
	// conductor, and against a direct residual current; tests hang on both, too.
	PENSource = "BS 7671:2018 Amendment 1:2020 regulation 722.411.4.1, as a trade article tells it"
	EVSource  = "BS 7671 regulation 722.531.3.101, as a thread of the IET's forum quotes it for A2:2022"

	oneWaySource = "BS 7671:2018 Amendment 3:2024 regulation 530.3.201, as a trade article tells it"
	typeACSource = "BS 7671 regulation 531.3.3, as the IET's Wiring Matters 91 of July 2022 tells it for A2:2022"
)

// Remarks returns what is to be remarked on the description of a way, or with way 0
// on that of the board itself: a source that feeds back through a device marked for
// a supply from one side only, a type AC residual current device on socket-outlets, how
// a charging point is protected, what of a way is tested and recorded elsewhere, and
// surge protection that has expired.
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
		if b.SurgeIndicator == board.IndicatorExpired {
			add(limits.Practice, "The status indicator of the surge protection shows that it is to be replaced.")
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
	kindRemarks(b, w, add)
	return all
}

// kindRemarks are those on a way of a kind of its own.
func kindRemarks(b *board.Board, w *board.Way, add func(source, format string, args ...any)) {
	switch w.Kind {
	case board.EVCharging:
		evRemarks(b, w, add)
	case board.PVSupply:
		add(limits.Practice, "Only the alternating current side is tested here. The direct current side and the inverter's disconnection when the supply is lost are tested and recorded elsewhere.")
	case board.BatteryStorage:
		add(limits.Practice, "Only the circuit of the inverter is tested here. The battery, and the installation when the supply is lost, are tested and recorded elsewhere.")
	case board.EmergencyLighting:
		add(limits.Practice, "Only the circuit is tested here. The function and the duration of the emergency lighting are tested and recorded elsewhere, in its log book.")
	}
}

func evRemarks(b *board.Board, w *board.Way, add func(source, format string, args ...any)) {
	rcd := w.Device.RCD
	if rcd == nil {
		rcd = b.Main.RCD
	}
	switch {
	case rcd == nil:
		add(EVSource, "No residual current device is described for the charging point, which needs one of its own of 30 mA at most.")
	case rcd.Rated > 30:
		add(EVSource, "The residual current device of the charging point is of %v mA, and 30 mA is the most.", rcd.Rated)
	case rcd.Type == "AC":
		add(EVSource, "The residual current device of the charging point is type AC, and is to be type A, F or B.")
	}
	if rcd != nil && (rcd != w.Device.RCD || rcd.Group != "") {
		add(EVSource, "The charging point shares its residual current device with other ways, and is to have one of its own.")
	}
	switch {
	case w.DC == "":
		add(EVSource, "It is unknown what protects against a direct residual current of the vehicle.")
	case w.DC == board.DCNone:
		add(EVSource, "Nothing is described that protects against a direct residual current of the vehicle.")
	}
	switch {
	case b.Earthing != board.TNCS:
	case w.PEN == "":
		add(PENSource, "It is unknown what protects when the combined neutral and earth conductor of the supply breaks.")
	case w.PEN == board.PENNone:
		add(PENSource, "Nothing is described that protects when the combined neutral and earth conductor of the supply breaks.")
	}
	add(limits.Practice, "Charging with a vehicle or an adapter, and the charging point's own settings, are tested and recorded elsewhere.")
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
