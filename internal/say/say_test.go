package say

import (
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/reading"
)

func TestWords(t *testing.T) {
	for text, want := range map[string]string{
		"":                      "",
		" \t\n":                 "",
		"...!":                  "",
		"Way 3, R1+R2.":         "Way 3, r one plus r two.",
		"R1 + R2 is 0.47 Ω":     "r one plus r two is 0.47 ohms",
		"ring r1, then rn":      "ring r one, then r n",
		"Zs, not Ze":            "zed s, not zed e",
		"> 999 MΩ at 500 V":     "greater than 999 megohms at 500 volts",
		"<0.05 Mohm":            "less than 0.05 megohms",
		"32 A, 6kA, 30 mA":      "32 amps, 6 kiloamps, 30 milliamps",
		"28.5 ms":               "28.5 milliseconds",
		"RA times 30 mA, TT":    "r a times 30 milliamps, t t",
		"10 mm2 at 12 °C":       "10 square millimetres at 12 degrees",
		"the PSC is 1.2 kA":     "the p s c is 1.2 kiloamps",
		"a 2.5 mm² cable":       "a 2.5 square millimetres cable",
		"A is a letter":         "A is a letter",
		"RCBOs & an RCD":        "r c b os and an r c d",
		"the RCD.":              "the r c d.",
		"<speak>way</speak>":    "speak way speak",
		"[[h@l'oU]] {x} |":      "h l'oU x",
		"nul\x00and\x1b[31m":    "nul and 31m",
		"bad \xff\xfe utf-8":    "bad utf-8",
		"say \u202eagain\u202c": "say again",
		"five hundred volts":    "five hundred volts",
		"wait … then , go":      "wait, then, go",
	} {
		if got := Words(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	if got := Words(strings.Repeat("megohms ", 5000)); len(got) > longest || len(got) < longest-20 {
		t.Errorf("40 kB of text leave %d bytes", len(got))
	}
}

// Every test and every unit is said in words that need nothing done to them.
func TestWordsOfReadings(t *testing.T) {
	for _, test := range []reading.Test{
		reading.R1R2, reading.R2, reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE, reading.LNE, reading.LE, reading.NE, reading.LN, reading.LL,
		reading.L1E, reading.L2E, reading.L3E, reading.L1L2, reading.L2L3, reading.L1L3, reading.L1N, reading.L2N, reading.L3N, reading.Earthing, reading.Bonding, reading.RA,
		reading.Polarity, reading.Ze, reading.Zs, reading.PFC, reading.PSC, reading.RCD1x, reading.RCD5x, reading.RCDHalf, reading.RCDRamp, reading.RCDButton,
		reading.PhaseSequence, reading.Functional,
	} {
		q := reading.Quantity{Value: 0.47, Places: 2, Bound: reading.LessThan, Unit: test.Unit()}
		if test.Judged() {
			q = reading.Wrong
		}
		text := test.Spoken() + ", " + q.Spoken() + "."
		if got := Words(text); got != text || strings.ContainsAny(text, "0123456789+") {
			t.Errorf("%s: %q is said as %q", test, text, got)
		}
	}
}

// TestWordsOfAnything: what comes out is always speakable, bounded, and has
// nothing left to change.
func TestWordsOfAnything(t *testing.T) {
	speakable := regexp.MustCompile(`^[\p{L}\p{Nd} .,?!:;'’%-]*$`)
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text") + string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		got := Words(text)
		if !speakable.MatchString(got) || len([]rune(got)) > longest+1 || got != strings.TrimSpace(got) {
			t.Fatalf("%q gives %q", text, got)
		}
	})
}
