package audio

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"testing"
)

// speechLike is a second of something that has the shape of a phrase: quiet, four
// syllables with a hiss after each, quiet; its level over the loud parts in dBFS.
func speechLike(level float64) Clip {
	r := rand.New(rand.NewPCG(1, 2))
	c := make(Clip, 2*Rate)
	for i := range c {
		at := float64(i)/Rate - 0.5
		if at < 0 || at > 1 {
			continue
		}
		in := math.Mod(at, 0.25)
		switch {
		case in < 0.15:
			c[i] = float32(math.Sin(2*math.Pi*300*at) + 0.5*math.Sin(2*math.Pi*900*at))
		case in < 0.2:
			c[i] = float32(0.6 * (r.Float64() - 0.5))
		}
	}
	return louder(c, math.Pow(10, (level+2)/20)) // this shape is at -2 dB or so
}

func louder(c Clip, f float64) Clip {
	out := make(Clip, len(c))
	for i, x := range c {
		out[i] = float32(min(max(float64(x)*f, -1), 1))
	}
	return out
}

func noisy(c Clip, level float64) Clip {
	r := rand.New(rand.NewPCG(3, 4))
	out := make(Clip, len(c))
	for i, x := range c {
		out[i] = x + float32(math.Pow(10, level/20)*r.NormFloat64())
	}
	return out
}

func TestMeasure(t *testing.T) {
	for name, tt := range map[string]struct {
		sound                Clip
		spoken               bool
		speech, noise        float64 // within 3 dB
		clippedFrom, clipped float64 // within
		narrow               bool
	}{
		"good":    {noisy(speechLike(-20), -60), true, -20, -60, 0, 0, false},
		"quiet":   {noisy(speechLike(-50), -75), true, -50, -75, 0, 0, false},
		"noisy":   {noisy(speechLike(-20), -32), true, -20, -32, 0, 0, false},
		"clipped": {noisy(speechLike(6), -60), true, 0, -60, 0.05, 0.9, false},
		"narrow":  {through8(t, speechLike(-20)), true, -20, Silence, 0, 0, true},
		"silence": {make(Clip, Rate), false, Silence, Silence, 0, 0, false},
		"noise":   {noisy(make(Clip, 2*Rate), -40), false, Silence, -40, 0, 0, false},
		"nothing": {nil, false, Silence, Silence, 0, 0, false},
	} {
		q, spoken := Measure(tt.sound)
		if spoken != tt.spoken || math.Abs(q.Speech-tt.speech) > 3 || math.Abs(q.Noise-tt.noise) > 3 && tt.noise > Silence ||
			q.Clipped < tt.clippedFrom || q.Clipped > tt.clipped || q.Narrow != tt.narrow {
			t.Errorf("%s: %+v, spoken %v; want %+v", name, q, spoken, tt.spoken)
		}
	}
	off := speechLike(-20)
	for i := range off {
		off[i] += 0.2
	}
	if q, _ := Measure(off); math.Abs(q.Offset-0.2) > 0.01 || math.Abs(q.Speech+20) > 3 {
		t.Errorf("with an offset: %+v", q)
	}
}

// through8 is a clip as a device of 8 kHz gives it.
func through8(t *testing.T, c Clip) Clip {
	t.Helper()
	narrow, err := c.ResampleTo(8000)
	if err != nil {
		t.Fatal(err)
	}
	if c, err = Resample(narrow, 8000); err != nil {
		t.Fatal(err)
	}
	return c
}

// played is a source of one clip, frame by frame. audiotest's cannot be used within the
// package that it imports.
type played struct{ rest Clip }

func (p *played) Next(context.Context) (Clip, error) {
	if len(p.rest) == 0 {
		return nil, io.EOF
	}
	n := min(FrameSize, len(p.rest))
	frame := p.rest[:n:n]
	p.rest = p.rest[n:]
	return frame, nil
}

func (p *played) Discard()     {}
func (p *played) Close() error { return nil }

// said plays phrases of a level through a gain, of which each is understood or not.
func said(t *testing.T, g *Gain, sound Clip, phrases int, understood bool) (last Clip) {
	t.Helper()
	for range phrases {
		g.source = &played{sound}
		last = nil
		for {
			frame, err := g.Next(t.Context())
			if err != nil {
				break
			}
			last = append(last, frame...)
		}
		if understood {
			g.Understood(last)
		}
	}
	return last
}

func TestGain(t *testing.T) {
	for name, tt := range map[string]struct {
		sound      Clip
		understood bool
		want       float64 // dB after ten phrases, within 3
	}{
		"as it should be":      {noisy(speechLike(-22), -70), true, 0},
		"quiet":                {noisy(speechLike(-38), -75), true, 14},
		"very quiet":           {noisy(speechLike(-58), -85), true, mostGain},
		"loud":                 {noisy(speechLike(-4), -60), true, 0},
		"quiet but not for us": {noisy(speechLike(-38), -75), false, 0},
		"noise alone":          {noisy(make(Clip, Rate), -50), true, 0},
		"silence":              {make(Clip, Rate), true, 0},
	} {
		g := NewGain(nil)
		said(t, g, tt.sound, 10, tt.understood)
		if math.Abs(g.DB()-tt.want) > 3 {
			t.Errorf("%s: %.1f dB, want %.0f", name, g.DB(), tt.want)
		}
	}
	// By steps, and never into clipping.
	g := NewGain(nil)
	said(t, g, noisy(speechLike(-50), -80), 1, true)
	if g.DB() != gainStep {
		t.Errorf("after one phrase: %.1f dB, want %.0f", g.DB(), gainStep)
	}
	said(t, g, noisy(speechLike(-50), -80), 9, true)
	if g.DB() < 15 {
		t.Fatalf("%.1f dB after ten quiet phrases", g.DB())
	}
	for i, x := range said(t, g, speechLike(-10), 1, false) {
		if math.Abs(float64(x)) > ceiling+1e-6 {
			t.Fatalf("sample %d is %v: the gain clips", i, x)
		}
	}
}

func TestComplaint(t *testing.T) {
	for name, tt := range map[string]struct {
		sound   Clip
		phrases int
		want    string
	}{
		"good":      {noisy(speechLike(-22), -70), 3, ""},
		"too few":   {noisy(speechLike(-60), -90), 2, ""},
		"too quiet": {noisy(speechLike(-60), -90), 3, "Speech is too quiet"},
		"too loud":  {noisy(speechLike(6), -70), 3, "Speech is too loud"},
	} {
		g := NewGain(nil)
		said(t, g, tt.sound, tt.phrases, true)
		if got := g.Complaint(); (got == "") != (tt.want == "") || got != "" && got[:len(tt.want)] != tt.want {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
	}
}
