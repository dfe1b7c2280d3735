package reading

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseTyped(t *testing.T) {
	for _, c := range []struct {
		text string
		unit Unit
		end  float64
		want string
	}{
		{"0.47", Ohm, 0, "0.47 ohm"}, {" 0.470 ", Ohm, 0, "0.470 ohm"}, {"206", Megohm, 0, "206 Mohm"}, {"0", Megohm, 0, "0 Mohm"},
		{">999", Megohm, 0, ">999 Mohm"}, {"> 999", Megohm, 0, ">999 Mohm"}, {"<0.05 Ω", Ohm, 0, "<0.05 ohm"},
		{"0.47ohm", Ohm, 0, "0.47 ohm"}, {"0.47 \u2126", Ohm, 0, "0.47 ohm"}, {">999 MΩ", Megohm, 0, ">999 Mohm"}, {"210 megohms", Megohm, 0, "210 Mohm"},
		{"27 ms", Millisec, 0, "27 ms"}, {"1.2 kA", Kiloamp, 0, "1.2 kA"}, {"22mA", Milliamp, 0, "22 mA"},
		{"OL", Megohm, 999, ">999 Mohm"}, {"o.l.", Megohm, 299, ">299 Mohm"}, {"Over Range", Megohm, 999, ">999 Mohm"},
		{"correct", NoUnit, 0, "correct"}, {"wrong", NoUnit, 0, "wrong"}, {"99999", Megohm, 0, "99999 Mohm"},
	} {
		q, err := ParseTyped(c.text, c.unit, c.end)
		if err != nil || q.String() != c.want {
			t.Errorf("%q in %s: %v, %v; want %s", c.text, c.unit, q, err, c.want)
		}
	}
}

// What may be meant in two ways is refused, with what to type instead.
func TestParseTypedRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"1,000": "type 1000 or 1.000, as", ">1,000": "type 1000 or 1.000", "0,46": "type 0.46, as", "1,000.5": "a comma",
		"2 10": "type 210 or 2.10, as", "> 2 10": "type 210 or 2.10", "2\u00a010": "a space", "2\u202f10": "a space",
		"1.000.0": "one point only", ">0": "greater than nought says nothing", ">0.00": "greater than nought", "<0": "less than nought",
		"１２": "digits 0 to 9", "٣": "digits 0 to 9", "1e3": "digits 0 to 9", "1_000": "digits 0 to 9", "0x1p4": "digits 0 to 9", "1/2": "digits 0 to 9",
		"": "there is no figure", ".": "no digit", "5.": "type 5 or 5.0", ".47": "type the nought", "007": "begins with a nought", "00.5": "begins with a nought",
		"-3": "negative", "\u22123": "negative", "+3": "digits 0 to 9", ">": "there is no figure", ">>1": "digits", "≥1": "digits", "~200": "digits",
		"100000": "above 99999", "0.12345": "5 decimal places", "OL": "where the scale ends is not known", "over range": "type > and the end",
		"200 mohm": "type the figure in Mohm", "200 mΩ": "in Mohm", "20 kΩ": "in Mohm", "0.5 ohm": "in Mohm", "850 A": "in Mohm", "nan": "digits", "Inf": "digits",
		"correct": "digits", "zero point four": "digits", strings.Repeat("9", 400): "above 99999", "1\n2": "digits", "\xff1": "digits",
	} {
		q, err := ParseTyped(text, Megohm, 0)
		if err == nil {
			t.Errorf("%q is taken for %v", text, q)
			continue
		}
		what, do, ok := strings.Cut(err.Error(), "; ")
		if !ok || what == "" || do == "" || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; want %s", text, err, want)
		}
	}
	for _, text := range []string{"1", "0", "yes", "", "Correct"} {
		if q, err := ParseTyped(text, NoUnit, 0); err == nil {
			t.Errorf("%q answers with %v", text, q)
		}
	}
}

// What is stored is what was typed, digit for digit.
func TestParseTypedChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		figure := rapid.StringMatching(`(0|[1-9][0-9]{0,4})(\.[0-9]{1,4})?`).Draw(t, "figure")
		bound := rapid.SampledFrom([]string{"", ">", "<"}).Draw(t, "bound")
		space := rapid.SampledFrom([]string{"", " "})
		unit := rapid.SampledFrom([]Unit{Megohm, Ohm, Millisec, Kiloamp, Milliamp, Volt}).Draw(t, "unit")
		tail := rapid.SampledFrom(append([]string{""}, unitsTyped[unit]...)).Draw(t, "tail")
		q, err := ParseTyped(space.Draw(t, "a")+bound+space.Draw(t, "b")+figure+space.Draw(t, "c")+tail, unit, 0)
		if bound != "" && strings.Trim(figure, "0.") == "" {
			if err == nil {
				t.Fatalf("%s%s is taken", bound, figure)
			}
			return
		}
		if want := bound + figure + " " + string(unit); err != nil || q.String() != want {
			t.Fatalf("%v, %v; want %s", q, err, want)
		}
	})
}

// Whatever is typed, what is taken has the typed digits in their order and nothing else.
func FuzzParseTyped(f *testing.F) {
	for _, s := range []string{"0.47", "> 999 MΩ", "1,000", "2 10", "1.000.0", ">0", "１", "1e3", "OL", "<0.05 Mohm", "\u2212 1"} {
		f.Add(s, 999.0)
	}
	f.Fuzz(func(t *testing.T, s string, end float64) {
		q, err := ParseTyped(s, Megohm, end)
		if err != nil {
			if _, do, ok := strings.Cut(err.Error(), "; "); !ok || do == "" {
				t.Fatalf("%q: %v does not say what to do", s, err)
			}
			return
		}
		if err := LNE.Fits(q); err != nil {
			t.Fatalf("%q gave %v: %v", s, q, err)
		}
		if low, high := q.Interval(); q.Bound != Exactly && (low == 0 && high == 0 || q.Bound == GreaterThan && low == 0) {
			t.Fatalf("%q gave %v, which says nothing", s, q)
		}
		if digits := strings.TrimFunc(s, func(r rune) bool { return (r < '0' || r > '9') && r != '.' }); digits != "" && digits != "." && !strings.EqualFold(digits, "o.l.") && strings.ContainsAny(s, "0123456789") && q.Figure() != digits {
			t.Fatalf("%q gave the figure %s", s, q.Figure())
		}
		if again, err := ParseTyped(q.String(), Megohm, 0); err != nil || again != q {
			t.Fatalf("%q -> %v -> %v, %v", s, q, again, err)
		}
	})
}
