package audio

import (
	"context"
	"math"
	"slices"
)

// The limits of the automatic gain. Recognition itself is as right at -40 dBFS as at
// -20 (docs/bench); the gain makes a quiet recording good to listen to, and keeps it
// above the level where the endpointer hears nothing.
const (
	mostGain  = 20.0 // dB; the noise of a cheap input is then still below speech
	gainStep  = 3.0  // dB at most after a phrase, so that the noise floor is followed
	wanted    = -24.0
	tolerated = 4.0  // dB off the wanted level without a change
	ceiling   = 0.89 // of full scale, -1 dB: the gain itself never clips
	standsOut = 6.0  // dB above its noise that speech must have to count
	listened  = 3    // phrases before the level is complained of
	tooQuiet  = -55.0
	tooLoud   = 0.001 // share of clipped samples in speech
)

// A Gain is a Source that makes quiet speech louder: never softer, at most by 20 dB,
// at most 3 dB more after each phrase, and only after phrases that Understood was told
// of, so that no noise and no silence raises it. A louder sound than the gain allows
// for lowers it at once. Its methods are for one goroutine.
type Gain struct {
	source Source
	db     float64
	frame  Clip
	quiet  []float64 // levels of the last phrases as they came in, dBFS
	loud   []float64 // their shares of clipped samples
	before []float64 // clipped shares of what came in since the last phrase, by frame
}

// NewGain returns source with automatic gain.
func NewGain(source Source) *Gain { return &Gain{source: source} }

// Next gives the next frame of the source, made louder.
func (g *Gain) Next(ctx context.Context) (Clip, error) {
	c, err := g.source.Next(ctx)
	if err != nil {
		return nil, err
	}
	peak, full := 0.0, 0
	for _, x := range c {
		a := math.Abs(float64(x))
		peak = max(peak, a)
		if a >= top {
			full++
		}
	}
	if g.before = append(g.before, float64(full)/float64(len(c))); len(g.before) > 1000 {
		g.before = slices.Delete(g.before, 0, 500)
	}
	if peak*g.factor() > ceiling {
		g.db = max(0, 20*math.Log10(ceiling/peak))
	}
	if g.db == 0 {
		return c, nil
	}
	g.frame = g.frame[:0]
	f := float32(g.factor())
	for _, x := range c {
		g.frame = append(g.frame, x*f)
	}
	return g.frame, nil
}

func (g *Gain) factor() float64 { return math.Pow(10, g.db/20) }

// Understood is told the sound of a phrase, as it came from Next, that was speech for
// certain: a recogniser understood it.
func (g *Gain) Understood(sound Clip) {
	q, spoken := Measure(sound)
	if !spoken || q.Ratio() < standsOut {
		return
	}
	level := q.Speech - g.db
	g.quiet, g.loud = lastFew(g.quiet, level), lastFew(g.loud, mostOf(g.before))
	g.before = g.before[:0]
	if off := wanted - q.Speech; math.Abs(off) > tolerated {
		g.db = min(max(g.db+min(max(off, -gainStep), gainStep), 0), mostGain)
	}
}

// mostOf is the share of clipped samples of the loudest tenth of a second or so.
func mostOf(shares []float64) float64 {
	if len(shares) == 0 {
		return 0
	}
	return slices.Max(shares)
}

func lastFew(list []float64, x float64) []float64 {
	if len(list) == listened {
		list = slices.Delete(list, 0, 1)
	}
	return append(list, x)
}

// Discard forgets what the source has caught.
func (g *Gain) Discard() {
	g.source.Discard()
	g.before = g.before[:0]
}

// Close closes the source.
func (g *Gain) Close() error { return g.source.Close() }

// DB is the gain now, from 0 to 20 dB.
func (g *Gain) DB() float64 { return g.db }

// Complaint says what is wrong with the level of the last three phrases and what to
// do, or nothing.
func (g *Gain) Complaint() string {
	switch {
	case len(g.quiet) < listened:
		return ""
	case slices.Min(g.loud) > tooLoud:
		return "Speech is too loud and is clipped: turn the microphone down in the system's sound settings, or move it away"
	case slices.Max(g.quiet) < tooQuiet:
		return "Speech is too quiet: move the microphone nearer, or turn it up in the system's sound settings"
	}
	return ""
}

var _ Source = (*Gain)(nil)
