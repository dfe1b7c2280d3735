package whisper

// #include <ggml.h>
import "C"

import (
	"fmt"
	"slices"
)

// What every model of whisper has, by its published code (openai/whisper, model.py and
// audio.py) and by the loader of whisper.cpp.
const (
	fullContext  = 1500  // frames of 20 ms in 30 s
	textContext  = 448   // tokens
	fftBins      = 201   // of a spectrum of 400 samples
	leastTokens  = 50000 // in the vocabulary as it is written; the marks after them are not
	longestToken = 256   // bytes; the longest is one of 128 blanks or signs
	longestName  = 256   // letters of a tensor's name
)

// widths are the sizes that whisper is made in: width of a layer -> heads, layers.
var widths = map[int][2]int{384: {6, 4}, 512: {8, 6}, 768: {12, 12}, 1024: {16, 24}, 1280: {20, 32}}

// shape is the header of a model: what it has of which size.
type shape struct {
	vocabulary                     int
	audio, audioHeads, audioLayers int // frames of context are always fullContext
	text, textHeads, textLayers    int
	audioContext, textContext      int
	mels, kind                     int // kind is ggml's number of how the weights are packed
}

// shape reads the header behind the magic number.
func (m *modelReader) shape() (s shape) {
	for _, n := range []*int{
		&s.vocabulary, &s.audioContext, &s.audio, &s.audioHeads, &s.audioLayers,
		&s.textContext, &s.text, &s.textHeads, &s.textLayers, &s.mels, &s.kind,
	} {
		*n = m.number()
	}
	return s
}

// weightKinds are the ways in which a whole model may be packed: its number in the
// header -> the type of its large tensors. The number is counted in thousands above
// that for the version of the packing, which is at most 2 so far.
var weightKinds = map[int]int{
	0: C.GGML_TYPE_F32, 1: C.GGML_TYPE_F16, 2: C.GGML_TYPE_Q4_0, 3: C.GGML_TYPE_Q4_1,
	7: C.GGML_TYPE_Q8_0, 8: C.GGML_TYPE_Q5_0, 9: C.GGML_TYPE_Q5_1,
	10: C.GGML_TYPE_Q2_K, 11: C.GGML_TYPE_Q3_K, 12: C.GGML_TYPE_Q4_K, 13: C.GGML_TYPE_Q5_K, 14: C.GGML_TYPE_Q6_K,
}

// known reports whether there is such a model. One with fewer layers in its decoder
// than in its encoder is one that was distilled.
func (s shape) known() bool {
	size, ok := widths[s.audio]
	weights, packed := weightKinds[s.kind%1000]
	return ok && packed && s.kind >= 0 && s.kind < 3000 &&
		s.audioHeads == size[0] && s.audioLayers == size[1] &&
		s.text == s.audio && s.textHeads == s.audioHeads && s.textLayers >= 1 && s.textLayers <= s.audioLayers &&
		s.audioContext == fullContext && s.textContext == textContext &&
		slices.Contains([]int{80, 128}, s.mels) && slices.Contains([]int{51864, 51865, 51866}, s.vocabulary) &&
		s.audio%blockSize(weights) == 0
}

func blockSize(kind int) int { return int(C.ggml_blck_size(C.enum_ggml_type(kind))) }

// tensor is the head of a tensor in the file.
type tensor struct {
	kind, dims int
	shape      [4]int // 0 beyond dims
}

// size returns how many bytes the numbers of a tensor take.
func (t tensor) size() int {
	n := 1
	for _, x := range t.shape[:t.dims] {
		n *= x
	}
	return n / blockSize(t.kind) * int(C.ggml_type_size(C.enum_ggml_type(t.kind)))
}

// tensors returns what a model of that shape consists of, by whisper.cpp's names.
func (s shape) tensors() map[string]tensor {
	all := map[string]tensor{}
	add := func(name string, kind int, of ...int) {
		t := tensor{kind: kind, dims: len(of)}
		copy(t.shape[:], of)
		all[name] = t
	}
	weights, f32, folded := weightKinds[s.kind%1000], int(C.GGML_TYPE_F32), int(C.GGML_TYPE_F16)
	if weights == f32 {
		folded = f32
	}
	pair := func(name string, in, out int) { // a matrix with its bias
		add(name+".weight", weights, in, out)
		add(name+".bias", f32, out)
	}
	norm := func(name string, n int) {
		add(name+".weight", f32, n)
		add(name+".bias", f32, n)
	}
	attention := func(name string, n int) {
		norm(name+"_ln", n)
		pair(name+".query", n, n)
		add(name+".key.weight", weights, n, n)
		pair(name+".value", n, n)
		pair(name+".out", n, n)
	}
	feed := func(name string, n int) {
		norm(name+"mlp_ln", n)
		pair(name+"mlp.0", n, 4*n)
		pair(name+"mlp.2", 4*n, n)
	}
	n := s.audio
	add("encoder.positional_embedding", f32, n, s.audioContext)
	add("encoder.conv1.weight", folded, 3, s.mels, n)
	add("encoder.conv1.bias", f32, 1, n)
	add("encoder.conv2.weight", folded, 3, n, n)
	add("encoder.conv2.bias", f32, 1, n)
	norm("encoder.ln_post", n)
	for i := range s.audioLayers {
		layer := fmt.Sprintf("encoder.blocks.%d.", i)
		attention(layer+"attn", n)
		feed(layer, n)
	}
	add("decoder.positional_embedding", f32, n, s.textContext)
	add("decoder.token_embedding.weight", weights, n, s.vocabulary)
	norm("decoder.ln", n)
	for i := range s.textLayers {
		layer := fmt.Sprintf("decoder.blocks.%d.", i)
		attention(layer+"attn", n)
		attention(layer+"cross_attn", n)
		feed(layer, n)
	}
	return all
}
