package mic

import (
	"context"
	"errors"
	"math"
	"testing"

	"waycall/internal/audio"
)

// fake returns a microphone without a device: the test writes to its ring.
func fake(t *testing.T, rate int) *Mic {
	t.Helper()
	r, err := audio.NewResampler(rate, audio.Rate)
	if err != nil {
		t.Fatal(err)
	}
	return &Mic{ring: newRing(rate), raw: make([]float32, rate/10), resample: r}
}

// A device that only knows 48 kHz gives sound at our rate, and never anything
// but numbers from -1 to 1.
func TestNextConverts(t *testing.T) {
	m := fake(t, 48000)
	in := make([]float32, 24000)
	for i := range in {
		in[i] = 2 * float32(math.Sin(float64(i)/20))
	}
	in[100], in[101] = float32(math.NaN()), float32(math.Inf(1))
	m.ring.write(in)
	var got audio.Clip
	for len(got) < 7900 { // half a second, less what the resampler looks ahead
		c, err := m.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if len(c) == 0 || c.Duration().Milliseconds() > 100 {
			t.Fatalf("%v at once", c.Duration())
		}
		got = append(got, c...)
	}
	for i, x := range got {
		if !(x >= -1 && x <= 1) {
			t.Fatalf("sample %d is %v", i, x)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := m.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("after cancel: %v", err)
	}
}

// Sound lost while nobody listened is no gap; sound lost while somebody did is.
func TestDiscardAndGaps(t *testing.T) {
	m := fake(t, audio.Rate)
	m.ring.write(make([]float32, 2*audio.Rate))
	m.Discard()
	if m.Gaps() != 0 {
		t.Errorf("%d gaps while nobody listened", m.Gaps())
	}
	m.ring.write([]float32{0.5})
	if c, err := m.Next(t.Context()); err != nil || len(c) != 1 || c[0] != 0.5 {
		t.Errorf("after Discard: %v, %v; want the one sample written since", c, err)
	}
	m.ring.write(make([]float32, 2*audio.Rate))
	if _, err := m.Next(t.Context()); err != nil {
		t.Fatal(err)
	}
	m.Discard()
	if m.Gaps() != 1 {
		t.Errorf("%d gaps while somebody listened, want 1", m.Gaps())
	}
}
