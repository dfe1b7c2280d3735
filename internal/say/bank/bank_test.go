package bank

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/audio"
	"waycall/internal/reading"
	"waycall/internal/say"
	"waycall/internal/say/espeak"
)

// made is a bank of these phrases, each a short sound of half the scale.
func made(t testing.TB, version int, phrases ...string) []byte {
	t.Helper()
	x := index{Version: version, Voice: "test", Phrases: map[string]string{}}
	for i, p := range phrases {
		x.Phrases[p] = fmt.Sprintf("%d.ul", i)
	}
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	put := func(name string, data []byte) {
		f, err := w.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err == nil {
			_, err = f.Write(data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	raw, err := json.Marshal(x)
	if err != nil {
		t.Fatal(err)
	}
	put(indexName, raw)
	for i := range phrases {
		put(fmt.Sprintf("%d.ul", i), bytes.Repeat([]byte{0x8f}, 1600))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func madeStore(t testing.TB, phrases ...string) *store {
	t.Helper()
	s, err := parse(made(t, version, phrases...))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// shown is a plan to be read: phrases of the bank in bars, other text bare.
func shown(parts []part) string {
	var all []string
	for _, p := range parts {
		if p.key != "" {
			all = append(all, "|"+p.key+"|")
		} else {
			all = append(all, p.text)
		}
	}
	return strings.Join(all, " ")
}

func TestPlan(t *testing.T) {
	s := madeStore(t, "way two,", "way", "two", "two.", "live to neutral,", "greater than", "greater than nine nine nine megohms.",
		"nine,", "Pass.", "Confirm?", "five hundred", "volts.", "seven", "two megohms.", "at")
	for text, want := range map[string]string{
		"":       "",
		"Pass.":  "|pass.|",
		"pass!":  "|pass.|",
		"pass":   "|pass.|",    // of another melody, where there is no other
		"Way 2.": "|way two,|", // one phrase of the other melody, sooner than two
		"Way two, live to neutral, greater than nine nine nine megohms. Pass. Confirm?": "|way two,| |live to neutral,| |greater than nine nine nine megohms.| |pass.| |confirm?|",
		"Way two, Upstairs lighting. Pass.":                                             "|way two,| Upstairs lighting. |pass.|",
		"Way two, Upstairs lighting, Hall, way two.":                                    "|way two,| Upstairs lighting, Hall, |way two,|",
		"Way two, shed 2 sockets. Pass.":                                                "Way two, shed 2 sockets. |pass.|",
		"Way two, seven eight megohms.":                                                 "Way two, seven eight megohms.",
		"at 500 volts.":                                                                 "|at| |five hundred| |volts.|",
		"at 1:":                                                                         "at 1:",
		"Ffordd 😀 dau":                                                                  "Ffordd 😀 dau",
	} {
		if got := shown(s.plan(text)); got != want {
			t.Errorf("%q: %s, want %s", text, got, want)
		}
	}
}

// No figure is in two voices, whatever phrases there are: what another voice says is a
// sentence, or it has no figure. And nothing is lost or said twice.
func TestNoFigureInTwoVoices(t *testing.T) {
	words := []string{"way", "two", "seven", "hundred", "and", "nine", "point", "megohms", "shed", "lighting", "500", "C2", "x"}
	marks := []string{"", "", "", ",", ".", "?"}
	rapid.Check(t, func(t *rapid.T) {
		one := rapid.Custom(func(t *rapid.T) string {
			return rapid.SampledFrom(words).Draw(t, "word") + rapid.SampledFrom(marks).Draw(t, "mark")
		})
		s := &store{clips: map[string][]byte{}}
		for _, p := range rapid.SliceOfN(rapid.SliceOfN(one, 1, 3), 1, 30).Draw(t, "phrases") {
			w := cut(strings.Join(p, " "))
			s.clips[key(w, w[len(w)-1].mark)] = []byte{0}
			s.longest = max(s.longest, len(w))
		}
		text := strings.Join(rapid.SliceOfN(one, 1, 15).Draw(t, "text"), " ")
		parts := s.plan(text)
		var said []string
		begins := true
		for i, p := range parts {
			spoken := cut(p.key + p.text)
			if p.key == "" {
				whole := begins && (p.after.ends() || i == len(parts)-1)
				for _, w := range spoken {
					if figure(w.text) && !whole {
						t.Fatalf("%q: %s: %q has a figure and is no sentence", text, shown(parts), p.text)
					}
				}
			}
			for _, w := range spoken {
				said = append(said, w.text)
			}
			begins = p.after.ends()
		}
		var want []string
		for _, w := range cut(text) {
			want = append(want, w.text)
		}
		if !slices.Equal(said, want) {
			t.Fatalf("%q is said as %q", text, said)
		}
	})
}

// A bank that is not there, not whole or of another version is refused with a reason.
func TestBadBank(t *testing.T) {
	dir := t.TempDir()
	good := made(t, version, "way two,", "Pass.")
	flipped := slices.Clone(good)
	flipped[bytes.Index(flipped, []byte{0x8f, 0x8f, 0x8f})] ^= 1
	for name, tt := range map[string]struct {
		data []byte
		want string
	}{
		"cut":     {good[:len(good)/2], "damaged"},
		"empty":   {nil, "damaged"},
		"flipped": {flipped, "damaged: the phrase"},
		"newer":   {made(t, version+1, "Pass."), "it is of version 2"},
		"no file": {made(t, version), "no phrases"},
		"no word": {made(t, version, "..."), "a phrase of 0 words"},
		"text":    {[]byte("PK\x03\x04 and no more"), "damaged"},
	} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, tt.data, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(path, nil, 1); err == nil || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), "--voice espeak") {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, path := range []string{dir, filepath.Join(dir, "none")} {
		if _, err := Open(path, nil, 1); err == nil || !strings.Contains(err.Error(), "--voice espeak") {
			t.Errorf("%s: %v", path, err)
		}
	}
}

// Without its bank waycall speaks all the same, and says why once.
func TestWithoutTheBank(t *testing.T) {
	var told bytes.Buffer
	voice, err := Choose(filepath.Join(t.TempDir(), File), 180, &told)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := voice.(*espeak.Voice); !ok {
		t.Errorf("a %T speaks", voice)
	}
	if sound, err := voice.Speak("Pass.", 0); err != nil || len(sound) == 0 {
		t.Errorf("it says %v, %v", sound.Duration(), err)
	}
	if s := told.String(); strings.Count(s, "\n") != 1 || !strings.Contains(s, "espeak-ng speaks: the bank of phrases") || !strings.Contains(s, "--voice espeak") {
		t.Errorf("told: %q", s)
	}
}

func FuzzParse(f *testing.F) {
	f.Add(made(f, version, "way two,", "Pass."))
	f.Add([]byte("PK\x05\x06"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := parse(data)
		if err != nil {
			return
		}
		for k := range s.clips {
			s.clip(k)
		}
		s.plan("Way two, shed 2. Pass.")
	})
}

// A stretched sound lasts as long as it should and keeps its pitch.
func TestStretch(t *testing.T) {
	const hz = 180.0
	c := make(audio.Clip, 2*audio.Rate)
	for i := range c {
		c[i] = float32(0.4 * math.Sin(2*math.Pi*hz*float64(i)/audio.Rate))
	}
	for _, rate := range []float64{0.4, 0.7, 1 / 1.18, 1, 1.18, 1.4, 2.5} {
		out := stretch(c, rate)
		if want := float64(len(c)) / rate; math.Abs(float64(len(out))-want) > 1 {
			t.Errorf("%v times as fast: %d samples, want %.0f", rate, len(out), want)
		}
		middle, crossings := out[len(out)/4:len(out)*3/4], 0
		for i := 1; i < len(middle); i++ {
			if middle[i-1] < 0 && middle[i] >= 0 {
				crossings++
			}
		}
		if got := float64(crossings) / middle.Duration().Seconds(); math.Abs(got-hz) > 4 {
			t.Errorf("%v times as fast: %.0f Hz, want %.0f", rate, got, hz)
		}
		if d := middle.Level() - c.Level(); math.Abs(d) > 1 {
			t.Errorf("%v times as fast: %.1f dB louder", rate, d)
		}
	}
}

func TestStretchOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 20000).Draw(t, "samples")
		rate := rapid.Float64Range(0.2, 5).Draw(t, "rate")
		c := make(audio.Clip, n)
		for i := range c {
			c[i] = float32((i*7919)%1000)/1000 - 0.5
		}
		for _, x := range stretch(c, rate) {
			if math.Abs(float64(x)) > 1 {
				t.Fatalf("%d samples at %v give %v", n, rate, x)
			}
		}
	})
}

// shipped is the bank that goes with waycall, with espeak-ng for what it lacks.
func shipped(t testing.TB) (*Voice, say.Voice) {
	t.Helper()
	other, err := espeak.Open(0)
	if err != nil {
		t.Fatal(err)
	}
	v, err := Open("../../../models/"+File, other, 1)
	if err != nil {
		t.Fatal(err)
	}
	return v, other
}

// All that a figure is made of is in the bank, so that a figure is never in espeak-ng's
// voice beside a test in the other.
func TestFiguresAreInTheBank(t *testing.T) {
	v, _ := shipped(t)
	check := func(text string) {
		for _, p := range v.bank.plan(text) {
			if p.key == "" {
				t.Errorf("%q: %s", text, shown(v.bank.plan(text)))
			}
		}
	}
	for n := range 1000 {
		check(reading.Cardinal(n) + " megohms.")
		check(reading.Cardinal(n) + " milliseconds.")
	}
	for n := range 100 {
		places := fmt.Sprintf("%02d", n)
		for _, whole := range []string{"nought", "one", "two", "nine", "ten", "nineteen"} {
			check(whole + " point " + reading.Digits(places, " ") + " ohms.")
			check(whole + " point " + reading.Digits(places, " ") + ".")
			check(whole + " point " + reading.Digits(places, ", ") + " ohms.")
		}
		if n > 0 {
			check("Way " + reading.Cardinal(n) + ", polarity, correct.")
		}
	}
	for n := 1000; n < 10000; n += 37 {
		check(reading.Cardinal(n) + " ohms.")
	}
}

// Each phrase begins and ends in silence, so no join clicks, and all are as loud as each
// other, within 1 dB.
func TestClips(t *testing.T) {
	v, _ := shipped(t)
	const click = 0.00316 // of full scale, -50 dB
	quietest, loudest := 0.0, -100.0
	for _, k := range slices.Sorted(maps.Keys(v.bank.clips)) {
		c := v.bank.clip(k)
		if len(c) < audio.Rate/20 {
			t.Errorf("%q lasts %v", k, c.Duration())
			continue
		}
		if a, b := math.Abs(float64(c[0])), math.Abs(float64(c[len(c)-1])); a > click || b > click {
			t.Errorf("%q begins at %v and ends at %v", k, a, b)
		}
		quietest, loudest = min(quietest, loudness(c)), max(loudest, loudness(c))
	}
	t.Logf("%d phrases, %.1f to %.1f LUFS", len(v.bank.clips), quietest, loudest)
	if loudest-quietest > 1 {
		t.Errorf("from %.1f to %.1f LUFS", quietest, loudest)
	}
}

// The other voice is as loud, and a read-back does not take longer than by that voice.
func TestReadBacks(t *testing.T) {
	v, other := shipped(t)
	var bank, espeak float64
	for _, text := range []string{
		"Way two, live and neutral to earth, greater than nine nine nine megohms. Pass. Confirm?",
		"Board one, main earth, nought point nought two ohms. Pass. Confirm?",
		"Way four, r one plus r two, nought point four seven ohms. Pass. Confirm?",
		"Way twelve, live to neutral, two hundred and six megohms. Pass.",
		"Nought point two eight.",
	} {
		a, err := v.Speak(text, 0)
		if err != nil {
			t.Fatal(err)
		}
		b, err := other.Speak(text, 0)
		if err != nil {
			t.Fatal(err)
		}
		b = trim(b)
		bank, espeak = bank+a.Duration().Seconds(), espeak+b.Duration().Seconds()
		if d := loudness(a) - loudness(b); math.Abs(d) > 1.5 {
			t.Errorf("%q: %.1f dB louder", text, d)
		}
		for _, pace := range []int{-2, 2} {
			c, err := v.Speak(text, pace)
			if want := a.Duration().Seconds() / say.Factor(pace); err != nil || math.Abs(c.Duration().Seconds()-want) > 0.05*want {
				t.Errorf("%q at pace %d: %v, want %.2f s; %v", text, pace, c.Duration(), want, err)
			}
		}
	}
	t.Logf("%.1f s, espeak-ng %.1f s", bank, espeak)
	if bank > espeak {
		t.Errorf("they take %.1f s, by espeak-ng %.1f s", bank, espeak)
	}
}
