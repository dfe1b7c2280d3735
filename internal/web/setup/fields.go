// This file has the fields that the form shows, in their order, and how it is read.

package setup

import (
	"fmt"
	"net/url"
	"slices"
	"strings"

	"waycall/internal/board"
	"waycall/internal/english"
)

// Field is a field of the form.
type Field struct {
	Name    string // in a board file
	Label   string
	Hint    string      // what to write, in the field itself
	Choices [][2]string // value and words, of a field that is chosen
	Tick    bool        // it is ticked or not
	Figure  bool        // a number is written
	Narrow  bool
	List    string // the id of the list that is offered while typing
	Must    bool   // a job is not set up without it
}

var (
	text   = func(name, label, hint string) Field { return Field{Name: name, Label: label, Hint: hint} }
	figure = func(name, label, hint string) Field {
		return Field{Name: name, Label: label, Hint: hint, Figure: true, Narrow: true}
	}
	tick   = func(name, label string) Field { return Field{Name: name, Label: label, Tick: true} }
	choose = func(name, label string, choices ...string) Field {
		f := Field{Name: name, Label: label}
		for _, c := range choices {
			value, words, ok := strings.Cut(c, ": ")
			if !ok {
				words = value
			}
			f.Choices = append(f.Choices, [2]string{value, words})
		}
		return f
	}
	must   = func(f Field) Field { f.Must = true; return f }
	narrow = func(f Field) Field { f.Narrow = true; return f }
	listed = func(f Field, list string) Field { f.List = list; return f }
)

const unknown = "unknown"

// The groups of the form. What is in More is out of sight until it is asked for.
var (
	JobFields = []Field{
		must(text("reference", "Reference", "your own, such as TER-0107")),
		must(text("address", "Address", "one line")),
		must(narrow(text("date", "Date", "2026-03-14"))),
		must(narrow(text("tester", "Tester's initials", "such as JW"))),
		must(narrow(text("instrument.serial", "Instrument, serial number", ""))),
		must(narrow(text("instrument.checked", "Instrument last checked", "2026-02-02"))),
		must(figure("instrument.over_range", "Over range is above, MΩ", "such as 999")),
	}
	JobMore = []Field{
		choose("work", "Kind of work", "new: new work", "addition", "alteration", "periodic: periodic inspection"),
		text("tests", "Only these tests", "all; or continuity, insulation, polarity, live"),
		figure("instrument.over_range_250", "Over range at 250 V, MΩ", unknown),
		figure("instrument.over_range_1000", "Over range at 1000 V, MΩ", unknown),
	}
	BoardFields = []Field{
		must(text("name", "Name of the board", "such as Consumer unit, hall")),
		must(narrow(choose("earthing", "Earthing", "TN-C-S", "TN-S", "TT"))),
		must(figure("voltage", "Volts, line to earth", "230")),
		narrow(choose("phases", "Phases", "1", "3")),
		tick("surge_protection", "Surge protection is fitted"),
	}
	BoardMore = []Field{
		figure("number", "Number of the board", "its place in the list"),
		listed(text("main.standard", "Main switch, standard", unknown), "standards"),
		figure("main.rating", "Main switch, A", unknown),
		figure("main.rcd.rated", "Main switch, RCD mA", "none"),
		choose("main.rcd.type", "Main switch, RCD type", "A", "AC", "F", "B"),
		figure("supply.declared_ze", "Declared Ze, Ω", unknown),
		figure("supply.declared_pfc", "Declared fault current, kA", unknown),
		figure("earthing_conductor", "Earthing conductor, mm²", unknown),
		text("bonding", "Bonded services", "unknown; or such as water, gas"),
		figure("bonding_size", "Bonding, mm²", unknown),
		tick("no_bonding", "There is no service to bond"),
		figure("supply.from", "Fed from board", "the origin"),
		narrow(text("supply.from_way", "Fed from its way", "")),
	}
	// Of the types of RCD, A stands before AC: who types A into a list has the first that
	// begins so.
	WayFields = []Field{
		must(narrow(text("way", "Way", ""))),
		must(listed(text("feeds", "Feeds", "as marked on the board"), "circuits")),
		must(listed(text("device.standard", "Device", "mcb, rcbo or its standard"), "standards")),
		narrow(listed(text("device.type", "Type", "B, C, D"), "types")),
		must(listed(figure("device.rating", "Rating, A", ""), "ratings")),
		figure("device.breaking", "Breaks, kA", unknown),
		must(narrow(choose("wiring", "Wiring", "radial", "ring"))),
		listed(figure("line", "Line, mm²", unknown), "sizes"),
		listed(figure("cpc", "CPC, mm²", unknown), "sizes"),
		figure("length", "Length, m", unknown),
		figure("points", "Points", unknown),
		narrow(text("device.rcd.group", "RCD group", "none")),
		figure("device.rcd.rated", "RCD, mA", "none"),
		narrow(choose("device.rcd.type", "RCD type", "A", "AC", "F", "B")),
		narrow(text("neutral_bar", "Neutral bar", "only one")),
		tick("spare", "Spare"),
	}
	WayMore = []Field{
		choose("phases", "Phases of the way", "1", "3"),
		choose("phase", "On line", "L1", "L2", "L3"),
		choose("use", "Used for", "socket: socket-outlets", "lighting", "fixed: fixed equipment", "distribution: another board"),
		choose("cpc_kind", "Protective conductor", "conductor: a core or wire", "steel: steel enclosure", "armour: armour of the cable"),
		choose("material", "Conductors of", "copper", "aluminium"),
		figure("spurs", "Spurs", "none"),
		figure("supplies", "Feeds board number", "none"),
		text("keep_500_off", "Must not see 500 V", "nothing; or what stays connected"),
		tick("two_way", "Two-way switching"),
		tick("no_neutral", "Three-phase without neutral"),
		tick("separated", "SELV or PELV"),
		tick("undocumented", "Existing, without documents"),
	}
)

// Lists are what is offered while a field is written.
var Lists = map[string][]string{
	"standards": {board.MCB, board.RCBO, board.FuseBS3036, board.FuseBS88Domestic, board.FuseBS88, board.FuseBS1361, board.MCBBefore, board.CircuitBreaker, board.RCCB, board.SwitchIsolator},
	"types":     {"B", "C", "D", "1", "2", "3", "gG"},
	"ratings":   {"3", "6", "10", "16", "20", "25", "32", "40", "45", "50", "63"},
	"sizes":     {"1", "1.5", "2.5", "4", "6", "10", "16", "25"},
	"circuits":  {"Lights", "Upstairs lights", "Downstairs lights", "Sockets", "Upstairs sockets", "Downstairs sockets", "Kitchen sockets", "Cooker", "Shower", "Immersion heater", "Smoke alarms", "Boiler", "Garage", "Outside lights", "EV charger"},
}

// spoken is what people call the devices of a standard.
var spoken = map[string]string{
	"mcb": board.MCB, "60898": board.MCB, "rcbo": board.RCBO, "61009": board.RCBO, "rewirable": board.FuseBS3036, "rewireable": board.FuseBS3036,
	"rewirable fuse": board.FuseBS3036, "3036": board.FuseBS3036, "88-3": board.FuseBS88Domestic, "88-2": board.FuseBS88, "1361": board.FuseBS1361,
	"3871": board.MCBBefore, "mccb": board.CircuitBreaker, "60947-2": board.CircuitBreaker, "rccb": board.RCCB, "61008": board.RCCB, "60947-3": board.SwitchIsolator,
}

// Standard returns the standard that a device is made to, by what it is called, or the
// text itself.
func Standard(called string) string {
	if s, ok := spoken[strings.ToLower(strings.TrimSpace(called))]; ok {
		return s
	}
	return called
}

// fill takes the fields of a group from a form. One that the form does not have is left,
// but for a tick, which a form leaves out when it is not ticked.
func (v Values) fill(form url.Values, prefix string, groups ...[]Field) {
	for _, f := range slices.Concat(groups...) {
		sent, ok := form[prefix+f.Name]
		if !ok {
			if f.Tick {
				delete(v, f.Name)
			}
			continue
		}
		written := strings.ToValidUTF8(sent[0], "\ufffd")
		if strings.HasSuffix(f.Name, ".standard") {
			written = Standard(written)
		}
		v.Set(f.Name, written)
	}
}

// Filled returns the draft with what a form says in the fields that it shows.
func (d Draft) Filled(form url.Values) Draft {
	c := d.Clone()
	c.Fields.fill(form, "", JobFields, JobMore)
	for b := range c.Boards {
		c.Boards[b].Fields.fill(form, BoardPath(b)+".", BoardFields, BoardMore)
		for w := range c.Boards[b].Ways {
			c.Boards[b].Ways[w].fill(form, WayPath(b, w)+".", WayFields, WayMore)
		}
	}
	return c
}

// Place returns the path of the shown field at which a problem is told: its own, else the
// first of what it is about; the path of the way or the board where none of their fields
// is meant, and "" for the job as a whole.
func Place(path string) string {
	if i := strings.LastIndexByte(path, '['); i > 0 && strings.HasSuffix(path, "]") && !strings.HasSuffix(path[:i], "ways") && !strings.HasSuffix(path[:i], "boards") {
		path = path[:i] // an entry of a list
	}
	in, name, groups := "", path, [][]Field{JobFields, JobMore}
	if strings.HasPrefix(path, "boards[") {
		groups = [][]Field{BoardFields, BoardMore}
		in, name, _ = strings.Cut(path, "].")
		in = strings.TrimSuffix(in, "]") + "]"
		if strings.HasPrefix(name, "ways[") {
			groups = [][]Field{WayFields, WayMore}
			way, rest, _ := strings.Cut(name, "].")
			in, name = in+"."+strings.TrimSuffix(way, "]")+"]", rest
		}
	}
	for _, f := range slices.Concat(groups...) {
		if name != "" && (f.Name == name || strings.HasPrefix(f.Name, name+".")) {
			if in == "" {
				return f.Name
			}
			return in + "." + f.Name
		}
	}
	return in
}

// Said returns the words of a problem with the label of its field in place of its path.
func Said(p *board.Problem) string {
	what := p.What
	if p.Path != "" {
		label := "this"
		name := p.Path[strings.LastIndexByte(p.Path, ']')+1:]
		for _, f := range slices.Concat(JobFields, JobMore, BoardFields, BoardMore, WayFields, WayMore) {
			if f.Name == strings.TrimPrefix(name, ".") {
				label = f.Label
				break
			}
		}
		what = strings.ReplaceAll(what, p.Path, label)
	}
	return english.Capital(what) + "; " + p.Do + "."
}

// Open returns what is not known of a draft though the form asks for it: for each field
// the ways that lack it, in words.
func (d Draft) Open() []string {
	var all []string
	for b, one := range d.Boards {
		for _, f := range WayFields {
			var ways []string
			for _, w := range one.Ways {
				if f.Hint == unknown && w["spare"] != "true" && w[f.Name] == "" {
					ways = append(ways, w.orOpen("way"))
				}
			}
			if len(ways) > 0 {
				all = append(all, f.Label+" of way "+strings.Join(ways, ", ")+onBoard(b, len(d.Boards)))
			}
		}
	}
	return all
}

func onBoard(b, of int) string {
	if of == 1 {
		return ""
	}
	return fmt.Sprintf(" of board %d", b+1)
}

// Kept returns the fields that are carried along and that the form does not show.
func (d Draft) Kept() []string {
	var all []string
	note := func(v Values, groups ...[]Field) {
		for name := range v {
			shown := slices.ContainsFunc(slices.Concat(groups...), func(f Field) bool { return f.Name == name })
			if !shown && name != "edition" && !slices.Contains(all, name) {
				all = append(all, name)
			}
		}
	}
	note(d.Fields, JobFields, JobMore)
	for _, b := range d.Boards {
		note(b.Fields, BoardFields, BoardMore)
		for _, w := range b.Ways {
			note(w, WayFields, WayMore)
		}
	}
	slices.Sort(all)
	return all
}
