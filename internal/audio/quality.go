package audio

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Quality is what a recording of one phrase, with quiet before and after it, tells of
// the microphone. Levels are in dB relative to full scale, above the mains hum.
type Quality struct {
	Speech  float64 // level of what was said, over the blocks within 30 dB of the loudest
	Noise   float64 // level of the quiet around it
	Peak    float64 // of the loudest sample
	Clipped float64 // share of the samples of the speech that stand at the top, 0 to 1
	Offset  float64 // mean of the samples, -1 to 1: a fault of the sound card
	Narrow  bool    // nothing above 4 kHz, as from a headset that works as a telephone
}

// Silence is the level, dB, of what is as good as no sound: the least of 16 bits.
const Silence = -96.0

// Ratio is by how many dB the speech stands above the noise.
func (q Quality) Ratio() float64 { return q.Speech - q.Noise }

const (
	speechRange = 30    // dB below the loudest block that still is speech
	top         = 0.985 // of full scale, where a converter or a driver clips
	quietTenth  = 0.1   // the share of blocks taken as quiet where no part of c is
)

// Measure returns the quality of c, the whole of a recording in which one phrase is
// said. It is false where no speech is found; then Noise, Peak and Offset hold alone.
func Measure(c Clip) (Quality, bool) {
	q := Quality{Speech: Silence, Noise: Silence, Peak: Silence}
	sum, peak := 0.0, 0.0
	for _, x := range c {
		sum += float64(x)
		peak = max(peak, math.Abs(float64(x)))
	}
	if len(c) > 0 {
		q.Offset, q.Peak = sum/float64(len(c)), max(20*math.Log10(peak), Silence)
	}
	// Energy of each block. The meter's levels are means of three blocks.
	var m meter
	var energies []float64
	for _, x := range c {
		_, full, _ := m.sample(x)
		if full {
			energies = append(energies, m.energies[(m.blocks-1)%len(m.energies)])
		}
	}
	if len(energies) == 0 {
		return q, false
	}
	p := Trim(c, Settings{Longest: 25e9})
	if len(p.Sound) == 0 {
		q.Noise = mean(energies)
		return q, false
	}
	first, last := samples(p.Start)/blockSize+leadBlocks, samples(p.Spoken)/blockSize
	if p.Start == 0 { // the speech may begin with the recording
		first = 0
	}
	first, last = min(first, len(energies)-1), min(last, len(energies))
	said := energies[first:max(last, first+1)]
	loudest := slices.Max(said)
	var active, quiet []float64
	clipped, loud := 0, 0
	for i, e := range said {
		if 10*math.Log10(loudest/(e+1e-30)) > speechRange {
			continue
		}
		active = append(active, e)
		for _, x := range c[(first+i)*blockSize : min(len(c), (first+i+1)*blockSize)] {
			loud++
			if math.Abs(float64(x)) >= top {
				clipped++
			}
		}
	}
	q.Speech, q.Clipped = mean(active), float64(clipped)/float64(max(loud, 1))
	// What is left out on each side is the end of the speech and its echo.
	for i, e := range energies {
		if i < first-leadBlocks/2 || i >= last+tailBlocks {
			quiet = append(quiet, e)
		}
	}
	if len(quiet) < tailBlocks {
		quiet = slices.Sorted(slices.Values(energies))
		quiet = quiet[:max(1, int(float64(len(quiet))*quietTenth))]
	}
	q.Noise = mean(quiet)
	q.Narrow = narrow(c[first*blockSize : min(len(c), max(last, first+1)*blockSize)])
	return q, true
}

// mean is the level of the mean of energies, dB.
func mean(energies []float64) float64 {
	sum := 0.0
	for _, e := range energies {
		sum += e
	}
	return max(10*math.Log10(sum/float64(max(len(energies), 1))), Silence)
}

// narrow reports whether c has nothing above 4 kHz. Speech has there, in its s and t,
// 20 to 40 dB less than below; a stream of 8 kHz has nothing at all.
func narrow(c Clip) bool {
	const n = 512
	fft := fourier.NewFFT(n)
	frame, spectrum := make([]float64, n), make([]complex128, n/2+1)
	var low, high float64
	for at := 0; at+n <= len(c); at += n / 2 {
		for i := range frame {
			frame[i] = float64(c[at+i]) * (1 - math.Cos(2*math.Pi*float64(i)/n)) / 2
		}
		for i, x := range fft.Coefficients(spectrum, frame) {
			switch hz := i * Rate / n; {
			case hz >= 4500 && hz < 7000:
				high += real(x * cmplx.Conj(x))
			case hz >= 300 && hz < 3400:
				low += real(x * cmplx.Conj(x))
			}
		}
	}
	return low > 0 && 10*math.Log10(high/low+1e-30) < -55
}
