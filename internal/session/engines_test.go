package session

import (
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/board"
	"waycall/internal/demo"
	"waycall/internal/hear"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/phrase"
	"waycall/internal/record"
)

const (
	modelFile = "../../models/tiny.en-waycall-q8_0.bin"
	otherFile = "../../models/tiny.en-waycall-other-q8_0.bin"
)

// realEar is the ear that the program has.
func realEar(t testing.TB) *hear.Ear {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	first, err := whisper.Open(modelFile, runtime.NumCPU())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	t.Cleanup(first.Close)
	second, err := sphinx.Open(g.Lexicon())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	t.Cleanup(second.Close)
	third, err := whisper.Open(otherFile, runtime.NumCPU())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	t.Cleanup(third.Close)
	return hear.New(g, first, second).WithThird(third)
}

func readClip(t testing.TB, path string) audio.Clip {
	t.Helper()
	c, err := audio.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// sines mixes sines of the frequencies at a level.
func sines(d time.Duration, level float64, hz ...float64) audio.Clip {
	c := make(audio.Clip, int(d.Seconds()*audio.Rate))
	for i := range c {
		for _, f := range hz {
			c[i] += float32(level / float64(len(hz)) * math.Sin(2*math.Pi*f*float64(i)/audio.Rate))
		}
	}
	return c
}

func noise(d time.Duration, level float64, seed uint64) audio.Clip {
	r := rand.New(rand.NewPCG(seed, 1))
	c := make(audio.Clip, int(d.Seconds()*audio.Rate))
	for i := range c {
		c[i] = float32(level * r.NormFloat64())
	}
	return c
}

// chords is music: chords that are struck, die away and follow each other, with
// rests.
func chords() audio.Clip {
	var c audio.Clip
	for n, root := range []float64{220, 174.6, 261.6, 196, 220, 146.8, 174.6, 164.8} {
		bar := sines(700*time.Millisecond, 0.5, root, root*1.26, root*1.5, root*2, root*3)
		for i := range bar {
			bar[i] *= float32(math.Exp(-3 * float64(i) / audio.Rate))
		}
		c = append(c, bar...)
		if n%3 == 2 {
			c = append(c, make(audio.Clip, audio.Rate)...)
		}
	}
	return c
}

// offset adds a DC offset.
func offset(c audio.Clip, by float32) audio.Clip {
	out := slices.Clone(c)
	for i := range out {
		out[i] += by
	}
	return out
}

// notNumbers puts samples that are not numbers into speech-like gaps.
func notNumbers(c audio.Clip) audio.Clip {
	out := slices.Clone(c)
	for i := range out {
		switch {
		case i%1600 < 320:
			out[i] = float32(math.NaN())
		case i%3200 < 400:
			out[i] = float32(math.Inf(1 - 2*(i%2)))
		}
	}
	return out
}

// Sound that an endpointer would never let through, straight to the ear: an error
// that says what to do, and the next phrase is heard.
func TestImpossibleSound(t *testing.T) {
	ear := realEar(t)
	confirm := readClip(t, "../../testdata/audio/0067-af_nova.flac")
	for name, sound := range map[string]audio.Clip{
		"one sample":   {0.5},
		"20 ms":        noise(20*time.Millisecond, 0.5, 1),
		"not a number": notNumbers(confirm),
		"40 s":         noise(40*time.Second, 0.1, 2),
	} {
		u := ear.Begin(phrase.Scope{})
		u.Pause(sound)
		h, err := u.End(sound)
		if err == nil || h.Outcome != hear.None || !strings.Contains(err.Error(), "; ") {
			t.Errorf("%s: %+v, error %v", name, h, err)
		}
		if h, err := ear.Hear(phrase.Scope{}, confirm); err != nil || h.Best().Text != "confirm" {
			t.Errorf("after %s: %+v, %v", name, h, err)
		}
	}
}

// The headset goes while a real phrase is spoken, at any moment of it: nothing is
// stored, and the witnesses are at rest when the session has ended.
func TestUnpluggedInAPhrase(t *testing.T) {
	ear := realEar(t)
	// The speech with 200 ms of quiet after it, and as much again: a pause, but
	// not the end of a phrase.
	line := audio.Trim(readClip(t, "../../testdata/audio/0004-af_heart.flac"), audio.Settings{}).Sound
	line = append(slices.Clone(line), make(audio.Clip, audio.Rate/5)...)
	for k := 1; k <= 6; k++ {
		r := newRig(t)
		gone := errors.New("the microphone is gone")
		r.Ear, r.Source = ear, &brokenSource{audiotest.Source(make(audio.Clip, audio.Rate), line[:len(line)*k/6]), gone}
		state, err := r.Run(t.Context(), r.job, record.State{})
		if !errors.Is(err, gone) || len(state.Readings)+len(state.Answers)+len(r.log.sounds) != 0 {
			t.Errorf("%d sixths: error %v, %d readings, %d answers, %d sounds", k, err, len(state.Readings), len(state.Answers), len(r.log.sounds))
		}
		if last := r.voice.said[len(r.voice.said)-1]; !strings.Contains(last, "microphone has stopped") {
			t.Errorf("%d sixths: it said %q", k, last)
		}
	}
}

// Sound in which nobody says anything for us. None of it may be taken for a
// reading or a command, stop the session or leave a trace in the record, and
// after it the session hears as before.
func TestBadSound(t *testing.T) {
	ear := realEar(t)
	speech := readClip(t, "../../testdata/audio/0103-bm_daniel.flac")
	talk := slices.Concat(speech, speech)
	for len(talk) < 60*audio.Rate {
		talk = append(talk, speech[audio.Rate/2:len(speech)-audio.Rate/2]...)
	}
	quiet := make(audio.Clip, audio.Rate)
	for name, sound := range map[string]audio.Clip{
		"nothing":              {},
		"one sample":           {0.5},
		"silence":              make(audio.Clip, 5*audio.Rate),
		"noise":                noise(6*time.Second, 0.1, 1),
		"bursts of noise":      slices.Concat(quiet, noise(700*time.Millisecond, 0.1, 2), quiet, noise(2*time.Second, 0.3, 3), quiet, noise(200*time.Millisecond, 0.5, 4)),
		"full-scale noise":     noise(3*time.Second, 5, 5),
		"music":                slices.Concat(quiet, chords()),
		"a stuck tone":         slices.Concat(quiet, sines(8*time.Second, 0.5, 440)),
		"beeps":                slices.Concat(quiet, sines(300*time.Millisecond, 0.5, 1000), quiet, sines(600*time.Millisecond, 0.5, 2000), quiet),
		"hum":                  sines(6*time.Second, 0.4, 50, 100, 150, 250),
		"an offset":            offset(make(audio.Clip, 4*audio.Rate), 0.6),
		"an offset that jumps": slices.Concat(quiet, offset(quiet, 0.9), offset(quiet, -0.9), quiet),
		"not a number":         notNumbers(make(audio.Clip, 4*audio.Rate)),
		"noise, not numbers":   slices.Concat(quiet, notNumbers(noise(time.Second, 0.1, 6)), quiet),
		"a click":              slices.Concat(quiet, noise(20*time.Millisecond, 0.5, 7), quiet),
		"a minute of speech":   talk,
	} {
		t.Run(name, func(t *testing.T) {
			for _, pause := range []time.Duration{0, 250 * time.Millisecond} {
				got, err := StreamClip(t.Context(), ear, phrase.Scope{}, sound, audio.Settings{Pause: pause})
				if err != nil {
					t.Fatal(err)
				}
				for _, s := range got {
					if s.Heard.Outcome == hear.Reading || s.Heard.Outcome == hear.Command {
						t.Errorf("at %v it heard %+v", s.Phrase.Start, s.Heard)
					}
				}
			}
			r := newRig(t)
			r.Ear, r.Source = ear, audiotest.Source(sound, quiet)
			state, err := r.Run(t.Context(), r.job, record.State{})
			if err != nil || len(state.Answers)+len(state.Readings) != 0 || len(r.log.sounds) != 0 {
				t.Errorf("the session ended with %v, %d answers, %d readings, %d sounds", err, len(state.Answers), len(state.Readings), len(r.log.sounds))
			}
			if long := name == "a minute of speech"; long != (r.watch.tooLong > 0) {
				t.Errorf("told %d times that somebody spoke too long", r.watch.tooLong)
			}
		})
	}
	got, err := StreamClip(t.Context(), ear, phrase.Scope{}, readClip(t, "../../testdata/audio/0067-af_nova.flac"), audio.Settings{})
	if err != nil || len(got) != 1 || got[0].Heard.Best().Text != "confirm" {
		t.Errorf("after all this it heard %+v, %v", got, err)
	}
}

// BenchmarkPrepare makes an ear ready for what a job comes to first, as a session does
// beside its first sentences, and reports what the first and the longest of it take,
// for which a phrase may have to wait.
func BenchmarkPrepare(b *testing.B) {
	terrace, err := demo.Board()
	if err != nil {
		b.Fatal(err)
	}
	for name, job := range map[string]board.Job{"workshop": workshop(b), "terrace": terrace} {
		b.Run(name, func(b *testing.B) {
			list := scopes(record.State{Job: job}, mostScopes)
			for b.Loop() {
				b.StopTimer()
				ear := realEar(b)
				b.StartTimer()
				var longest, first time.Duration
				for i, s := range list {
					start := time.Now()
					if err := ear.Prepare(s); err != nil {
						b.Fatal(err)
					}
					took := time.Since(start)
					longest = max(longest, took)
					if i == 0 {
						first = took
					}
				}
				b.ReportMetric(float64(first)/float64(time.Millisecond), "first-ms")
				b.ReportMetric(float64(longest)/float64(time.Millisecond), "longest-ms")
			}
			b.ReportMetric(float64(len(list)), "scopes")
		})
	}
}
