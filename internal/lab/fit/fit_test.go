package fit

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"waycall/internal/hear"
)

// made returns examples whose truth is drawn by known weights.
func made(n int, seed uint64) []Example {
	rng := rand.New(rand.NewPCG(seed, 0))
	var all []Example
	for range n {
		e := make(hear.Evidence, len(hear.EvidenceNames))
		for i := range e {
			e[i] = rng.Float64()
		}
		agreed := rng.IntN(2) == 0
		e[0], e[1], e[2], e[3] = 0, 0, 0, 1 // a figure that one witness heard
		if agreed {
			e[0] = 1
		}
		z := 11*e[0] - 6*e[4] + 1
		all = append(all, Example{Evidence: e, Right: rng.Float64() < 1/(1+math.Exp(-z))})
	}
	return all
}

// What the fit claims is what is observed, on examples that it did not see.
func TestClaimsAreObserved(t *testing.T) {
	f, err := To(made(20000, 1), "made up")
	if err != nil {
		t.Fatal(err)
	}
	var claimed, observed, n [5]float64
	for _, x := range made(20000, 2) {
		p := f.Confidence(x.Evidence)
		k := min(4, int(p*5))
		claimed[k] += p
		n[k]++
		if x.Right {
			observed[k]++
		}
	}
	for k := range n {
		if n[k] > 300 && math.Abs(claimed[k]-observed[k])/n[k] > 0.03 {
			t.Errorf("of those claimed %.2f, %.2f were right", claimed[k]/n[k], observed[k]/n[k])
		}
	}
}

func TestThresholds(t *testing.T) {
	examples := made(6000, 3)
	f, err := To(examples, "made up")
	if err != nil {
		t.Fatal(err)
	}
	for _, inNoise := range []bool{false, true} {
		from := map[bool]float64{false: f.Sure, true: f.SureInNoise}[inNoise]
		taken, wrong := 0, 0
		for _, x := range examples {
			if !x.Evidence.Takes() || inNoise != x.Evidence.InNoise() || f.Confidence(x.Evidence) < from {
				continue
			}
			if taken++; !x.Right {
				wrong++
			}
		}
		if taken == 0 || float64(wrong) > MostWrong*float64(taken) {
			t.Errorf("in noise %v: from %v, %d of %d are sure and wrong", inNoise, from, wrong, taken)
		}
	}
	if f.Ask <= 0 || f.Ask >= f.Sure {
		t.Errorf("asked from %v, sure from %v", f.Ask, f.Sure)
	}
	cost := func(at float64) (sum float64) {
		for _, x := range examples {
			switch asked := f.Confidence(x.Evidence) >= at; {
			case asked && !x.Right:
				sum += AskCost
			case !asked && x.Right:
				sum++
			}
		}
		return sum
	}
	for _, other := range []float64{0, 0.1, 0.3, 0.5, 0.7, 0.9} {
		if cost(other) < cost(f.Ask)-1e-9 {
			t.Errorf("asking from %v costs %v, from %v %v", f.Ask, cost(f.Ask), other, cost(other))
		}
	}
}

func TestTooLittle(t *testing.T) {
	if _, err := To(made(30, 4), ""); err == nil {
		t.Error("30 examples were enough")
	}
	bad := made(500, 5)
	bad[7].Evidence = bad[7].Evidence[1:]
	if _, err := To(bad, ""); err == nil {
		t.Error("evidence of another version was taken")
	}
}

// That two witnesses agree never speaks against a phrase, whatever the examples say.
func TestAgreementSpeaksFor(t *testing.T) {
	examples := made(2000, 4)
	for i := range examples {
		if e := examples[i].Evidence; !examples[i].Right && i%3 == 0 {
			e[2] = 1
		}
	}
	f, err := To(examples, "made up")
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range f.Weights[:len(f.Names)] {
		if w < -0.05 && hear.ForPhrase(i) {
			t.Errorf("%q weighs %v", f.Names[i], w)
		}
	}
	if i := slices.Index(f.Names, "gap"); f.Weights[i] > -1 {
		t.Errorf("%q weighs %v", "gap", f.Weights[i])
	}
}
