package board

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"waycall/internal/advice"
	"waycall/internal/printable"
	"waycall/internal/waymark"
)

// validate adds a problem for everything in job that is missing or cannot be.
func (d *decoder) validate(job *Job) {
	d.reference(job.Reference)
	d.line("address", job.Address, 160)
	d.tester(job.Tester)
	made := d.date("date", job.Date)
	d.line("instrument.serial", job.Instrument.Serial, 40)
	checked := d.date("instrument.checked", job.Instrument.Checked)
	if !made.IsZero() && checked.After(made) {
		d.bad("instrument.checked", fmt.Sprintf("the instrument was checked on %s, after the date of the job", job.Instrument.Checked), "correct one of the two dates")
	}
	// The scale must at least reach what a reading is judged by; 99999 is the
	// largest reading there is.
	d.number("instrument.over_range", job.Instrument.OverRange, 20, 99999, "Mohm: the end of the instrument's insulation scale, such as 999")
	for _, at := range []struct {
		name string
		end  float64
	}{{"over_range_250", job.Instrument.OverRange250}, {"over_range_1000", job.Instrument.OverRange1000}} {
		if at.end != 0 {
			d.number("instrument."+at.name, at.end, 20, 99999, "Mohm: the end of the scale at that voltage, or leave it out")
		}
	}
	d.serials(&job.Instrument.Serials)
	d.tests(job)
	d.work(job)
	d.edition(job.Edition)
	d.boards(job)
}

func (d *decoder) edition(e Edition) {
	var names []string
	for _, known := range Editions() {
		names = append(names, string(known))
	}
	if !slices.Contains(Editions(), e) {
		d.bad("edition", fmt.Sprintf("edition is %q", printable.Cut(string(e), 40)), "write "+choice(names)+", or leave it out for the one in force")
	}
}

// tests checks what the job is limited to. That an empty list means all would
// be easy to misread, so it is refused.
func (d *decoder) tests(job *Job) {
	const advice = "list continuity, insulation, polarity or live, or leave tests out for all"
	if len(job.Tests) == 0 && d.at["tests"] != nil {
		d.bad("tests", "tests is empty", advice)
	}
	for i, k := range job.Tests {
		at := fmt.Sprintf("tests[%d]", i)
		switch {
		case !oneOf(k, Continuity, Insulation, Polarity, Live):
			d.bad(at, fmt.Sprintf("unknown kind of test %q", printable.Cut(string(k), 40)), advice)
		case slices.Contains(job.Tests[:i], k):
			d.bad(at, fmt.Sprintf("%s is listed twice", k), "remove one")
		}
	}
}

func (d *decoder) boards(job *Job) {
	switch {
	case len(job.Boards) == 0:
		d.bad("boards", "boards is missing or empty", "describe at least one board under board or boards")
		return
	case len(job.Boards) > maxBoards:
		d.bad(fmt.Sprintf("boards[%d]", maxBoards), fmt.Sprintf("the job has more than %d boards", maxBoards), "divide it into several jobs")
		return
	}
	lines := map[int]string{}
	tested := false
	for i := range job.Boards {
		b, path := &job.Boards[i], d.boardPath(i)
		n := path + ".number"
		if first, twice := lines[b.Number]; twice {
			d.bad(n, fmt.Sprintf("board %d is described twice%s", b.Number, first), "give each board its own number")
		} else if d.within(n, float64(b.Number), 1, 99, "a board's number") {
			lines[b.Number] = d.first(n)
		}
		d.board(b, path)
		tested = tested || !b.Supply.OnlyIsolated
	}
	if !tested {
		d.bad("", "every board is only isolated, so there is nothing to test", "describe the board that is tested")
	}
	// Only what is sound by itself is set against the rest.
	if len(d.problems) == 0 {
		for i := range job.Boards {
			d.supply(job, &job.Boards[i], d.boardPath(i))
			d.supplies(job, &job.Boards[i], d.boardPath(i))
		}
	}
}

// maxBoards is far above what a house or a small business has, and keeps the
// numbers within two figures.
const maxBoards = 99

func (d *decoder) board(b *Board, path string) {
	d.line(path+".name", b.Name, 80)
	if d.given(path+".earthing", string(b.Earthing)) && !oneOf(b.Earthing, TNS, TNCS, TT) {
		d.bad(path+".earthing", fmt.Sprintf("%s.earthing is %q", path, printable.Cut(string(b.Earthing), 40)), "write TN-S, TN-C-S or TT")
	}
	// Low voltage ends at 600 V to earth: BS 7671 Part 2, from memory.
	d.number(path+".voltage", b.Voltage, 50, 600, "V, line to earth, such as 230")
	d.phases(path+".phases", b.Phases)
	d.mainSwitch(&b.Main, path+".main")
	d.particulars(b, path)
	d.unknownOr(path+".supply.declared_ze", b.Supply.DeclaredZe, 0.001, 2000, "ohm, or leave it out when unknown")
	d.unknownOr(path+".supply.declared_pfc", b.Supply.DeclaredPFC, 0.01, 200, "kA, or leave it out when unknown")
	d.unknownOr(path+".earthing_conductor", b.EarthingConductor, 1, 1000, "mm2, or leave it out when unknown")
	d.unknownOr(path+".earthing_length", b.EarthingLength, 0.1, 1000, "m, or leave it out when unknown")
	d.unknownOr(path+".bonding_size", b.BondingSize, 1, 1000, "mm2, or leave it out when unknown")
	d.unknownOr(path+".conditional_rating", b.Conditional, 0.5, 200, "kA, or leave it out when unknown")
	d.bondingLengths(b, path)
	switch {
	case len(b.Bonding) > 20:
		d.bad(path+".bonding[20]", "more than 20 services are bonded", "list main bonding only")
	case len(b.Bonding) == 0 && b.BondingSize != 0:
		d.bad(path+".bonding_size", "bonding_size is given but no bonded service", "list the services under bonding, such as [water, gas]")
	}
	for i, service := range b.Bonding {
		at := fmt.Sprintf("%s.bonding[%d]", path, i)
		if d.line(at, service, 40) && slices.Contains(b.Bonding[:i], service) {
			d.bad(at, fmt.Sprintf("%s is bonded twice", printable.Cut(service, 40)), "name each service once, or tell them apart")
		}
	}
	if b.Ambient != 0 || d.at[path+".ambient"] != nil {
		switch {
		case b.Ambient == 0:
			d.bad(path+".ambient", "ambient is 0, which stands for not known", "write 0.1 for freezing, or leave it out for 20 degrees C")
		default:
			// From a building site in winter to a loft in summer; a guard
			// against slips, not a rule.
			d.within(path+".ambient", b.Ambient, -25, 60, "degrees C")
		}
	}
	d.ways(b, path)
	d.groups(b, path)
}

func (d *decoder) bondingLengths(b *Board, path string) {
	if len(b.BondingLengths) != 0 && len(b.BondingLengths) != len(b.Bonding) {
		d.bad(path+".bonding_lengths", fmt.Sprintf("%d lengths are given for %d bonded services", len(b.BondingLengths), len(b.Bonding)), "give one for each service, in their order, or leave them out")
	}
	for i, m := range b.BondingLengths {
		d.within(fmt.Sprintf("%s.bonding_lengths[%d]", path, i), m, 0.1, 1000, "m")
	}
}

func (d *decoder) phases(path string, n int) {
	if n != 1 && n != 3 {
		d.bad(path, fmt.Sprintf("%s is %d", path, n), "write 1 or 3")
	}
}

// supply checks what a board is fed from: a way that exists and says so, of a
// board that can feed it, and no board through others from itself.
func (d *decoder) supply(job *Job, b *Board, path string) {
	u, at := &b.Supply, path+".supply"
	if u.From == 0 {
		if u.FromWay != 0 {
			d.bad(at+".from_way", fmt.Sprintf("board %d has from_way but is fed from the origin", b.Number), "add from with the number of the board that feeds it, or remove from_way")
		}
		return
	}
	from := job.Board(u.From)
	switch {
	case from == nil:
		d.bad(at+".from", fmt.Sprintf("board %d is fed from board %d, which is not described", b.Number, u.From), "describe that board, or write 0 for the origin")
		return
	case from == b:
		d.bad(at+".from", fmt.Sprintf("board %d is fed from itself", b.Number), "write the board that feeds it, or 0 for the origin")
		return
	}
	// A loop is told once, at its board that stands first in the file.
	loop := []int{b.Number}
	for up := from; up != nil && up.Supply.From != 0; up = job.Board(up.Supply.From) {
		if slices.Contains(loop, up.Number) {
			break
		}
		loop = append(loop, up.Number)
		if up.Supply.From == b.Number {
			first := slices.IndexFunc(job.Boards, func(x Board) bool { return slices.Contains(loop, x.Number) })
			if &job.Boards[first] == b {
				d.bad(at+".from", fmt.Sprintf("boards %s feed one another in a loop", numbers(loop)), "write 0 for the one that is fed from the origin")
			}
			return
		}
	}
	way := from.Way(u.FromWay)
	switch {
	case u.FromWay == 0:
		d.bad(at, fmt.Sprintf("board %d is fed from board %d but no from_way is given", b.Number, u.From), "add the way of that board")
	case way == nil:
		d.bad(at+".from_way", fmt.Sprintf("board %d has no way %s to feed board %d", u.From, waymark.Print(u.FromWay), b.Number), "correct the way or describe it")
	case way.Spare:
		d.bad(at+".from_way", fmt.Sprintf("board %d is fed from way %s of board %d, which is spare", b.Number, waymark.Print(u.FromWay), u.From), "correct the way")
	case way.Supplies != b.Number:
		d.bad(at+".from_way", fmt.Sprintf("way %s of board %d does not say that it supplies board %d", waymark.Print(u.FromWay), u.From, b.Number), fmt.Sprintf("add supplies: %d to that way or correct from_way", b.Number))
	case b.Phases > way.Phases:
		d.bad(path+".phases", fmt.Sprintf("board %d is three-phase but is fed by a single-phase way", b.Number), "correct phases of one of the two")
	}
	if from.Earthing == TT && b.Earthing != TT {
		d.bad(path+".earthing", fmt.Sprintf("board %d is %s but is fed from board %d, which is TT", b.Number, b.Earthing, u.From), "correct the earthing of one of the two")
	}
	for _, declared := range []struct {
		key string
		set bool
	}{{"declared_ze", u.DeclaredZe != 0}, {"declared_pfc", u.DeclaredPFC != 0}, {"frequency", u.Frequency != 0}, {"live_conductors", u.Conductors != ""},
		{"cutout", u.Cutout != (Cutout{})}, {"maximum_demand", u.MaximumDemand != 0}} {
		if declared.set {
			d.bad(at+"."+declared.key, fmt.Sprintf("%s is given for board %d, which is not at the origin", declared.key, b.Number), "give it for the board that is fed from the origin")
		}
	}
}

// supplies checks the ways that say they feed a board.
func (d *decoder) supplies(job *Job, b *Board, path string) {
	fed := map[int]int{}
	for i := range b.Ways {
		w, at := &b.Ways[i], fmt.Sprintf("%s.ways[%d].supplies", path, i)
		if w.Supplies == 0 {
			continue
		}
		to := job.Board(w.Supplies)
		switch first, twice := fed[w.Supplies], fed[w.Supplies] != 0; {
		case to == nil:
			d.bad(at, fmt.Sprintf("way %s supplies board %d, which is not described", waymark.Print(w.Number), w.Supplies), "describe that board or remove supplies")
		case to == b:
			d.bad(at, fmt.Sprintf("way %s supplies its own board", waymark.Print(w.Number)), "correct the number")
		case twice:
			d.bad(at, fmt.Sprintf("ways %s and %s both supply board %d", waymark.Print(first), waymark.Print(w.Number), w.Supplies), "keep the one that feeds it")
		case to.Supply.From != b.Number || to.Supply.FromWay != w.Number:
			d.bad(at, fmt.Sprintf("way %s supplies board %d, but that board says it is fed from elsewhere", waymark.Print(w.Number), w.Supplies), fmt.Sprintf("write supply: {from: %d, from_way: %s} for that board or correct supplies", b.Number, waymark.Print(w.Number)))
		}
		fed[w.Supplies] = w.Number
	}
}

func numbers(list []int) string {
	words := make([]string, len(list))
	for i, n := range list {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, ", ")
}

func (d *decoder) ways(b *Board, board string) {
	if len(b.Ways) == 0 {
		if b.Supply.OnlyIsolated {
			return // its ways may be nobody's business
		}
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
	if used == 0 && !b.Supply.OnlyIsolated {
		d.bad(board+".ways", "every way is spare, so there is nothing to test", "describe the ways that feed something")
	}
	lines := map[int]string{}
	last := 0
	for i := range b.Ways {
		w := &b.Ways[i]
		path := fmt.Sprintf("%s.ways[%d]", board, i)
		n := path + ".way"
		lines[w.Number], last = d.wayNumber(b.Ways[:i], n, w.Number, lines[w.Number], last)
		d.way(b, w, path)
		if bars && !w.Spare && !w.NoNeutral && w.NeutralBar == "" {
			d.bad(path, fmt.Sprintf("way %s has no neutral_bar but other ways have", waymark.Print(w.Number)), "name the bar its neutral is on")
		}
	}
}

// wayNumber checks how a way of a board is marked against those before it. first is
// where it was described before, last the way before it; it returns both anew.
func (d *decoder) wayNumber(before []Way, path string, n int, first string, last int) (string, int) {
	if n == 0 && d.at[path] == nil {
		d.bad(path, path+" is missing", "add it: a way as marked on the board, such as 3 or 1L2")
		return first, last
	}
	if !waymark.Known(n) {
		d.bad(path, fmt.Sprintf("%s is %d, outside 1 to %d", path, n, waymark.MaxPlace), "give it in a way's number as marked on the board, such as 3 or 1L2")
		return first, last
	}
	if slices.ContainsFunc(before, func(w Way) bool { return w.Number == n }) {
		d.bad(path, fmt.Sprintf("way %s is described twice%s", waymark.Print(n), first), "correct the number or remove one")
		return first, last
	}
	for _, w := range before {
		if waymark.Clash(w.Number, n) {
			d.bad(path, fmt.Sprintf("ways %s and %s are at one place of the board", waymark.Print(w.Number), waymark.Print(n)), "describe the place as one way, or each of its lines as a way")
			break
		}
	}
	if last != 0 && waymark.Compare(n, last) < 0 {
		d.bad(path, fmt.Sprintf("way %s comes after way %s", waymark.Print(n), waymark.Print(last)), "put the ways in the order of their numbers")
	}
	return d.first(path), n
}

func (d *decoder) way(b *Board, w *Way, path string) {
	d.wayPhases(b, w, path)
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
		d.bad(path+".wiring", fmt.Sprintf("wiring is %q", printable.Cut(string(w.Wiring), 40)), "write radial or ring")
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
	d.unknownOr(path+".spurs", float64(w.Spurs), 1, 500, "spurs, or leave it out when there are none")
	if !oneOf(w.Material, Copper, Aluminium) {
		d.bad(path+".material", fmt.Sprintf("material is %q", printable.Cut(string(w.Material), 40)), "write copper or aluminium")
	}
	if !oneOf(w.CPCKind, Conductor, Steel, Armour) {
		d.bad(path+".cpc_kind", fmt.Sprintf("cpc_kind is %q", printable.Cut(string(w.CPCKind), 40)), "write conductor, steel or armour")
	}
	d.unknownOr(path+".cores", float64(w.Cores), 2, 4, "cores of an armoured cable, or leave it out when unknown")
	if w.FeedsBack != "" && !oneOf(w.FeedsBack, PV, Battery, Vehicle) {
		d.bad(path+".feeds_back", fmt.Sprintf("feeds_back is %q", printable.Cut(string(w.FeedsBack), 40)), "write PV, battery or vehicle, or leave it out when nothing feeds back")
	}
	known(d, path+".use", "use", w.Use, Socket, Lighting, Fixed, Distribution)
	d.kind(b, w, path)
	d.unknownOr(path+".supplies", float64(w.Supplies), 1, 99, "the number of the board that it feeds")
	d.contradictions(w, path)
}

// contradictions refuses a way whose fields cannot all be so.
func (d *decoder) contradictions(w *Way, path string) {
	ring := w.Wiring == Ring
	for _, c := range []struct {
		found         bool
		key, what, do string
	}{
		{w.Separated && ring, "separated", "a ring final circuit is described as SELV or PELV", "correct wiring or separated"},
		{w.Separated && w.Supplies != 0, "separated", "a way that supplies a board is described as SELV or PELV", "correct supplies or separated"},
		{ring && w.Supplies != 0, "supplies", "a ring final circuit is described as supplying a board", "correct wiring or supplies"},
		{ring && w.Phases == 3, "phases", "a ring final circuit is described as three-phase", "correct wiring or phases"},
		{w.NoNeutral && w.Phases == 1, "no_neutral", "a single-phase circuit is described without a neutral", "correct phases or no_neutral"},
		{w.NoNeutral && w.NeutralBar != "", "no_neutral", "a circuit without a neutral is described on a neutral bar", "remove neutral_bar or no_neutral"},
		{!ring && w.Spurs > 0, "spurs", "spurs are given for a circuit that is no ring", "count them as points, or correct wiring"},
		{w.Spurs > 0 && w.Points > 0 && w.Spurs >= w.Points, "spurs", fmt.Sprintf("%d spurs leave no point of %d on the ring itself", w.Spurs, w.Points), "points counts those on spurs, too; correct one of the two"},
		{w.Supplies != 0 && w.Use != "" && w.Use != Distribution, "use", fmt.Sprintf("the way supplies a board but its use is %s", w.Use), "write distribution or remove supplies"},
		{w.Supplies != 0 && w.TwoWay, "two_way", "a way that supplies a board is described with two-way switching", "correct supplies or two_way"},
		{w.Cores != 0 && w.CPCKind != Armour, "cores", "cores are given but its protective conductor is no armour", "write cpc_kind: armour, or remove cores"},
		{w.Flexible && w.Material == Aluminium, "flexible", "flexible conductors are described as aluminium", "correct material or flexible"},
		{ring && w.Use == Distribution, "use", "a ring final circuit is described as a distribution circuit", "correct wiring or use"},
	} {
		if c.found {
			d.bad(path+"."+c.key, fmt.Sprintf("way %s: %s", waymark.Print(w.Number), c.what), c.do)
		}
	}
}

// wayPhases checks the lines of a way against those of its board. A spare way
// may say where it is, too.
func (d *decoder) wayPhases(b *Board, w *Way, path string) {
	if !w.Spare || w.Phases != 0 || d.at[path+".phases"] != nil {
		d.phases(path+".phases", w.Phases)
	}
	switch {
	case waymark.Line(w.Number) != 0 && b.Phases == 1:
		d.bad(path+".way", fmt.Sprintf("way %s is marked by its line but its board has one phase", waymark.Print(w.Number)), "correct the way, or phases of the board")
	case waymark.Line(w.Number) != 0 && w.Phases == 3:
		d.bad(path+".phases", fmt.Sprintf("way %s is on one line but described as three-phase", waymark.Print(w.Number)), "correct phases, or write the way without its line")
	case waymark.Line(w.Number) != 0 && w.Phase != "" && w.Phase != waymark.Phase(w.Number):
		d.bad(path+".phase", fmt.Sprintf("way %s names phase %s", waymark.Print(w.Number), printable.Cut(w.Phase, 40)), "correct the way or remove phase")
	case w.Phases == 3 && b.Phases == 1:
		d.bad(path+".phases", fmt.Sprintf("way %s is three-phase but its board has one phase", waymark.Print(w.Number)), "correct phases of one of the two")
	case w.Phase == "":
	case !oneOf(w.Phase, "L1", "L2", "L3"):
		d.bad(path+".phase", fmt.Sprintf("phase is %q", printable.Cut(w.Phase, 40)), "write L1, L2 or L3")
	case b.Phases == 1:
		d.bad(path+".phase", fmt.Sprintf("way %s names a phase but its board has only one", waymark.Print(w.Number)), "remove phase or correct phases of the board")
	case w.Phases == 3:
		d.bad(path+".phase", fmt.Sprintf("way %s is on all three phases but names one", waymark.Print(w.Number)), "remove phase or correct phases of the way")
	}
}

// spare refuses a spare way that is described as if it fed something.
func (d *decoder) spare(w *Way, path string) {
	for _, f := range []struct {
		key string
		set bool
	}{{"wiring", w.Wiring != ""}, {"line", w.Line != 0}, {"cpc", w.CPC != 0}, {"length", w.Length != 0}, {"points", w.Points != 0},
		{"two_way", w.TwoWay}, {"keep_500_off", w.Keep500Off != ""}, {"separated", w.Separated},
		{"no_neutral", w.NoNeutral}, {"material", w.Material != ""}, {"cpc_kind", w.CPCKind != ""}, {"spurs", w.Spurs != 0}, {"use", w.Use != ""}, {"supplies", w.Supplies != 0}, {"undocumented", w.Undocumented},
		{"reference_method", w.Method != ""}, {"afdd", w.AFDD}, {"kind", w.Kind != ""}, {"pen_protection", w.PEN != ""}, {"dc_protection", w.DC != ""},
		{"cores", w.Cores != 0}, {"flexible", w.Flexible}, {"feeds_back", w.FeedsBack != ""}, {"work", w.Work != ""}, {"tested", w.Tested != ""}} {
		if f.set {
			d.bad(path+"."+f.key, fmt.Sprintf("way %s is spare but has %s", waymark.Print(w.Number), f.key), "remove one of the two")
		}
	}
}

// first says on which line something stands that is found twice, where that is
// known.
func (d *decoder) first(path string) string {
	if tk := d.where(path); tk != nil {
		return fmt.Sprintf(", first on line %d", tk.Position.Line)
	}
	return ""
}

func (d *decoder) bad(path, what, do string) { d.addAt(path, d.where(path), what, do) }

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
	case strings.TrimSpace(s) != s, !printable.IsLine(s), strings.ContainsFunc(s, func(r rune) bool { return r != ' ' && unicode.IsSpace(r) }):
		d.bad(path, path+" has a line break, a blank at its end or a character that does not print", "write it as one line")
	default:
		return true
	}
	return false
}

// tester is initials. A record of an earlier waycall may have any line there.
func (d *decoder) tester(s string) {
	if d.recorded {
		d.line("tester", s, 40)
		return
	}
	if d.given("tester", s) {
		if err := CheckInitials(s); err != nil {
			d.bad("tester", "tester: "+advice.What(err), advice.Do(err))
		}
	}
}

// mostInitials is how many letters initials may have.
const mostInitials = 8

// CheckInitials returns an error that says what is wrong with somebody's initials, and
// what to do, or nil: they are 1 to 8 letters of any alphabet. It is the one rule for the
// tester of a job, of a session, and for a reviewer.
func CheckInitials(by string) error {
	const do = "give 1 to 8 letters"
	switch n := utf8.RuneCountInString(by); {
	case n == 0:
		return advice.New("there are no initials", do)
	case n > mostInitials || strings.ContainsFunc(by, func(r rune) bool { return !unicode.IsLetter(r) }):
		return advice.Errorf(do, "%.40q are no initials", by)
	}
	return nil
}

// reference also names the job's file, so it is kept to what any disk takes.
func (d *decoder) reference(s string) {
	if !d.given("reference", s) {
		return
	}
	if what, do := faultOfReference(s, !d.recorded); what != "" {
		d.bad("reference", what, do)
	}
}

// JobEnding is what the name of a job's file ends in.
const JobEnding = ".waycall"

// fileEndings are what the name of a board file may end in.
var fileEndings = []string{".yaml", ".yml"}

// IsFile reports whether a name is that of a board file, by its ending.
func IsFile(name string) bool {
	return slices.ContainsFunc(fileEndings, func(end string) bool { return strings.HasSuffix(name, end) })
}

// CheckReference returns an error that says why a new job cannot have that reference,
// and what to do, or nil.
func CheckReference(s string) error {
	if what, do := faultOfReference(s, true); what != "" {
		return advice.New(what, do)
	}
	return nil
}

// faultOfReference says what is wrong with a reference. In what was recorded earlier
// one may end like a file's name.
func faultOfReference(s string, isNew bool) (what, do string) {
	ok := s != "" && len(s) <= 64 && s[0] != '-' && s[0] != '.'
	for _, c := range s {
		ok = ok && (c < utf8.RuneSelf && (unicode.IsLetter(c) || unicode.IsDigit(c)) || strings.ContainsRune("-_.", c))
	}
	if !ok {
		return fmt.Sprintf("reference %q cannot name a file", printable.Cut(s, 40)), "use up to 64 letters, figures, hyphens, underscores and points, beginning with a letter or figure"
	}
	// A job may be given by its file, too, so a reference must not look like one.
	for _, end := range append([]string{JobEnding}, fileEndings...) {
		if isNew && strings.HasSuffix(strings.ToLower(s), end) {
			return fmt.Sprintf("reference %q ends like the name of a file", printable.Cut(s, 40)), "leave " + end + " off"
		}
	}
	return "", ""
}

// date requires a day of this electrical age. The range is a guard against
// slips, not a rule.
func (d *decoder) date(path, s string) time.Time {
	if !d.given(path, s) {
		return time.Time{}
	}
	day, err := time.Parse(time.DateOnly, s)
	if err != nil || day.Year() < 1990 || day.Year() > 2099 {
		d.bad(path, fmt.Sprintf("%s is %q, which is not a date", path, printable.Cut(s, 40)), "write year-month-day, such as 2026-03-14")
		return time.Time{}
	}
	return day
}

func (d *decoder) number(path string, v, low, high float64, unit string) bool {
	if v == 0 && d.at[path] == nil {
		d.bad(path, path+" is missing", "add it: "+unit)
		return false
	}
	return d.within(path, v, low, high, unit)
}

func (d *decoder) within(path string, v, low, high float64, unit string) bool {
	if v >= low && v <= high {
		return true
	}
	d.bad(path, fmt.Sprintf("%s is %v, outside %v to %v", path, v, low, high), "give it in "+unit)
	return false
}

func (d *decoder) unknownOr(path string, v, low, high float64, unit string) {
	if v != 0 {
		d.within(path, v, low, high, unit)
	}
}
