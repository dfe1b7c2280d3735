package main

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
		want   state
		part   string // that is not good, where one is not
		do     string // a part of what to do
	}{
		"fine":       {fine, true, 0, good, "", ""},
		"some noise": {with(func(q *audio.Quality) { q.Noise = -37 }), true, 0, look, "noise", "nearer"},
		"much noise": {with(func(q *audio.Quality) { q.Noise = -31 }), true, 0, missing, "noise", "nearer"},
		"quiet":      {with(func(q *audio.Quality) { q.Speech, q.Noise = -50, -80 }), true, 0, look, "level", "turn the microphone up"},
		"too quiet":  {with(func(q *audio.Quality) { q.Speech, q.Noise = -62, -90 }), true, 0, missing, "level", "turn the microphone up"},
		"clipped":    {with(func(q *audio.Quality) { q.Clipped = 0.02 }), true, 0, look, "clipping", "down"},
		"offset":     {with(func(q *audio.Quality) { q.Offset = -0.2 }), true, 0, look, "offset", "another"},
		"telephone":  {with(func(q *audio.Quality) { q.Narrow = true }), true, 0, good, "", ""},
		"lost":       {fine, true, 2, missing, "whole", "end other programs"},
		"no speech":  {audio.Quality{Speech: audio.Silence, Noise: -50, Peak: -40}, false, 0, missing, "speech", "nearer"},
		"muted":      {audio.Quality{Speech: audio.Silence, Noise: audio.Silence, Peak: audio.Silence}, false, 0, missing, "speech", "mute"},
	} {
		all := judgeSound(tt.q, tt.spoken, tt.lost)
		if w := worst(all); w != tt.want {
			t.Errorf("%s: %s, want %s: %+v", name, w, tt.want, all)
		}
		for _, f := range all {
			if (f.Do == "") != (f.State == good) || (f.State != good) != (f.Part == tt.part) || f.Part == tt.part && !strings.Contains(f.Do, tt.do) {
				t.Errorf("%s: %+v", name, f)
			}
		}
	}
}

func TestSoundEnd(t *testing.T) {
	var text, lines strings.Builder
	e := soundEnd{"Headset", 8000, 61.5, 2, 6}
	if err := e.print(&text, false); err != nil || !strings.Contains(text.String(), "62 s from Headset, 8000 Hz") || !strings.Contains(text.String(), "lost 2 times") {
		t.Errorf("%q, %v", text.String(), err)
	}
	if err := e.print(&lines, true); err != nil || lines.String() != `{"event":"ended","sound":{"device":"Headset","rate":8000,"seconds":61.5,"lost":2,"gain_db":6}}`+"\n" {
		t.Errorf("%q, %v", lines.String(), err)
	}
	jsonScreen{&lines}.Sound(audio.News{Text: "It is gone", Gone: true, Lost: 1})
	if !strings.HasSuffix(lines.String(), `{"event":"sound","text":"It is gone","gone":true,"lost":1}`+"\n") {
		t.Errorf("%q", lines.String())
	}
}
