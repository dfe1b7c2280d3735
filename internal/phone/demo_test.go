package phone

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/demo"
	"waycall/internal/demo/play"
	"waycall/internal/fullscreen"
	"waycall/internal/hear/engines"
	"waycall/internal/jobs"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/say/espeak"
)

// overPhone sends what a source gives through a Line, as a phone on a bad network would:
// at 48 kHz, one block in fifty lost and sent again when it is asked for, one in fifty sent
// twice, and neighbours in any order.
type overPhone struct {
	audio.Source
	l     *Line
	up    *audio.Resampler
	rest  []float32
	n     int
	sent  map[int]Block
	held  []Block
	again int
}

func (o *overPhone) Next(ctx context.Context) (audio.Clip, error) {
	for {
		o.l.mu.Lock()
		ready := len(o.l.ready) > 0 || o.l.broke != nil
		o.l.mu.Unlock()
		if ready {
			return o.l.Next(ctx)
		}
		frame, err := o.Source.Next(ctx)
		if err != nil {
			return nil, err
		}
		o.rest = append(o.rest, o.up.Push(frame)...)
		for ; len(o.rest) >= 4800; o.rest = o.rest[4800:] {
			b := Block{Page: one, N: o.n, Rate: 48000}
			for _, x := range o.rest[:4800] {
				v := uint16(int16(max(-32768, min(32767, 32768*x))))
				b.PCM = append(b.PCM, byte(v), byte(v>>8))
			}
			o.sent[o.n] = b
			o.n++
			o.held = append(o.held, b)
		}
		if len(o.held) < 3 {
			continue
		}
		rand.Shuffle(len(o.held), func(i, k int) { o.held[i], o.held[k] = o.held[k], o.held[i] })
		for _, b := range o.held {
			if rand.IntN(50) == 0 && b.N+1 < o.n {
				continue
			}
			for range 1 + rand.IntN(50)/49 {
				_, missing, err := o.l.Take(b)
				if err != nil {
					return nil, err
				}
				for _, m := range missing {
					if o.again++; o.sent[m].PCM != nil && !slices.ContainsFunc(o.held, func(b Block) bool { return b.N == m }) {
						if _, _, err := o.l.Take(o.sent[m]); err != nil {
							return nil, err
						}
					}
				}
			}
		}
		o.held = nil
	}
}

func (o *overPhone) Discard() {
	o.l.Discard()
	o.Source.Discard()
}

// The whole demonstration through a phone on a bad network gives the schedule that it gives
// through a file.
func TestDemoOverPhone(t *testing.T) {
	if os.Getenv("WAYCALL_TEST_LONG") == "" {
		t.Skip("the whole demonstration: WAYCALL_TEST_LONG=1 plays it")
	}
	job, err := demo.Board()
	if err != nil {
		t.Fatal(err)
	}
	lines, err := demo.Script()
	if err != nil {
		t.Fatal(err)
	}
	track, err := audio.Record(filepath.Join(t.TempDir(), "track.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer track.Drop()
	g, err := phrase.LoadNamed(grammar.Files, "phrases")
	if err != nil {
		t.Fatal(err)
	}
	ear, shut, err := engines.Open(g, filepath.Join("..", "..", "models", "tiny.en-waycall-q8_0.bin"), 2)
	if err != nil {
		t.Fatal(err)
	}
	defer shut()
	voice, err := espeak.Open(0)
	if err != nil {
		t.Fatal(err)
	}
	l, _ := newLine(t)
	up, err := audio.NewResampler(audio.Rate, 48000)
	if err != nil {
		t.Fatal(err)
	}
	p := play.New(lines, track)
	through := &overPhone{Source: p, l: l, up: up, sent: map[int]Block{}}
	state, err := p.Run(t.Context(), jobs.Folder(t.TempDir()), job, ear, voice, fullscreen.New(), through)
	if err != nil && !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	got := map[int]string{}
	for _, r := range state.Readings {
		if r.Standing == record.Stands && (r.Slot.Test == reading.LNE || r.Slot.Test == reading.LN) && r.Slot.Position < 2 {
			got[r.Slot.Way] = strings.TrimSpace(got[r.Slot.Way] + fmt.Sprintf(" %s %v", r.Slot.Test, r.Quantity))
		}
	}
	// As cmd/waycall/demo_test.go has it, by hand from the script.
	for way, want := range map[int]string{
		1: "LN-E >999 Mohm L-N 410 Mohm", 2: "LN-E 560 Mohm L-N >999 Mohm", 3: "LN-E 315 Mohm L-N >999 Mohm",
		4: "LN-E >999 Mohm L-N >999 Mohm", 5: "LN-E >999 Mohm L-N >999 Mohm", 6: "LN-E >999 Mohm L-N >999 Mohm",
		7: "LN-E >999 Mohm", 8: "LN-E 486 Mohm", 9: "LN-E 14.2 Mohm L-N >999 Mohm", 10: "",
	} {
		if got[way] != want {
			t.Errorf("way %d: %s, want %s", way, got[way], want)
		}
	}
	t.Logf("%d blocks, %d asked for again, lost %d times", through.n, through.again, l.lost)
	if l.lost > 0 || p.Said() != 71 {
		t.Errorf("%d phrases said, sound lost %d times", p.Said(), l.lost)
	}
}
