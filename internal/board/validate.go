package board

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// ratings are the rated currents in ampere that devices of a standard are made
// for. Preferred values of BS EN 60898-1 and BS EN 61009-1 and the ratings of
// BS 3036 are from memory; that miniature circuit-breakers of 1 to 5 A, 15, 45
// and 70 A are met as well is common practice, no published source. A standard
// that is not listed is taken with any rating from 0.5 to 1250 A.
var ratings = map[string][]float64{
	"BS EN 60898": {1, 2, 3, 4, 5, 6, 8, 10, 13, 15, 16, 20, 25, 32, 40, 45, 50, 63, 70, 80, 100, 125},
	"BS EN 61009": {1, 2, 3, 4, 5, 6, 8, 10, 13, 15, 16, 20, 25, 32, 40, 45, 50, 63, 70, 80, 100, 125},
	"BS 3036":     {5, 10, 15, 20, 30, 45, 60, 100},
	"BS 1361":     {5, 10, 15, 20, 30, 45, 60, 80, 100},
}

// rcdRatings are rated residual operating currents in mA: preferred values of
// IEC 60755, from memory, with the 20 and 200 mA that are also met.
var rcdRatings = []float64{5, 6, 10, 20, 30, 100, 200, 300, 500, 1000, 2000, 3000, 5000, 10000}

// validate adds a problem for everything in job that is missing or cannot be.
func (d *decoder) validate(job *Job) {
	d.reference(job.Reference)
	d.line("address", job.Address, 160)
	d.line("tester", job.Tester, 40)
	made := d.date("date", job.Date)
	d.line("instrument.serial", job.Instrument.Serial, 40)
	checked := d.date("instrument.checked", job.Instrument.Checked)
	if !made.IsZero() && checked.After(made) {
		d.bad("instrument.checked", fmt.Sprintf("the instrument was checked on %s, after the date of the job", job.Instrument.Checked), "correct one of the two dates")
	}
	// The scale must at least reach what a reading is judged by; 99999 is the
	// largest reading there is.
	d.number("instrument.over_range", job.Instrument.OverRange, 20, 99999, "Mohm: the end of the instrument's insulation scale, such as 999")
	if len(job.Boards) == 0 {
		d.bad("boards", "boards is missing or empty", "describe at least one board under board or boards")
		return
	}
	for i := range job.Boards {
		d.board(&job.Boards[i], d.boardPath(i))
	}
}

func (d *decoder) board(b *Board, path string) {
	d.line(path+".name", b.Name, 80)
	if d.given(path+".earthing", string(b.Earthing)) && !oneOf(b.Earthing, TNS, TNCS, TT) {
		d.bad(path+".earthing", fmt.Sprintf("%s.earthing is %q", path, clip(string(b.Earthing))), "write TN-S, TN-C-S or TT")
	}
	// Low voltage ends at 600 V to earth: BS 7671 Part 2, from memory.
	d.number(path+".voltage", b.Voltage, 50, 600, "V, line to earth, such as 230")
	d.ways(b, path)
}

func (d *decoder) ways(b *Board, board string) {
	if len(b.Ways) == 0 {
		d.bad(board+".ways", board+".ways is missing or empty", "list the ways of the board")
		return
	}
	if len(b.Ways) > 99 {
		d.bad(board+".ways[99]", "the board has more than 99 ways", "describe it as several boards")
		return
	}
	bars, used := false, 0
	for _, w := range b.Ways {
		bars = bars || !w.Spare && w.NeutralBar != ""
		if !w.Spare {
			used++
		}
	}
	if used == 0 {
		d.bad(board+".ways", "every way is spare, so there is nothing to test", "describe the ways that feed something")
	}
	lines := map[int]int{}
	last := 0
	for i := range b.Ways {
		w := &b.Ways[i]
		path := fmt.Sprintf("%s.ways[%d]", board, i)
		n := path + ".way"
		if first, twice := lines[w.Number]; twice && w.Number != 0 {
			d.bad(n, fmt.Sprintf("way %d is described twice, first on line %d", w.Number, first), "correct the number or remove one")
		} else if d.number(n, float64(w.Number), 1, 99, "a way's number as marked on the board") {
			lines[w.Number] = d.where(n).Position.Line
			if w.Number < last {
				d.bad(n, fmt.Sprintf("way %d comes after way %d", w.Number, last), "put the ways in the order of their numbers")
			}
			last = w.Number
		}
		d.way(w, path)
		if bars && !w.Spare && w.NeutralBar == "" {
			d.bad(path, fmt.Sprintf("way %d has no neutral_bar but other ways have", w.Number), "name the bar its neutral is on")
		}
	}
}

func (d *decoder) way(w *Way, path string) {
	if w.NeutralBar != "" {
		d.line(path+".neutral_bar", w.NeutralBar, 20)
	}
	if w.Spare {
		if w.Feeds != "" {
			d.line(path+".feeds", w.Feeds, 80)
		}
		d.spare(w, path)
		if w.Device != (Device{}) {
			d.device(&w.Device, path+".device")
		}
		return
	}
	d.line(path+".feeds", w.Feeds, 80)
	d.device(&w.Device, path+".device")
	if d.given(path+".wiring", string(w.Wiring)) && !oneOf(w.Wiring, Radial, Ring) {
		d.bad(path+".wiring", fmt.Sprintf("wiring is %q", clip(string(w.Wiring))), "write radial or ring")
	}
	// Flexible cords of 0.5 mm2 to the largest common single-core cable; sizes
	// in old imperial cable fall between the metric ones, so no list is kept.
	d.unknownOr(path+".line", w.Line, 0.5, 1000, "mm2, or leave it out when unknown")
	d.unknownOr(path+".cpc", w.CPC, 0.5, 1000, "mm2, or leave it out when unknown")
	d.unknownOr(path+".length", w.Length, 0.1, 10000, "m, or leave it out when unknown")
	d.unknownOr(path+".points", float64(w.Points), 1, 500, "points, or leave it out when unknown")
	if w.Keep500Off != "" {
		d.line(path+".keep_500_off", w.Keep500Off, 120)
	}
	if w.Separated && w.Wiring == Ring {
		d.bad(path+".separated", "a ring final circuit is described as SELV or PELV", "correct wiring or separated")
	}
}

// spare refuses a spare way that is described as if it fed something.
func (d *decoder) spare(w *Way, path string) {
	for _, f := range []struct {
		key string
		set bool
	}{{"wiring", w.Wiring != ""}, {"line", w.Line != 0}, {"cpc", w.CPC != 0}, {"length", w.Length != 0}, {"points", w.Points != 0},
		{"two_way", w.TwoWay}, {"keep_500_off", w.Keep500Off != ""}, {"separated", w.Separated}} {
		if f.set {
			d.bad(path+"."+f.key, fmt.Sprintf("way %d is spare but has %s", w.Number, f.key), "remove one of the two")
		}
	}
}

func (d *decoder) device(v *Device, path string) {
	if d.line(path+".standard", v.Standard, 40) {
		types := []string(nil)
		if strings.HasPrefix(v.Standard, "BS EN 60898") || strings.HasPrefix(v.Standard, "BS EN 61009") {
			types = []string{"B", "C", "D"}
		}
		switch {
		case types != nil && !slices.Contains(types, v.Type):
			d.bad(path+".type", fmt.Sprintf("device type is %q", clip(v.Type)), "write B, C or D for "+v.Standard)
		case v.Type != "":
			d.line(path+".type", v.Type, 8)
		}
	}
	if d.number(path+".rating", v.Rating, 0.5, 1250, "A") {
		// Editions and parts (BS EN 60898-1) share their standard's ratings.
		for standard, list := range ratings {
			if strings.HasPrefix(v.Standard, standard) && !slices.Contains(list, v.Rating) {
				d.bad(path+".rating", fmt.Sprintf("no device to %s has a rating of %v A", standard, v.Rating), "read it off the device again")
			}
		}
	}
	d.unknownOr(path+".breaking", v.Breaking, 0.5, 200, "kA, or leave it out when unknown")
	if v.RCD == nil {
		return
	}
	if d.number(path+".rcd.rated", v.RCD.Rated, 5, 10000, "mA, such as 30") && !slices.Contains(rcdRatings, v.RCD.Rated) {
		d.bad(path+".rcd.rated", fmt.Sprintf("no residual current device is rated %v mA", v.RCD.Rated), "read it off the device again")
	}
	if d.given(path+".rcd.type", v.RCD.Type) && !oneOf(v.RCD.Type, "AC", "A", "F", "B") {
		d.bad(path+".rcd.type", fmt.Sprintf("RCD type is %q", clip(v.RCD.Type)), "write AC, A, F or B")
	}
}

func (d *decoder) bad(path, what, do string) { d.add(d.where(path), what, do) }

func (d *decoder) given(path, s string) bool {
	if s == "" {
		d.bad(path, label(path)+" is missing", "add it")
	}
	return s != ""
}

// line requires one line of printable text.
func (d *decoder) line(path, s string, most int) bool {
	switch {
	case !d.given(path, s):
		return false
	case utf8.RuneCountInString(s) > most:
		d.bad(path, fmt.Sprintf("%s has more than %d characters", path, most), "shorten it")
	case strings.TrimSpace(s) != s, strings.ContainsFunc(s, func(r rune) bool { return r != ' ' && !unicode.IsGraphic(r) || r != ' ' && unicode.IsSpace(r) }):
		d.bad(path, path+" has a line break, a blank at its end or a character that does not print", "write it as one line")
	default:
		return true
	}
	return false
}

// reference also names the job's file, so it is kept to what any disk takes.
func (d *decoder) reference(s string) {
	if !d.given("reference", s) {
		return
	}
	ok := len(s) <= 64 && s[0] != '-' && s[0] != '.'
	for _, c := range s {
		ok = ok && (c < utf8.RuneSelf && (unicode.IsLetter(c) || unicode.IsDigit(c)) || strings.ContainsRune("-_.", c))
	}
	if !ok {
		d.bad("reference", fmt.Sprintf("reference %q cannot name a file", clip(s)), "use up to 64 letters, figures, hyphens, underscores and points, beginning with a letter or figure")
	}
}

// date requires a day of this electrical age. The range is a guard against
// slips, not a rule.
func (d *decoder) date(path, s string) time.Time {
	if !d.given(path, s) {
		return time.Time{}
	}
	day, err := time.Parse(time.DateOnly, s)
	if err != nil || day.Year() < 1990 || day.Year() > 2099 {
		d.bad(path, fmt.Sprintf("%s is %q, which is not a date", path, clip(s)), "write year-month-day, such as 2026-03-14")
		return time.Time{}
	}
	return day
}

func (d *decoder) number(path string, v, low, high float64, unit string) bool {
	switch {
	case v == 0 && d.at[path] == nil:
		d.bad(path, path+" is missing", "add it: "+unit)
		return false
	case !(v >= low && v <= high):
		d.bad(path, fmt.Sprintf("%s is %v, outside %v to %v", path, v, low, high), "give it in "+unit)
		return false
	}
	return true
}

func (d *decoder) unknownOr(path string, v, low, high float64, unit string) {
	if v != 0 {
		d.number(path, v, low, high, unit)
	}
}
