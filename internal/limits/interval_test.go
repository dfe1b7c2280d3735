package limits

import (
	"encoding/json"
	"fmt"
	"math"
	bigfloat "math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func intervals(t *rapid.T, label string) Interval {
	a := rapid.Float64Range(0, 1e6).Draw(t, label+" low")
	b := rapid.OneOf(rapid.Just(math.Inf(1)), rapid.Just(a), rapid.Float64Range(a, 1e7)).Draw(t, label+" high")
	return Interval{a, b}
}

func TestParallelProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := intervals(t, "a"), intervals(t, "b"), intervals(t, "c")
		p := Parallel(a, b)
		if p != Parallel(b, a) {
			t.Fatalf("order matters: %v %v", p, Parallel(b, a))
		}
		if p.Low > p.High || p.Low > a.Low || p.Low > b.Low || math.IsNaN(p.Low) || math.IsNaN(p.High) {
			t.Fatalf("Parallel(%v, %v) = %v", a, b, p)
		}
		// Contained in, contained out; more in, more out.
		wide := Interval{math.Min(a.Low, c.Low), math.Max(a.High, c.High)}
		if w := Parallel(wide, b); w.Low > p.Low || w.High < p.High {
			t.Fatalf("Parallel of wider %v with %v = %v does not hold %v", wide, b, w, p)
		}
		more := Interval{math.Max(a.Low, c.Low), math.Max(a.High, c.High)}
		if m := Parallel(more, b); m.Low < p.Low || m.High < p.High {
			t.Fatalf("Parallel of greater %v with %v = %v is below %v", more, b, m, p)
		}
	})
	for _, c := range []struct{ a, b, want Interval }{
		{Interval{0, 0}, Interval{5, math.Inf(1)}, Interval{0, 0}},
		{Interval{999, math.Inf(1)}, Interval{999, math.Inf(1)}, Interval{499.5, math.Inf(1)}},
	} {
		got := Parallel(c.a, c.b)
		if math.Abs(got.Low-c.want.Low) > 1e-9 || got.High != c.want.High {
			t.Errorf("Parallel(%v, %v) = %v, want %v", c.a, c.b, got, c.want)
		}
	}
}

// TestParallelReference compares with mpmath's interval arithmetic at 200 bits:
// ours must hold it, and be wider by no more than a few roundings.
func TestParallelReference(t *testing.T) {
	python, err := filepath.Abs("../../.cache/reference/bin/python")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(python); err != nil {
		t.Fatalf("the reference packages are not set up: %v; run make test", err)
	}
	type line struct{ A, B, C, D float64 }
	var in []line
	rapid.Check(t, func(t *rapid.T) {
		if len(in) > 500 {
			return
		}
		a, b := intervals(t, "a"), intervals(t, "b")
		if a.Low > 0 && b.Low > 0 && !math.IsInf(a.High, 1) && !math.IsInf(b.High, 1) {
			in = append(in, line{a.Low, a.High, b.Low, b.High})
		}
	})
	data, err := json.Marshal(in)
	if err != nil || len(in) < 20 {
		t.Fatalf("%d intervals, %v", len(in), err)
	}
	// It answers whether ours holds the true interval and by how much more.
	script := `import sys, json
from mpmath import iv, mp, mpf
iv.prec = mp.prec = 200
for l in json.load(sys.stdin):
    r = 1 / (1 / iv.mpf([l["A"], l["B"]]) + 1 / iv.mpf([l["C"], l["D"]]))
    for x in (r.a, r.b):
        print(mp.nstr(mpf(x), 40))
`
	cmd := exec.Command(python, "-c", script)
	cmd.Stdin = strings.NewReader(string(data))
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("mpmath did not run: %v; run make test, which sets up the reference packages", err)
	}
	words := strings.Fields(string(out))
	if len(words) != 2*len(in) {
		t.Fatalf("mpmath gave %d ends for %d intervals", len(words), len(in))
	}
	for i, l := range in {
		got := Parallel(Interval{l.A, l.B}, Interval{l.C, l.D})
		low, high := big(t, words[2*i]), big(t, words[2*i+1])
		if big(t, fmt.Sprintf("%.60g", got.Low)).Cmp(low) > 0 || big(t, fmt.Sprintf("%.60g", got.High)).Cmp(high) < 0 {
			t.Errorf("%v: ours %v leaves out mpmath's [%s, %s]", l, got, words[2*i], words[2*i+1])
		}
		lf, _ := low.Float64()
		hf, _ := high.Float64()
		const tiny = 1e-300 // ohms, near which numbers lose digits
		if lf-got.Low > 4e-15*lf+tiny || got.High-hf > 4e-15*hf+tiny {
			t.Errorf("%v: ours %v is far wider than mpmath's [%s, %s]", l, got, words[2*i], words[2*i+1])
		}
	}
}

func big(t *testing.T, s string) *bigfloat.Float {
	t.Helper()
	f, _, err := bigfloat.ParseFloat(s, 10, 240, bigfloat.ToNearestEven)
	if err != nil {
		t.Fatal(err)
	}
	return f
}
