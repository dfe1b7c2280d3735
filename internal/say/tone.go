package say

import (
	"math"
	"time"

	"waycall/internal/audio"
)

// note is one sound of a tone.
type note struct {
	hz    float64
	last  time.Duration
	edged bool // with odd harmonics, as a reed has them
}

// tones are told from each other by three things, so that one of them gets through in
// noise and to an ear that has lost the high sounds: pitch, number and direction. All
// lie between 300 and 1300 Hz, where hearing is lost last and a headset is not weak.
var tones = map[string][]note{
	"listening":      {{hz: 1046.5, last: 70 * time.Millisecond}},
	"stored":         {{hz: 659.3, last: 80 * time.Millisecond}, {hz: 987.8, last: 120 * time.Millisecond}},
	"pass":           {{hz: 523.3, last: 60 * time.Millisecond}, {hz: 784, last: 60 * time.Millisecond}, {hz: 1046.5, last: 90 * time.Millisecond}},
	"not understood": {{hz: 392, last: 130 * time.Millisecond, edged: true}, {hz: 311.1, last: 200 * time.Millisecond, edged: true}},
}

const (
	toneLevel = 0.22                  // of full scale, about as loud as the voice
	toneEdge  = 8 * time.Millisecond  // without it a tone begins and ends with a click
	toneRest  = 60 * time.Millisecond // quiet after a tone, before words
)

// Tone returns a short sound that is heard sooner than words: "listening" is one
// high note, "stored" two that rise, "pass" three that rise, "not understood" two low ones that fall. It ends
// with a little quiet. Any other name gives nothing.
func Tone(name string) audio.Clip {
	var c audio.Clip
	for _, n := range tones[name] {
		c = append(c, n.sound()...)
	}
	if c == nil {
		return nil
	}
	return append(c, make(audio.Clip, int(toneRest.Seconds()*audio.Rate))...)
}

func (n note) sound() audio.Clip {
	c := make(audio.Clip, int(n.last.Seconds()*audio.Rate))
	edge := int(toneEdge.Seconds() * audio.Rate)
	for i := range c {
		at := 2 * math.Pi * n.hz * float64(i) / audio.Rate
		x := math.Sin(at)
		if n.edged {
			x = 0.7 * (x + math.Sin(3*at)/3 + math.Sin(5*at)/5)
		}
		if near := min(i, len(c)-1-i); near < edge {
			x *= (1 - math.Cos(math.Pi*float64(near)/float64(edge))) / 2
		}
		c[i] = float32(toneLevel * x)
	}
	return c
}
