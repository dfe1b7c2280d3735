package bench

import "math"

// AtMost returns the upper 95 % confidence bound of a proportion of which k cases
// in n were seen: if the true proportion were higher, as few as k would be seen in
// fewer than one run of twenty. It is the one-sided bound of Clopper and Pearson
// (Biometrika 26, 1934, from memory), exact for any n. Without a single case
// it is 1 - 0.05^(1/n), about 3/n. It is 1 for n = 0, when nothing is known.
func AtMost(k, n int) float64 {
	if k >= n || n <= 0 {
		return 1
	}
	low, high := 0.0, 1.0
	for range 60 {
		p := (low + high) / 2
		if atMostSeen(k, n, p) > 0.05 {
			low = p
		} else {
			high = p
		}
	}
	return high
}

// AtLeast returns the lower 95 % confidence bound, the counterpart of AtMost.
func AtLeast(k, n int) float64 { return 1 - AtMost(n-k, n) }

// atMostSeen returns the probability of at most k cases in n, each of probability
// p: the binomial distribution, summed term by term.
func atMostSeen(k, n int, p float64) float64 {
	logGamma := func(x int) float64 { l, _ := math.Lgamma(float64(x)); return l }
	sum := 0.0
	for i := range k + 1 {
		log := logGamma(n+1) - logGamma(i+1) - logGamma(n-i+1) +
			float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p)
		sum += math.Exp(log)
	}
	return sum
}
