package sound

import (
	"encoding/binary"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
)

const most = 1 << 20

func ramp(n int) []int16 {
	all := make([]int16, n)
	for i := range all {
		all[i] = int16(i * 7)
	}
	return all
}

// What is encoded comes back sample by sample.
func TestEncoded(t *testing.T) {
	for _, samples := range [][]int16{{}, {math.MinInt16, -1, 0, 1, math.MaxInt16}, ramp(10_000)} {
		wav := EncodeWAV(samples, 16000)
		flac, err := EncodeFLAC(samples, 16000)
		if err != nil {
			t.Fatal(err)
		}
		for want, b := range map[string][]byte{"wav": wav, "flac": flac} {
			format, rate, err := Format(b, most)
			if err != nil || format != want || rate != 16000 {
				t.Errorf("%d samples are %q at %d, %v; want %s", len(samples), format, rate, err, want)
			}
			if got, rate, err := Samples(b, most); err != nil || rate != 16000 || !slices.Equal(got, samples) {
				t.Errorf("%d samples as %s came back as %d at %d, %v", len(samples), want, len(got), rate, err)
			}
		}
	}
}

// What is not 16-bit mono, whole and small enough is refused, and it is said why.
func TestRefused(t *testing.T) {
	wav := EncodeWAV(ramp(100), 16000)
	long, err := EncodeFLAC(make([]int16, most/2+1), 16000)
	if err != nil {
		t.Fatal(err)
	}
	changed := func(at int, x byte) []byte {
		b := slices.Clone(wav)
		b[at] = x
		return b
	}
	huge := slices.Clone(wav)
	binary.LittleEndian.PutUint32(huge[40:], math.MaxUint32)
	stereo := changed(22, 2)
	stereo[32] = 4
	for name, c := range map[string]struct {
		b    []byte
		want string
	}{
		"nothing":         {nil, "neither a WAV nor a FLAC file"},
		"text":            {[]byte("RIFFY"), "ends inside its WAV header"},
		"too many bytes":  {make([]byte, most+1), "more than the"},
		"cut short":       {wav[:len(wav)-2], "its sound is cut short"},
		"promises more":   {huge, "its sound is cut short"},
		"stereo":          {stereo, "give 16-bit mono PCM"},
		"a rate of 0":     {changed(25, 0), "its rate is"},
		"FLAC of nothing": {[]byte("fLaC and so on"), "FLAC header"},
		"long silence":    {long, "FLAC of more than"},
	} {
		if _, _, err := Samples(c.b, most); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

func FuzzSamples(f *testing.F) {
	f.Add(EncodeWAV(ramp(20), 16000))
	flac, err := os.ReadFile("../store/testdata/tone.flac")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(flac)
	f.Fuzz(func(t *testing.T, b []byte) {
		format, rate, err := Format(b, most)
		if err == nil && (rate <= 0 || format != "wav" && format != "flac") {
			t.Errorf("accepted as %q at %d", format, rate)
		}
		samples, again, whole := Samples(b, most)
		if whole == nil && (err != nil || again != rate) {
			t.Errorf("its samples are read at %d, and it is said to be at %d (%v)", again, rate, err)
		}
		if 2*len(samples) > most {
			t.Errorf("%d samples out of %d bytes", len(samples), len(b))
		}
	})
}

// The length of a sound is in its head, and what is none says so.
func TestLength(t *testing.T) {
	samples := ramp(24_000)
	wav := EncodeWAV(samples, 16000)
	flac, err := EncodeFLAC(samples, 16000)
	if err != nil {
		t.Fatal(err)
	}
	endless := slices.Clone(flac)
	for i := 21; i < 26; i++ {
		endless[i] |= 0x0f
	}
	endless[22], endless[23] = 0xff, 0xff
	for name, c := range map[string]struct {
		b    []byte
		size int
		want time.Duration
		ok   bool
	}{
		"wav":           {wav[:200], len(wav), 1500 * time.Millisecond, true},
		"flac":          {flac[:200], len(flac), 1500 * time.Millisecond, true},
		"cut wav":       {wav[:200], WAVHead + 16000, 500 * time.Millisecond, true},
		"cut head":      {wav[:20], len(wav), 0, false},
		"cut flac head": {flac[:20], len(flac), 0, false},
		"endless":       {endless, len(endless), 0, false},
		"none":          {nil, 0, 0, false},
		"noise":         {[]byte(strings.Repeat("x", 300)), 300, 0, false},
	} {
		got, err := Length(c.b, int64(c.size))
		if (err == nil) != c.ok || (got-c.want).Abs() > time.Millisecond {
			t.Errorf("%s: %v, %v; want %v", name, got, err, c.want)
		}
	}
}
