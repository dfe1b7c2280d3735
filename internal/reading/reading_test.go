package reading

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func q(t *testing.T, s string, u Unit) Quantity {
	t.Helper()
	x, err := ParseQuantity(s, u)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func TestSpoken(t *testing.T) {
	for _, c := range []struct {
		in      string
		unit    Unit
		spoken  string
		grouped string
	}{
		{">999", Megohm, "greater than nine nine nine megohms", "greater than nine, nine, nine"},
		{"0.47", Ohm, "nought point four seven ohms", "nought point four, seven"},
		{"206", Megohm, "two hundred and six megohms", "two, nought, six"},
		{"3.10", NoUnit, "three point one nought", "three point one, nought"},
		{"35.39", NoUnit, "thirty five point three nine", "three, five point three, nine"},
		{"1", Megohm, "one megohm", "one"},
		{"1.0", Megohm, "one point nought megohms", "one point nought"},
		{"<0.05", Ohm, "less than nought point nought five ohms", "less than nought point nought, five"},
		{"486", Megohm, "four hundred and eighty six megohms", "four, eight, six"},
		{"0", Megohm, "nought megohms", "nought"},
		{"1050", Millisec, "one thousand and fifty milliseconds", "one, nought, five, nought"},
		{"99999", Volt, "ninety nine thousand nine hundred and ninety nine volts", "nine, nine, nine, nine, nine"},
		{"6.5", Kiloamp, "six point five kiloamps", "six point five"},
		{"30", Milliamp, "thirty milliamps", "three, nought"},
	} {
		x := q(t, c.in, c.unit)
		if got := x.Spoken(); got != c.spoken {
			t.Errorf("%v spoken %q, want %q", x, got, c.spoken)
		}
		if got := x.Grouped(); got != c.grouped {
			t.Errorf("%v grouped %q, want %q", x, got, c.grouped)
		}
	}
	if got := (Quantity{}).Spoken(); got != "no reading" {
		t.Errorf("zero quantity spoken %q", got)
	}
	if got := Cardinal(-1); got != "-1" {
		t.Errorf("Cardinal(-1) = %q", got)
	}
}

// TestCardinalReference compares every cardinal 0-9999 with num2words' British
// English, an outside reference.
func TestCardinalReference(t *testing.T) {
	out, err := python(t, `import json,num2words
print(json.dumps([num2words.num2words(n, lang="en_GB") for n in range(10000)]))`).Output()
	if err != nil {
		t.Fatalf("num2words did not run: %v; run make test, which sets up the reference packages", err)
	}
	var want []string
	if err := json.Unmarshal(out, &want); err != nil || len(want) != 10000 {
		t.Fatalf("num2words gave %d words: %v", len(want), err)
	}
	for n, w := range want {
		w = strings.NewReplacer("-", " ", ",", "", "zero", "nought").Replace(w)
		if got := Cardinal(n); got != w {
			t.Errorf("Cardinal(%d) = %q, num2words says %q", n, got, w)
		}
	}
}

func python(t *testing.T, script string) *exec.Cmd {
	t.Helper()
	p, err := filepath.Abs("../../.cache/reference/bin/python")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(p); err != nil {
		t.Fatalf("the reference packages are not set up: %v; run make test", err)
	}
	return exec.Command(p, "-c", script)
}

func TestParseQuantityRefuses(t *testing.T) {
	for _, s := range []string{"", ".", ">", "1.", "1e5", "-3", "+3", "0x1p4", "1_000", "nan", "Inf", "1.2.3", "> >1",
		"1,5", "100000", "0.12345", "٣", strings.Repeat("9", 400), strings.Repeat("0", 40)} {
		if x, err := ParseQuantity(s, Megohm); err == nil {
			t.Errorf("ParseQuantity(%q) = %v, want an error", s, x)
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	for _, x := range []Quantity{
		{}, {Value: math.NaN(), Bound: Exactly}, {Value: math.Inf(1), Bound: Exactly}, {Value: -1, Bound: Exactly},
		{Value: 1e6, Bound: Exactly}, {Value: 0.47, Bound: Exactly}, {Value: 1, Places: 5, Bound: Exactly}, {Value: 1, Bound: "~"},
	} {
		if x.Check() == nil {
			t.Errorf("%+v passes Check", x)
		}
	}
}

func TestTests(t *testing.T) {
	for k := range tests {
		if got, err := ParseTest(string(k)); err != nil || got != k || k.Spoken() == "" {
			t.Errorf("ParseTest(%q) = %q, %v, spoken %q", k, got, err, k.Spoken())
		}
	}
	if _, err := ParseTest("LNE"); err == nil {
		t.Error("LNE is accepted")
	}
	if !LNE.Insulation() || R1R2.Insulation() {
		t.Error("Insulation confuses LN-E and R1+R2")
	}
}

func TestJudged(t *testing.T) {
	for k := range tests {
		judged := k == AFDDButton || k == PENFault || k == DCFault || k == Polarity || k == RCDHalf || k == RCDButton || k == PhaseSequence || k == Functional
		if k.Judged() != judged {
			t.Errorf("%s is judged: %v", k, k.Judged())
		}
		if err := k.Fits(Correct); (err == nil) != judged {
			t.Errorf("%s fits correct: %v", k, err)
		}
		if err := k.Fits(Quantity{Value: 3, Bound: Exactly, Unit: k.Unit()}); (err == nil) == judged {
			t.Errorf("%s fits three: %v", k, err)
		}
	}
	for _, c := range []struct {
		test Test
		q    Quantity
		want string
	}{
		{Polarity, Wrong, ""}, {Polarity, Quantity{Value: 1, Bound: GreaterThan}, "correct or wrong"}, {Polarity, Quantity{Value: 1, Places: 1, Bound: Exactly}, "correct or wrong"},
		{Zs, q(t, "0.4", Ohm), ""}, {Zs, q(t, "0.4", Megohm), "read in ohm"}, {Zs, Quantity{}, "unknown bound"}, {"ZS", q(t, "0.4", Ohm), "unknown test"},
		{RCDRamp, q(t, "24", Milliamp), ""}, {RCD1x, q(t, "24", Milliamp), "read in ms"},
	} {
		if err := c.test.Fits(c.q); c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s and %v: error %v, want %q", c.test, c.q, err, c.want)
		}
	}
	for word, x := range map[string]Quantity{"correct": Correct, "wrong": Wrong} {
		y, err := ParseQuantity(word, NoUnit)
		if err != nil || y != x || x.String() != word || x.Spoken() != word || x.Grouped() != word || x.Check() != nil {
			t.Errorf("%s: %v %v %q %q %q %v", word, y, err, x.String(), x.Spoken(), x.Grouped(), x.Check())
		}
		if _, err := ParseQuantity(word, Ohm); err == nil {
			t.Errorf("%s is taken as ohms", word)
		}
	}
	if Test("ZS").Judged() {
		t.Error("an unknown test is judged")
	}
}

// Every test is either dead or live, as IEC 60364-6 and BS 7671 Part 6 order
// them, from memory.
func TestLive(t *testing.T) {
	live := map[Test]bool{Ze: true, Zs: true, PFC: true, PSC: true, RA: true, RCD1x: true, RCD5x: true, RCDHalf: true, RCDRamp: true, RCDButton: true, AFDDButton: true, PENFault: true, DCFault: true, PhaseSequence: true, Functional: true}
	for k := range tests {
		if k.Live() != live[k] {
			t.Errorf("%s is live: %v", k, k.Live())
		}
		if k.Live() && k.Insulation() {
			t.Errorf("%s is both live and an insulation test", k)
		}
	}
}

// No two tests are called the same.
func TestTestsAreToldApart(t *testing.T) {
	called := map[string]Test{}
	for k := range tests {
		if was, ok := called[k.Spoken()]; ok {
			t.Errorf("%s and %s are both called %q", was, k, k.Spoken())
		}
		called[k.Spoken()] = k
	}
}

func TestNumber(t *testing.T) {
	for x, want := range map[float64]string{1: "one", 0: "nought", 0.5: "nought point five", 0.05: "nought point nought five", 999: "nine nine nine", 1667: "one thousand six hundred and sixty seven", -1: "-1", 1e9: "1e+09"} {
		if got := Number(x); got != want {
			t.Errorf("Number(%v) = %q, want %q", x, got, want)
		}
	}
}

// What is written can be read back, and says the same.
func TestWrittenFormRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[<>]?[0-9]{1,5}(\.[0-9]{1,4})?`).Draw(t, "s")
		x, err := ParseQuantity(s, NoUnit)
		if err != nil {
			t.Skip(err)
		}
		y, err := ParseQuantity(x.String(), NoUnit)
		if err != nil || x != y {
			t.Fatalf("%q -> %v -> %v, %v", s, x, y, err)
		}
		low, high := x.Interval()
		if low > high {
			t.Fatalf("%v has interval %v..%v", x, low, high)
		}
	})
}

// Two quantities that sound the same are written the same.
func TestSpokenIsUnambiguous(t *testing.T) {
	heard := map[string]string{}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[<>]?(0|[1-9][0-9]{0,4})(\.[0-9]{1,4})?`).Draw(t, "s")
		x, err := ParseQuantity(s, Megohm)
		if err != nil {
			t.Skip(err)
		}
		for _, said := range []string{x.Spoken(), x.Grouped()} {
			if was, ok := heard[said]; ok && was != x.String() {
				t.Fatalf("%q is said for both %s and %s", said, was, x)
			}
			heard[said] = x.String()
		}
	})
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"0.47", ">999", "<0.05", " 1 ", "1e9", "..", "9999999999999999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		x, err := ParseQuantity(s, Megohm)
		if err != nil {
			return
		}
		if err := x.Check(); err != nil {
			t.Fatalf("%q gave %v: %v", s, x, err)
		}
		if x.Spoken() == "" || x.Grouped() == "" {
			t.Fatalf("%q cannot be said", s)
		}
		y, err := ParseQuantity(strings.TrimSuffix(x.String(), " Mohm"), Megohm)
		if err != nil || y != x {
			t.Fatalf("%q -> %v -> %v, %v", s, x, y, err)
		}
	})
}
