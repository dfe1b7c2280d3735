// Package noise makes clean recordings of speech sound as they would on a
// working site, so that hearing can be measured where it is hard.
//
// Everything here is made by computation; there is no recorded noise. Each
// function takes and gives mono sound at Rate in which full scale is 1, leaves
// what it was given as it is, and is a pure function of its arguments: the same
// seed gives the same sound on every machine of one kind.
//
// # Signal-to-noise ratio
//
// A ratio of 10 dB means different things to different people. Here it is the
// root-mean-square level of the speech while somebody is speaking against the
// level of the noise over the same stretches of time. Somebody is speaking in
// those blocks of 20 ms whose level lies within 30 dB of the loudest block of
// the clean sound (Active). Pauses, and the quiet before and after, so count for
// neither, and a recording with a long silence is no easier than one without.
//
// # Order
//
// A Condition is applied in the order in which these things happen: how the
// phrase is spoken (false start, pause, speed), the room (reverberation, noise),
// the microphone (level, clipping), and what it is sent over (band).
package noise

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Rate is the number of samples a second of all sound here.
const Rate = 16000

// Lead is the noise alone, before and after the phrase, that a Condition with
// noise adds: nobody speaks in the moment that the noise begins.
const Lead = 500 * time.Millisecond

// Added is one noise of a Condition.
type Added struct {
	Kind Kind    `json:"kind"`
	SNR  float64 `json:"snr_db"` // see the package comment
}

// A Condition says what happens to a phrase on its way to the recogniser. The
// zero Condition leaves it as it is.
type Condition struct {
	FalseStart bool          `json:"false_start,omitempty"` // the first 300 ms, broken off, then the phrase from the beginning
	Pause      time.Duration `json:"pause_ns,omitempty"`    // silence put in at the quietest point within the phrase
	Speed      float64       `json:"speed,omitempty"`       // 0.5 to 2; 0 and 1 leave it; the voice keeps its pitch
	Reverb     bool          `json:"reverb,omitempty"`      // spoken into a cupboard with hard walls
	Noise      []Added       `json:"noise,omitempty"`       // all of them at once, each at its own ratio
	Levelled   bool          `json:"levelled,omitempty"`    // whether Level applies
	Level      float64       `json:"level_dbfs,omitempty"`  // dBFS of the active speech, -60 to 0; what exceeds full scale is clipped
	Band       bool          `json:"band,omitempty"`        // 300 to 3400 Hz, by way of 8 kHz
	MuLaw      bool          `json:"mu_law,omitempty"`      // with Band: coded in 8 bits, as by a telephone
}

// ParseNoise reads a noise and its ratio in dB, such as "site@10".
func ParseNoise(s string) (Added, error) {
	kind, db, ok := strings.Cut(s, "@")
	snr, err := strconv.ParseFloat(db, 64)
	a := Added{Kind(kind), snr}
	if !ok || err != nil {
		return a, fmt.Errorf("noise %q: not understood; write a kind and a ratio in dB, such as site@10", s)
	}
	return a, a.check()
}

func (a Added) check() error {
	if !slices.Contains(Kinds(), a.Kind) {
		return fmt.Errorf("noise %q: not a kind that can be made; choose among %v", a.Kind, Kinds())
	}
	if !(a.SNR >= -20 && a.SNR <= 60) { // so that NaN fails, too
		return fmt.Errorf("noise %s: ratio of %v dB; give -20 to 60", a.Kind, a.SNR)
	}
	return nil
}

// Check says what is wrong with c.
func (c Condition) Check() error {
	for _, a := range c.Noise {
		if err := a.check(); err != nil {
			return err
		}
	}
	if c.Speed != 0 && !(c.Speed >= 0.5 && c.Speed <= 2) {
		return fmt.Errorf("speed %v: too far from natural; give 0.5 to 2", c.Speed)
	}
	if c.Levelled && !(c.Level >= -60 && c.Level <= 0) {
		return fmt.Errorf("level %v: outside what a microphone gives; give -60 to 0 dBFS", c.Level)
	}
	if c.Pause < 0 || c.Pause > 5*time.Second {
		return fmt.Errorf("pause %v: give up to 5 s", c.Pause)
	}
	if c.MuLaw && !c.Band {
		return errors.New("mu-law without the band: it is a code for 8 kHz; ask for the band, too")
	}
	return nil
}

// String names c in a few words, such as "site@10, speed 1.2", or "clean".
func (c Condition) String() string {
	var parts []string
	say := func(yes bool, format string, args ...any) {
		if yes {
			parts = append(parts, fmt.Sprintf(format, args...))
		}
	}
	say(c.FalseStart, "false start")
	say(c.Pause > 0, "pause %v", c.Pause)
	say(c.Speed != 0 && c.Speed != 1, "speed %v", c.Speed)
	say(c.Reverb, "reverb")
	for _, a := range c.Noise {
		say(true, "%s@%v", a.Kind, a.SNR)
	}
	say(c.Levelled, "level %v", c.Level)
	say(c.Band && !c.MuLaw, "band")
	say(c.Band && c.MuLaw, "band, mu-law")
	if parts == nil {
		return "clean"
	}
	return strings.Join(parts, ", ")
}

// Apply returns the sound of one phrase under c. talk holds clips of ordinary
// talk, for babble. Without a Level, sound that would exceed full scale is made
// quieter as a whole rather than clipped.
func (c Condition) Apply(sound []float32, talk [][]float32, seed uint64) ([]float32, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	s := clean(sound)
	if c.FalseStart {
		s = FalseStart(s)
	}
	if c.Pause > 0 {
		s = Pause(s, c.Pause)
	}
	if c.Speed != 0 && c.Speed != 1 {
		s = Speed(s, c.Speed)
	}
	if c.Reverb {
		s = Reverb(s, seed)
	}
	if len(c.Noise) > 0 {
		lead := make([]float32, count(Lead))
		s = slices.Concat(lead, s, lead)
		speech := s
		for i, a := range c.Noise {
			n, err := Noise(a.Kind, len(s), talk, seed+uint64(i))
			if err != nil {
				return nil, err
			}
			s = add(s, n, gain(speech, n, a.SNR))
		}
	}
	if c.Levelled {
		s = Level(s, c.Level)
	} else if p := peak(s); p > 1 {
		s = scale(s, 1/p)
	}
	if c.Band {
		s = Band(s, c.MuLaw)
	}
	return s, nil
}

// source returns random numbers that belong to one use of a seed, so that two
// things made from the same seed are not alike.
func source(seed uint64, use string) *rand.Rand {
	h := uint64(14695981039346656037) // FNV-1a
	for _, b := range []byte(use) {
		h = (h ^ uint64(b)) * 1099511628211
	}
	return rand.New(rand.NewPCG(seed, h))
}

// between returns a number from a to b.
func between(r *rand.Rand, a, b float64) float64 { return a + (b-a)*r.Float64() }

// count returns how many samples last d.
func count(d time.Duration) int { return int(d * Rate / time.Second) }

// clean returns a copy in which samples that are not numbers are silence.
func clean(s []float32) []float32 {
	out := slices.Clone(s)
	for i, x := range out {
		if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
			out[i] = 0
		}
	}
	return out
}

func scale(s []float32, by float64) []float32 { return add(make([]float32, len(s)), s, by) }

// add returns s with n added to it, n times by.
func add(s, n []float32, by float64) []float32 {
	out := slices.Clone(s)
	for i := range min(len(out), len(n)) {
		out[i] += float32(by) * n[i]
	}
	return out
}

func peak(s []float32) float64 {
	p := 0.0
	for _, x := range s {
		p = max(p, math.Abs(float64(x)))
	}
	return p
}

func rms(s []float32) float64 {
	if len(s) == 0 {
		return 0
	}
	sum := 0.0
	for _, x := range s {
		sum += float64(x) * float64(x)
	}
	return math.Sqrt(sum / float64(len(s)))
}

// unit returns s at a root-mean-square level of 1, or silence as it is.
func unit(s []float32) []float32 {
	if r := rms(s); r > 0 {
		return scale(s, 1/r)
	}
	return s
}

func db(amplitude float64) float64 { return 20 * math.Log10(amplitude) }

func amplitude(db float64) float64 { return math.Pow(10, db/20) }
