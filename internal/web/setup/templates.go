// This file has the boards that a draft may begin from. What they hold is what is met most
// often on such a board: common practice, no published source. Sizes, lengths and points
// are never among it, and whoever begins from one confirms that it was compared with the
// board on the wall.

package setup

import "strconv"

// Template is a usual board to begin from.
type Template struct {
	Name  string // stays the same: forms send it
	Words string
	ways  []usual
	rcd   func(i int, v Values) // which residual current device the way at i, from 0, is behind
	fill  func(b *Board)        // what else; may be nil
}

// usual is a way of a usual board: what it feeds, its wiring and the type and rating of its
// device; a spare way feeds nothing.
type usual struct{ feeds, wiring, kind, rating, use string }

var house = []usual{
	{"Upstairs lights", "radial", "B", "6", "lighting"}, {"Downstairs lights", "radial", "B", "6", "lighting"},
	{"Upstairs sockets", "ring", "B", "32", "socket"}, {"Downstairs sockets", "ring", "B", "32", "socket"},
	{"Kitchen sockets", "ring", "B", "32", "socket"}, {"Cooker", "radial", "B", "32", "fixed"},
	{"Shower", "radial", "B", "40", "fixed"}, {"Immersion heater", "radial", "B", "16", "fixed"},
	{"Smoke alarms", "radial", "B", "6", "fixed"}, {},
}

var flat = []usual{
	{"Lights", "radial", "B", "6", "lighting"}, {"Sockets", "ring", "B", "32", "socket"}, {"Kitchen sockets", "radial", "B", "20", "socket"},
	{"Cooker", "radial", "B", "32", "fixed"}, {"Water heater", "radial", "B", "16", "fixed"}, {},
}

// Templates are the usual boards, in the order in which they are offered.
var Templates = []Template{
	{Name: "house-two-rcds", Words: "House: ten ways, MCBs in two RCD groups A and B", ways: house, rcd: func(i int, v Values) {
		group := "A"
		if i%2 == 1 { // so that neither takes out all the lights
			group = "B"
		}
		v["device.standard"], v["device.rcd.group"], v["neutral_bar"] = "BS EN 60898", group, group
	}},
	{Name: "house-rcbos", Words: "House: ten ways, an RCBO each", ways: house, rcd: func(_ int, v Values) { v["device.standard"] = "BS EN 61009" }},
	{Name: "flat-rcbos", Words: "Flat: six ways, an RCBO each", ways: flat, rcd: func(_ int, v Values) { v["device.standard"] = "BS EN 61009" }},
	{Name: "fuses", Words: "Older house: nine ways, rewirable fuses without an RCD", ways: house[:9], rcd: func(_ int, v Values) {
		delete(v, "device.type")
		delete(v, "device.rcd.rated")
		delete(v, "device.rcd.type")
		v["device.standard"] = "BS 3036"
		v["device.rating"] = map[string]string{"6": "5", "16": "15", "32": "30", "40": "45"}[v["device.rating"]]
	}},
	{Name: "three-phase", Words: "Shop: three-phase, four places of three lines, to be named", fill: func(b *Board) {
		b.Fields["phases"] = "3"
		b.Ways = nil
		for place := 1; place <= 4; place++ {
			for line := 1; line <= 3; line++ {
				b.Ways = append(b.Ways, Values{"way": strconv.Itoa(place) + "L" + strconv.Itoa(line), "device.standard": "BS EN 60898", "device.type": "C", "wiring": "radial"})
			}
		}
	}},
}

// board returns the board of a template.
func (t Template) board() Board {
	b := Blank(1)
	if len(t.ways) > 0 {
		b.Ways = nil
	}
	for i, u := range t.ways {
		v := Values{"way": strconv.Itoa(i + 1)}
		if u.feeds == "" {
			v["spare"] = "true"
		} else {
			v["feeds"], v["wiring"], v["use"] = u.feeds, u.wiring, u.use
			v["device.type"], v["device.rating"], v["device.rcd.rated"], v["device.rcd.type"] = u.kind, u.rating, "30", "A"
			t.rcd(i, v)
		}
		b.Ways = append(b.Ways, v)
	}
	if t.fill != nil {
		t.fill(&b)
	}
	return b
}

// FromTemplate returns the draft of a usual board, or false where there is none of that name.
func FromTemplate(name string) (Draft, bool) {
	for _, t := range Templates {
		if t.Name == name {
			return Draft{Format: Format, From: "a usual board", Fields: Values{}, Boards: []Board{t.board()}}, true
		}
	}
	return Draft{}, false
}
