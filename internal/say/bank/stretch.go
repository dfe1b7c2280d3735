package bank

import (
	"math"

	"waycall/internal/audio"
)

// A stretch takes windows of 32 ms from the sound, each at a place within 8 ms of where
// it should be, that where it goes on from the one before most alike.
const (
	window = audio.Rate * 32 / 1000
	hop    = window / 2
	reach  = audio.Rate * 8 / 1000
	coarse = 4 // the first search looks at every fourth sample
)

// hann is a window whose halves add to one.
var hann = func() (w [window]float32) {
	for i := range w {
		w[i] = float32(0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/window))
	}
	return w
}()

// stretch returns the sound that many times as fast, at the same pitch: by overlap and
// add of the most alike windows (WSOLA; Verhelst and Roelands, ICASSP 1993, from memory).
func stretch(c audio.Clip, rate float64) audio.Clip {
	if math.Abs(rate-1) < 0.01 || len(c) < 4*window {
		return c
	}
	length := int(float64(len(c)) / rate)
	out := make(audio.Clip, length+2*window)
	in := make(audio.Clip, window+len(c)+2*window+reach) // quiet at both ends
	copy(in[window:], c)
	from := window - hop
	for to := 0; to < length+hop; to += hop {
		if to > 0 {
			want := min(window-hop+int(float64(to)*rate), len(in)-window-reach)
			from = nearest(in, min(from+hop, len(in)-window), max(want-reach, 0), want+reach)
		}
		for i, g := range hann {
			out[to+i] += g * in[from+i]
		}
	}
	return out[hop : hop+length]
}

// nearest returns the place from least to most where in is most like it is at place.
func nearest(in audio.Clip, place, least, most int) int {
	best := least
	search := func(least, most, step int) {
		top := math.Inf(-1)
		for at := least; at <= most; at += step {
			var dot, power float64
			for i := 0; i < window; i += step {
				x := float64(in[at+i])
				dot += x * float64(in[place+i])
				power += x * x
			}
			if like := dot / math.Sqrt(power+1e-9); like > top {
				top, best = like, at
			}
		}
	}
	search(least, most, coarse)
	search(max(least, best-coarse), min(most, best+coarse), 1)
	return best
}
