package weights

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/hear/whisper"
)

// variable is a variable of a model made by hand.
type variable struct {
	name  string
	shape []int
	data  []float32
}

// modelFile writes a CTranslate2 file of half-precision variables, and one
// setting that is no weight.
func modelFile(vars []variable) []byte {
	var b bytes.Buffer
	put := func(x any) { _ = binary.Write(&b, binary.LittleEndian, x) }
	text := func(s string) { put(uint16(len(s) + 1)); b.WriteString(s + "\x00") }
	put(uint32(6))
	text("WhisperSpec")
	put(uint32(3))
	put(uint32(len(vars) + 1))
	text("num_heads")
	b.WriteByte(0)
	b.WriteByte(2)
	put(uint32(2))
	put(int16(6))
	for _, v := range vars {
		text(v.name)
		b.WriteByte(byte(len(v.shape)))
		for _, d := range v.shape {
			put(uint32(d))
		}
		b.WriteByte(4)
		put(uint32(2 * len(v.data)))
		for _, x := range v.data {
			put(toHalf(x))
		}
	}
	put(uint32(1))
	text("decoder/projection/weight")
	text(vars[0].name)
	return b.Bytes()
}

func TestReadModel(t *testing.T) {
	src := modelFile([]variable{
		{"layer/weight", []int{2, 3}, []float32{1, 2, 3, 4, 5, 6}},
		{"layer/bias", []int{2}, []float32{0.5, -0.25}},
	})
	m, err := ReadModel(src)
	if err != nil {
		t.Fatal(err)
	}
	w := m.Variables["layer/weight"]
	if fmt.Sprint(w.Shape) != "[2 3]" || fromHalf(w.Data[5]) != 6 {
		t.Errorf("the weight is %v", w)
	}
	if b := m.Variables["layer/bias"]; fromHalf(b.Data[1]) != -0.25 {
		t.Errorf("the bias is %v", b)
	}
	if len(m.Variables) != 3 {
		t.Errorf("there are %d variables, want two and an alias", len(m.Variables))
	}
	// Cut anywhere, it is an error and never a panic.
	for n := range src {
		if _, err := ReadModel(src[:n]); err == nil {
			t.Fatalf("cut to %d of %d bytes it was read", n, len(src))
		}
	}
	if _, err := ReadModel(append(src, 0)); err == nil || !strings.Contains(err.Error(), "1 bytes too many") {
		t.Errorf("with a byte too many: %v", err)
	}
	wrong := bytes.Clone(src)
	wrong[0] = 5
	if _, err := ReadModel(wrong); err == nil || !strings.Contains(err.Error(), "version 5") {
		t.Errorf("with another version: %v", err)
	}
}

// adapterFile writes a safetensors file of single-precision matrices.
func adapterFile(t *testing.T, m map[string][][]float32) []byte {
	t.Helper()
	header := map[string]any{"__metadata__": map[string]string{"rank": "2"}}
	var data bytes.Buffer
	for name, rows := range m {
		from := data.Len()
		for _, r := range rows {
			_ = binary.Write(&data, binary.LittleEndian, r)
		}
		header[name] = map[string]any{"dtype": "F32", "shape": []int{len(rows), len(rows[0])}, "data_offsets": []int{from, data.Len()}}
	}
	h, err := json.Marshal(header)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	_ = binary.Write(&b, binary.LittleEndian, uint64(len(h)))
	b.Write(h)
	b.Write(data.Bytes())
	return b.Bytes()
}

func TestMerge(t *testing.T) {
	model := func() *Model {
		m, err := ReadModel(modelFile([]variable{{"layer/weight", []int{2, 3}, []float32{1, 2, 3, 4, 5, 6}}}))
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	a := [][]float32{{1, 0, 2}, {0, 1, -1}}
	b := [][]float32{{0.5, 1}, {2, -1}}
	src := adapterFile(t, map[string][][]float32{"layer.lora_A": a, "layer.lora_B": b})
	layers, err := ReadAdapter(src)
	if err != nil {
		t.Fatal(err)
	}
	m := model()
	if err := m.Merge(layers); err != nil {
		t.Fatal(err)
	}
	// By hand: B A = [[0.5 1 0] [2 -1 5]].
	want := []float32{1.5, 3, 3, 6, 4, 11}
	for i, h := range m.Variables["layer/weight"].Data {
		if fromHalf(h) != want[i] {
			t.Errorf("number %d is %v, want %v", i, fromHalf(h), want[i])
		}
	}
	for n := range src {
		if _, err := ReadAdapter(src[:n]); err == nil {
			t.Fatalf("cut to %d of %d bytes it was read", n, len(src))
		}
	}
	for name, tt := range map[string]struct {
		m    map[string][][]float32
		want string
	}{
		"other layer":  {map[string][][]float32{"other.lora_A": a, "other.lora_B": b}, `no layer "other"`},
		"other shape":  {map[string][][]float32{"layer.lora_A": {{1, 2}, {3, 4}}, "layer.lora_B": b}, "does not fit"},
		"no partner":   {map[string][][]float32{"layer.lora_A": a}, "lora_B is missing"},
		"no partner B": {map[string][][]float32{"layer.lora_B": b}, "no partner"},
		"other rank":   {map[string][][]float32{"layer.lora_A": a[:1], "layer.lora_B": b}, "does not fit"},
	} {
		m := model()
		layers, err := ReadAdapter(adapterFile(t, tt.m))
		if err == nil {
			err = m.Merge(layers)
		}
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one with %q", name, err, tt.want)
		}
		if fromHalf(m.Variables["layer/weight"].Data[0]) != 1 {
			t.Errorf("%s: the model was changed", name)
		}
	}
}

// Every half-precision number survives the way to single precision and back.
func TestHalf(t *testing.T) {
	for h := range 1 << 16 {
		f := fromHalf(uint16(h))
		if back := toHalf(f); back != uint16(h) && !math.IsNaN(float64(f)) {
			t.Fatalf("%#04x is %v and comes back as %#04x", h, f, back)
		}
	}
	// Values of IEEE 754 binary16, from memory; ties go to even.
	for f, want := range map[float32]uint16{
		1: 0x3c00, -2: 0xc000, 65504: 0x7bff, 65520: 0x7c00, 1e9: 0x7c00, 0.333251953125: 0x3555,
		5.9604645e-8: 0x0001, 2.9802322e-8: 0x0000, 2.9802326e-8: 0x0001, 6.1035156e-5: 0x0400,
		1 + 1.0/2048: 0x3c00, 1 + 3.0/2048: 0x3c02,
	} {
		if got := toHalf(f); got != want {
			t.Errorf("%v is %#04x, want %#04x", f, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float32Range(-60000, 60000).Draw(t, "f")
		got := fromHalf(toHalf(f))
		if limit := max(math.Abs(float64(f))/2048, 1.0/(1<<25)); math.Abs(float64(got-f)) > limit {
			t.Fatalf("%v became %v", f, got)
		}
	})
}

// What is published of Slaney's filters: linear below 1 kHz, area one, and the
// last band ends at half the rate.
func TestMelFilters(t *testing.T) {
	f := melFilters()
	const binHz = float64(melRate) / melFFT
	for band := range melBands {
		row := f[band*melBins : (band+1)*melBins]
		area, first, last := 0.0, -1, -1
		for i, x := range row {
			if x < 0 {
				t.Fatalf("band %d has a negative weight", band)
			}
			if area += float64(x) * binHz; x > 0 {
				last = i
				if first < 0 {
					first = i
				}
			}
		}
		if first < 0 || band > 40 && math.Abs(area-1) > 0.02 { // narrow bands are sampled too coarsely to sum to one
			t.Errorf("band %d has the area %v", band, area)
		}
		if band == melBands-1 && last != melBins-2 {
			t.Errorf("the last band ends at bin %d", last)
		}
	}
	if f[0] != 0 || f[1] == 0 {
		t.Error("the first band does not begin at nothing")
	}
}

func TestReadTokens(t *testing.T) {
	good := `{"model":{"vocab":{"a":0,"Ġb":1,"Ã":2,"<|startoftranscript|>":4}},"added_tokens":[{"id":3,"content":"<|endoftext|>"}]}`
	got, err := ReadTokens([]byte(good))
	if err != nil || fmt.Sprintf("%q", got) != `["a" " b" "\xc3" "<|endoftext|>"]` {
		t.Errorf("got %q, %v", got, err)
	}
	for bad, want := range map[string]string{
		`{`:                           "unexpected end",
		`{"model":{"vocab":{"a":0}}}`: "no <|endoftext|>",
		`{"model":{"vocab":{"a":0,"<|endoftext|>":2}}}`:       "token 1 is missing",
		`{"model":{"vocab":{"a":0,"b":0,"<|endoftext|>":1}}}`: "token 0 is there twice",
		`{"model":{"vocab":{"日":0,"<|endoftext|>":1}}}`:       "not in the alphabet",
		`{"model":{"vocab":{"<|endoftext|>":2000000000}}}`:    "which cannot be",
	} {
		if _, err := ReadTokens([]byte(bad)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want one with %q", bad, err, want)
		}
	}
}

func TestConvertLeavesNothingHalfWritten(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "model.bin")
	tok := filepath.Join(dir, "tokenizer.json")
	if err := os.WriteFile(in, modelFile([]variable{{"layer/weight", []int{1, 1}, []float32{1}}}), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(tok, []byte(`{"model":{"vocab":{"a":0,"<|endoftext|>":1}}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "out.bin")
	err := Convert(Files{Model: in, Tokenizer: tok, Out: out})
	if err == nil || !strings.Contains(err.Error(), `variable "decoder/embeddings/weight" is missing`) {
		t.Errorf("a model without its parts: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*out*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if err := Convert(Files{Model: filepath.Join(dir, "none"), Tokenizer: tok, Out: out}); err == nil || !strings.Contains(err.Error(), "run scripts/setup") {
		t.Errorf("no model: %v", err)
	}
}

// What an adaptation was merged into says so behind its vocabulary, where whisper's own
// marks begin; the weights as published do not.
func TestConvertMarksWhatIsAdapted(t *testing.T) {
	dir := t.TempDir()
	file := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	a, b := [][]float32{make([]float32, headWidth)}, make([][]float32, 4*headWidth)
	for i := range b {
		b[i] = []float32{0}
	}
	f := Files{
		Model:     file("model.bin", modelFile(smallWhisper())),
		Tokenizer: file("tokenizer.json", []byte(`{"model":{"vocab":{"a":0,"<|endoftext|>":1}}}`)),
		Out:       filepath.Join(dir, "out.bin"),
	}
	adapter := file("adapter.safetensors", adapterFile(t, map[string][][]float32{
		"encoder/layer_0/ffn/linear_0.lora_A": a, "encoder/layer_0/ffn/linear_0.lora_B": b,
	}))
	for merge, want := range map[string][]string{
		"":      {"a", "<|endoftext|>"},
		adapter: {"a", "<|endoftext|>", whisper.AdaptedMark},
	} {
		f.Adapter = merge
		if err := Convert(f); err != nil {
			t.Fatal(err)
		}
		out, err := os.ReadFile(f.Out)
		if err != nil {
			t.Fatal(err)
		}
		if got := parseGGML(t, out).tokens; !slices.Equal(got, want) {
			t.Errorf("with the adapter %q the tokens are %q, want %q", merge, got, want)
		}
	}
}

func FuzzReadModel(f *testing.F) {
	f.Add(modelFile([]variable{{"layer/weight", []int{2, 3}, []float32{1, 2, 3, 4, 5, 6}}}))
	f.Fuzz(func(t *testing.T, src []byte) {
		if m, err := ReadModel(src); err == nil {
			for name, v := range m.Variables {
				if len(v.Data) != v.size() {
					t.Errorf("%q has %d numbers for the shape %v", name, len(v.Data), v.Shape)
				}
			}
			_, _ = m.layout()
		}
	})
}

func FuzzReadAdapter(f *testing.F) {
	f.Add([]byte("\x40\x00\x00\x00\x00\x00\x00\x00" + `{"l.lora_A":{"dtype":"F16","shape":[1,1],"data_offsets":[0,2]}}  ` + "\x00\x3c"))
	f.Fuzz(func(t *testing.T, src []byte) {
		layers, err := ReadAdapter(src)
		for name, l := range layers {
			if err != nil || len(l.A)%l.Rank != 0 || len(l.B)%l.Rank != 0 {
				t.Errorf("layer %q: %v", name, err)
			}
		}
	})
}

func FuzzReadTokens(f *testing.F) {
	f.Add([]byte(`{"model":{"vocab":{"a":0,"<|endoftext|>":1}}}`))
	f.Fuzz(func(t *testing.T, src []byte) {
		if tokens, err := ReadTokens(src); err == nil && len(tokens) < 2 {
			t.Errorf("%d tokens", len(tokens))
		}
	})
}
