package board

import (
	"errors"
	"os"
	"strings"
	"testing"
)

const workshop = "../../testdata/boards/workshop.yaml"

func text(t testing.TB, file string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestReadWorkshop(t *testing.T) {
	job, err := Read(strings.NewReader(text(t, workshop)), "workshop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if len(job.Boards) != 3 || len(job.Board(1).Ways) != 4 || len(job.Board(2).Ways) != 10 || len(job.Board(3).Ways) != 4 || job.Board(4) != nil {
		t.Fatalf("read %+v", job)
	}
	if b := job.Board(1); b.Phases != 3 || b.Supply != (Supply{DeclaredZe: 0.35, DeclaredPFC: 16}) || b.Main.Family() != SwitchIsolator || b.EarthingConductor != 16 || len(b.Bonding) != 2 || b.BondingSize != 10 || b.Ambient != 12 {
		t.Errorf("board 1 is %+v", b)
	}
	if b := job.Board(3); b.Phases != 1 || b.Earthing != TT || b.Supply.From != 1 || b.Supply.FromWay != 2 || *b.Main.RCD != (RCD{Rated: 100, Type: "A", Delayed: true}) {
		t.Errorf("board 3 is %+v", b)
	}
	for at, ok := range map[[2]int]func(*Way) bool{
		{1, 1}: func(w *Way) bool {
			return w.Phases == 3 && w.Supplies == 2 && w.Use == Distribution && w.CPCKind == Steel && w.Material == Copper
		},
		{1, 4}: func(w *Way) bool { return w.Spare && w.Phase == "L3" && w.Phases == 0 && w.Material == "" },
		{2, 2}: func(w *Way) bool { return w.Device.Family() == CircuitBreaker && w.Device.Trip == 320 },
		{2, 3}: func(w *Way) bool {
			return w.Wiring == Ring && w.Spurs == 2 && w.Phases == 1 && w.Device.RCD.Group == "G1"
		},
		{2, 7}: func(w *Way) bool { return w.Undocumented && w.Length == 0 && w.CPC == 0 && w.CPCKind == Conductor },
		{2, 8}: func(w *Way) bool { return w.Material == Aluminium },
	} {
		if w := job.Way(at[0], at[1]); w == nil || !ok(w) {
			t.Errorf("way %d of board %d is %+v", at[1], at[0], w)
		}
	}
	if job.Way(3, 9) != nil || job.Way(9, 1) != nil {
		t.Error("a way exists that is not described")
	}
}

// Each edit of the workshop gives an error that says where and what.
func TestWorkshopRefuses(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"board twice":            {"- number: 3", "- number: 2", "board 2 is described twice, first on line 56"},
		"board 100":              {"- number: 3", "- number: 100", "boards[2].number is 100, outside 1 to 99"},
		"board 0":                {"- number: 3", "- number: 0", "boards[2].number is 0, outside 1 to 99"},
		"both kinds":             {"tester: JW\n", "tester: JW\nboard: {name: x}\n", "the file has both board and boards"},
		"two phases":             {"    phases: 3\n    surge", "    phases: 2\n    surge", "boards[1].phases is 2; write 1 or 3"},
		"phases nought":          {"    phases: 3\n    surge", "    phases: 0\n    surge", "boards[1].phases is 0; write 1 or 3"},
		"board by single phase":  {"        phases: 3\n        line: 16", "        phase: L1\n        line: 16", "board 2 is three-phase but is fed by a single-phase way"},
		"fed from nowhere":       {"from: 1, from_way: 2", "from: 7, from_way: 2", "board 3 is fed from board 7, which is not described"},
		"fed from itself":        {"from: 1, from_way: 2", "from: 3, from_way: 2", "board 3 is fed from itself"},
		"fed from no way":        {"from: 1, from_way: 2", "from: 1", "board 3 is fed from board 1 but no from_way is given"},
		"fed from missing way":   {"from: 1, from_way: 2", "from: 1, from_way: 9", "board 1 has no way 9 to feed board 3"},
		"fed from spare way":     {"from: 1, from_way: 2", "from: 1, from_way: 4", "way 4 of board 1, which is spare"},
		"fed from another way":   {"from: 1, from_way: 2", "from: 1, from_way: 3", "way 3 of board 1 does not say that it supplies board 3"},
		"way without board":      {"from: 1, from_way: 2", "from_way: 2", "board 3 has from_way but is fed from the origin"},
		"says it is fed":         {"    supply: {from: 1, from_way: 2}\n", "", "way 2 supplies board 3, but that board says it is fed from elsewhere"},
		"supplies nothing there": {"supplies: 3", "supplies: 8", "way 2 supplies board 8, which is not described"},
		"supplies itself":        {"supplies: 3", "supplies: 1", "way 2 supplies its own board"},
		"supplied twice":         {"supplies: 3", "supplies: 2", "ways 1 and 2 both supply board 2"},
		"loop":                   {"supply: {declared_ze: 0.35, declared_pfc: 16}", "supply: {from: 2, from_way: 1}", "boards 1, 2 feed one another in a loop"},
		"declared downstream":    {"from: 1, from_way: 2", "from: 1, from_way: 2, declared_ze: 0.2", "declared_ze is given for board 3, which is not at the origin"},
		"TN from TT":             {"    earthing: TN-C-S\n    voltage: 230           # line", "    earthing: TT\n    voltage: 230           # line", "board 2 is TN-C-S but is fed from board 1, which is TT"},
		"declared far off":       {"declared_pfc: 16", "declared_pfc: 1600", "outside 0.01 to 200"},
		"ambient nought":         {"ambient: 8", "ambient: 0", "ambient is 0, which stands for not known"},
		"ambient far off":        {"ambient: 8", "ambient: -40", "boards[2].ambient is -40, outside -25 to 60"},
		"bonded twice":           {"[water, gas]", "[water, water]", "water is bonded twice"},
		"bonding size alone":     {"    bonding: [water, gas]\n", "", "bonding_size is given but no bonded service"},
		"bonding not a list":     {"[water, gas]", "water", "boards[0].bonding is not a list"},
		"bonding deep":           {"[water, gas]", "[[water]]", "is not a single value"},
		"phase of a ring":        {"phase: L1\n        line: 2.5", "phases: 3\n        line: 2.5", "way 3: a ring final circuit is described as three-phase"},
		"phase unknown":          {"phase: L3\n        line: 4", "phase: L4\n        line: 4", `phase is "L4"; write L1, L2 or L3`},
		"phase on one phase":     {"feeds: Store sockets", "feeds: Store sockets\n        phase: L1", "way 1 names a phase but its board has only one"},
		"three on one phase":     {"feeds: Store sockets", "feeds: Store sockets\n        phases: 3", "way 1 is three-phase but its board has one phase"},
		"one of three":           {"feeds: Planer", "feeds: Planer\n        phase: L1", "way 1 is on all three phases but names one"},
		"no neutral, one phase":  {"points: 6\n", "points: 6\n        no_neutral: true\n", "way 5: a single-phase circuit is described without a neutral"},
		"no neutral, on a bar":   {"feeds: Planer", "feeds: Planer\n        no_neutral: true", "way 1: a circuit without a neutral is described on a neutral bar"},
		"no neutral, spare":      {"spare: true\n        phase: L3", "spare: true\n        no_neutral: true", "way 4 is spare but has no_neutral"},
		"no neutral, unclear":    {"feeds: Planer", "feeds: Planer\n        no_neutral: perhaps", "write true or false"},
		"spurs on a radial":      {"points: 6\n", "points: 6\n        spurs: 1\n", "way 5: spurs are given for a circuit that is no ring"},
		"spurs negative":         {"spurs: 2", "spurs: -2", "not a whole number"},
		"spurs only":             {"spurs: 2", "spurs: 12", "12 spurs leave no point of 12 on the ring itself"},
		"material":               {"material: aluminium", "material: gold", `material is "gold"; write copper or aluminium`},
		"cpc kind":               {"cpc_kind: steel    # conduit", "cpc_kind: lead", `cpc_kind is "lead"; write conductor, steel or armour`},
		"use":                    {"use: socket\n      - way: 6", "use: kettle\n      - way: 6", `use is "kettle"; write socket`},
		"use of a supply":        {"supplies: 3", "supplies: 3\n        use: lighting", "the way supplies a board but its use is lighting"},
		"ring supplies":          {"spurs: 2", "supplies: 3", "a ring final circuit is described as supplying a board"},
		"spare with use":         {"spare: true\n        phase: L3", "spare: true\n        use: socket", "way 4 is spare but has use"},
		"spare with supplies":    {"spare: true\n        phase: L3", "spare: true\n        supplies: 2", "way 4 is spare but has supplies"},
		"undocumented":           {"undocumented: true", "undocumented: maybe", "write true or false"},
		"trip of an MCB":         {"rating: 20, breaking: 10}", "rating: 20, breaking: 10, trip: 200}", "a trip setting is given for a device that has none to set"},
		"trip as a multiple":     {"trip: 320", "trip: 10", "the magnetic setting of 10 A is not above the rating of 32 A"},
		"fuse rating":            {"rating: 63, breaking: 80", "rating: 60, breaking: 80", "no device to BS 88-2 has a rating of 60 A"},
		"fuse type":              {"type: gG, rating: 63", "type: B, rating: 63", `device type is "B"; write gG or gM for BS 88-2`},
		"RCD as a way's device":  {"{standard: BS EN 60898, type: C, rating: 16, breaking: 10}", "{standard: BS EN 61008, rating: 16}", "does not break an overcurrent"},
		"nearly a standard":      {"{standard: BS EN 60947-2,", "{standard: BSEN 60947-2,", `"BSEN 60947-2" is nearly BS EN 60947-2`},
		"RCBO without RCD":       {"rating: 20, breaking: 6, rcd: {rated: 30, type: A}", "rating: 20, breaking: 6", "has a residual current part but no rcd is given"},
		"RCCB without RCD":       {"rating: 63, rcd: {rated: 100, type: A, delayed: true}", "rating: 63", "the main switch is a residual current device but has no rcd"},
		"type of an isolator":    {"BS EN 60947-3, rating: 125", "BS EN 60947-3, type: C, rating: 125", "devices to BS EN 60947-3 have none"},
		"main in a group":        {"rated: 100, type: A, delayed: true", "rated: 100, type: A, group: X", "the main switch is described as one of a group"},
		"main of nothing":        {"main: {standard: BS EN 61008, rating: 63, rcd: {rated: 100, type: A, delayed: true}}", "main: {rating: 63}", "boards[2].main.standard is missing"},
		"S type of 30":           {"rated: 100, type: A, delayed: true", "rated: 30, type: A, delayed: true", "an S type of 30 mA is not made"},
		"RCBO in a group":        {"rating: 20, breaking: 10, rcd: {rated: 30, type: A}", "rating: 20, breaking: 10, rcd: {rated: 30, type: A, group: G1}", "has its own residual current part but is in a group"},
		"RCBO with a standard":   {"rating: 20, breaking: 10, rcd: {rated: 30, type: A}", "rating: 20, breaking: 10, rcd: {rated: 30, type: A, standard: BS EN 61008}", "is given another standard"},
		"group of two devices":   {"rating: 10, breaking: 10, rcd: {rated: 30", "rating: 10, breaking: 10, rcd: {rated: 100", "ways 3 and 4 share the residual current device of group G1 but describe two"},
		"group on two bars":      {"neutral_bar: B\n        use: lighting", "neutral_bar: A\n        use: lighting", "are on different neutral bars"},
		"SELV supplies":          {"supplies: 3", "supplies: 3\n        separated: true", "a way that supplies a board is described as SELV or PELV"},
	} {
		t.Run(name, func(t *testing.T) {
			text := text(t, workshop)
			if strings.Count(text, c.old) == 0 {
				t.Fatalf("the good file has no %q", c.old)
			}
			_, err := Read(strings.NewReader(strings.Replace(text, c.old, c.new, 1)), "b.yaml")
			wantProblem(t, err, c.want, "b.yaml")
		})
	}
}

// A motor has no neutral, and so no neutral bar where the other ways have one.
func TestNoNeutral(t *testing.T) {
	text := strings.Replace(text(t, workshop), "points: 1\n        neutral_bar: A\n        use: fixed", "points: 1\n        no_neutral: true\n        use: fixed", 1)
	job, err := Read(strings.NewReader(text), "b.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if w := job.Way(2, 1); !w.NoNeutral || w.Phases != 3 || job.Way(2, 2).NoNeutral {
		t.Errorf("%+v", w)
	}
}

// wantProblem checks that one of the problems in err is the one wanted, and that
// each has a place and advice.
func wantProblem(t *testing.T, err error, want, file string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Fatalf("error %v\nwant    %s", err, want)
	}
	for _, e := range unjoin(err) {
		var p *Problem
		if !errors.As(e, &p) || p.Line < 1 || p.Column < 1 || p.Do == "" || p.File != file {
			t.Errorf("problem %+v has no place or no advice, or is not in %s", e, file)
		}
	}
}

func unjoin(err error) []error {
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		return many.Unwrap()
	}
	return []error{err}
}

// A board upstream may be only isolated, with none of its ways described but
// the one that feeds the next.
func TestOnlyIsolated(t *testing.T) {
	text := strings.Replace(text(t, workshop), "declared_pfc: 16}", "declared_pfc: 16, only_isolated: true}", 1)
	job, err := Read(strings.NewReader(text), "b.yaml")
	if err != nil || !job.Board(1).Supply.OnlyIsolated {
		t.Fatalf("%v", err)
	}
	one, _, _ := strings.Cut(text, "  - number: 2")
	one, _, _ = strings.Cut(one, "    ways:")
	if _, err := Read(strings.NewReader(one), "b.yaml"); err == nil || !strings.Contains(err.Error(), "every board is only isolated") || strings.Contains(err.Error(), "ways") {
		t.Errorf("error %v", err)
	}
}

func TestFamily(t *testing.T) {
	for in, want := range map[string]string{
		"BS EN 60898": MCB, "BS EN 60898-1": MCB, "BS EN 60898:2003": MCB, "BS EN 608981": "", "BS EN 61009-1": RCBO, "BS 88-2": FuseBS88,
		"BS 88-3": FuseBS88Domestic, "BS 88-2.2": FuseBS88, "BS 88-21": "", "BS EN 60947-2": CircuitBreaker, "BS EN 60947-3": SwitchIsolator, "BS 3871": MCBBefore, "BS 1362": FuseBS1362, "BS 6004": "", "": "",
	} {
		if got := (Device{Standard: in}).Family(); got != want {
			t.Errorf("Family of %q is %q, want %q", in, got, want)
		}
	}
	for family, list := range ratings {
		for i := range list[1:] {
			if list[i] >= list[i+1] {
				t.Errorf("ratings of %s are not in order at %v", family, list[i])
			}
		}
	}
	for _, s := range standards {
		if _, ok := curves[s]; !ok {
			t.Errorf("no types for %s", s)
		}
	}
}
