package bank

// This file is the voice: parts joined, at a pace.

import (
	"math"
	"time"

	"waycall/internal/audio"
	"waycall/internal/say"
)

// Voice says what it can by phrases of a bank, and the rest by another voice. It is safe
// for use by several goroutines.
type Voice struct {
	bank  *store
	other say.Voice
	rate  float64 // how much faster than rendered at pace 0
}

// Open reads the bank at path, wholly, and holds it against its sums. What it lacks the
// other voice says, which speaks at the same rate. A rate of 1 is the usual one, 2 twice
// as fast; it is between 0.4 and 2.5.
func Open(path string, other say.Voice, rate float64) (*Voice, error) {
	s, err := read(path)
	if err != nil {
		return nil, err
	}
	return &Voice{bank: s, other: other, rate: min(max(rate, 0.4), 2.5)}, nil
}

// Speak returns the sound of text, anew each time: it takes about a thousandth of the time
// that it lasts, more at another pace.
func (v *Voice) Speak(text string, pace int) (audio.Clip, error) {
	rate := v.rate * say.Factor(pace)
	whole := joiner{rate: rate}
	row := joiner{rate: 1} // phrases in a row, at the rate at which they were rendered
	flush := func() {
		if len(row.sound) > 0 {
			whole.add(stretch(row.sound, rate), row.before)
			row = joiner{rate: 1}
		}
	}
	for _, p := range v.bank.plan(say.Words(text)) {
		if p.key != "" {
			row.add(v.bank.clip(p.key), p.after)
			continue
		}
		flush()
		c, err := v.other.Speak(p.text, pace)
		if err != nil {
			return nil, err
		}
		whole.add(trim(c), p.after)
	}
	flush()
	if whole.sound == nil {
		return audio.Clip{}, nil
	}
	return whole.sound, nil
}

var _ say.Voice = (*Voice)(nil)

// Quiet between two parts at the usual rate, by what stands between them. Each begins
// and ends in silence, so words that run on overlap a little.
var pauses = map[mark]time.Duration{
	none: -30 * time.Millisecond, comma: 50 * time.Millisecond, stop: 160 * time.Millisecond, asks: 160 * time.Millisecond,
}

// joiner puts sounds one after the other.
type joiner struct {
	sound  audio.Clip
	rate   float64
	before mark
}

// add puts a sound at the end, with what stands after it.
func (j *joiner) add(c audio.Clip, after mark) {
	if len(j.sound) > 0 {
		n := int(pauses[j.before].Seconds() / j.rate * audio.Rate)
		if n >= 0 {
			j.sound = append(j.sound, make(audio.Clip, n)...)
		} else {
			over := min(-n, len(j.sound), len(c))
			for i := range over {
				j.sound[len(j.sound)-over+i] += c[i]
			}
			c = c[over:]
		}
	}
	j.sound = append(j.sound, c...)
	j.before = after
}

// edge is a fade that leaves no click.
const edge = audio.Rate / 200

// trim takes the quiet from both ends of what another voice said, and lets it begin and
// end in silence. The clip stays as it is.
func trim(c audio.Clip) audio.Clip {
	const quiet = 0.004 // of full scale, -48 dB
	from, to := 0, len(c)
	for from < to && math.Abs(float64(c[from])) < quiet {
		from++
	}
	for to > from && math.Abs(float64(c[to-1])) < quiet {
		to--
	}
	out := append(audio.Clip(nil), c[max(0, from-edge):min(len(c), to+edge)]...)
	for i := range min(edge, len(out)/2) {
		g := float32(i) / edge
		out[i] *= g
		out[len(out)-1-i] *= g
	}
	return out
}
