package main

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
)

// Sound that holds no phrase is answered at once and costs no memory: silence, and
// ten minutes without a pause. Neither reaches the witnesses, so none are needed.
func TestHearWhatIsNoPhrase(t *testing.T) {
	long := make(audio.Clip, int((10*time.Minute).Seconds()*audio.Rate))
	for i := range long {
		x := float64(i) / audio.Rate
		long[i] = float32(0.3 * math.Sin(2*math.Pi*300*x) * (0.6 + 0.4*math.Sin(2*math.Pi*4*x)))
	}
	for name, tt := range map[string]struct {
		sound audio.Clip
		note  string
	}{
		"silence.wav": {make(audio.Clip, 3*audio.Rate), "no speech in it"},
		"long.wav":    {long, "longer than one phrase can be"},
	} {
		file := filepath.Join(t.TempDir(), name)
		if err := audio.WriteWAV(file, tt.sound); err != nil {
			t.Fatal(err)
		}
		line, err := hearFile(nil, place{}, file)
		if err != nil || line.Outcome != "none" || !strings.Contains(line.Note, tt.note) {
			t.Errorf("%s: %+v, %v", name, line, err)
		}
	}
}
