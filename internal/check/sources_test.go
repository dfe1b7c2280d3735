package check

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"waycall/internal/board"
)

// The README says how many rows have a witness, and how many rest on one page alone.
func TestCountInReadme(t *testing.T) {
	var all Rests
	for _, table := range Tables() {
		all.Read += table.Rests.Read
		all.Implied += table.Rests.Implied
		all.Memory += table.Rests.Memory
		all.Practice += table.Rests.Practice
	}
	alone := 0
	for _, r := range Rows() {
		if slices.Equal(r.From, []string{"S1"}) {
			alone++
		}
	}
	if all.Witnessed() < 310 {
		t.Errorf("%+v", all)
	}
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	words := strings.Join(strings.Fields(string(text)), " ")
	for _, want := range []string{
		fmt.Sprintf("Of the %d rows of figures, %d have a witness: %d were read in a public page or book and %d follow from one; %d are from memory and %d are common practice", all.All(), all.Witnessed(), all.Read, all.Implied, all.Memory, all.Practice),
		fmt.Sprintf("%d rows rest on one public page alone", alone),
	} {
		if !strings.Contains(words, want) {
			t.Errorf("the README does not say: %s", want)
		}
	}
}

// Every source is named by a row, has a title and says where it is, and no row rests
// on one that is not there.
func TestSourcesAreUsed(t *testing.T) {
	for _, s := range Sources() {
		if s.Rows == 0 || s.Title == "" || s.Edition == "" || s.Where == "" {
			t.Errorf("%+v", s)
		}
	}
	d := tables{rows: map[string]rows{"41.5": {list: []row{{text: map[string]string{"rests": "read S999"}}}}, "sources": {by: map[string]row{}}}}
	if err := d.known(); err == nil || !strings.Contains(err.Error(), "S999") {
		t.Errorf("%v", err)
	}
}

// A verdict says how its figure is known by the row that it used.
func TestVerdictSaysHowItIsKnown(t *testing.T) {
	for s, want := range map[string]string{
		"1/11 Zs 1.00":    "Table 41.3, from a public print",
		"1/3 Zs 0.50":     "Table 41.2, from a public print",
		"1/6 RCD-1x 25":   "IEC 61008-1 and IEC 61009-1 Table 1, from a public print",
		"1/7 RCD-1x 200":  "Table 1, from a public print",
		"1/6 RCD-ramp 22": "from memory",
		"1/0 Ze 2":        "from memory",
	} {
		if v := judged(s); !strings.Contains(v.Source, want) {
			t.Errorf("%s: %q, want %q", s, v.Source, want)
		}
	}
}

// A limit that is reckoned names what the current rests on, too: that of a breaker to
// BS 3871 is from memory.
func TestReckonedLimitNamesItsCurrent(t *testing.T) {
	j := with(way(11, func(w *board.Way) { w.Device = board.Device{Standard: "BS 3871", Type: "2", Rating: 15} }))
	if v := judgedIn(j, "1/11 Zs 1.00"); !strings.Contains(v.Source, "411.4.4") || !strings.Contains(v.Source, "BS 3871-1") || !strings.HasSuffix(v.Source, "from memory") {
		t.Errorf("%q", v.Source)
	}
}
