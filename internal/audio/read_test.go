package audio

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"
	"pgregory.net/rapid"
)

// Format tags of WAV and the tail of an extended one, from memory.
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE
)

var extensibleTail = []byte{0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xAA, 0x00, 0x38, 0x9B, 0x71}

// wav writes a WAV file of any kind: the given samples in every channel.
func wav(tag, channels, rate, bits int, extensible bool, sound []float32) []byte {
	le := binary.LittleEndian
	size := bits / 8
	var data []byte
	for _, x := range sound {
		for range channels {
			switch {
			case tag == wavFloat && bits == 32:
				data = le.AppendUint32(data, math.Float32bits(x))
			case tag == wavFloat:
				data = le.AppendUint64(data, math.Float64bits(float64(x)))
			case bits == 8:
				data = append(data, byte(math.Round(float64(x)*127)+128))
			default:
				v := int64(math.Round(float64(x) * (math.Exp2(float64(bits-1)) - 1)))
				for i := range size {
					data = append(data, byte(v>>(8*i)))
				}
			}
		}
	}
	form := le.AppendUint16(nil, uint16(tag))
	if extensible {
		form = le.AppendUint16(nil, wavExtensible)
	}
	form = le.AppendUint16(form, uint16(channels))
	form = le.AppendUint32(form, uint32(rate))
	form = le.AppendUint32(form, uint32(rate*channels*size))
	form = le.AppendUint16(form, uint16(channels*size))
	form = le.AppendUint16(form, uint16(bits))
	if extensible {
		form = le.AppendUint16(form, 22)
		form = le.AppendUint16(form, uint16(bits))
		form = le.AppendUint32(form, 0)
		form = le.AppendUint16(form, uint16(tag))
		form = append(form, extensibleTail...)
	}
	b := []byte("RIFF\x00\x00\x00\x00WAVE")
	// A chunk of odd length, to be passed over with its padding.
	b = append(b, "note\x03\x00\x00\x00abc\x00fmt "...)
	b = le.AppendUint32(b, uint32(len(form)))
	b = append(b, form...)
	b = append(b, "data"...)
	b = le.AppendUint32(b, uint32(len(data)))
	b = append(b, data...)
	le.PutUint32(b[4:], uint32(len(b)-8))
	return b
}

// flacFile writes a mono FLAC file of 16-bit samples, uncompressed inside.
func flacFile(t testing.TB, rate int, sound []float32) []byte {
	var buf bytes.Buffer
	const block = 4096
	enc, err := flac.NewEncoder(&buf, &meta.StreamInfo{
		BlockSizeMin: block, BlockSizeMax: block, SampleRate: uint32(rate), NChannels: 1,
		BitsPerSample: 16, NSamples: uint64(len(sound)),
	})
	if err != nil {
		t.Fatal(err)
	}
	for len(sound) > 0 {
		n := min(block, len(sound))
		sub := &frame.Subframe{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, NSamples: n}
		for _, x := range sound[:n] {
			sub.Samples = append(sub.Samples, int32(math.Round(float64(x)*32767)))
		}
		err := enc.WriteFrame(&frame.Frame{
			Header: frame.Header{BlockSize: uint16(n), SampleRate: uint32(rate), Channels: frame.ChannelsMono,
				BitsPerSample: 16, HasFixedBlockSize: false},
			Subframes: []*frame.Subframe{sub},
		})
		if err != nil {
			t.Fatal(err)
		}
		sound = sound[n:]
	}
	if err := enc.Close(); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func TestReadEveryKind(t *testing.T) {
	type kind struct {
		tag, channels, rate, bits int
		extensible                bool
		tolerance                 float64
	}
	kinds := []kind{
		{wavPCM, 1, 16000, 8, false, 0.01}, {wavPCM, 1, 16000, 16, false, 1e-4},
		{wavPCM, 2, 48000, 16, false, 3e-4}, {wavPCM, 2, 44100, 24, false, 3e-4},
		{wavPCM, 1, 8000, 16, false, 3e-4}, {wavPCM, 6, 96000, 32, true, 3e-4},
		{wavFloat, 2, 192000, 32, false, 3e-4}, {wavFloat, 1, 22050, 64, false, 3e-4},
		{wavFloat, 2, 16000, 32, true, 1e-6}, {wavPCM, 2, 16000, 24, true, 1e-5},
	}
	for _, k := range kinds {
		got, err := Read(bytes.NewReader(wav(k.tag, k.channels, k.rate, k.bits, k.extensible, sine(440, k.rate, k.rate))))
		if err != nil {
			t.Errorf("%+v: %v", k, err)
			continue
		}
		compare(t, got, k.tolerance, k)
	}
	for _, rate := range []int{8000, 16000, 44100} {
		got, err := Read(bytes.NewReader(flacFile(t, rate, sine(440, rate, rate))))
		if err != nil {
			t.Errorf("FLAC at %d Hz: %v", rate, err)
			continue
		}
		compare(t, got, 3e-4, rate)
	}
}

func compare(t *testing.T, got Clip, tolerance float64, what any) {
	t.Helper()
	want := sine(440, Rate, Rate)
	if len(got) != len(want) {
		t.Errorf("%+v: %d samples, want %d", what, len(got), len(want))
		return
	}
	for i := 800; i < len(got)-800; i++ {
		if d := math.Abs(float64(got[i] - want[i])); d > tolerance {
			t.Errorf("%+v: sample %d is %v, want %v", what, i, got[i], want[i])
			return
		}
	}
}

func TestReadHostile(t *testing.T) {
	good := wav(wavPCM, 1, 16000, 16, false, sine(440, 16000, 16000))
	patch := func(offset int, v ...byte) []byte {
		b := bytes.Clone(good)
		copy(b[offset:], v)
		return b
	}
	const form = 32 // where the format begins
	good2 := wav(wavPCM, 1, 16000, 16, true, sine(440, 16000, 160))
	good2[form+30] ^= 1
	goodFLAC := flacFile(t, 16000, sine(440, 16000, 16000))
	for name, c := range map[string]struct {
		file []byte
		want string
	}{
		"empty":            {nil, "empty"},
		"three bytes":      {[]byte("RIF"), "ends inside its header"},
		"other file":       {[]byte("%PDF-1.4 and so on"), "neither WAV nor FLAC"},
		"RIFF, not WAV":    {patch(8, 'A', 'V', 'I', ' '), "not WAV"},
		"big-endian WAV":   {patch(3, 'X'), "RIFX"},
		"header only":      {good[:12], "ends inside its WAV header"},
		"cut in format":    {good[:form+7], "ends inside its WAV header"},
		"no data chunk":    {good[:form+16], "ends inside its WAV header"},
		"format too long":  {patch(form-4, 0xff, 0xff, 0xff, 0x7f), "cannot be"},
		"format too short": {patch(form-4, 4), "16 are needed"},
		"no channels":      {patch(form+2, 0, 0), "0 channels"},
		"65535 channels":   {patch(form+2, 0xff, 0xff), "65535 channels"},
		"rate 0":           {patch(form+4, 0, 0, 0, 0), "rate is 0 Hz"},
		"rate 4 GHz":       {patch(form+4, 0xff, 0xff, 0xff, 0xff), "convert it"},
		"17 bytes a block": {patch(form+12, 17), "contradicts itself"},
		"0 bits":           {patch(form+14, 0), "0 bits"},
		"coded":            {patch(form, 0x55), "coding 85"},
		"data first":       {append([]byte("RIFF\x00\x00\x00\x00WAVEdata\x04\x00\x00\x00"), 0, 0, 0, 0), "before the format"},
		"huge chunk":       {[]byte("RIFF\x00\x00\x00\x00WAVEjunk\xff\xff\xff\xff1234"), "ends inside its WAV header"},
		"odd sub-format":   {good2, "not known"},
		"FLAC, no header":  {goodFLAC[:10], "FLAC header"},
		"FLAC, no frames":  {append(bytes.Clone(goodFLAC[:60]), "rubbish rubbish rubbish rubbish"...), "FLAC"},
	} {
		c2, err := Read(bytes.NewReader(c.file))
		if err == nil || !strings.Contains(err.Error(), c.want) || c2 != nil {
			t.Errorf("%s: got %d samples and error %v, want an error with %q", name, len(c2), err, c.want)
		}
	}
}

func TestReadDamaged(t *testing.T) {
	sound := sine(440, 16000, 16000)
	whole := wav(wavPCM, 1, 16000, 16, false, sound)
	inFLAC := flacFile(t, 16000, sound)
	notNumbers := append([]float32(nil), sound...)
	notNumbers[5], notNumbers[6], notNumbers[7] = float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1))
	hugeSize := bytes.Clone(whole)
	binary.LittleEndian.PutUint32(hugeSize[len(whole)-32000-4:], 0xfffffff0)
	for name, c := range map[string]struct {
		file    []byte
		samples int
		want    Damage
	}{
		"WAV cut short":      {whole[:len(whole)-16001], 7999, Damage{CutShort: true, Missing: 8001 * time.Second / 16000}},
		"WAV of huge length": {hugeSize, 16000, Damage{CutShort: true}},
		"not numbers":        {wav(wavFloat, 1, 16000, 32, false, notNumbers), 16000, Damage{BadSamples: 3}},
		"FLAC cut short":     {inFLAC[:len(inFLAC)/2], 4096, Damage{CutShort: true, Missing: (16000 - 4096) * time.Second / 16000}},
	} {
		got, err := Read(bytes.NewReader(c.file))
		var d *Damage
		if !errors.As(err, &d) || *d != c.want || len(got) != c.samples {
			t.Errorf("%s: %d samples and %#v (%v), want %d and %#v", name, len(got), d, err, c.samples, c.want)
		}
		for i, x := range got {
			if math.IsNaN(float64(x)) {
				t.Errorf("%s: sample %d is not a number", name, i)
			}
		}
	}
	// A recorder that writes to a pipe does not know the length.
	for _, size := range []uint32{0, math.MaxUint32} {
		piped := bytes.Clone(whole)
		binary.LittleEndian.PutUint32(piped[len(whole)-32000-4:], size)
		if got, err := Read(bytes.NewReader(piped)); err != nil || len(got) != 16000 {
			t.Errorf("length %d: %d samples, %v; want 16000 and no error", size, len(got), err)
		}
	}
}

// zeros is an endless reader of silence.
type zeros struct{}

func (zeros) Read(b []byte) (int, error) {
	clear(b)
	return len(b), nil
}

func TestReadRefusesTheEndless(t *testing.T) {
	head := wav(wavPCM, 1, 16000, 16, false, nil) // length 0: runs to the end
	if _, err := Read(io.MultiReader(bytes.NewReader(head), zeros{})); !errors.Is(err, errTooLong) {
		t.Errorf("endless WAV: %v", err)
	}
}

func TestReadFile(t *testing.T) {
	dir := t.TempDir()
	for path, want := range map[string]string{
		filepath.Join(dir, "none.wav"): "no such file",
		dir:                            "is a folder",
	} {
		if _, err := ReadFile(path); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", path, err, want)
		}
	}
	files, _ := filepath.Glob("testdata/phrases/*.flac")
	if len(files) != 10 {
		t.Fatalf("%d phrases in testdata, want 10", len(files))
	}
	for _, f := range files {
		if c, err := ReadFile(f); err != nil || c.Duration() < time.Second/2 || c.Level() < -40 {
			t.Errorf("%s: %v, %v", f, c.Duration(), err)
		}
	}
}

func TestWriteWAV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := Clip(rapid.SliceOfN(rapid.Float32(), 1, 500).Draw(t, "sound"))
		got, err := Read(bytes.NewReader(EncodeWAV(in)))
		if err != nil || len(got) != len(in) {
			t.Fatalf("%d samples came back as %d, %v", len(in), len(got), err)
		}
		for i, x := range in {
			want := math.Min(math.Max(float64(x), -1), 1)
			if math.IsNaN(want) {
				want = 0
			}
			if math.Abs(float64(got[i])-want) > 1.0/32768 {
				t.Fatalf("sample %d: %v came back as %v", i, x, got[i])
			}
		}
		if again := EncodeWAV(got); !bytes.Equal(again, EncodeWAV(in)) {
			t.Fatal("sound changes when it is stored again")
		}
	})

	dir := t.TempDir()
	path := filepath.Join(dir, "a.wav")
	if err := WriteWAV(path, sine(440, Rate, 1600)); err != nil {
		t.Fatal(err)
	}
	if c, err := ReadFile(path); err != nil || len(c) != 1600 {
		t.Errorf("read back %d samples, %v", len(c), err)
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("files left beside it: %v", entries)
	}
	err := WriteWAV(filepath.Join(dir, "missing", "a.wav"), nil)
	if err == nil || !strings.Contains(err.Error(), "cannot write sound") {
		t.Errorf("missing folder: %v", err)
	}
	// The place is taken by a folder: nothing may be left behind.
	if err := WriteWAV(dir, nil); err == nil {
		t.Error("a folder was written over")
	}
	if entries, _ := filepath.Glob(filepath.Join(filepath.Dir(dir), ".sound-*")); len(entries) != 0 {
		t.Errorf("half-written files left: %v", entries)
	}
}

func FuzzReadWAV(f *testing.F) {
	f.Add(wav(wavPCM, 2, 44100, 16, false, sine(440, 44100, 100)))
	f.Add(wav(wavFloat, 1, 8000, 32, true, sine(440, 8000, 100)))
	f.Add(wav(wavPCM, 1, 16000, 24, true, nil))
	f.Fuzz(checkRead)
}

func FuzzReadFLAC(f *testing.F) {
	f.Add(flacFile(f, 16000, sine(440, 16000, 100)))
	b, err := os.ReadFile("testdata/phrases/0054-af_heart.flac")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b[:len(b)/4])
	f.Fuzz(checkRead)
}

// checkRead holds for every file: either an error and no sound, or sound that
// keeps the promises of Clip, perhaps with a *Damage.
func checkRead(t *testing.T, file []byte) {
	c, err := Read(bytes.NewReader(file))
	var d *Damage
	if (c == nil) != (err != nil && !errors.As(err, &d)) {
		t.Fatalf("%d samples with error %v", len(c), err)
	}
	if c.Duration() > LongestFile+time.Minute {
		t.Fatalf("%v of sound", c.Duration())
	}
	for i, x := range c {
		if !(x >= -1 && x <= 1) {
			t.Fatalf("sample %d is %v", i, x)
		}
	}
}

// A recording is the same file as its sound written at once, and is there only once it
// is closed.
func TestRecording(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.wav")
	if err := WriteWAV(path, sine(300, Rate, 10)); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	record := func() *Recording {
		r, err := Record(path)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	sound := Clip(sine(440, Rate, 100_000))
	r := record()
	for at := 0; at < len(sound); at += FrameSize {
		if err := r.Write(sound[at:min(at+FrameSize, len(sound))]); err != nil {
			t.Fatal(err)
		}
	}
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, before) {
		t.Errorf("the file changed before the recording was closed, %v", err)
	}
	if d := r.Duration(); d != sound.Duration() {
		t.Errorf("%v of sound were written and it says %v", sound.Duration(), d)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	r.Drop() // changes nothing any more
	if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, EncodeWAV(sound)) {
		t.Errorf("%d bytes, want %d, %v", len(got), len(EncodeWAV(sound)), err)
	}
	other := record()
	if err := other.Write(sound[:50]); err != nil {
		t.Fatal(err)
	}
	other.Drop()
	if got, err := ReadFile(path); err != nil || len(got) != len(sound) {
		t.Errorf("after a dropped recording: %d samples, %v", len(got), err)
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("files left beside it: %v", entries)
	}
	if _, err := Record(filepath.Join(dir, "missing", "a.wav")); err == nil || !strings.Contains(err.Error(), "cannot write sound") {
		t.Errorf("missing folder: %v", err)
	}
}
