package noise

import (
	"math"
	"math/cmplx"

	"waycall/internal/audio"
)

const (
	blockSize = Rate / 50 // 20 ms
	activeDB  = 30        // how far below the loudest block speech still counts as speech
)

// Active tells for each block of 20 ms of a clean sound whether somebody is
// speaking in it: whether its level lies within 30 dB of the loudest block. A
// shorter block at the end counts. Nothing is active in silence.
func Active(sound []float32) []bool {
	levels := blockLevels(sound)
	loudest := 0.0
	for _, l := range levels {
		loudest = max(loudest, l)
	}
	active := make([]bool, len(levels))
	for i, l := range levels {
		active[i] = l > 0 && l >= loudest*amplitude(-activeDB)
	}
	return active
}

// blockLevels returns the root-mean-square level of each block.
func blockLevels(sound []float32) []float64 {
	var levels []float64
	for at := 0; at < len(sound); at += blockSize {
		levels = append(levels, rms(sound[at:min(at+blockSize, len(sound))]))
	}
	return levels
}

// span returns the first active sample and the one after the last, or 0, 0.
func span(sound []float32) (from, to int) {
	to = -1
	for i, a := range Active(sound) {
		if a && to < 0 {
			from = i * blockSize
		}
		if a {
			to = min((i+1)*blockSize, len(sound))
		}
	}
	if to < 0 {
		return 0, 0
	}
	return from, to
}

// ActiveLevel returns the level of s, in dB relative to full scale, over the
// blocks that active marks; negative infinity for silence. With a noise for s it
// tells the other half of a signal-to-noise ratio.
func ActiveLevel(s []float32, active []bool) float64 {
	sum, n := 0.0, 0
	for i, x := range s {
		if b := i / blockSize; b < len(active) && active[b] {
			sum += float64(x) * float64(x)
			n++
		}
	}
	if n == 0 {
		return math.Inf(-1)
	}
	return 10 * math.Log10(sum/float64(n))
}

// silenceLevel is the level, dBFS, that speech is taken to have where there is
// none, so that a noise alone has a level, too.
const silenceLevel = -26

// gain returns what to multiply noise by for a ratio of snr dB below speech.
func gain(speech, noise []float32, snr float64) float64 {
	active := Active(speech)
	level := ActiveLevel(speech, active)
	against := ActiveLevel(noise, active)
	if math.IsInf(level, -1) {
		level, against = silenceLevel, db(rms(noise))
	}
	if math.IsInf(against, -1) {
		return 0
	}
	return amplitude(level - snr - against)
}

// Level returns sound whose active part has the given level in dBFS, clipped at
// full scale. Speech peaks 12 to 18 dB above its level: at -20 dBFS it is whole,
// at 0 dBFS it is clipped hard, as with a microphone turned up too far.
func Level(sound []float32, dBFS float64) []float32 {
	s := clean(sound)
	level := ActiveLevel(s, Active(s))
	if math.IsInf(level, -1) {
		return s
	}
	s = scale(s, amplitude(dBFS-level))
	for i, x := range s {
		s[i] = min(max(x, -1), 1)
	}
	return s
}

// Band returns sound as it comes over a telephone or from a Bluetooth headset:
// 300 to 3400 Hz, sampled at 8 kHz; with muLaw each sample coded in 8 bits (ITU-T
// G.711, from memory).
func Band(sound []float32, muLaw bool) []float32 {
	s := filter(clean(sound), func(hz float64) float64 {
		return edge(hz, 250, 300) * (1 - edge(hz, 3400, 3500))
	})
	narrow, err := audio.Clip(s).ResampleTo(8000)
	if err != nil { // 16 and 8 kHz are rates that it takes
		panic(err)
	}
	if muLaw {
		for i, x := range narrow {
			narrow[i] = expand(compress(x))
		}
	}
	wide, err := audio.Resample(narrow, 8000)
	if err != nil {
		panic(err)
	}
	return wide[:min(len(wide), len(sound))]
}

// edge rises from 0 at a to 1 at b, smoothly.
func edge(x, a, b float64) float64 {
	t := min(max((x-a)/(b-a), 0), 1)
	return (1 - math.Cos(math.Pi*t)) / 2
}

const mu = 255

// compress codes a sample as one of 255 levels, closer together where it is
// quiet.
func compress(x float32) int {
	v := float64(min(max(x, -1), 1))
	return int(math.Round(127 * math.Copysign(math.Log1p(mu*math.Abs(v))/math.Log1p(mu), v)))
}

func expand(code int) float32 {
	v := float64(code) / 127
	return float32(math.Copysign(math.Expm1(math.Abs(v)*math.Log1p(mu))/mu, v))
}

// filter multiplies the spectrum of s by a response, without delay.
func filter(s []float32, response func(hz float64) float64) []float32 {
	if len(s) == 0 {
		return s
	}
	spectrum := transform(s, len(s)+Rate/20) // room for what rings
	n := len(spectrum)
	for k := range spectrum {
		spectrum[k] *= complex(response(float64(min(k, n-k))*Rate/float64(n)), 0)
	}
	return inverse(spectrum, len(s))
}

// convolve returns s as it sounds with the given response, as long as s.
func convolve(s, response []float32) []float32 {
	if len(s) == 0 || len(response) == 0 {
		return s
	}
	a := transform(s, len(s)+len(response))
	b := transform(response, len(s)+len(response))
	for k := range a {
		a[k] *= b[k]
	}
	return inverse(a, len(s))
}

// transform returns the spectrum of s, padded to at least n samples.
func transform(s []float32, n int) []complex128 {
	size := 1
	for size < n {
		size *= 2
	}
	x := make([]complex128, size)
	for i, v := range s {
		x[i] = complex(float64(v), 0)
	}
	fft(x)
	return x
}

// inverse returns the first n samples of the sound with this spectrum, which it
// uses up. The spectrum is that of real sound, so conjugation turns the forward
// transform into the inverse.
func inverse(x []complex128, n int) []float32 {
	for i := range x {
		x[i] = cmplx.Conj(x[i])
	}
	fft(x)
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(real(x[i]) / float64(len(x)))
	}
	return out
}

// fft is the discrete Fourier transform in place; the length is a power of two.
func fft(x []complex128) {
	n := len(x)
	for i, j := 1, 0; i < n; i++ { // put into bit-reversed order
		bit := n >> 1
		for ; j&bit != 0; bit >>= 1 {
			j ^= bit
		}
		j ^= bit
		if i < j {
			x[i], x[j] = x[j], x[i]
		}
	}
	roots := make([]complex128, n/2)
	for k := range roots {
		roots[k] = cmplx.Rect(1, -2*math.Pi*float64(k)/float64(n))
	}
	for size := 2; size <= n; size *= 2 {
		half, step := size/2, n/size
		for at := 0; at < n; at += size {
			for k := range half {
				a, b := x[at+k], x[at+k+half]*roots[k*step]
				x[at+k], x[at+k+half] = a+b, a-b
			}
		}
	}
}
