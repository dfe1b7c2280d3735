package newjob

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/phrase"
)

func spokenGrammar(t testing.TB) *phrase.Grammar {
	t.Helper()
	g, err := phrase.LoadNamed(grammar.Files, "setup")
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func headOnly() board.Job {
	job := draft(today)
	job.Reference, job.Boards[0].Name, job.Boards[0].Ways = "V-1", "in the hall", nil
	return job
}

// The dialogue: what is said, and what is answered.
func TestVoice(t *testing.T) {
	g := spokenGrammar(t)
	v := NewVoice(headOnly())
	if !strings.HasPrefix(v.Begin(), "Board in the hall.") {
		t.Error(v.last)
	}
	for _, c := range []struct{ said, answer string }{
		{"confirm", "There is nothing to confirm. Way one?"},
		{"cable four", "Say the way first. Way one?"},
		{"finish here", "There is no way to test on this board yet. Way one?"},
		{"way one lighting six amp type b", "Way one, lighting, six amp type B, no r c d. Confirm?"},
		{"cable one point five", "Way one, lighting, six amp type B, no r c d, cable one point five. Confirm?"},
		{"way two ring thirty two amp type b", "First this one. Way one, lighting, six amp type B, no r c d, cable one point five. Confirm?"},
		{"cpc one", "Way one, lighting, six amp type B, no r c d, cable one point five, c p c one. Confirm?"},
		{"confirm", "Way two?"},
		{"way two ring thirty one amp type b", "That cannot be. "},
		{"way two ring thirty two amp type b", "Way two, ring circuit, thirty two amp type B, no r c d. Confirm?"},
		{"no", "Dropped. Say way two again."},
		{"way two ring thirty two amp type c", "Way two, ring circuit, thirty two amp type C, no r c d. Confirm?"},
		{"length sixty four metres", "Way two, ring circuit, thirty two amp type C, no r c d, sixty four metres. Confirm?"},
		{"say again", "Way two, ring circuit, thirty two amp type C, no r c d, sixty four metres. Confirm?"},
		{"group b", "Say its r c d first. Way two, ring circuit, thirty two amp type C, no r c d, sixty four metres. Confirm?"},
		{"r c d thirty type a c", "Way two, ring circuit, thirty two amp type C, r c d thirty type AC, sixty four metres. Confirm?"},
		{"r c d one hundred type a", "Way two, ring circuit, thirty two amp type C, r c d one hundred type A, sixty four metres. Confirm?"},
		{"group b", "Way two, ring circuit, thirty two amp type C, r c d one hundred type A, group B, sixty four metres. Confirm?"},
		{"three phase", "That cannot be. "},
		{"yes", "Way three?"},
		{"way ten spare", "Way ten, spare. Confirm?"},
		{"cable four", "A spare way has no cable. Way ten, spare. Confirm?"},
		{"confirm", "Way eleven?"},
		{"scratch that", "Way ten is taken out. Way three?"},
		{"way one cooker forty amp type b", "Way one, cooker, forty amp type B, no r c d. It replaces what was said before. Confirm?"},
		{"finish here", "First this one. Way one, cooker, forty amp type B, no r c d. It replaces what was said before. Confirm?"},
		{"scratch that", "Scratched. Say way one again."},
	} {
		m, ok := g.Meaning(c.said)
		if !ok {
			t.Fatalf("the grammar lacks %q", c.said)
		}
		if got, done := v.Step(m, true); done || got != c.answer && !strings.HasPrefix(got, strings.TrimSpace(c.answer)) || got != c.answer && !strings.HasPrefix(c.answer, "That cannot be") {
			t.Errorf("%q: %q, done %v", c.said, got, done)
		}
	}
	m, _ := g.Meaning("finish here")
	if got, done := v.Step(m, false); done || !strings.HasPrefix(got, "I am not sure") {
		t.Errorf("disputed: %q, %v", got, done)
	}
	// What is read back anyway is taken, and not kept before it is confirmed.
	before := len(v.Job.Boards[0].Ways)
	m, _ = g.Meaning("way one cooker thirty two amp type b")
	if got, _ := v.Step(m, false); !strings.HasPrefix(got, "I am not sure that I heard this right. Way one, cooker, thirty two amp type B, no r c d.") || !strings.HasSuffix(got, "Confirm?") {
		t.Errorf("disputed way: %q", got)
	}
	m, _ = g.Meaning("confirm")
	if got, _ := v.Step(m, false); !strings.HasPrefix(got, "I am not sure what you said") || len(v.Job.Boards[0].Ways) != before {
		t.Errorf("disputed confirmation: %q", got)
	}
	m, _ = g.Meaning("no")
	v.Step(m, true)
	m, _ = g.Meaning("finish here")
	if _, done := v.Step(m, true); !done {
		t.Error("it does not finish")
	}
	if err := board.Check(v.Job); err != nil {
		t.Error(err)
	}
	ways := v.Job.Boards[0].Ways
	if len(ways) != 2 || ways[0].Use != board.Lighting || ways[0].Line != 1.5 || ways[0].CPC != 1 || ways[1].Wiring != board.Ring || ways[1].Length != 64 || ways[1].Device.Type != "C" {
		t.Errorf("%+v", ways)
	}
}

// Whatever is said in whatever order, only what was read back just before a "confirm"
// is on the board, the board stays one that can be, and there is always a way to the
// end.
func TestVoiceProperties(t *testing.T) {
	g := spokenGrammar(t)
	a := g.Narrow(NewVoice(headOnly()).Scope())
	sample := []string{"confirm", "confirm", "confirm", "no", "scratch that", "finish here", "way one spare", "cable four", "cpc two point five", "length nine metres"}
	for _, kind := range []string{"radial", "ring", "lighting", "cooker", "shower"} {
		for _, rest := range []string{"way one %s six amp type b", "way ninety nine %s thirty two amp type d", "way two %s thirty one amp type c"} {
			sample = append(sample, strings.ReplaceAll(rest, "%s", kind))
		}
	}
	for _, s := range sample {
		if !a.Accepts(s) {
			t.Fatalf("%q cannot be said", s)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		job := headOnly()
		if rapid.Bool().Draw(t, "two boards") {
			second := draftBoard(2)
			second.Ways = nil
			job.Boards = append(job.Boards, second)
		}
		v := NewVoice(job)
		v.Begin()
		say := func(text string, agreed bool) bool {
			m, _ := g.Meaning(text)
			waits, before := v.pending, len(v.order)
			read := waits != nil && strings.Contains(v.last, v.readBack())
			_, done := v.Step(m, agreed)
			if len(v.order) > before && !(read && m.Command == phrase.Confirm && agreed) {
				t.Fatalf("%q put a way on the board that was not read back: %q", text, v.last)
			}
			return done
		}
		for range rapid.IntRange(0, 30).Draw(t, "phrases") {
			if say(rapid.SampledFrom(sample).Draw(t, "said"), rapid.IntRange(0, 4).Draw(t, "agreed") > 0) {
				break
			}
		}
		for range 5 { // boards
			if v.pending != nil {
				say("no", true)
			}
			say("way one radial six amp type b", true)
			say("confirm", true)
			if say("finish here", true) {
				if err := board.Check(v.Job); err != nil {
					t.Fatal(err)
				}
				return
			}
		}
		t.Fatal("there is no way to the end")
	})
}

// ear hears what it is told, one for each sound.
type ear struct {
	g   *phrase.Grammar
	say []string
	err error
}

func (e *ear) Hear(s phrase.Scope, _ []float32) (hear.Heard, error) {
	if e.err != nil {
		return hear.Heard{}, e.err
	}
	text := e.say[0]
	e.say = e.say[1:]
	m, ok := e.g.Meaning(text)
	h := hear.Heard{Outcome: hear.Command, Agreed: true, Candidates: []hear.Candidate{{Text: text, Meaning: m}}}
	if !ok {
		h.Outcome = hear.None
	}
	return h, nil
}

type mute struct{}

func (mute) Play(context.Context, audio.Clip) error { return nil }

func (mute) Speak(string, int) (audio.Clip, error) { return make(audio.Clip, 160), nil }

func phrases(n int, longest time.Duration) audio.Source {
	clips := []audio.Clip{make(audio.Clip, audio.Rate)}
	for i := range n {
		d := 700 * time.Millisecond
		if i == n-2 {
			d = longest
		}
		c := make(audio.Clip, int((d+time.Second).Seconds()*audio.Rate))
		for i := range int(d.Seconds() * audio.Rate) {
			at := float64(i) / audio.Rate
			c[i] = float32(0.3 * math.Sin(2*math.Pi*300*at) * (0.6 + 0.4*math.Sin(2*math.Pi*5*at)))
		}
		clips = append(clips, c)
	}
	return audiotest.Source(clips...)
}

func TestListen(t *testing.T) {
	g := spokenGrammar(t)
	room := func(n int, e *ear) (Room, *[]string) {
		var said []string
		return Room{
			Source: phrases(n, 700*time.Millisecond), Ear: e, Voice: mute{}, Player: mute{},
			Said: func(s string) { said = append(said, s) }, Heard: func(hear.Heard) {}, TooLong: func(audio.Phrase) { said = append(said, "too long") },
		}, &said
	}
	all := []string{"way one lighting six amp type b", "pass me the torch", "confirm", "finish here"}
	r, said := room(4, &ear{g: g, say: slices.Clone(all)})
	job, err := Listen(t.Context(), r, headOnly())
	if err != nil || len(job.Boards[0].Ways) != 1 || len(*said) != 4 {
		t.Errorf("%+v, %v, said %q", job, err, *said)
	}
	r, _ = room(3, &ear{g: g, say: slices.Clone(all)})
	if _, err := Listen(t.Context(), r, headOnly()); !errors.Is(err, ErrNotFinished) {
		t.Errorf("cut off: %v", err)
	}
	broken := errors.New("the model stopped")
	r, _ = room(3, &ear{g: g, err: broken})
	if _, err := Listen(t.Context(), r, headOnly()); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
	r, said = room(4, &ear{g: g, say: []string{all[0], all[2], all[3]}})
	r.Source = phrases(4, time.Minute)
	if _, err := Listen(t.Context(), r, headOnly()); err != nil && !errors.Is(err, ErrNotFinished) || !slices.Contains(*said, "too long") {
		t.Errorf("endless speech: %v, %q", err, *said)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	r, _ = room(4, &ear{g: g, say: slices.Clone(all)})
	if _, err := Listen(ctx, r, headOnly()); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}
