package noise

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// voice is something like speech: a buzz of 120 Hz with its harmonics in words of
// various lengths and gaps between, and quiet before and after.
func voice(seed uint64) []float32 {
	r := rand.New(rand.NewPCG(seed, 1))
	s := make([]float32, 2*Rate+r.IntN(500))
	for i := range s {
		s[i] = 1e-5 * float32(r.NormFloat64())
	}
	for at := Rate / 4; at < len(s)-Rate/2; {
		n := Rate/10 + r.IntN(Rate/4)
		for i := at; i < min(at+n, len(s)-Rate/4); i++ {
			for h := 1.0; h < 25; h++ {
				s[i] += 0.05 * float32(math.Sin(2*math.Pi*120*h*float64(i)/Rate)/math.Sqrt(h))
			}
		}
		at += n + Rate/20 + r.IntN(Rate/10)
	}
	return s
}

var talk = [][]float32{voice(101), voice(102), voice(103), nil, make([]float32, 100)}

func allNumbers(t *testing.T, s []float32) {
	t.Helper()
	for i, x := range s {
		if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
			t.Fatalf("sample %d is %v", i, x)
		}
	}
}

func TestMeasuredRatioIsTheOneAskedFor(t *testing.T) {
	for _, kind := range Kinds() {
		for _, asked := range []float64{20, 10, 5, -3} {
			for seed := range uint64(5) {
				speech := voice(seed)
				noise, err := Noise(kind, len(speech), talk, seed)
				if err != nil {
					t.Fatal(err)
				}
				mixed := add(speech, noise, gain(speech, noise, asked))
				// Measured by the definition, sample by sample, from what went in and out.
				var s, n, loudest float64
				for at := 0; at+320 <= len(speech); at += 320 {
					loudest = max(loudest, energy(speech[at:at+320]))
				}
				for at := 0; at+320 <= len(speech); at += 320 {
					if e := energy(speech[at : at+320]); e > loudest/1000 {
						s += e
						for i := at; i < at+320; i++ {
							d := float64(mixed[i]) - float64(speech[i])
							n += d * d
						}
					}
				}
				if got := 10 * math.Log10(s/n); math.Abs(got-asked) > 0.1 {
					t.Errorf("%s, seed %d: ratio of %.2f dB, asked for %v", kind, seed, got, asked)
				}
			}
		}
	}
}

func energy(s []float32) float64 {
	sum := 0.0
	for _, x := range s {
		sum += float64(x) * float64(x)
	}
	return sum
}

// share returns how much of the energy of s lies between two frequencies.
func share(s []float32, from, to float64) float64 {
	s = slices.Clone(s)
	for i := range s { // without a window, the edges of the sound would spread its energy
		s[i] *= float32(1-math.Cos(2*math.Pi*float64(i)/float64(len(s)))) / 2
	}
	x := transform(s, len(s))
	var in, all float64
	for k := 1; k < len(x)/2; k++ {
		e := real(x[k])*real(x[k]) + imag(x[k])*imag(x[k])
		all += e
		if hz := float64(k) * Rate / float64(len(x)); hz >= from && hz < to {
			in += e
		}
	}
	return in / all
}

func TestNoisesSoundAsTheyShould(t *testing.T) {
	// Share of the energy that lies in a band, over ten seeds.
	for _, tt := range []struct {
		kind        Kind
		from, to    float64
		least, most float64
	}{
		{Hum, 0, 1300, 0.999, 1},
		{Hum, 45, 55, 0.02, 0.9},
		{Fan, 0, 1000, 0.5, 1}, // dark
		{Fan, 2000, 8000, 0.005, 0.5},
		{Drill, 150, 8000, 0.9, 1},
		{Drill, 1000, 8000, 0.1, 0.95},
		{Hammer, 100, 8000, 0.9, 1},
	} {
		for seed := range uint64(10) {
			s, err := Noise(tt.kind, 4*Rate, nil, seed)
			if err != nil {
				t.Fatal(err)
			}
			if got := share(s, tt.from, tt.to); got < tt.least || got > tt.most {
				t.Errorf("%s, seed %d: %.3f of the energy in %v to %v Hz, want %v to %v", tt.kind, seed, got, tt.from, tt.to, tt.least, tt.most)
			}
		}
	}
	// Hammering comes in blows; a fan does not.
	swing := func(kind Kind) float64 {
		s, _ := Noise(kind, 4*Rate, nil, 7)
		levels := slices.Sorted(slices.Values(blockLevels(s)))
		return db(levels[len(levels)*9/10] / levels[len(levels)/10])
	}
	if h, f := swing(Hammer), swing(Fan); h < 12 || f > 10 {
		t.Errorf("the level of hammering swings by %.1f dB, that of a fan by %.1f dB", h, f)
	}
}

func TestLevelOfNoiseIsOne(t *testing.T) {
	for _, kind := range Kinds() {
		s, err := Noise(kind, Rate, talk, 3)
		if err != nil || math.Abs(rms(s)-1) > 1e-3 {
			t.Errorf("%s: level %v, %v", kind, rms(s), err)
		}
	}
}

func TestBabbleNeedsTalk(t *testing.T) {
	for name, clips := range map[string][][]float32{"none": nil, "silent": {make([]float32, Rate)}} {
		if _, err := Noise(Babble, Rate, clips, 1); err == nil || !strings.Contains(err.Error(), "give clips") {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := Noise(Site, Rate, nil, 1); err != nil {
		t.Errorf("a site without talk: %v", err)
	}
	if _, err := Noise("trumpet", Rate, talk, 1); err == nil {
		t.Error("a trumpet was made")
	}
}

// hostile are sounds that must come through as numbers.
func hostile() map[string][]float32 {
	nan := voice(5)
	for i := 0; i < len(nan); i += 1000 {
		nan[i] = float32(math.NaN())
		nan[i+1] = float32(math.Inf(1))
	}
	dc := make([]float32, Rate)
	for i := range dc {
		dc[i] = 0.9
	}
	return map[string][]float32{
		"nothing": nil, "one sample": {0.5}, "short": voice(1)[5000:5100], "silence": make([]float32, Rate),
		"not numbers": nan, "offset": dc, "voice": voice(1),
	}
}

func conditions() []Condition {
	cs := []Condition{
		{}, {FalseStart: true}, {Pause: 400 * time.Millisecond}, {Speed: 0.8}, {Speed: 1.4}, {Reverb: true},
		{Levelled: true, Level: -40}, {Levelled: true}, {Band: true}, {Band: true, MuLaw: true},
	}
	all := Condition{FalseStart: true, Pause: time.Second, Speed: 1.2, Reverb: true, Levelled: true, Level: -6, Band: true, MuLaw: true}
	for _, k := range Kinds() {
		cs = append(cs, Condition{Noise: []Added{{k, 10}}})
		all.Noise = append(all.Noise, Added{k, 5})
	}
	return append(cs, all)
}

func TestApply(t *testing.T) {
	for name, s := range hostile() {
		for _, c := range conditions() {
			before := slices.Clone(s)
			a, err := c.Apply(s, talk, 42)
			if err != nil {
				t.Fatalf("%s, %s: %v", name, c, err)
			}
			allNumbers(t, a)
			if p := peak(a); p > 1.0001 {
				t.Errorf("%s, %s: reaches %v", name, c, p)
			}
			b, _ := c.Apply(s, talk, 42)
			if !slices.Equal(a, b) {
				t.Errorf("%s, %s: the same seed gave another sound", name, c)
			}
			other, _ := c.Apply(s, talk, 43)
			if (len(c.Noise) > 0 || c.Reverb && len(s) > 200 && name != "silence") && slices.Equal(a, other) {
				t.Errorf("%s, %s: another seed gave the same sound", name, c)
			}
			for i := range s {
				if s[i] != before[i] && before[i] == before[i] {
					t.Fatalf("%s, %s: the sound given was changed", name, c)
				}
			}
		}
	}
}

func TestLevel(t *testing.T) {
	s := voice(2)
	active := Active(s)
	if got := ActiveLevel(Level(s, -40), active); math.Abs(got+40) > 0.1 {
		t.Errorf("level %v, want -40", got)
	}
	loud := Level(s, 0)
	clipped := 0
	for _, x := range loud {
		if x == 1 || x == -1 {
			clipped++
		}
	}
	if peak(loud) != 1 || clipped < len(loud)/20 {
		t.Errorf("at 0 dBFS %d of %d samples are clipped and the peak is %v", clipped, len(loud), peak(loud))
	}
}

func TestBand(t *testing.T) {
	s := make([]float32, Rate)
	r := rand.New(rand.NewPCG(1, 2))
	for i := range s {
		s[i] = 0.1 * float32(r.NormFloat64())
	}
	plain, coded := Band(s, false), Band(s, true)
	if len(plain) != len(s) || len(coded) != len(s) {
		t.Errorf("%d and %d samples of %d", len(plain), len(coded), len(s))
	}
	if got := share(plain, 3500, 8000); got > 1e-5 {
		t.Errorf("%g of the energy above 3.5 kHz", got)
	}
	if got := share(plain, 0, 250); got > 1e-5 {
		t.Errorf("%g of the energy below 250 Hz", got)
	}
	if got := share(coded, 4050, 8000); got > 1e-5 {
		t.Errorf("mu-law: %g of the energy above 4 kHz", got)
	}
	if slices.Equal(plain, coded) {
		t.Error("mu-law changes nothing")
	}
	// What is within the band passes as it was.
	for i := range s {
		s[i] = 0.1 * float32(math.Sin(2*math.Pi*1000*float64(i)/Rate))
	}
	if got := db(rms(Band(s, false)[2000:14000]) / rms(s[2000:14000])); math.Abs(got) > 0.1 {
		t.Errorf("1 kHz is changed by %.2f dB", got)
	}
	// The outermost codes of mu-law come back as full scale, and 0 as 0.
	for _, x := range []float32{-1, 0, 1} {
		if got := expand(compress(x)); math.Abs(float64(got-x)) > 1e-6 {
			t.Errorf("%v comes back as %v", x, got)
		}
	}
}

func TestSpeedKeepsPitch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		speed := rapid.Float64Range(0.8, 1.4).Draw(t, "speed")
		hz := rapid.Float64Range(100, 300).Draw(t, "pitch")
		s := make([]float32, Rate)
		for i := range s {
			s[i] = 0.5 * float32(math.Sin(2*math.Pi*hz*float64(i)/Rate))
		}
		out := Speed(s, speed)
		if want := Rate / speed; math.Abs(float64(len(out))-want) > 1 {
			t.Fatalf("%d samples, want %.0f", len(out), want)
		}
		crossings := 0
		middle := out[1000 : len(out)-1000]
		for i := 1; i < len(middle); i++ {
			if middle[i-1] < 0 && middle[i] >= 0 {
				crossings++
			}
		}
		got := float64(crossings) * Rate / float64(len(middle))
		if math.Abs(got-hz) > 0.03*hz+2 {
			t.Fatalf("%.0f Hz at speed %.2f became %.0f Hz", hz, speed, got)
		}
		if l := rms(middle) / rms(s); l < 0.9 || l > 1.1 {
			t.Fatalf("the level changed by a factor of %.2f", l)
		}
	})
}

func TestPauseGoesBetweenWords(t *testing.T) {
	// Two words with a gap at 0.95 to 1.05 s.
	s := make([]float32, 2*Rate)
	for i := range s {
		if i > Rate/2 && i < Rate*95/100 || i > Rate*105/100 && i < Rate*3/2 {
			s[i] = 0.3 * float32(math.Sin(float64(i)/10))
		}
	}
	d := 400 * time.Millisecond
	out := Pause(s, d)
	if len(out) != len(s)+count(d) {
		t.Errorf("%d samples, want %d", len(out), len(s)+count(d))
	}
	if got := rms(out[Rate : Rate+count(d)]); got != 0 {
		t.Errorf("the gap holds sound of level %v", got)
	}
	if got, want := energy(out), energy(s); math.Abs(got/want-1) > 0.01 {
		t.Errorf("energy %v, want %v: part of a word was lost", got, want)
	}
}

func TestQuietestIsBetweenWords(t *testing.T) {
	// Three words with gaps at 0.6 to 0.65 s and at 1.2 to 1.3 s.
	s := make([]float32, 2*Rate)
	for i := range s {
		ms := i * 1000 / Rate
		if ms > 300 && ms < 600 || ms > 650 && ms < 1200 || ms > 1300 && ms < 1700 {
			s[i] = 0.3 * float32(math.Sin(float64(i)/10))
		}
	}
	got := Quietest(s, 2)
	slices.Sort(got)
	if len(got) != 2 || got[0] < Rate*60/100 || got[0] > Rate*65/100 || got[1] < Rate*120/100 || got[1] > Rate*130/100 {
		t.Errorf("quietest at %v", got)
	}
	if got := Quietest(make([]float32, Rate), 3); len(got) > 3 {
		t.Errorf("in silence at %v", got)
	}
	if got := Quietest(nil, 3); len(got) != 0 {
		t.Errorf("in nothing at %v", got)
	}
	for _, at := range Quietest(s, 50) {
		if out := PauseAt(s, at, time.Second); len(out) != len(s)+Rate {
			t.Errorf("at %d there are %d samples", at, len(out))
		}
	}
}

func TestJoin(t *testing.T) {
	a, b := voice(1), voice(2)
	out := Join(a, b)
	_, at := span(a)
	bf, bt := span(b)
	if want := at + count(120*time.Millisecond) + len(b) - bf; len(out) != want {
		t.Errorf("%d samples, want %d", len(out), want)
	}
	if _, to := span(out); to < at+bt-bf {
		t.Errorf("speech ends at %d", to)
	}
	if len(Join(nil, nil)) != count(120*time.Millisecond) {
		t.Error("two nothings make something")
	}
}

func TestFalseStart(t *testing.T) {
	s := voice(1)
	from, _ := span(s)
	out := FalseStart(s)
	if want := len(s) + count(500*time.Millisecond); len(out) != want {
		t.Errorf("%d samples, want %d", len(out), want)
	}
	// The beginning is there twice.
	second := from + count(500*time.Millisecond)
	if !slices.Equal(out[from+200:from+2000], out[second+200:second+2000]) {
		t.Error("the phrase does not begin again")
	}
}

func TestReverbRings(t *testing.T) {
	s := make([]float32, Rate)
	s[1000] = 1
	out := Reverb(s, 4)
	if e := energy(out[1800:3000]) / energy(out); e < 0.01 {
		t.Errorf("after 50 ms %.4f of the energy is still to come", e)
	}
	if e := energy(out[1000+Rate*4/10:]) / energy(out); e > 0.001 {
		t.Errorf("after 400 ms %.4f of the energy is still to come: that is a church", e)
	}
	if energy(out[:990]) > 1e-9*energy(out) {
		t.Error("the echo comes before the sound")
	}
}

func TestCheckAndNames(t *testing.T) {
	for _, tt := range []struct {
		c    Condition
		name string
		bad  string
	}{
		{Condition{}, "clean", ""},
		{Condition{Noise: []Added{{Site, 10}}, Speed: 1.2}, "speed 1.2, site@10", ""},
		{Condition{Levelled: true, Level: -30, Band: true, MuLaw: true}, "level -30, band, mu-law", ""},
		{Condition{Speed: 9}, "", "0.5 to 2"},
		{Condition{Speed: math.NaN()}, "", "0.5 to 2"},
		{Condition{Levelled: true, Level: 3}, "", "-60 to 0"},
		{Condition{Noise: []Added{{Site, math.NaN()}}}, "", "-20 to 60"},
		{Condition{Pause: time.Hour}, "", "up to 5 s"},
		{Condition{MuLaw: true}, "", "band"},
	} {
		err := tt.c.Check()
		if (err == nil) != (tt.bad == "") || err != nil && !strings.Contains(err.Error(), tt.bad) {
			t.Errorf("%+v: error %v, want %q", tt.c, err, tt.bad)
		}
		if tt.name != "" && tt.c.String() != tt.name {
			t.Errorf("named %q, want %q", tt.c, tt.name)
		}
	}
}

func FuzzParseNoise(f *testing.F) {
	for _, s := range []string{"site@10", "hum@-3.5", "site", "@", "site@NaN", "site@1e300"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseNoise(s)
		if err != nil {
			return
		}
		if err := (Condition{Noise: []Added{a}}).Check(); err != nil {
			t.Errorf("%q was read as %v and then refused: %v", s, a, err)
		}
	})
}
