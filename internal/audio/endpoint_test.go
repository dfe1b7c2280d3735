package audio

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// phrases returns the recorded phrases of testdata by file name.
func phrases(t testing.TB) map[string]Clip {
	t.Helper()
	files, err := filepath.Glob("testdata/phrases/*.flac")
	if err != nil || len(files) == 0 {
		t.Fatalf("no recorded phrases: %v", err)
	}
	all := map[string]Clip{}
	for _, f := range files {
		c, err := ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		all[filepath.Base(f)] = c
	}
	return all
}

func silence(seconds float64) Clip { return make(Clip, int(seconds*Rate)) }

// scaled returns c with its level at db.
func scaled(c Clip, db float64) Clip {
	g := float32(math.Pow(10, (db-c.Level())/20))
	out := make(Clip, len(c))
	for i, x := range c {
		out[i] = x * g
	}
	return out
}

func mixed(a, b Clip) Clip {
	out := slices.Clone(a)
	for i := range out {
		out[i] += b[i]
	}
	return out
}

// noise returns pink-ish noise, as of a fan, at the given level.
func noise(n int, db float64) Clip {
	r := rand.New(rand.NewPCG(1, 2))
	c := make(Clip, n)
	var slow float64
	for i := range c {
		w := r.NormFloat64()
		slow = 0.95*slow + w
		c[i] = float32(slow + w)
	}
	return scaled(c, db)
}

// hum returns mains hum with its second and third harmonics.
func hum(n int, db float64) Clip {
	c := make(Clip, n)
	for i := range c {
		t := 2 * math.Pi * 50 * float64(i) / Rate
		c[i] = float32(math.Sin(t) + 0.5*math.Sin(2*t+1) + 0.15*math.Sin(3*t))
	}
	return scaled(c, db)
}

func listen(s Settings, sound ...Clip) []Event {
	e := NewEndpointer(s)
	var events []Event
	for _, c := range sound {
		events = append(events, e.Push(c)...)
	}
	return append(events, e.Flush()...)
}

func ended(events []Event) []Phrase {
	var p []Phrase
	for _, e := range events {
		if e.Kind == Ended {
			p = append(p, e.Phrase)
		}
	}
	return p
}

// covers checks that p holds the speech of clip, which began at start.
func covers(t *testing.T, what string, p Phrase, clip Clip, start time.Duration) {
	t.Helper()
	spoken := Trim(clip, Settings{})
	const slack = 60 * time.Millisecond // a weak consonant may drown in the noise
	from := start + spoken.Start + 200*time.Millisecond
	to := start + spoken.Start + spoken.Sound.Duration() - 200*time.Millisecond
	if p.Start > from+slack || p.Start+p.Sound.Duration() < to-slack {
		t.Errorf("%s: phrase from %v to %v, speech from %v to %v", what, p.Start, p.Start+p.Sound.Duration(), from, to)
	}
}

func TestOnePhraseEach(t *testing.T) {
	conditions := map[string]func(Clip) Clip{
		"as recorded": func(c Clip) Clip { return c },
		"-45 dB":      func(c Clip) Clip { return scaled(c, -45) },
		"-6 dB":       func(c Clip) Clip { return scaled(c, -6) }, // clips
		"offset": func(c Clip) Clip {
			out := slices.Clone(c)
			for i := range out {
				out[i] += 0.4
			}
			return out
		},
		"in noise at 15 dB": func(c Clip) Clip { return mixed(c, noise(len(c), c.Level()-15)) },
		"in hum as loud":    func(c Clip) Clip { return mixed(c, hum(len(c), c.Level())) },
	}
	for file, clip := range phrases(t) {
		for name, change := range conditions {
			stream := change(slices.Concat(silence(2.5), clip, silence(1)))
			got := ended(listen(Settings{}, stream))
			if len(got) != 1 {
				t.Errorf("%s, %s: %d phrases", file, name, len(got))
				continue
			}
			covers(t, file+", "+name, got[0], clip, 2500*time.Millisecond)
			if got[0].Truncated {
				t.Errorf("%s, %s: truncated", file, name)
			}
		}
	}
}

// TestCorpus measures a whole folder of phrases: set WAYCALL_PHRASES to it.
func TestCorpus(t *testing.T) {
	dir := os.Getenv("WAYCALL_PHRASES")
	if dir == "" {
		t.Skip("WAYCALL_PHRASES names no folder of phrases, one to a FLAC file")
	}
	files, _ := filepath.Glob(filepath.Join(dir, "*.flac"))
	counts := map[int]int{}
	for _, f := range files {
		clip, err := ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		got := ended(listen(Settings{}, clip, silence(1)))
		counts[len(got)]++
		if len(got) != 1 {
			t.Errorf("%s: %d phrases", f, len(got))
		} else {
			covers(t, f, got[0], clip, 0)
		}
	}
	t.Logf("%d files; phrases in a file: %v", len(files), counts)
}

func TestPhrasesInTurn(t *testing.T) {
	clips := phrases(t)
	a, b := Trim(clips["0000-bm_george.flac"], Settings{}).Sound, Trim(clips["0032-am_adam.flac"], Settings{}).Sound
	// Trim leaves 0.2 s at each side, so this is a pause of 1 s.
	stream := slices.Concat(silence(1), a, silence(0.6), b, silence(1))
	if got := ended(listen(Settings{}, stream)); len(got) != 2 {
		t.Errorf("a pause of one second gave %d phrases, want 2", len(got))
	} else if end := got[0].Start + got[0].Sound.Duration(); got[1].Start < end {
		t.Errorf("second phrase begins at %v, before the first ends at %v", got[1].Start, end)
	}
	if got := ended(listen(Settings{Pause: 1500 * time.Millisecond}, stream)); len(got) != 1 {
		t.Errorf("a pause setting of 1.5 s gave %d phrases, want 1", len(got))
	}
}

func TestNothingSaid(t *testing.T) {
	click := silence(3)
	for i := range 300 { // 19 ms
		click[Rate+i] = float32(0.9 * math.Sin(float64(i)))
	}
	none := slices.Repeat(Clip{float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1))}, Rate)
	for name, c := range map[string]Clip{
		"silence":        silence(5),
		"offset":         slices.Repeat(Clip{0.7}, 5*Rate),
		"faint noise":    noise(8*Rate, -75),
		"steady noise":   noise(8*Rate, -30),
		"loud noise":     noise(8*Rate, -12),
		"hum":            hum(8*Rate, -10),
		"click":          click,
		"not numbers":    none,
		"noise switched": slices.Concat(noise(5*Rate, -60), noise(8*Rate, -30), noise(5*Rate, -60)),
	} {
		events := listen(Settings{}, c)
		if got := ended(events); len(got) != 0 {
			t.Errorf("%s: %d phrases, first from %v for %v", name, len(got), got[0].Start, got[0].Sound.Duration())
		}
		if name == "noise switched" { // whether that trims to nothing is no matter
			continue
		}
		if p := Trim(c, Settings{}); len(p.Sound) != 0 {
			t.Errorf("%s: Trim leaves %v", name, p.Sound.Duration())
		}
	}
	if p := Trim(nil, Settings{}); p.Sound != nil {
		t.Error("Trim finds speech in nothing")
	}
}

// Ten minutes without a pause must neither grow memory nor pass for a phrase,
// and the next phrase must be heard.
func TestEndlessPhrase(t *testing.T) {
	word := Trim(phrases(t)["0013-bm_daniel.flac"], Settings{}).Sound
	word = word[3200 : len(word)-3200]
	e := NewEndpointer(Settings{})
	var got []Phrase
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for said := 0; said < 600*Rate; said += len(word) {
		got = append(got, ended(e.Push(word))...)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 8<<20 {
		t.Errorf("ten minutes of speech keep %d bytes", grown)
	}
	if len(got) != 1 || !got[0].Truncated || got[0].Sound.Duration() > 15*time.Second || got[0].Sound.Duration() < 14*time.Second {
		t.Fatalf("ten minutes of speech gave %d phrases, want one of 15 s, truncated", len(got))
	}
	got = ended(e.Push(slices.Concat(silence(1), word, silence(1))))
	if len(got) != 1 || got[0].Truncated {
		t.Errorf("the phrase after it was not heard: %d phrases", len(got))
	}
	runtime.KeepAlive(e)
	long := Trim(slices.Repeat(word, 100), Settings{})
	if !long.Truncated || long.Sound.Duration() != 15*time.Second {
		t.Errorf("Trim leaves %v of a long phrase, truncated %v", long.Sound.Duration(), long.Truncated)
	}
}

// stream draws words, clicks, noises and pauses.
func stream(t *rapid.T, clips []Clip) Clip {
	var s Clip
	for range rapid.IntRange(1, 5).Draw(t, "parts") {
		switch rapid.IntRange(0, 4).Draw(t, "kind") {
		case 0, 1:
			s = append(s, clips[rapid.IntRange(0, len(clips)-1).Draw(t, "clip")]...)
		case 2:
			s = append(s, silence(rapid.Float64Range(0, 1.2).Draw(t, "pause"))...)
		case 3:
			s = append(s, noise(rapid.IntRange(0, Rate).Draw(t, "length"), rapid.Float64Range(-70, -5).Draw(t, "level"))...)
		case 4:
			s = append(s, rapid.SliceOfN(rapid.Float32(), 0, 50).Draw(t, "rubbish")...)
		}
	}
	return s
}

// drawClips returns short speech for drawing from.
func drawClips(t *testing.T) []Clip {
	var clips []Clip
	for _, c := range phrases(t) {
		if c.Duration() < 2*time.Second {
			clips = append(clips, c)
		}
	}
	slices.SortFunc(clips, func(a, b Clip) int { return len(a) - len(b) })
	return clips
}

func TestEndpointerProperties(t *testing.T) {
	clips := drawClips(t)
	rapid.Check(t, func(t *rapid.T) {
		whole := stream(t, clips)
		set := Settings{
			Pause:   time.Duration(rapid.IntRange(0, 900).Draw(t, "pause ms")) * time.Millisecond,
			Longest: time.Duration(rapid.IntRange(1, 3).Draw(t, "longest")) * time.Second,
		}
		want := listen(set, whole)

		// However the stream is divided, the same is noticed.
		var pieces []Clip
		for rest := whole; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			pieces = append(pieces, rest[:n])
			rest = rest[n:]
		}
		got := listen(set, pieces...)
		if !slices.EqualFunc(got, want, sameEvent) {
			t.Fatalf("in pieces %v, whole %v", got, want)
		}

		// The sound without offset, which every phrase must be a part of.
		var m meter
		clean := make(Clip, len(whole))
		for i, x := range whole {
			clean[i], _, _ = m.sample(x)
		}
		var paused *Phrase
		var last Kind
		end := time.Duration(0)
		for _, e := range want {
			switch e.Kind {
			case Started:
				if last == Started || last == Paused || last == Resumed {
					t.Fatalf("a phrase started after %v", last)
				}
			case Resumed:
				if last != Paused {
					t.Fatalf("resumed after %v", last)
				}
				paused = nil
			case Paused:
				if last != Started && last != Resumed {
					t.Fatalf("paused after %v", last)
				}
				paused = &e.Phrase
			case Ended, Dropped:
				if last != Started && last != Paused && last != Resumed {
					t.Fatalf("%v after %v", e.Kind, last)
				}
				if paused != nil && e.Kind == Ended && !e.Phrase.Truncated && !samePhrase(*paused, e.Phrase) {
					t.Fatalf("the pause promised %v of sound and %v came", paused.Sound.Duration(), e.Phrase.Sound.Duration())
				}
				paused = nil
			}
			last = e.Kind
			if e.Kind != Ended {
				continue
			}
			p := e.Phrase
			if p.Start < end {
				t.Fatalf("phrase at %v overlaps the one before, which ends at %v", p.Start, end)
			}
			end = p.Start + p.Sound.Duration()
			if p.Sound.Duration() > set.filled().Longest {
				t.Fatalf("phrase of %v", p.Sound.Duration())
			}
			at := samples(p.Start)
			if at+len(p.Sound) > len(clean) || !slices.Equal(p.Sound, clean[at:at+len(p.Sound)]) {
				t.Fatalf("phrase at %v is not the sound that was there", p.Start)
			}
		}
		if last != 0 && last != Ended && last != Dropped {
			t.Fatalf("the stream ended with %v", last)
		}
	})
}

func sameEvent(a, b Event) bool {
	return a.Kind == b.Kind && samePhrase(a.Phrase, b.Phrase) && (a.At == b.At || a.Kind == Ended || a.Kind == Dropped)
}

func samePhrase(a, b Phrase) bool {
	return a.Start == b.Start && a.Truncated == b.Truncated && slices.Equal(a.Sound, b.Sound)
}

func TestReset(t *testing.T) {
	clip := phrases(t)["0000-bm_george.flac"]
	e := NewEndpointer(Settings{})
	half := len(clip) / 2
	if got := e.Push(clip[:half]); len(got) == 0 || got[0].Kind != Started {
		t.Fatalf("speech was not noticed: %v", got)
	}
	e.Reset()
	if got := ended(append(e.Push(silence(2)), e.Flush()...)); len(got) != 0 {
		t.Errorf("%d phrases from before the reset", len(got))
	}
	got := ended(e.Push(slices.Concat(clip, silence(1))))
	if len(got) != 1 {
		t.Fatalf("%d phrases after the reset", len(got))
	}
	covers(t, "after reset", got[0], clip, span(int64(half))+2*time.Second)
}

func FuzzEndpointer(f *testing.F) {
	f.Add([]byte("\x00\x10\xff\x7f\x00\x80"), uint16(500))
	f.Add(EncodeWAV(noise(8000, -20))[44:], uint16(250))
	f.Fuzz(func(t *testing.T, b []byte, pause uint16) {
		sound := make(Clip, len(b)/2)
		for i := range sound {
			sound[i] = float32(int16(binary.LittleEndian.Uint16(b[2*i:]))) / 30000
		}
		for _, p := range ended(listen(Settings{Pause: time.Duration(pause) * time.Millisecond}, sound)) {
			if len(p.Sound) == 0 || samples(p.Start)+len(p.Sound) > len(sound) {
				t.Fatalf("phrase at %v for %v of %v", p.Start, p.Sound.Duration(), sound.Duration())
			}
		}
		if p := Trim(sound, Settings{}); samples(p.Start)+len(p.Sound) > len(sound) {
			t.Fatalf("trimmed to more than was there")
		}
	})
}

// Cut ends a phrase in its pause with the sound that the pause promised, and cuts nobody
// who speaks; what comes after it is noticed as after any phrase.
func TestCut(t *testing.T) {
	clips := drawClips(t)
	rapid.Check(t, func(t *rapid.T) {
		whole := stream(t, clips)
		e := NewEndpointer(Settings{Pause: 900 * time.Millisecond})
		var paused *Phrase
		cuts, end := 0, time.Duration(0)
		for rest := whole; len(rest) > 0; {
			n := min(len(rest), rapid.IntRange(1, 3000).Draw(t, "piece"))
			events := e.Push(rest[:n])
			rest = rest[n:]
			for _, ev := range events {
				paused = nil
				if ev.Kind == Paused {
					paused = &ev.Phrase
				}
			}
			if !rapid.Bool().Draw(t, "cut") {
				continue
			}
			got := e.Cut()
			if len(got) > 0 && paused == nil {
				t.Fatalf("cut without a pause: %v", got)
			}
			for _, ev := range got {
				switch {
				case ev.Kind == Ended && samePhrase(ev.Phrase, *paused) && ev.Phrase.Start >= end:
					end = ev.Phrase.Start + ev.Phrase.Sound.Duration()
				case ev.Kind != Dropped:
					t.Fatalf("the pause promised %v of sound at %v, and %v came at %v", paused.Sound.Duration(), paused.Start, ev.Phrase.Sound.Duration(), ev.Phrase.Start)
				}
				cuts++
			}
			if len(got) > 0 {
				paused = nil
			}
			if again := e.Cut(); len(got) > 0 && len(again) > 0 {
				t.Fatalf("cut twice: %v", again)
			}
		}
	})
	// Each of two phrases is cut soon after its end, and is whole.
	clip := phrases(t)["0000-bm_george.flac"]
	e := NewEndpointer(Settings{Pause: 2 * time.Second})
	var got []Phrase
	sound := slices.Concat(silence(1), clip, silence(1), clip, silence(1))
	for at := 0; at+blockSize <= len(sound); at += blockSize {
		if events := e.Push(sound[at : at+blockSize]); len(events) == 0 {
			got = append(got, ended(e.Cut())...)
		}
	}
	if len(got) != 2 {
		t.Fatalf("%d phrases were cut, want 2", len(got))
	}
	covers(t, "the first", got[0], clip, time.Second)
	covers(t, "the second", got[1], clip, 2*time.Second+clip.Duration())
}
