package weights

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

// smallWhisper is a whole whisper model of one layer each, 64 wide, with a
// vocabulary of 8. Each number tells its variable and its place.
func smallWhisper() []variable {
	const d = headWidth
	var vars []variable
	add := func(name string, shape ...int) {
		size := 1
		for _, n := range shape {
			size *= n
		}
		v := variable{name, shape, make([]float32, size)}
		for i := range v.data {
			v.data[i] = float32(len(vars)*16 + i%2048/128) // whole below 2048: exact in half precision
		}
		vars = append(vars, v)
	}
	// Whisper's keys have no bias: that part of a stacked one is zero.
	zero := func(lo, hi int) { clear(vars[len(vars)-1].data[lo:hi]) }
	norm := func(name string) { add(name+"/gamma", d); add(name+"/beta", d) }
	linear := func(name string, out, in int) { add(name+"/weight", out, in); add(name+"/bias", out) }
	self := func(name string) {
		norm(name + "/layer_norm")
		linear(name+"/linear_0", 3*d, d)
		zero(d, 2*d)
		linear(name+"/linear_1", d, d)
	}
	feed := func(name string) {
		norm(name + "/layer_norm")
		linear(name+"/linear_0", 4*d, d)
		linear(name+"/linear_1", d, 4*d)
	}
	add("decoder/embeddings/weight", 8, d) // first: modelFile's alias stands for it
	add("decoder/position_encodings/encodings", 5, d)
	self("decoder/layer_0/self_attention")
	norm("decoder/layer_0/attention/layer_norm")
	linear("decoder/layer_0/attention/linear_0", d, d)
	linear("decoder/layer_0/attention/linear_1", 2*d, d)
	zero(0, d)
	linear("decoder/layer_0/attention/linear_2", d, d)
	feed("decoder/layer_0/ffn")
	norm("decoder/layer_norm")
	add("encoder/position_encodings/encodings", 6, d)
	add("encoder/conv1/weight", d, melBands, 3)
	add("encoder/conv1/bias", d)
	add("encoder/conv2/weight", d, d, 3)
	add("encoder/conv2/bias", d)
	self("encoder/layer_0/self_attention")
	feed("encoder/layer_0/ffn")
	norm("encoder/layer_norm")
	return vars
}

// ggmlFile is a written file, taken apart again.
type ggmlFile struct {
	head    [12]uint32
	filters []float32
	tokens  []string
	shape   map[string][]uint32
	data    map[string][]float32
}

func parseGGML(t *testing.T, b []byte) ggmlFile {
	t.Helper()
	c := &cursor{rest: b}
	f := ggmlFile{shape: map[string][]uint32{}, data: map[string][]float32{}}
	for i := range f.head {
		f.head[i] = uint32(c.u32())
	}
	for range c.u32() * c.u32() {
		f.filters = append(f.filters, math.Float32frombits(uint32(c.u32())))
	}
	for range c.u32() {
		f.tokens = append(f.tokens, string(c.take(c.u32())))
	}
	for c.err == nil && len(c.rest) > 0 {
		rank, length, kind := c.u32(), c.u32(), c.u32()
		var shape []uint32
		size := 1
		for range rank {
			shape = append(shape, uint32(c.u32()))
			size *= int(shape[len(shape)-1])
		}
		name := string(c.take(length))
		f.shape[name] = shape
		for range size {
			if kind == 1 {
				f.data[name] = append(f.data[name], fromHalf(uint16(c.u16())))
			} else {
				f.data[name] = append(f.data[name], math.Float32frombits(uint32(c.u32())))
			}
		}
	}
	if c.err != nil {
		t.Fatal(c.err)
	}
	return f
}

func TestWriteGGML(t *testing.T) {
	vars := smallWhisper()
	m, err := ReadModel(modelFile(vars))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := writeGGML(&b, m, [][]byte{[]byte("way"), {0xff, 0}}); err != nil {
		t.Fatal(err)
	}
	f := parseGGML(t, b.Bytes())
	const d = headWidth
	// Order by convert-pt-to-ggml.py of whisper.cpp.
	if want := [12]uint32{0x67676d6c, 8, 6, d, 1, 1, 5, d, 1, 1, melBands, 1}; f.head != want {
		t.Errorf("the header is %v, want %v", f.head, want)
	}
	if !slices.Equal(f.filters, melFilters()) || !slices.Equal(f.tokens, []string{"way", "\xff\x00"}) {
		t.Errorf("%d filter weights and the tokens %q", len(f.filters), f.tokens)
	}
	from := map[string][]float32{}
	for _, v := range vars {
		from[v.name] = v.data
	}
	for _, tt := range []struct {
		to, from string
		lo, hi   int // numbers of it
		shape    []uint32
	}{
		{"decoder.token_embedding.weight", "decoder/embeddings/weight", 0, 8 * d, []uint32{d, 8}},
		{"encoder.conv1.weight", "encoder/conv1/weight", 0, d * melBands * 3, []uint32{3, melBands, d}},
		{"encoder.conv1.bias", "encoder/conv1/bias", 0, d, []uint32{1, d}},
		{"encoder.blocks.0.attn.query.weight", "encoder/layer_0/self_attention/linear_0/weight", 0, d * d, []uint32{d, d}},
		{"encoder.blocks.0.attn.key.weight", "encoder/layer_0/self_attention/linear_0/weight", d * d, 2 * d * d, []uint32{d, d}},
		{"encoder.blocks.0.attn.value.weight", "encoder/layer_0/self_attention/linear_0/weight", 2 * d * d, 3 * d * d, []uint32{d, d}},
		{"encoder.blocks.0.attn.query.bias", "encoder/layer_0/self_attention/linear_0/bias", 0, d, []uint32{d}},
		{"encoder.blocks.0.attn.value.bias", "encoder/layer_0/self_attention/linear_0/bias", 2 * d, 3 * d, []uint32{d}},
		{"encoder.blocks.0.attn.out.weight", "encoder/layer_0/self_attention/linear_1/weight", 0, d * d, []uint32{d, d}},
		{"decoder.blocks.0.cross_attn.query.weight", "decoder/layer_0/attention/linear_0/weight", 0, d * d, []uint32{d, d}},
		{"decoder.blocks.0.cross_attn.key.weight", "decoder/layer_0/attention/linear_1/weight", 0, d * d, []uint32{d, d}},
		{"decoder.blocks.0.cross_attn.value.weight", "decoder/layer_0/attention/linear_1/weight", d * d, 2 * d * d, []uint32{d, d}},
		{"decoder.blocks.0.cross_attn.value.bias", "decoder/layer_0/attention/linear_1/bias", d, 2 * d, []uint32{d}},
		{"decoder.blocks.0.cross_attn.out.bias", "decoder/layer_0/attention/linear_2/bias", 0, d, []uint32{d}},
		{"decoder.blocks.0.mlp.0.weight", "decoder/layer_0/ffn/linear_0/weight", 0, 4 * d * d, []uint32{d, 4 * d}},
		{"decoder.blocks.0.mlp.2.weight", "decoder/layer_0/ffn/linear_1/weight", 0, 4 * d * d, []uint32{4 * d, d}},
		{"decoder.blocks.0.mlp_ln.bias", "decoder/layer_0/ffn/layer_norm/beta", 0, d, []uint32{d}},
		{"encoder.ln_post.weight", "encoder/layer_norm/gamma", 0, d, []uint32{d}},
		{"decoder.ln.bias", "decoder/layer_norm/beta", 0, d, []uint32{d}},
	} {
		if got := f.data[tt.to]; !slices.Equal(got, from[tt.from][tt.lo:tt.hi]) || !slices.Equal(f.shape[tt.to], tt.shape) {
			t.Errorf("%s, of shape %v, is not %s[%d:%d] of shape %v", tt.to, f.shape[tt.to], tt.from, tt.lo, tt.hi, tt.shape)
		}
	}
	for name := range f.data {
		if strings.HasSuffix(name, ".key.bias") {
			t.Errorf("%s is there, which whisper does not have", name)
		}
	}
}

// Any part of the model that is missing, left over or damaged is an error, never
// a file that is wrong in silence.
func TestWriteGGMLRefuses(t *testing.T) {
	convert := func(vars []variable) error {
		m, err := ReadModel(modelFile(vars))
		if err == nil {
			err = writeGGML(&bytes.Buffer{}, m, nil)
		}
		return err
	}
	if err := convert(smallWhisper()); err != nil {
		t.Fatal(err)
	}
	// Without the first, the alias stands for another table.
	for i, v := range smallWhisper() {
		if err := convert(slices.Delete(smallWhisper(), i, i+1)); err == nil {
			t.Errorf("without %s it was converted", v.name)
		}
	}
	find := func(vars []variable, name string) *variable {
		i := slices.IndexFunc(vars, func(v variable) bool { return v.name == name })
		if i < 0 {
			t.Fatalf("no %s in the model of this test", name)
		}
		return &vars[i]
	}
	for want, change := range map[string]func(vars []variable) []variable{
		`"decoder/extra/weight" has no place`: func(vars []variable) []variable {
			return append(vars, variable{"decoder/extra/weight", []int{1}, []float32{1}})
		},
		"is not finite": func(vars []variable) []variable {
			find(vars, "encoder/layer_0/ffn/linear_1/weight").data[77] = float32(math.NaN())
			return vars
		},
		"encoder.conv2.bias holds a number that is not finite": func(vars []variable) []variable {
			find(vars, "encoder/conv2/bias").data[0] = float32(math.Inf(-1))
			return vars
		},
		"key bias of encoder/layer_0/self_attention is not zero": func(vars []variable) []variable {
			find(vars, "encoder/layer_0/self_attention/linear_0/bias").data[headWidth] = 0.5
			return vars
		},
		"key bias of decoder/layer_0/attention is not zero": func(vars []variable) []variable {
			find(vars, "decoder/layer_0/attention/linear_1/bias").data[headWidth-1] = -1
			return vars
		},
		"not the embeddings' own table": func(vars []variable) []variable {
			slices.Reverse(vars)
			return vars
		},
		"rows, not 3 times 64": func(vars []variable) []variable {
			v := find(vars, "encoder/layer_0/self_attention/linear_0/weight")
			v.shape[0], v.data = v.shape[0]-1, v.data[headWidth:]
			return vars
		},
	} {
		if err := convert(change(smallWhisper())); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	other := bytes.Replace(modelFile(smallWhisper()), []byte("WhisperSpec"), []byte("AnotherSpec"), 1)
	if _, err := ReadModel(other); err == nil || !strings.Contains(err.Error(), "AnotherSpec") {
		t.Errorf("another kind of model: %v", err)
	}
}

// Outside reference: weights of the filters that OpenAI publishes with whisper
// (mel_filters.npz, read from the copy in the PyPI package mlx-whisper 0.4.3).
// All 16,080 were compared once and differ by 1.9e-9 at most.
func TestMelFiltersAsPublished(t *testing.T) {
	f := melFilters()
	for _, tt := range []struct {
		band, bin int
		want      float64
	}{
		{0, 0, 0}, {0, 1, 0.024862595}, {0, 2, 0},
		{1, 2, 0.022871772}, {20, 20, 0.013890394},
		{40, 42, 0.0054111048}, {40, 43, 0.014735566}, {40, 44, 0.00651819},
		{60, 93, 0.006591093}, {79, 192, 0.0031647119}, {79, 199, 0.000448759}, {79, 200, 0},
	} {
		if got := float64(f[tt.band*melBins+tt.bin]); math.Abs(got-tt.want) > 3e-9 {
			t.Errorf("band %d has %v at %v Hz, want %v", tt.band, got, tt.bin*melRate/melFFT, tt.want)
		}
	}
}

// Outside reference: the tokens that OpenAI publishes with whisper
// (gpt2.tiktoken, read from the same package) as the SHA-256 of each token's
// u32 length and its bytes, in the order of their numbers.
func TestTokensAsPublished(t *testing.T) {
	const published = "7cff19521369c7f5f5ed77ed7b730e7491800afb47d01d341e12b3ca740d8543"
	src, err := os.ReadFile("../../../.cache/weights/ct2/tokenizer.json")
	if err != nil {
		t.Fatalf("%v; run make test, which fetches it", err)
	}
	tokens, err := ReadTokens(src)
	if err != nil {
		t.Fatal(err)
	}
	if last := fmt.Sprintf("%d %s", len(tokens), tokens[len(tokens)-1]); last != "50257 <|endoftext|>" {
		t.Errorf("the number of tokens and the last are %s", last)
	}
	sum := sha256.New()
	for _, token := range tokens[:len(tokens)-1] {
		_ = binary.Write(sum, binary.LittleEndian, uint32(len(token)))
		sum.Write(token)
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != published {
		t.Errorf("the tokens' sum is %s, not that of the published ones", got)
	}
}
