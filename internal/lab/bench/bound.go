package bench

import "gonum.org/v1/gonum/stat/distuv"

// AtMost returns the upper 95 % confidence bound of a proportion of which k cases
// in n were seen: if the true proportion were higher, as few as k would be seen in
// fewer than one run of twenty. It is the one-sided bound of Clopper and Pearson
// (Biometrika 26, 1934, from memory), exact for any n. Without a single case
// it is 1 - 0.05^(1/n), about 3/n. It is 1 for n = 0, when nothing is known.
func AtMost(k, n int) float64 {
	if k >= n || n <= 0 {
		return 1
	}
	return distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(0.95)
}

// AtLeast returns the lower 95 % confidence bound, the counterpart of AtMost.
func AtLeast(k, n int) float64 { return 1 - AtMost(n-k, n) }
