package limits

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
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
