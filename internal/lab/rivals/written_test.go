package rivals

import (
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/grammar"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

func load(t testing.TB) *phrase.Grammar {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// Writing of both whispers, most of it as they wrote it, and what was said.
func TestUnderstand(t *testing.T) {
	g := load(t)
	for _, tt := range []struct{ written, said string }{
		{"621.", "six two one"},
		{"Six, two, one.", "six two one"},
		{"3, 1, 4.", "three one four"},
		{"26 1", "two six one"},
		{"4-8-6", "four eight six"},
		{"Way 3: live to earth, > 999 MΩ.", "way three live to earth greater than nine nine nine megohms"},
		{"Way 3. Line to Earth. <0.5 MΩ", "way three line to earth less than nought point five megohms"},
		{"Way Seventeen. Zed ass point six six.", "way seventeen zed s point six six"},
		{"Way 17, Zs 0.66.", "way seventeen zed s nought point six six"},
		{"We 15 live to earth more than nine nine nine. Megums.", "way fifteen live to earth more than nine nine nine megohms"},
		{"Way 1, ring R2.1.", "way one ring r two point one"},
		{"Way 6, ring Rn 0.18.", "way six ring r n nought point one eight"},
		{"way twelve R1+R2 .47 Ω", "way twelve r one plus r two point four seven ohms"},
		{"Way twenty-one, r one plus r two, one point oh five", "way twenty one r one plus r two one point oh five"},
		{"Way 14, live in neutral to earth, 0.4", "way fourteen live and neutral to earth zero point four"},
		{"Way twelve, live and neutral to earth 636 mega ohms.", "way twelve live and neutral to earth six hundred and thirty six megohms"},
		{"over 1,000", "over one thousand"},
		{"Greater than 1000.", "greater than one thousand"},
		{"Know 206.", "no two hundred and six"},
		{"nought point 47", "nought point four seven"},
		{"That’s right.", "that's right"},
		{"Skip this 1", "skip this one"},
		{"  Confirm!", "confirm"},
		{"[BLANK_AUDIO] yes", "yes"},
	} {
		want, ok := g.Meaning(tt.said)
		if !ok {
			t.Fatalf("the grammar does not hold %q", tt.said)
		}
		words, got, ok := understand(g, tt.written)
		if !ok || got != want {
			t.Errorf("%q was read as %q, %+v; want %q", tt.written, words, got, tt.said)
		}
	}
}

// What is no phrase must not be made into one.
func TestUnderstandNothing(t *testing.T) {
	g := load(t)
	for _, written := range []string{
		"", " ", ".", "...", "[BLANK_AUDIO]", "(beeping)", "0.4.7", "047", "-", "♪♪", "\x00\xff",
		"The customer said she would be back at four.", "Yes, I know I told him that already.",
		"The number 30 bus was late.", "There are three of us on site today.", "Go back to the van and get the long bit.",
		"Way 3 live to earth, 9999999999999999999999.", strings.Repeat("9", 10000),
	} {
		if words, m, ok := understand(g, written); ok {
			t.Errorf("%q was read as %q, %+v", written, words, m)
		}
	}
}

// However a value is written, it is read as that value and no other.
func TestUnderstandValue(t *testing.T) {
	g := load(t)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 9999).Draw(t, "n")
		places := rapid.IntRange(0, 3).Draw(t, "places")
		s := strconv.Itoa(n)
		want := float64(n)
		if places > 0 {
			p := strconv.Itoa(rapid.IntRange(0, []int{0, 9, 99, 999}[places]).Draw(t, "p"))
			s += "." + strings.Repeat("0", places-len(p)) + p
			want, _ = strconv.ParseFloat(s, 64)
		} else if n > 999 && rapid.Bool().Draw(t, "comma") {
			s = s[:1] + "," + s[1:]
		}
		words, m, ok := understand(g, " "+s+".")
		if !ok || m.Quantity.Value != want || m.Quantity.Bound != reading.Exactly {
			t.Fatalf("%q was read as %q, %+v", s, words, m)
		}
	})
}

func FuzzUnderstand(f *testing.F) {
	g := load(f)
	for _, s := range []string{"Way 3: live to earth, > 999 MΩ.", "4-8-6", "R1+R2.47", "1,000,00", "\xff.5", "İ9"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		words, m, ok := understand(g, text)
		if again, held := g.Meaning(words); ok && (!held || again != m) {
			t.Errorf("%q was read as %q, which means %+v, not %+v", text, words, again, m)
		}
	})
}
