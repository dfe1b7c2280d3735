package practice

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/board"
	"waycall/internal/hear"
	"waycall/internal/jobs"
	"waycall/internal/phrase"
	"waycall/internal/reading"
	"waycall/internal/screen"
)

// person speaks lines, each with a tone for its sound, and hears them as they are; "?" makes
// one disputed, "~" is speech that is not understood.
type person struct {
	t     *testing.T
	g     *phrase.Grammar
	lines []string
	said  int
	rest  audio.Clip
	spoke []string // by waycall
	stop  func()   // called once all is said, where it is set
}

func (p *person) Next(ctx context.Context) (audio.Clip, error) {
	if len(p.rest) == 0 {
		if p.said == len(p.lines) {
			if p.stop != nil {
				p.stop()
			}
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			return nil, io.EOF
		}
		p.said++
		p.rest = make(audio.Clip, 2*audio.Rate)
		for i := range audio.Rate / 2 {
			at := float64(i) / audio.Rate
			p.rest[i] = float32(0.3 * math.Sin(2*math.Pi*300*at) * (0.6 + 0.4*math.Sin(2*math.Pi*5*at)))
		}
	}
	frame := p.rest[:min(audio.FrameSize, len(p.rest))]
	p.rest = p.rest[len(frame):]
	return frame, ctx.Err()
}

// Discard leaves out what is left of a phrase; quiet before the first goes on.
func (p *person) Discard() {
	if p.said > 0 {
		p.rest = nil
	}
}

func (p *person) Close() error                           { return nil }
func (p *person) Play(context.Context, audio.Clip) error { return nil }
func (p *person) Prepare(phrase.Scope) error             { return nil }
func (p *person) Begin(phrase.Scope) hear.Utterance      { return p }
func (p *person) Pause([]float32)                        {}
func (p *person) Over() bool                             { return false }
func (p *person) Drop()                                  {}

func (p *person) Speak(text string, _ int) (audio.Clip, error) {
	p.spoke = append(p.spoke, text)
	return make(audio.Clip, 100), nil
}

func (p *person) Note([]float32) (hear.Heard, error) { return hear.Heard{}, nil }

func (p *person) End([]float32) (hear.Heard, error) {
	line := p.lines[p.said-1]
	line, asked := strings.CutPrefix(line, "?")
	h := hear.Heard{Outcome: hear.None, Missed: line == "~", Agreed: true}
	for text := range strings.SplitSeq(line, "|") {
		m, ok := p.g.Meaning(strings.TrimSpace(text))
		if !ok {
			return h, nil
		}
		h.Outcome = hear.Reading
		if m.Command != "" {
			h.Outcome = hear.Command
		}
		h.Candidates = append(h.Candidates, hear.Candidate{Text: text, Meaning: m})
	}
	h.Agreed = !asked
	return h, nil
}

func practise(t *testing.T, ctx context.Context, p *person) (Result, string, error) {
	t.Helper()
	t.Setenv("TMPDIR", t.TempDir())
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	p.t, p.g = t, g
	var shown bytes.Buffer
	result, err := Practice{Source: p, Ear: p, Voice: p, Player: p, Watch: screen.New(&shown)}.Run(ctx)
	if left, e := os.ReadDir(os.Getenv("TMPDIR")); e != nil || len(left) > 0 {
		t.Errorf("it leaves %v, %v", left, e)
	}
	if e := result.Write(&shown); e != nil {
		t.Error(e)
	}
	return result, shown.String(), err
}

// allSaid says what the instrument shows, and confirms it.
func allSaid() (lines []string) {
	for _, q := range shown {
		text := q.Figure()
		switch {
		case q.Bound == reading.GreaterThan:
			text = "over nine nine nine"
		default:
			text = strings.NewReplacer("560", "five hundred and sixty", "542", "five four two", "315", "three hundred and fifteen", "206", "two hundred and six",
				"14.2", "fourteen point two", "0.31", "nought point three one", "50", "fifty").Replace(text)
		}
		lines = append(lines, text, "confirm")
	}
	return lines
}

// Ten readings, each right at once, in about four minutes; and not a word more is heard.
func TestWhole(t *testing.T) {
	p := &person{lines: append(allSaid(), "over range")}
	result, text, err := practise(t, t.Context(), p)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if result.Stored != 10 || result.AtOnce != 10 || p.said != 20 || len(result.Try) != 1 {
		t.Errorf("%+v after %d phrases\n%s", result, p.said, text)
	}
	for _, want := range []string{
		"1 of 10  -- the instrument shows >999 MΩ\n", "9 of 10  -- the instrument shows 50 MΩ\n", "10 of 10  -- ", "way 5  L-N   0.31 MΩ    right at once\n",
		"Practice. Connect nothing:", "Fail.", "10 of 10 readings stored, 10 of them right at once. Nothing of this is kept.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	words := 0
	for _, s := range p.spoke {
		words += len(strings.Fields(s))
	}
	// 180 words a minute for waycall; of a person 3 s for each phrase, with looking.
	if minutes := float64(words)/180 + float64(p.said)*3/60; minutes > 4.5 {
		t.Errorf("%d words and %d phrases take %.1f minutes", words, p.said, minutes)
	}
	if last := p.spoke[len(p.spoke)-1]; !strings.Contains(last, "Ten of ten were right at once") {
		t.Errorf("it ends with %q", last)
	}
}

// What was asked about, not understood and stored wrongly is told apart, with what to try.
func TestHowItWasHeard(t *testing.T) {
	lines := allSaid()
	lines = append([]string{
		"~", "~", "over nine nine nine", "confirm", // not understood, twice
		"?five hundred and sixty|five hundred and sixteen", "the first", "confirm", // asked about
		"five four three", "no, five four two", "confirm", // read back otherwise
		"mind the step", "over nine nine nine", "confirm", // taken for talk
		"three hundred and fifty", "confirm", // stored wrongly
		"two hundred and six", "confirm", "scratch that", "two hundred and six", "confirm",
	}, lines[12:]...)
	for i := range lines {
		lines[i] = strings.ReplaceAll(lines[i], "no, ", "no ")
	}
	result, text, err := practise(t, t.Context(), &person{lines: lines})
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	want := []Heard{NotCaught, AskedAbout, AskedAbout, NotCaught, Mistaken, AtOnce, AtOnce, AtOnce, AtOnce, AtOnce}
	for i, r := range result.Readings {
		if r.Heard != want[i] {
			t.Errorf("reading %d was heard %q, want %q", i+1, r.Heard, want[i])
		}
	}
	for _, w := range []string{"not understood 2 times", "asked about, read back as 543 MΩ", "stored as 350 Mohm", "Try: Listen to what is read back", "Try: waycall listen", "Try: Say the figures one by one"} {
		if !strings.Contains(text, w) {
			t.Errorf("%q is not in\n%s", w, text)
		}
	}
}

// Silence, a cut in the middle, a finish and a stop are each told, and nothing stays.
func TestEndsEarly(t *testing.T) {
	result, text, err := practise(t, t.Context(), &person{})
	if err == nil || !strings.Contains(err.Error(), "ended after 0 of 10") || result.Stored != 0 || !strings.Contains(text, "not stored") {
		t.Errorf("silence: %+v, %v\n%s", result, err, text)
	}
	// Half a minute in which nobody speaks: it is asked again.
	quiet := &person{rest: make(audio.Clip, 30*audio.Rate)}
	if result, _, err = practise(t, t.Context(), quiet); err == nil || result.Stored != 0 || len(quiet.spoke) != 2 || len(result.Try) == 0 {
		t.Errorf("quiet: %+v, %v, %q", result, err, quiet.spoke)
	}
	result, _, err = practise(t, t.Context(), &person{lines: allSaid()[:7]})
	if err == nil || !strings.Contains(err.Error(), "ended after 3 of 10") || result.Stored != 3 || result.Readings[3].Heard != NotSaid {
		t.Errorf("cut off: %+v, %v", result, err)
	}
	result, _, err = practise(t, t.Context(), &person{lines: append(allSaid()[:4], "finish here")})
	if err != nil || result.Stored != 2 {
		t.Errorf("finished: %+v, %v", result, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	result, _, err = practise(t, ctx, &person{lines: allSaid()[:2], stop: cancel})
	if !errors.Is(err, context.Canceled) || result.Stored != 1 {
		t.Errorf("stopped: %+v, %v", result, err)
	}
}

// Files are spoken one after the other, each with a pause that ends a phrase, which is left
// out once it was answered.
func TestFiles(t *testing.T) {
	name := filepath.Join("..", "..", "testdata", "session", "sound", "confirm-1.flac")
	spoken, err := audio.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	f, err := NewFiles([]string{name, name})
	if err != nil {
		t.Fatal(err)
	}
	read := func(most int) (n int) {
		for n < most {
			frame, err := f.Next(t.Context())
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			n += len(frame)
		}
		return n
	}
	first := read(audio.Rate / 10)
	f.Discard() // it is still spoken: nothing of it is left out
	if n := first + read(len(spoken)-first); n < len(spoken) {
		t.Errorf("%d samples of %d", n, len(spoken))
	}
	f.Discard()
	if n := read(1 << 30); n != len(spoken)+pause {
		t.Errorf("the second has %d samples, want %d", n, len(spoken)+pause)
	}
	if _, err := NewFiles([]string{name, "nosuch.wav"}); err == nil {
		t.Error("a file that is not there is taken")
	}
	stopped, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := f.Next(stopped); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	if s, err := f.Speak("Confirm?", 0); len(s) > 0 || err != nil || f.Play(t.Context(), spoken) != nil || f.Close() != nil {
		t.Error("what nobody hears fails")
	}
}

// Somebody who never pauses was not understood.
func TestTooLong(t *testing.T) {
	job, err := board.Read(strings.NewReader(boardFile), "the practice board")
	if err != nil {
		t.Fatal(err)
	}
	log, from, err := prepare(t.Context(), jobs.Folder(t.TempDir()), job)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	c := newCoach(screen.New(io.Discard), from)
	c.TooLong(20 * time.Second)
	if r := c.result(); r.Readings[0].Missed != 1 {
		t.Errorf("%+v", r)
	}
}
