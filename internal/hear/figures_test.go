package hear

import (
	"maps"
	"slices"
	"testing"

	"waycall/grammar"
	"waycall/internal/phrase"
)

// The words that the fusion takes for the ends and the rests of figures are the
// grammar's, and it knows of each that sounds like another.
func TestFiguresAreTheGrammars(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	f := figuresOf(g)
	known := func(w string) {
		if _, ok := g.Lexicon()[w]; !ok {
			t.Errorf("%q is no word of the grammar", w)
		}
	}
	for _, w := range f.tails {
		known(w)
	}
	for w := range f.units {
		known(w)
		if _, ok := g.Meaning("one point two " + w); !ok {
			t.Errorf("%q ends no figure in the grammar", w)
		}
	}
	for a, b := range f.alike {
		known(a)
		if f.alike[b] != a || a == b {
			t.Errorf("%q sounds like %q, which sounds like %q", a, b, f.alike[b])
		}
	}
	if n := len(f.alike); n != 18 { // seven of teen and ty, oh and ohm, no and nought
		t.Errorf("%d words sound like another", n)
	}
	if from := g.Figures(); from.Digits[soundsAlike[0]] != 0 || !slices.Contains(from.Units, soundsAlike[1]) {
		t.Errorf("%q is no digit of the grammar, or not nought, or %q is no unit", soundsAlike[0], soundsAlike[1])
	}
	for w, want := range map[string]bool{"nine": true, "oh": true, "point": true, "a": true, "double": true, "fifty": true, "over": false, "no": false, "way": false, "earth": false} {
		if f.begins(w) != want {
			t.Errorf("a figure begins with %q: %v, want %v", w, f.begins(w), want)
		}
	}
	want := []string{"eight", "five", "four", "nine", "seven", "six", "three"}
	if got := slices.Sorted(maps.Keys(f.longer)); !slices.Equal(got, want) {
		t.Errorf("what begins longer figures is %q, want %q", got, want)
	}
}

// The second witness hears one more of a figure that is said again and again.
func TestOneMore(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	f := figuresOf(g)
	for _, tt := range []struct {
		shorter, longer string
		want            bool
	}{
		{"nine nine", "nine nine nine", true},
		{"live to earth four four six", "live to earth four four four six", true},
		{"nine", "nine nine", false}, // it was not said again
		{"nine nine", "nine nine nine nine", false},
		{"nine nine nine", "nine nine", false},
		{"nine nine", "nine nine", false},
		{"nine nine", "nine nine five", false},
		{"live live", "live live live", false},
		{"", "nine", false},
	} {
		if got := f.oneMore(tt.shorter, tt.longer); got != tt.want {
			t.Errorf("%q is one more than %q: %v", tt.longer, tt.shorter, got)
		}
	}
}
