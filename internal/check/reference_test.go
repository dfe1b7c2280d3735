package check

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/board"
)

// python runs a script with the reference packages, in as JSON on its input, and
// reads the JSON that it writes into out.
func python(t *testing.T, script string, in, out any) {
	t.Helper()
	path, err := filepath.Abs("../../.cache/reference/bin/python")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Fatalf("the reference packages are not set up: %v; run make test", err)
	}
	data, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "-c", script)
	cmd.Stdin, cmd.Stderr = strings.NewReader(string(data)), os.Stderr
	got, err := cmd.Output()
	if err != nil {
		t.Fatalf("the reference did not run: %v; run make test, which sets up its packages", err)
	}
	if err := json.Unmarshal(got, out); err != nil {
		t.Fatal(err)
	}
}

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
	python(t, `import sys, json
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

// TestRingReference makes rings as networks of resistors, spoils each in one way
// and solves them by numpy; the pattern of the readings must be named as what was
// done. Beside it scipy's least squares says which of two shapes the points
// follow, a level or c x (1-x), and must agree.
func TestRingReference(t *testing.T) {
	type ring struct {
		Fault      string
		R1, Rn, R2 *float64
		LN, LE     []float64
		Length     float64
		Spurs      int
		Bent       bool // by scipy's least squares
	}
	var all []ring
	python(t, `import sys, json
import numpy as np
from scipy.optimize import least_squares
rng = np.random.default_rng(7)
PER = {"L": 7.41e-3, "N": 7.41e-3, "E": 12.1e-3}
def between(edges, a, b):
    names = sorted({x for e in edges for x in e[:2]} | {a, b}, key=str); at = {x: i for i, x in enumerate(names)}
    g = np.zeros((len(names),) * 2)
    for x, y, r in edges:
        i, j, c = at[x], at[y], 1 / max(r, 1e-6)
        g[i, i] += c; g[j, j] += c; g[i, j] -= c; g[j, i] -= c
    # what hangs on nothing floats, so hold every node very weakly to ground
    g += np.eye(len(names)) * 1e-9
    v = np.linalg.solve(g, np.eye(len(names))[at[a]] - np.eye(len(names))[at[b]])
    r = v[at[a]] - v[at[b]]
    return None if r > 1e4 else float(r)
def ring(fault):
    n = int(rng.integers(7, 12)); length = float(rng.uniform(60, 110))
    spur = int(rng.integers(1, n + 1)) if fault == "spur" else None
    step = length / (n + 1); edges = []
    for c in "LNE":
        cut = {"open line": "L", "open neutral": "N", "open protective conductor": "E"}.get(fault) == c
        for k in range(n + 1):
            r = step * PER[c]
            if cut and k == n // 2: continue
            if fault == "not a ring" and k == n // 2: continue
            if fault == "loose joint" and c == "N" and k == n // 2: r += 0.3
            if fault == "loose cpc joint" and c == "E" and k == n // 2: r += 0.4
            edges.append(((c, k), (c, k + 1), r))
        if fault == "interconnected":
            edges.append(((c, 1), (c, n - 1), 0.001))
        if spur: edges.append(((c, spur), (c, "spur"), 14 * PER[c]))
    ends = {"L": (("L", 0), ("L", n + 1)), "N": (("N", 0), ("N", n + 1)), "E": (("E", 0), ("E", n + 1))}
    if fault == "swapped conductors": ends["N"], ends["E"] = ends["E"], ends["N"]
    end = lambda c: between(edges, *ends[c])
    def cross(c):
        (a, b), (d, e) = ends["L"], ends[c]
        if fault == "ends not crossed": link = [(a, d, 1e-6), (b, e, 1e-6)]
        else: link = [(a, e, 1e-6), (b, d, 1e-6)]
        letter = d[0]
        points = [("L", k) for k in range(1, n + 1)]
        if spur: points[spur - 1] = ("L", "spur")
        return [between(edges + link, p, (letter, p[1])) for p in points]
    out = {"Fault": fault, "R1": end("L"), "Rn": end("N"), "R2": end("E"), "Length": length, "Spurs": 0}
    opened = fault.startswith("open") or fault == "not a ring"
    out["LN"] = [] if opened else cross("N"); out["LE"] = [] if opened else cross("E")
    for k in ("R1", "Rn", "R2"):
        if out[k] is None: out[k] = 1999.0
    if out["LN"]:
        out["LN"] = [round(v + float(rng.uniform(-0.004, 0.004)), 2) for v in out["LN"]]
        out["LE"] = [round(v, 2) for v in out["LE"]]
        y = np.array(out["LN"]); x = np.arange(1, n + 1) / (n + 1)
        flat = least_squares(lambda p: y - p[0], [0.1]); bent = least_squares(lambda p: y - p[0] * x * (1 - x), [1.0])
        out["Bent"] = bool(bent.cost < flat.cost / 4)
    return out
faults = ["", "open line", "open neutral", "open protective conductor", "not a ring", "loose joint", "loose cpc joint", "swapped conductors", "ends not crossed", "spur", "interconnected"]
json.dump([ring(f) for f in faults for _ in range(12)], sys.stdout)
`, nil, &all)
	if len(all) != 11*12 {
		t.Fatalf("%d rings", len(all))
	}
	for _, r := range all {
		checks.Add(1)
		in := RingReadings{Line: 2.5, CPC: 1.5, Celsius: 20, Length: r.Length, Material: board.Copper}
		for _, e := range []struct {
			v  *float64
			to **Interval
		}{{r.R1, &in.R1}, {r.Rn, &in.Rn}, {r.R2, &in.R2}} {
			i := exact(math.Round(*e.v*100) / 100)
			if *e.v > 1000 {
				i = Interval{99, math.Inf(1)}
			}
			*e.to = &i
		}
		for _, v := range r.LN {
			in.LN = append(in.LN, exact(v))
		}
		for _, v := range r.LE {
			in.LE = append(in.LE, exact(v))
		}
		got := RingDiagnosis(in)
		named := r.Fault == "" && len(got) == 0
		for _, f := range got {
			named = named || string(f) == r.Fault
		}
		if !named {
			t.Errorf("%q is taken for %q: r1 %v rn %v r2 %v LN %v LE %v", r.Fault, got, *r.R1, *r.Rn, *r.R2, r.LN, r.LE)
		}
		if len(r.LN) > 3 && EndsLinked(r.LN) != r.Bent {
			t.Errorf("%v: least squares by scipy says bent %v", r.LN, r.Bent)
		}
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
	in["k"], _ = K("copper", 70, 160)
	in["parallel"] = Parallel(exact(3), exact(6)).High
	in["limit"] = VoltDropLimit(board.Lighting, 230)
	var bad []string
	python(t, `import sys, json, math, pint
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
