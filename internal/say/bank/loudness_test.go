package bank

import (
	"math"

	"waycall/internal/audio"
)

// loudness is that of ITU-R BS.1770 in LUFS, as EBU R 128 wants it, over the whole sound
// and without the gate, whose window is longer than a word. The two filters of its K
// weighting are for 16 kHz here.
func loudness(c audio.Clip) float64 {
	var shelf, high filter
	{
		k := math.Tan(math.Pi * 1681.974450955533 / audio.Rate)
		vh, q := math.Pow(10, 3.999843853973347/20), 0.7071752369554196
		vb := math.Pow(vh, 0.4996667741545416)
		a := 1 + k/q + k*k
		shelf = filter{b: [3]float64{(vh + vb*k/q + k*k) / a, 2 * (k*k - vh) / a, (vh - vb*k/q + k*k) / a}, a: [2]float64{2 * (k*k - 1) / a, (1 - k/q + k*k) / a}}
	}
	{
		k, q := math.Tan(math.Pi*38.13547087602444/audio.Rate), 0.5003270373238773
		a := 1 + k/q + k*k
		high = filter{b: [3]float64{1, -2, 1}, a: [2]float64{2 * (k*k - 1) / a, (1 - k/q + k*k) / a}}
	}
	sum := 0.0
	for _, x := range c {
		y := high.next(shelf.next(float64(x)))
		sum += y * y
	}
	return -0.691 + 10*math.Log10(sum/float64(max(len(c), 1))+1e-12)
}

// filter is of the second order.
type filter struct {
	b    [3]float64
	a    [2]float64
	x, y [2]float64
}

func (f *filter) next(x float64) float64 {
	y := f.b[0]*x + f.b[1]*f.x[0] + f.b[2]*f.x[1] - f.a[0]*f.y[0] - f.a[1]*f.y[1]
	f.x, f.y = [2]float64{x, f.x[0]}, [2]float64{y, f.y[0]}
	return y
}
