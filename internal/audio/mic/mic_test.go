package mic

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/audio/card"
)

// fakeLine is a device that the test fills.
type fakeLine struct {
	rate   int
	sound  []float32
	broke  bool
	gone   bool
	closed bool
}

func (f *fakeLine) Device() card.Device { return card.Device{Name: "Headset", Rate: f.rate} }
func (f *fakeLine) Rate() int           { return f.rate }
func (f *fakeLine) Alive() bool         { return !f.gone }
func (f *fakeLine) Close()              { f.closed = true }
func (f *fakeLine) Discard() int        { f.sound, f.broke = nil, false; return 0 }
func (f *fakeLine) Take(s []float32) (int, bool) {
	if f.broke {
		f.broke = false
		return 0, true
	}
	n := copy(s, f.sound)
	f.sound = f.sound[n:]
	return n, false
}

// fake returns a microphone whose devices are these, one after the other; nil is one
// that is not there.
func fake(t *testing.T, lines ...*fakeLine) *Mic {
	t.Helper()
	m := &Mic{name: "Headset", rescan: func() error { return nil }}
	m.open = func(name string) (line, error) {
		l := lines[0]
		lines = lines[1:]
		if l == nil || name != "Headset" {
			return nil, errors.New("there is none")
		}
		return l, nil
	}
	if err := m.begin(); err != nil {
		t.Fatal(err)
	}
	return m
}

// sine is a tone of a rate in Hz.
func sine(rate, n int, level float64) []float32 {
	s := make([]float32, n)
	for i := range s {
		s[i] = float32(level * math.Sin(2*math.Pi*440*float64(i)/float64(rate)))
	}
	return s
}

// A device that only knows 48 kHz gives sound at our rate, and never anything
// but numbers from -1 to 1.
func TestNextConverts(t *testing.T) {
	l := &fakeLine{rate: 48000, sound: sine(48000, 24000, 2)}
	l.sound[100], l.sound[101] = float32(math.NaN()), float32(math.Inf(1))
	m := fake(t, l)
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
	if m.Captured() != got.Duration() {
		t.Errorf("%v counted of %v", m.Captured(), got.Duration())
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := m.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("after cancel: %v", err)
	}
}

// Sound lost while nobody listened is no loss; sound lost while somebody did is, and
// breaks what is heard.
func TestLosses(t *testing.T) {
	l := &fakeLine{rate: audio.Rate}
	m := fake(t, l)
	var told []audio.News
	m.Tell = func(n audio.News) { told = append(told, n) }
	l.sound, l.broke = make([]float32, 100), true
	m.Discard()
	l.sound = append(sine(audio.Rate, audio.Rate*120/1000, 0.5), 0.5) // the echo of what was said, and a sample
	if c, err := m.Next(t.Context()); err != nil || len(c) != 1 || c[0] != 0.5 || m.Lost() != 0 {
		t.Errorf("after Discard: %v, %v, %d lost; want the one sample since", c, err, m.Lost())
	}
	l.sound, l.broke = []float32{0.25}, true
	var broke *audio.Break
	if _, err := m.Next(t.Context()); !errors.As(err, &broke) || broke.Away != 0 || m.Lost() != 1 {
		t.Errorf("where sound was lost: %v, %d lost", err, m.Lost())
	}
	if c, err := m.Next(t.Context()); err != nil || len(c) != 1 {
		t.Errorf("after it: %v, %v", c, err)
	}
	if len(told) != 1 || told[0].Gone || told[0].Lost != 1 || !strings.Contains(told[0].Text, "1 so far") {
		t.Errorf("told: %+v", told)
	}
}

// A headset that is pulled out is waited for. One that comes back with the telephone's
// 8 kHz is heard at our rate, at the right pitch.
func TestComesBackAtAnotherRate(t *testing.T) {
	first := &fakeLine{rate: 48000, sound: sine(48000, 4800, 0.5), gone: true}
	second := &fakeLine{rate: 8000, sound: sine(8000, 8000, 0.5)}
	m := fake(t, first, nil, second)
	var told []string
	m.Tell = func(n audio.News) { told = append(told, fmt.Sprint(n.Gone, ": ", n.Text)) }
	before := 0
	var broke *audio.Break
	for {
		c, err := m.Next(t.Context())
		if errors.As(err, &broke) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		before += len(c)
	}
	if broke.Away == 0 || before < 1400 || !first.closed {
		t.Errorf("a break after %d samples, away %v, the old device closed %v", before, broke.Away, first.closed)
	}
	if want := []string{
		"true: The microphone is gone (Headset): plug it in or switch it on again; waycall waits for it",
		"false: The microphone is back: Headset, 8000 Hz",
	}; !slices.Equal(told, want) {
		t.Errorf("told %q, want %q", told, want)
	}
	var got audio.Clip
	for len(got) < 15000 {
		c, err := m.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, c...)
	}
	crossings := 0
	for i := 1; i < len(got); i++ {
		if got[i-1] < 0 && got[i] >= 0 {
			crossings++
		}
	}
	if hz := float64(crossings) / got.Duration().Seconds(); math.Abs(hz-440) > 3 {
		t.Errorf("a tone of 440 Hz came out at %.0f Hz", hz)
	}
	// Ctrl-C ends the waiting, too.
	second.gone, second.sound = true, nil
	m.open = func(string) (line, error) { return nil, errors.New("there is none") }
	ctx, cancel := context.WithCancel(t.Context())
	m.Tell = func(audio.News) { cancel() }
	if _, err := m.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped while it waits: %v", err)
	}
}
