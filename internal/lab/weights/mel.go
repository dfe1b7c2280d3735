package weights

import "math"

// Whisper's features: 80 mel bands over 16 kHz sound and a transform of 400
// points.
const (
	melBands = 80
	melRate  = 16000
	melFFT   = 400
	melBins  = melFFT/2 + 1
)

// melFilters returns the mel filters, melBands rows of melBins: triangles between
// points equally spaced on Slaney's mel scale from 0 to half the rate, each of
// area one (Slaney, Auditory Toolbox, Technical Report 1998-010; the defaults of
// librosa.filters.mel, from memory).
func melFilters() []float32 {
	// The scale is linear, 200/3 Hz a mel, up to 1 kHz, and logarithmic above,
	// 27 mels for a factor of 6.4.
	const linear, knee = 200.0 / 3, 1000.0
	step := math.Log(6.4) / 27
	hz := func(mel float64) float64 {
		if top := knee / linear; mel >= top {
			return knee * math.Exp(step*(mel-top))
		}
		return mel * linear
	}
	highest := knee/linear + math.Log(melRate/2/knee)/step
	points := make([]float64, melBands+2)
	for i := range points {
		points[i] = hz(highest * float64(i) / float64(melBands+1))
	}
	filters := make([]float32, melBands*melBins)
	for band := range melBands {
		low, mid, high := points[band], points[band+1], points[band+2]
		for bin := range melBins {
			f := float64(bin) * melRate / melFFT
			rise, fall := (f-low)/(mid-low), (high-f)/(high-mid)
			filters[band*melBins+bin] = float32(math.Max(0, math.Min(rise, fall)) * 2 / (high - low))
		}
	}
	return filters
}
