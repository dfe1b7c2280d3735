package bench

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/phrase"
)

// sayer hears the first words of what was said: as many as bursts are in the sound.
type sayer struct {
	text  string
	whole map[string]bool
}

func (s sayer) Hear(_ phrase.Scope, sound []float32) (hear.Heard, error) {
	bursts, loud := 0, false
	for at := 0; at+160 <= len(sound); at += 160 {
		now := audio.Clip(sound[at:at+160]).Level() > -40
		if now && !loud {
			bursts++
		}
		loud = now
	}
	words := strings.Fields(s.text)
	text := strings.Join(words[:min(bursts, len(words))], " ")
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		return hear.Heard{}, err
	}
	m, _ := g.Meaning(text)
	return hear.Heard{Whole: s.whole[text], Candidates: []hear.Candidate{{Text: text, Meaning: m}}}, nil
}

// TestMeasurePauses: three bursts of sound are the three words of "nine nine nine". Where
// two of them count as a whole phrase, it is cut; where all three do, it ends early.
func TestMeasurePauses(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	var clip audio.Clip
	clip = append(clip, make(audio.Clip, audio.Rate)...)
	for range 3 {
		for i := range audio.Rate / 4 {
			clip = append(clip, float32(0.3*math.Sin(float64(i)/5)))
		}
		clip = append(clip, make(audio.Clip, audio.Rate*6/100)...)
	}
	if err := audio.WriteWAV(filepath.Join(dir, "a.wav"), append(clip, make(audio.Clip, audio.Rate/2)...)); err != nil {
		t.Fatal(err)
	}
	line := `{"file":"a.wav","text":"nine nine nine","want":{"kind":"reading","bound":"=","value":999}}`
	if err := os.WriteFile(filepath.Join(dir, "manifest.jsonl"), []byte(line), 0o600); err != nil {
		t.Fatal(err)
	}
	set, err := OpenSet(filepath.Join(dir, "manifest.jsonl"), 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		whole     string
		cut, tail int
		early     int
	}{
		{"none of it", 0, 0, 0}, {"nine nine", 1, 0, 0}, {"nine nine nine", 0, 0, 1},
	} {
		steps := 0
		p, err := MeasurePauses(t.Context(), g, sayer{"nine nine nine", map[string]bool{test.whole: true}}, phrase.Scope{}, set, 2, []time.Duration{300 * time.Millisecond}, func() { steps++ })
		if err != nil {
			t.Fatal(err)
		}
		if p.Phrases != 1 || p.Within != 2 || len(p.Cut) != test.cut || p.Tail != test.tail || p.Early != test.early || steps != 1 {
			t.Errorf("%s: %+v in %d steps", test.whole, p, steps)
		}
		var out bytes.Buffer
		p.Write(&out)
		if test.cut > 0 && !strings.Contains(out.String(), `"nine nine nine" was cut after "nine nine"`) {
			t.Errorf("it prints %q", out.String())
		}
	}
}
