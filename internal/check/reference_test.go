package check

import (
	"math"
	"testing"

	"waycall/internal/board"
	"waycall/internal/limits"
	"waycall/internal/limits/reference"
)

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
	reference.Run(t, `import sys, json
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
		in := RingReadings{Line: 2.5, CPC: 1.5, Celsius: 20, Length: r.Length, Material: board.Copper}
		for _, e := range []struct {
			v  *float64
			to **limits.Interval
		}{{r.R1, &in.R1}, {r.Rn, &in.Rn}, {r.R2, &in.R2}} {
			i := limits.Exact(math.Round(*e.v*100) / 100)
			if *e.v > 1000 {
				i = limits.Between(99, math.Inf(1))
			}
			*e.to = &i
		}
		for _, v := range r.LN {
			in.LN = append(in.LN, limits.Exact(v))
		}
		for _, v := range r.LE {
			in.LE = append(in.LE, limits.Exact(v))
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
