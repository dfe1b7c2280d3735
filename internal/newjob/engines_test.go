package newjob

import (
	"context"
	"io"
	"path/filepath"
	"runtime"
	"slices"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
)

// microphone is one into which recordings are spoken, each once the one before it was
// answered.
type microphone struct {
	sounds []audio.Clip
	rest   audio.Clip
}

func (m *microphone) Next(ctx context.Context) (audio.Clip, error) {
	if len(m.rest) == 0 {
		if len(m.sounds) == 0 {
			return nil, io.EOF
		}
		m.rest = append(slices.Clone(m.sounds[0]), make(audio.Clip, audio.Rate)...)
		m.sounds = m.sounds[1:]
	}
	frame := m.rest[:min(audio.FrameSize, len(m.rest))]
	m.rest = m.rest[len(frame):]
	return frame, ctx.Err()
}

func (m *microphone) Discard()     { m.rest = nil }
func (m *microphone) Close() error { return nil }

// Two ways are set up by rendered speech through both recognisers.
func TestListenThroughSound(t *testing.T) {
	g := spokenGrammar(t)
	models := filepath.Join("..", "..", "models")
	first, err := whisper.Open(filepath.Join(models, "tiny.en-waycall-q8_0.bin"), runtime.NumCPU())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	defer first.Close()
	second, err := sphinx.Open(g.Lexicon())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	defer second.Close()
	third, err := whisper.Open(filepath.Join(models, "tiny.en-waycall-other-q8_0.bin"), runtime.NumCPU())
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	defer third.Close()

	session := filepath.Join("..", "..", "testdata", "session", "sound")
	var sounds []audio.Clip
	for _, name := range []string{
		"testdata/way-one.flac", "testdata/cable.flac", "testdata/length.flac", session + "/confirm-1.flac",
		"testdata/way-two.flac", "testdata/cpc.flac", session + "/yes-1.flac", session + "/finish-here-1.flac",
	} {
		c, err := audio.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		sounds = append(sounds, c)
	}
	r := Room{
		Source: &microphone{sounds: sounds}, Ear: hear.New(g, first, second).WithThird(third), Voice: mute{}, Player: mute{},
		Said:    func(s string) { t.Log("said ", s) },
		Heard:   func(h hear.Heard) { t.Logf("heard %s %q, agreed %v, %v", h.Outcome, h.Best().Text, h.Agreed, h.Words) },
		TooLong: func(audio.Phrase) {},
	}
	job, err := Listen(t.Context(), r, headOnly())
	if err != nil {
		t.Fatal(err)
	}
	ways := job.Boards[0].Ways
	if len(ways) != 2 || ways[0].Device.Rating != 6 || ways[0].Line != 1.5 || ways[0].Length != 41 || ways[1].Device.Rating != 32 || ways[1].Wiring != "ring" || ways[1].CPC != 1.5 {
		t.Errorf("%+v", ways)
	}
}
