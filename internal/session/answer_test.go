package session

import (
	"context"
	"io"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/demo"
	"waycall/internal/record"
	"waycall/internal/say/espeak"
	"waycall/internal/store"
)

// realTime is a microphone: it gives the lines as they would come in, each when
// the one before it has been answered.
type realTime struct {
	lines []audio.Clip
	rest  audio.Clip
	due   time.Time // when the next frame has been spoken
}

func (s *realTime) Next(ctx context.Context) (audio.Clip, error) {
	if len(s.rest) == 0 {
		if len(s.lines) == 0 {
			return nil, io.EOF
		}
		s.rest = append(slices.Clone(s.lines[0]), make(audio.Clip, audio.Rate)...)
		s.lines = s.lines[1:]
	}
	frame := s.rest[:min(audio.FrameSize, len(s.rest))]
	s.rest = s.rest[len(frame):]
	if s.due = s.due.Add(frame.Duration()); time.Until(s.due) < -time.Second {
		s.due = time.Now() // it was not listened to meanwhile
	}
	return frame, sleep(ctx, time.Until(s.due))
}

// Discard leaves out what is left of the quiet after a line.
func (s *realTime) Discard()     { s.rest, s.due = nil, time.Now() }
func (s *realTime) Close() error { return nil }

// mute plays nothing and takes no time.
type mute struct{}

func (mute) Play(context.Context, audio.Clip) error { return nil }

// BenchmarkAnswer speaks the beginning of the demonstration to the real engines,
// voice and store in real time, and reports the median and the 95th percentile
// of each stage between the end of the speech and the sound of the answer. What
// the sound card takes to start is not in it.
func BenchmarkAnswer(b *testing.B) {
	ear := realEar(b)
	voice, err := espeak.Open(espeak.DefaultSpeed)
	if err != nil {
		b.Fatal(err)
	}
	job, err := demo.Board()
	if err != nil {
		b.Fatal(err)
	}
	lines, err := demo.Script()
	if err != nil {
		b.Fatal(err)
	}
	var sounds []audio.Clip
	for _, l := range lines {
		if l.Cut {
			break
		}
		if l.Text != "" {
			sounds = append(sounds, l.Sound)
		}
	}
	var times []Timing
	for b.Loop() {
		log, err := store.Create(filepath.Join(b.TempDir(), "job"))
		if err != nil {
			b.Fatal(err)
		}
		s := Session{
			Source: &realTime{lines: slices.Clone(sounds), due: time.Now()}, Ear: ear, Voice: voice, Player: mute{},
			Log: log, Watch: &watcher{}, Now: time.Now, Timed: func(t Timing) { times = append(times, t) },
		}
		if _, err := s.Run(b.Context(), job, record.State{}); err != nil {
			b.Fatal(err)
		}
		if err := log.Close(); err != nil {
			b.Fatal(err)
		}
	}
	for name, stage := range map[string]func(Timing) time.Duration{
		"pause":        func(t Timing) time.Duration { return t.Pause },
		"encode":       func(t Timing) time.Duration { return t.Took.Encode },
		"decode":       func(t Timing) time.Duration { return t.Took.Decode },
		"second":       func(t Timing) time.Duration { return t.Took.Second },
		"fusion":       func(t Timing) time.Duration { return t.Took.Fusion },
		"hearing":      func(t Timing) time.Duration { return t.Hearing },
		"conversation": func(t Timing) time.Duration { return t.Conversation },
		"store":        func(t Timing) time.Duration { return t.Store },
		"speech":       func(t Timing) time.Duration { return t.Speech },
		"total":        Timing.Total,
	} {
		var ms []float64
		for _, t := range times {
			ms = append(ms, float64(stage(t))/float64(time.Millisecond))
		}
		slices.Sort(ms)
		b.ReportMetric(ms[len(ms)/2], name+"-p50-ms")
		b.ReportMetric(ms[(len(ms)*95-1)/100], name+"-p95-ms")
	}
	b.ReportMetric(float64(len(times)), "answers")
}
