package say

import (
	"math"
	"testing"
	"time"

	"waycall/internal/audio"
)

// pitch is where the most of a sound lies, in Hz, by the discrete Fourier transform
// at each whole frequency.
func pitch(c audio.Clip) float64 {
	best, most := 0.0, 0.0
	for hz := 200.0; hz < 1500; hz += 5 {
		var re, im float64
		for i, x := range c {
			at := 2 * math.Pi * hz * float64(i) / audio.Rate
			re, im = re+float64(x)*math.Cos(at), im+float64(x)*math.Sin(at)
		}
		if p := re*re + im*im; p > most {
			best, most = hz, p
		}
	}
	return best
}

// The three are short, do not click, are about as loud as each other and differ in
// pitch and direction.
func TestTone(t *testing.T) {
	for name, want := range map[string]struct {
		first, last float64
		longest     time.Duration
	}{
		"listening":      {1046, 1046, 150 * time.Millisecond},
		"stored":         {659, 988, 300 * time.Millisecond},
		"not understood": {392, 311, 400 * time.Millisecond},
	} {
		c := Tone(name)
		if d := c.Duration(); d == 0 || d > want.longest {
			t.Errorf("%s lasts %v", name, d)
		}
		if p := c[len(c)-audio.Rate/20:].Level(); !math.IsInf(p, -1) {
			t.Errorf("%s does not end in quiet", name)
		}
		for i := 1; i < len(c); i++ {
			if math.Abs(float64(c[i]-c[i-1])) > 0.2 {
				t.Errorf("%s clicks at sample %d", name, i)
				break
			}
		}
		sound := c[:len(c)-int(toneRest.Seconds()*audio.Rate)]
		if l := sound.Level(); l < -19 || l > -13 {
			t.Errorf("%s has a level of %.1f dB", name, l)
		}
		edge := audio.Rate * 7 / 100
		if first, last := pitch(sound[:edge]), pitch(sound[len(sound)-edge:]); math.Abs(first-want.first) > 25 || math.Abs(last-want.last) > 25 {
			t.Errorf("%s goes from %v to %v Hz", name, first, last)
		}
	}
	if c := Tone("trumpet"); c != nil {
		t.Errorf("an unknown tone lasts %v", c.Duration())
	}
}
