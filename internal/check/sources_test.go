package check

import (
	"strings"
	"testing"

	"waycall/internal/board"
)

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
