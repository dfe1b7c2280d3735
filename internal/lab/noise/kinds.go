package noise

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
)

// A Kind is a kind of noise. The strings are what a user types.
type Kind string

// The kinds of noise. What each sounds like is invented, after what such a thing
// does; no recording was measured.
const (
	Drill  Kind = "drill"  // a hammer drill: the motor's harmonics under changing load, and its blows
	Hammer Kind = "hammer" // hammering: blows at irregular times on things that ring
	Fan    Kind = "fan"    // a fan heater or extractor: broadband, rising and falling slowly
	Hum    Kind = "hum"    // the mains: 50 Hz that drifts, and its harmonics
	Babble Kind = "babble" // people talking, who are not talking to us
	Site   Kind = "site"   // what comes into the cupboard of a hall: some of all of these
)

// Kinds lists the kinds of noise.
func Kinds() []Kind { return []Kind{Drill, Hammer, Fan, Hum, Babble, Site} }

// Noise returns n samples of a kind of noise at a root-mean-square level of 1.
// Scale it with Mix. talk holds clips of ordinary talk, without which there is no
// babble, alone or in the noise of a site.
func Noise(kind Kind, n int, talk [][]float32, seed uint64) ([]float32, error) {
	r := source(seed, string(kind))
	var s []float32
	switch kind {
	case Drill:
		s = drill(r, n)
	case Hammer:
		s = hammer(r, n)
	case Fan:
		s = fan(r, n)
	case Hum:
		s = hum(r, n)
	case Babble:
		voices := spoken(talk)
		if len(voices) == 0 {
			return nil, errors.New("babble: there is no talk to make it of; give clips with speech in them")
		}
		s = babble(r, n, voices)
	case Site:
		s = site(r, n, spoken(talk))
	default:
		return nil, fmt.Errorf("noise %q: not a kind that can be made; choose among %v", kind, Kinds())
	}
	return unit(s), nil
}

// spoken returns the clips with speech in them, cut to it and at one level.
func spoken(talk [][]float32) [][]float32 {
	var out [][]float32
	for _, t := range talk {
		t = clean(t)
		if from, to := span(t); to > from {
			out = append(out, unit(t[from:to]))
		}
	}
	return out
}

// wander returns a function that drifts around 0 with a standard deviation of
// about 1, changing over the given time in seconds.
func wander(r *rand.Rand, seconds float64) func() float64 {
	keep := math.Exp(-1 / (seconds * Rate))
	kick := math.Sqrt(1 - keep*keep)
	x := r.NormFloat64()
	return func() float64 {
		x = keep*x + kick*r.NormFloat64()
		return x
	}
}

// lowPass returns a one-pole low-pass filter.
func lowPass(hz float64) func(float64) float64 {
	k := 1 - math.Exp(-2*math.Pi*hz/Rate)
	y := 0.0
	return func(x float64) float64 {
		y += k * (x - y)
		return y
	}
}

func drill(r *rand.Rand, n int) []float32 {
	pitch := between(r, 160, 320) // Hz, of the motor's gears when idle
	blows := between(r, 0.12, 0.22)
	weights := make([]float64, 20)
	for h := range weights {
		weights[h] = between(r, 0.3, 1) / math.Pow(float64(h+1), 0.6)
	}
	drift := wander(r, 0.3)
	grit := lowPass(between(r, 2500, 5000))
	ease := lowPass(3) // the load comes on over a few tenths of a second
	out := make([]float32, n)
	load, until := 0.0, 0
	phase, beat := r.Float64(), r.Float64()
	for i := range out {
		if i >= until {
			load = between(r, 0, 1)
			until = i + int(between(r, 0.3, 1.5)*Rate)
		}
		l := ease(load)
		hz := pitch * (1 - 0.2*l) * (1 + 0.01*drift())
		phase += hz / Rate
		beat += hz * blows / Rate // geared to the motor
		// A blow is sharp and dies away before the next.
		_, b := math.Modf(beat)
		blow := math.Exp(-6 * b)
		x := 0.0
		for h, w := range weights {
			if f := float64(h + 1); f*hz < 7000 {
				x += w * math.Sin(2*math.Pi*f*phase)
			}
		}
		noise := grit(r.NormFloat64())
		out[i] = float32((0.5+0.5*l)*x*(0.6+0.4*blow) + l*blow*6*noise + 0.5*noise)
	}
	return out
}

func hammer(r *rand.Rand, n int) []float32 {
	// What is struck rings at frequencies of its own, the low ones longer.
	type ring struct{ hz, seconds, weight float64 }
	rings := make([]ring, 7)
	for i := range rings {
		hz := 120 * math.Pow(2, between(r, 0, 5.2))
		rings[i] = ring{hz, between(r, 4, 14) / math.Sqrt(hz) / 10, between(r, 0.2, 1)}
	}
	out := make([]float32, n)
	// The first blow may have fallen before the sound begins.
	for at := -int(between(r, 0, 0.3) * Rate); at < n; {
		force := amplitude(between(r, -5, 2))
		for _, g := range rings {
			w := force * g.weight * between(r, 0.7, 1.3)
			phase := between(r, 0, 2*math.Pi)
			for i := max(0, -at); i < int(6*g.seconds*Rate) && at+i < n; i++ {
				t := float64(i) / Rate
				out[at+i] += float32(w * math.Exp(-t/g.seconds) * math.Sin(2*math.Pi*g.hz*t+phase))
			}
		}
		for i := max(0, -at); i < Rate/50 && at+i < n; i++ { // the slap itself
			out[at+i] += float32(force * 1.5 * math.Exp(-float64(i)/(0.003*Rate)) * r.NormFloat64())
		}
		at += int(between(r, 0.14, 0.42) * Rate)
	}
	return out
}

func fan(r *rand.Rand, n int) []float32 {
	dark, air := lowPass(between(r, 250, 700)), between(r, 0.05, 0.25)
	swell := wander(r, 0.8)
	blade, phase := between(r, 70, 140), 0.0
	tone := between(r, 0.05, 0.3)
	out := make([]float32, n)
	for i := range out {
		w := r.NormFloat64()
		phase += blade / Rate
		x := 2*dark(w) + air*w + tone*(math.Sin(2*math.Pi*phase)+0.5*math.Sin(4*math.Pi*phase))
		out[i] = float32(x * amplitude(2*swell()))
	}
	return out
}

func hum(r *rand.Rand, n int) []float32 {
	weights := make([]float64, 24)
	for h := range weights {
		weights[h] = between(r, 0.1, 1) / float64(h+1)
		if h%2 == 1 { // iron is pulled twice in each period: 100 Hz and its harmonics
			weights[h] *= 2
		}
	}
	drift := wander(r, 2)
	out := make([]float32, n)
	phase := r.Float64()
	for i := range out {
		phase += (50 + 0.1*drift()) / Rate
		x := 0.0
		for h, w := range weights {
			x += w * math.Sin(2*math.Pi*float64(h+1)*phase+float64(h*h))
		}
		out[i] = float32(x)
	}
	return out
}

// babble is five people, each going on without end.
func babble(r *rand.Rand, n int, voices [][]float32) []float32 {
	out := make([]float32, n)
	for range 5 {
		force := amplitude(between(r, -5, 2))
		// Begin in the middle of something.
		first := voices[r.IntN(len(voices))]
		at := -r.IntN(len(first))
		for v := first; at < n; v = voices[r.IntN(len(voices))] {
			for i := max(0, -at); i < len(v) && at+i < n; i++ {
				out[at+i] += float32(force) * v[i]
			}
			at += len(v) + int(between(r, 0.05, 0.4)*Rate)
		}
	}
	return out
}

// site puts the noises together as they come into a cupboard: a fan or the like
// and the mains always, one machine or hammering at the least, people if there
// are any; what is far away is duller, and all of it rings in the building.
func site(r *rand.Rand, n int, voices [][]float32) []float32 {
	out := make([]float32, n)
	put := func(s []float32, low, high float64) {
		far := lowPass(between(r, 1200, 6000))
		for i, x := range s {
			s[i] = float32(far(float64(x)))
		}
		out = add(out, unit(s), amplitude(between(r, low, high)))
	}
	put(fan(r, n), -10, -2)
	put(hum(r, n), -18, -8)
	machine := r.IntN(3) // drill, hammer or both
	if machine != 1 {
		put(drill(r, n), -6, 0)
	}
	if machine != 0 {
		put(hammer(r, n), -6, 0)
	}
	if len(voices) > 0 && r.IntN(3) > 0 {
		put(babble(r, n, voices), -8, -1)
	}
	return convolve(out, room(r, between(r, 0.4, 0.9), 0.8))
}

// Reverb returns sound as spoken in a cupboard under the stairs or in a hall:
// small, with hard walls, so that the echoes are dense and begin at once. It rings
// for 0.15 to 0.35 s (to -60 dB). The level of the speech stays what it was.
func Reverb(sound []float32, seed uint64) []float32 {
	s := clean(sound)
	r := source(seed, "reverb")
	seconds := between(r, 0.15, 0.35)
	// The room rings on after the last word.
	tail := make([]float32, int(seconds*Rate))
	wet := convolve(append(s, tail...), room(r, seconds, between(r, 0.5, 1)))
	before, after := ActiveLevel(s, Active(s)), ActiveLevel(wet, Active(wet))
	if math.IsInf(before, -1) || math.IsInf(after, -1) {
		return wet
	}
	return scale(wet, amplitude(before-after))
}

// room returns the response of a room that rings for the given time: the sound
// itself, a few early echoes off the walls, and a dense tail with energy times
// that of the direct sound.
func room(r *rand.Rand, seconds, energy float64) []float32 {
	out := make([]float32, int(seconds*Rate))
	damp := lowPass(between(r, 4000, 7000)) // walls take a little of the treble
	sum := 0.0
	for i := range out {
		t := float64(i) / Rate
		x := damp(r.NormFloat64()) * math.Exp(-6.91*t/seconds) // ln(1000): 60 dB
		if t < 0.0015 {
			x = 0 // the nearest wall is 25 cm away
		}
		out[i] = float32(x)
		sum += x * x
	}
	for range 6 {
		x := between(r, 0.2, 0.5)
		if r.IntN(2) == 0 {
			x = -x
		}
		at := int(between(r, 0.0015, 0.012) * Rate)
		sum += x * x
		out[at] += float32(x * math.Sqrt(sum/8))
	}
	out = scale(out, math.Sqrt(energy/max(sum, 1e-12)))
	out[0] = 1
	return out
}
