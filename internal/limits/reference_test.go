package limits

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board"
	"waycall/internal/limits/reference"
)

// TestIntervalReference compares with mpmath's interval arithmetic at 200 bits:
// ours must hold it, and be wider by no more than a few roundings.
func TestIntervalReference(t *testing.T) {
	type line struct{ A, B, C, D, K float64 }
	var in []line
	rapid.Check(t, func(t *rapid.T) {
		// mpmath's intervals are finite here, and not so near nought that they overflow.
		finite := func(i Interval) Interval {
			low := math.Max(i.Low, 1e-6)
			if math.IsInf(i.High, 1) {
				return Interval{low, 2 * low}
			}
			return Interval{low, math.Max(low, i.High)}
		}
		if a, b := finite(intervals(t, "a")), finite(intervals(t, "b")); len(in) < 200 {
			in = append(in, line{a.Low, a.High, b.Low, b.High, rapid.Float64Range(0.01, 100).Draw(t, "k")})
		}
	})
	if len(in) < 20 {
		t.Fatalf("%d intervals", len(in))
	}
	var want [][]string
	reference.Run(t, `import sys, json
from mpmath import iv, mp, mpf
iv.prec = mp.prec = 200
out = []
for l in json.load(sys.stdin):
    a, b, k = iv.mpf([l["A"], l["B"]]), iv.mpf([l["C"], l["D"]]), iv.mpf(l["K"])
    rows = [a + b, a * k]
    if l["B"] < 0.9 * l["C"]: rows.append(1 / (1 / a - 1 / b))
    out.append([mp.nstr(mpf(x), 40) for r in rows for x in (r.a, r.b)])
json.dump(out, sys.stdout)
`, in, &want)
	rests := 0
	for n, l := range in {
		a, b := Interval{l.A, l.B}, Interval{l.C, l.D}
		ours := []Interval{a.Plus(b), a.Times(l.K)}
		if l.B < 0.9*l.C {
			ours = append(ours, Rest(a, b))
			rests++
		}
		if len(want[n]) != 2*len(ours) {
			t.Fatalf("mpmath gave %d ends", len(want[n]))
		}
		for i, got := range ours {
			low, high := big(t, want[n][2*i]), big(t, want[n][2*i+1])
			lf, _ := low.Float64()
			hf, _ := high.Float64()
			lf, hf = math.Max(0, lf), math.Max(0, hf)
			if lf > 0 && big(t, fmt.Sprintf("%.60g", got.Low)).Cmp(low) > 0 || hf > 0 && big(t, fmt.Sprintf("%.60g", got.High)).Cmp(high) < 0 {
				t.Errorf("%v, %d: ours %v leaves out mpmath's %v", l, i, got, want[n][2*i:2*i+2])
			}
			// The rest is a difference of reciprocals, which loses up to a figure.
			if wide := 4e-14 * (l.B + l.D) * (1 + l.K); lf-got.Low > wide || got.High-hf > wide {
				t.Errorf("%v, %d: ours %v is far wider than mpmath's %v", l, i, got, want[n][2*i:2*i+2])
			}
			checks.Add(1)
		}
	}
	if rests == 0 {
		t.Error("no rest was compared")
	}
}

// TestUnitsReference reckons each formula with units by pint, from the figures
// of the tables as printed.
func TestUnitsReference(t *testing.T) {
	in := map[string]float64{}
	in["r"], _ = Resistance(board.Copper, 2.5, 40, 20)
	in["zs"], _, _ = ZsMax(board.Device{Standard: "BS EN 60898", Type: "C", Rating: 16}, 230, 0.4)
	in["ra"], _, _ = RCDZsMax(30)
	in["pfc"] = FaultCurrent(230, 0.46)
	in["adiabatic"] = Adiabatic(1500*1500*0.1, 115)
	in["drop"] = VoltDrop(0.2, 16, 20, false)
	in["k"], _ = kOf("copper", 70, 160)
	in["parallel"] = Parallel(Exact(3), Exact(6)).High
	in["limit"] = VoltDropLimit(board.Lighting, 230)
	var bad []string
	reference.Run(t, `import sys, json, math, pint
u = pint.UnitRegistry(); Q = u.Quantity; got = json.load(sys.stdin)
want = {
  "r": (Q(7.41, "ohm/km") * Q(40, "m")).to("ohm"),
  "zs": (Q(230, "V") * 0.95 / (10 * Q(16, "A"))).to("ohm"),
  "ra": (Q(50, "V") / Q(30, "mA")).to("ohm"),
  "pfc": (Q(230, "V") / Q(0.46, "ohm")).to("kA"),
  "adiabatic": ((Q(1500, "A") ** 2 * Q(0.1, "s")) ** 0.5 / Q(115, "A*s**0.5/mm**2")).to("mm**2"),
  "drop": (2 * Q(0.2, "ohm") * (300 / 250) * Q(16, "A")).to("V"),
  "k": ((Q(3.45e-3, "J/(delta_degC*mm**3)") * Q(254.5, "delta_degC") / Q(17.241e-6, "ohm*mm") * math.log(394.5 / 304.5)) ** 0.5).to("A*s**0.5/mm**2"),
  "parallel": (1 / (1 / Q(3, "Mohm") + 1 / Q(6, "Mohm"))).to("Mohm"),
  "limit": (Q(230, "V") * Q(3, "percent")).to("V"),
}
assert want.keys() == got.keys()
json.dump([f"{n}: {got[n]} against {w}" for n, w in want.items() if abs(got[n] - w.magnitude) > 1e-9 * w.magnitude], sys.stdout)
`, in, &bad)
	checks.Add(int64(len(in)))
	if len(bad) > 0 {
		t.Error(strings.Join(bad, "\n"))
	}
}
