package phrase

import (
	"maps"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"waycall/grammar"
)

// The words of figures are what the tags of the grammar say, of both grammars: that of
// setting up has no units, and all the numbers all the same.
func TestFigures(t *testing.T) {
	want := Figures{
		Digits: map[string]int{"nought": 0, "zero": 0, "oh": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9},
		Scales: []string{"hundred", "point", "thousand"},
		Numbers: map[int]string{
			0: "nought", 1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine",
			10: "ten", 11: "eleven", 12: "twelve", 13: "thirteen", 14: "fourteen", 15: "fifteen", 16: "sixteen", 17: "seventeen", 18: "eighteen", 19: "nineteen",
			20: "twenty", 30: "thirty", 40: "forty", 50: "fifty", 60: "sixty", 70: "seventy", 80: "eighty", 90: "ninety",
		},
	}
	for name, units := range map[string][]string{
		"phrases": {"gig", "gigohm", "gigohms", "gigs", "kiloamp", "kiloamps", "meg", "megohm", "megohms", "megs", "milliamp", "milliamps", "millisecond", "milliseconds", "ohm", "ohms"},
		"setup":   nil,
	} {
		g, err := LoadNamed(grammar.Files, name)
		if err != nil {
			t.Fatal(err)
		}
		want.Units = units
		if diff := cmp.Diff(want, g.Figures()); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

// A tag belongs to each word that may stand before it, however deep in groups that is.
func TestFiguresThroughGroups(t *testing.T) {
	g, err := Load(fstest.MapFS{
		"phrases.gram": {Data: []byte(`#JSGF V1.0; grammar phrases;
			<phrase> = <n> {to value} [(<big> | small [little]) {unit ohm}];
			<n> = four {+ 4} | fourteen {+ 14};
			<big> = very big {say no} | vast;`)},
		"lexicon.txt": {Data: []byte("four\nfourteen\nvery\nbig\nvast\nsmall\nlittle\n")},
	})
	if err != nil {
		t.Fatal(err)
	}
	f := g.Figures()
	if want := []string{"big", "little", "small", "vast"}; !slices.Equal(f.Units, want) {
		t.Errorf("units are %q, want %q", f.Units, want)
	}
	if want := map[int]string{4: "four", 14: "fourteen"}; !maps.Equal(f.Numbers, want) {
		t.Errorf("numbers are %v, want %v", f.Numbers, want)
	}
}
