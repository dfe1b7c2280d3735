package audio

import (
	"fmt"
	"math"

	"waycall/internal/sound"
)

// The lowest and highest sample rates that a Resampler takes, in Hz: telephone
// recordings at one end, studio interfaces at the other.
const (
	MinRate = sound.MinRate
	MaxRate = sound.MaxRate
)

// The resampling filter is a sinc under a Kaiser window. 48 zero crossings each
// side with beta 9 reach about -90 dB, with a transition of an eighth of the
// band; cutting at 0.94 puts the end of that transition on the Nyquist frequency
// and leaves 0 to 7 kHz flat at 16 kHz.
const (
	zeroCrossings = 48
	kaiserBeta    = 9
	cutoff        = 0.94
)

// A Resampler converts a stream of mono samples from one rate to another without
// aliasing: a polyphase windowed-sinc filter with no delay between its input and
// its output, apart from the few milliseconds that it must look ahead. How the
// stream is divided into Push calls makes no difference to what comes out.
type Resampler struct {
	up, down int         // output rate : input rate, in lowest terms
	half     int         // filter taps on each side, in input samples
	scale    float64     // filter bandwidth relative to the input's
	phases   [][]float32 // filter by phase, made when first used

	buf   []float32 // input not yet finished with
	at    int       // index in buf of the input sample at or before the output
	phase int       // how far past it, in 1/up
	in    int64     // input samples so far
	out   int64     // output samples so far
}

// NewResampler returns a Resampler between two rates in Hz, each from MinRate to
// MaxRate.
func NewResampler(from, to int) (*Resampler, error) {
	for _, rate := range []int{from, to} {
		if rate < MinRate || rate > MaxRate {
			return nil, fmt.Errorf("sample rate %d Hz cannot be converted; use %d to %d Hz", rate, MinRate, MaxRate)
		}
	}
	g := gcd(from, to)
	r := &Resampler{up: to / g, down: from / g}
	band := math.Min(1, float64(to)/float64(from))
	r.scale = cutoff * band
	r.half = int(math.Ceil(zeroCrossings / band))
	r.phases = make([][]float32, r.up)
	r.buf = make([]float32, r.half-1) // silence before the beginning
	r.at = r.half - 1
	return r, nil
}

// Push takes the next samples and returns those that are ready, which belong to
// the caller. A sample that is not a number would spoil its neighbours: replace
// it first.
func (r *Resampler) Push(in []float32) []float32 {
	if r.up == r.down {
		return append([]float32(nil), in...)
	}
	r.in += int64(len(in))
	return r.run(in, math.MaxInt64)
}

// Flush ends the stream and returns the samples still to come. Altogether n
// samples in have then given n times the ratio of the rates, rounded up. Use no
// Resampler after its Flush.
func (r *Resampler) Flush() []float32 {
	if r.up == r.down {
		return nil
	}
	whole := (r.in*int64(r.up) + int64(r.down) - 1) / int64(r.down)
	return r.run(make([]float32, r.half+1), whole)
}

func (r *Resampler) run(in []float32, limit int64) []float32 {
	r.buf = append(r.buf, in...)
	var out []float32
	if n := (len(r.buf) - r.half - r.at) * r.up / r.down; n > 0 {
		out = make([]float32, 0, n+1)
	}
	for r.at+r.half < len(r.buf) && r.out < limit {
		taps := r.taps(r.phase)
		window := r.buf[r.at-r.half+1:][:len(taps)]
		var sum float32
		for i, h := range taps {
			sum += h * window[i]
		}
		out = append(out, sum)
		r.out++
		r.phase += r.down
		r.at += r.phase / r.up
		r.phase %= r.up
	}
	// Keep only what the next output looks back at.
	if drop := min(r.at-r.half+1, len(r.buf)); drop > 0 {
		r.buf = r.buf[:copy(r.buf, r.buf[drop:])]
		r.at -= drop
	}
	return out
}

// taps returns the filter for an output that lies phase/up after an input sample.
// Made on demand, since an odd pair of rates has thousands of phases and a short
// sound meets few of them.
func (r *Resampler) taps(phase int) []float32 {
	if t := r.phases[phase]; t != nil {
		return t
	}
	exact := make([]float64, 2*r.half)
	sum := 0.0
	for i := range exact {
		x := float64(i-r.half+1) - float64(phase)/float64(r.up)
		exact[i] = sinc(r.scale*x) * kaiser(x/float64(r.half))
		sum += exact[i]
	}
	t := make([]float32, len(exact))
	for i, h := range exact {
		t[i] = float32(h / sum) // a steady level passes unchanged through every phase
	}
	r.phases[phase] = t
	return t
}

// Resample converts mono sound at the given rate in Hz to a Clip.
func Resample(sound []float32, rate int) (Clip, error) {
	return convert(sound, rate, Rate)
}

// ResampleTo converts c to another rate in Hz, for a loudspeaker that cannot play
// at Rate.
func (c Clip) ResampleTo(rate int) ([]float32, error) { return convert(c, Rate, rate) }

func convert(sound []float32, from, to int) ([]float32, error) {
	r, err := NewResampler(from, to)
	if err != nil {
		return nil, err
	}
	out := append(r.Push(sound), r.Flush()...)
	for i, x := range out {
		out[i] = min(max(x, -1), 1) // the filter may overshoot a full-scale edge
	}
	return out, nil
}

func sinc(x float64) float64 {
	if math.Abs(x) < 1e-9 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// kaiser is the Kaiser window over -1 to 1.
func kaiser(x float64) float64 {
	if x < -1 || x > 1 {
		return 0
	}
	return bessel0(kaiserBeta*math.Sqrt(1-x*x)) / bessel0(kaiserBeta)
}

// bessel0 is the modified Bessel function of the first kind, order 0, by its
// power series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*1e-12; k++ {
		term *= x / (2 * k) * x / (2 * k)
		sum += term
	}
	return sum
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
