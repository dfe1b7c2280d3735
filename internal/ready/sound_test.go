package ready

import (
	"strings"
	"testing"

	"waycall/internal/audio"
)

func TestJudgeSound(t *testing.T) {
	fine := audio.Quality{Speech: -22, Noise: -60, Peak: -6}
	with := func(change func(q *audio.Quality)) audio.Quality {
		q := fine
		change(&q)
		return q
	}
	for name, tt := range map[string]struct {
		q      audio.Quality
		spoken bool
		lost   int
		want   State
		part   string // that is not Good, where one is not
		do     string // a part of what to do
	}{
		"fine":       {fine, true, 0, Good, "", ""},
		"some noise": {with(func(q *audio.Quality) { q.Noise = -37 }), true, 0, Look, "noise", "nearer"},
		"much noise": {with(func(q *audio.Quality) { q.Noise = -31 }), true, 0, Missing, "noise", "nearer"},
		"quiet":      {with(func(q *audio.Quality) { q.Speech, q.Noise = -50, -80 }), true, 0, Look, "level", "turn the microphone up"},
		"too quiet":  {with(func(q *audio.Quality) { q.Speech, q.Noise = -62, -90 }), true, 0, Missing, "level", "turn the microphone up"},
		"clipped":    {with(func(q *audio.Quality) { q.Clipped = 0.02 }), true, 0, Look, "clipping", "down"},
		"offset":     {with(func(q *audio.Quality) { q.Offset = -0.2 }), true, 0, Look, "offset", "another"},
		"telephone":  {with(func(q *audio.Quality) { q.Narrow = true }), true, 0, Good, "", ""},
		"lost":       {fine, true, 2, Missing, "whole", "end other programs"},
		"no speech":  {audio.Quality{Speech: audio.Silence, Noise: -50, Peak: -40}, false, 0, Missing, "speech", "nearer"},
		"muted":      {audio.Quality{Speech: audio.Silence, Noise: audio.Silence, Peak: audio.Silence}, false, 0, Missing, "speech", "mute"},
	} {
		all := judgeSound(tt.q, tt.spoken, tt.lost)
		if w := Worst(all); w != tt.want {
			t.Errorf("%s: %s, want %s: %+v", name, w, tt.want, all)
		}
		for _, f := range all {
			if (f.Do == "") != (f.State == Good) || (f.State != Good) != (f.Part == tt.part) || f.Part == tt.part && !strings.Contains(f.Do, tt.do) {
				t.Errorf("%s: %+v", name, f)
			}
		}
	}
}
