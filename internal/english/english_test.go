package english

import (
	"testing"
	"unicode/utf8"
)

func TestWords(t *testing.T) {
	for s, want := range map[string][3]string{
		"":             {"", "", ""},
		"way":          {"Way", "way", "Way."},
		"Way two?":     {"Way two?", "way two?", "Way two?"},
		" stop. ":      {" stop. ", " stop. ", "Stop."},
		"über":         {"Über", "über", "Über."},
		"Öl":           {"Öl", "öl", "Öl."},
		"żarówka":      {"Żarówka", "żarówka", "Żarówka."},
		"ǆ":            {"ǅ", "ǆ", "ǅ."},
		"Ωm":           {"Ωm", "ωm", "Ωm."},
		"厨房":           {"厨房", "厨房", "厨房."},
		"3 ways":       {"3 ways", "3 ways", "3 ways."},
		"\xffnot text": {"\xffnot text", "\xffnot text", "\xffnot text."},
	} {
		if got := [3]string{Capital(s), Lower(s), Sentence(s)}; got != want {
			t.Errorf("%q gives %q, want %q", s, got, want)
		}
	}
}

func TestNumbers(t *testing.T) {
	for n, want := range map[int]string{0: "0 tests", 1: "1 test", 2: "2 tests"} {
		if got := Count(n, "test"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := Plural(1, "way ", "ways ") + Plural(2, "foot", "feet"); got != "way feet" {
		t.Error(got)
	}
	for n, want := range []string{"", "a", "a and b", "a, b and c"} {
		if got := List([]string{"a", "b", "c"}[:n]); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// What was text stays text, and no letter but the first changes.
func FuzzWords(f *testing.F) {
	f.Add("über")
	f.Add("\u202e")
	f.Fuzz(func(t *testing.T, s string) {
		for _, got := range []string{Capital(s), Lower(s)} {
			_, n := utf8.DecodeRuneInString(s)
			_, m := utf8.DecodeRuneInString(got)
			if got[m:] != s[n:] || utf8.ValidString(got) != utf8.ValidString(s) {
				t.Errorf("%q became %q", s, got)
			}
		}
	})
}

func TestDistance(t *testing.T) {
	for pair, want := range map[[2]string]int{{"", ""}: 0, {"way", "way"}: 0, {"way", ""}: 3, {"feeds", "feed"}: 1, {"kitten", "sitting"}: 3, {"ab", "ba"}: 2} {
		if got, back := Distance(pair[0], pair[1]), Distance(pair[1], pair[0]); got != want || back != want {
			t.Errorf("%q: %d and %d, want %d", pair, got, back, want)
		}
	}
}
