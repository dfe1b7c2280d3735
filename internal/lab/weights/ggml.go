package weights

import (
	"encoding/binary"
	"fmt"
	"io"
	"maps"
	"slices"
)

// tensorOut is a tensor under the name that whisper.cpp gives it.
type tensorOut struct {
	name   string
	t      Tensor
	single bool // written in single precision
}

// writeGGML writes whisper.cpp's model file, in little-endian:
//
//	u32 "ggml", then 11 u32: vocabulary, audio context, width, heads and layers of
//	the encoder, text context, width, heads and layers of the decoder, mel bands,
//	1 for half precision
//	u32 bands, u32 bins, f32 mel filters
//	u32 count, then for each token: u32 length, bytes
//	for each tensor to the end of the file: u32 rank, u32 length of its name,
//	u32 type (0 f32, 1 f16), u32 for each dimension from the last to the first,
//	name, data
//
// Matrices are in half precision; vectors, biases and the positional embeddings
// in single.
func writeGGML(w io.Writer, m *Model, tokens [][]byte) error {
	layout, err := m.layout()
	if err != nil {
		return err
	}
	out := &emitter{w: w}
	out.u32(0x67676d6c, layout.vocabulary, layout.audioContext, layout.width, layout.heads, layout.encoder,
		layout.textContext, layout.width, layout.heads, layout.decoder, melBands, 1)
	out.u32(melBands, melBins)
	out.put(melFilters())
	out.u32(len(tokens))
	for _, t := range tokens {
		out.u32(len(t))
		out.put(t)
	}
	for _, t := range layout.tensors {
		kind := 1
		if t.single {
			kind = 0
		}
		out.u32(len(t.t.Shape), len(t.name), kind)
		for i := len(t.t.Shape) - 1; i >= 0; i-- {
			out.u32(t.t.Shape[i])
		}
		out.put([]byte(t.name))
		if t.single {
			data := make([]float32, len(t.t.Data))
			for i, h := range t.t.Data {
				data[i] = fromHalf(h)
			}
			out.put(data)
		} else {
			out.put(t.t.Data)
		}
	}
	return out.err
}

// emitter writes and remembers the first failure.
type emitter struct {
	w   io.Writer
	err error
}

func (e *emitter) put(data any) {
	if e.err == nil {
		e.err = binary.Write(e.w, binary.LittleEndian, data)
	}
}

func (e *emitter) u32(values ...int) {
	for _, v := range values {
		e.put(uint32(v))
	}
}

// layout is a whisper model in whisper.cpp's terms.
type layout struct {
	vocabulary, audioContext, textContext, width, heads, encoder, decoder int
	tensors                                                               []tensorOut
}

// headWidth is the width of one attention head in every whisper model.
const headWidth = 64

// layout names the variables as whisper.cpp does and takes apart those that
// CTranslate2 keeps in one.
func (m *Model) layout() (*layout, error) {
	b := &namer{m: m, used: map[string]bool{}}
	l := &layout{}
	embedding := b.get("decoder/embeddings/weight", 2)
	audio := b.get("encoder/position_encodings/encodings", 2)
	text := b.get("decoder/position_encodings/encodings", 2)
	if b.err != nil {
		return nil, b.err
	}
	l.vocabulary, l.width = embedding.Shape[0], embedding.Shape[1]
	l.audioContext, l.textContext = audio.Shape[0], text.Shape[0]
	// whisper.cpp chooses the next token by the embeddings themselves.
	projection, ok := m.Variables["decoder/projection/weight"]
	if !ok || &projection.Data[0] != &embedding.Data[0] {
		return nil, fmt.Errorf("the projection is not the embeddings' own table, which whisper.cpp takes it to be")
	}
	b.used["decoder/projection/weight"] = true
	if l.width%headWidth != 0 {
		return nil, fmt.Errorf("a width of %d is no whole number of heads", l.width)
	}
	l.heads = l.width / headWidth
	b.width = l.width

	b.put("encoder.positional_embedding", audio, true)
	for _, conv := range []string{"conv1", "conv2"} {
		b.put("encoder."+conv+".weight", b.get("encoder/"+conv+"/weight", 3), false)
		bias := b.get("encoder/"+conv+"/bias", 1)
		if b.err == nil {
			bias.Shape = []int{bias.Shape[0], 1}
		}
		b.put("encoder."+conv+".bias", bias, true)
	}
	for ; b.has(fmt.Sprintf("encoder/layer_%d/ffn/linear_0/weight", l.encoder)); l.encoder++ {
		from, to := fmt.Sprintf("encoder/layer_%d", l.encoder), fmt.Sprintf("encoder.blocks.%d", l.encoder)
		b.selfAttention(from+"/self_attention", to+".attn")
		b.feedForward(from+"/ffn", to)
	}
	b.norm("encoder/layer_norm", "encoder.ln_post")

	b.put("decoder.positional_embedding", text, true)
	b.put("decoder.token_embedding.weight", embedding, false)
	for ; b.has(fmt.Sprintf("decoder/layer_%d/ffn/linear_0/weight", l.decoder)); l.decoder++ {
		from, to := fmt.Sprintf("decoder/layer_%d", l.decoder), fmt.Sprintf("decoder.blocks.%d", l.decoder)
		b.selfAttention(from+"/self_attention", to+".attn")
		b.crossAttention(from+"/attention", to+".cross_attn")
		b.feedForward(from+"/ffn", to)
	}
	b.norm("decoder/layer_norm", "decoder.ln")
	if b.err == nil && (l.encoder == 0 || l.decoder == 0) {
		b.err = fmt.Errorf("no layers in it")
	}
	for _, name := range slices.Sorted(maps.Keys(m.Variables)) {
		if b.err == nil && !b.used[name] {
			b.err = fmt.Errorf("variable %q has no place in a whisper model", name)
		}
	}
	l.tensors = b.out
	return l, b.err
}

// namer collects tensors under whisper.cpp's names and remembers the first
// failure. Nothing is dropped unseen: a variable that was never asked for is a
// failure too.
type namer struct {
	m     *Model
	used  map[string]bool
	width int
	out   []tensorOut
	err   error
}

func (b *namer) has(name string) bool { _, ok := b.m.Variables[name]; return ok && b.err == nil }

func (b *namer) get(name string, rank int) Tensor {
	b.used[name] = true
	t, ok := b.m.Variables[name]
	if b.err == nil && (!ok || len(t.Shape) != rank) {
		b.err = fmt.Errorf("variable %q is missing or has the wrong shape", name)
	}
	return t
}

func (b *namer) put(name string, t Tensor, single bool) {
	if b.err == nil && !t.finite() {
		b.err = fmt.Errorf("%s holds a number that is not finite", name)
	}
	if b.err == nil {
		b.out = append(b.out, tensorOut{name, t, single})
	}
}

// part puts rows of a stacked matrix or bias: those of part k of n.
func (b *namer) part(name string, t Tensor, k, n int) {
	if b.err == nil && t.Shape[0] != n*b.width {
		b.err = fmt.Errorf("%s has %d rows, not %d times %d", name, t.Shape[0], n, b.width)
	}
	if b.err == nil {
		b.put(name, t.rows(k*b.width, (k+1)*b.width), len(t.Shape) == 1)
	}
}

// noKeyBias checks that rows from to to of a stacked bias, the key's, are zero:
// the format has no place for them.
func (b *namer) noKeyBias(from string, bias Tensor, lo, hi int) {
	if b.err != nil {
		return
	}
	for _, h := range bias.Data[lo:hi] {
		if h&0x7fff != 0 {
			b.err = fmt.Errorf("the key bias of %s is not zero, which whisper.cpp cannot hold", from)
			return
		}
	}
}

func (b *namer) norm(from, to string) {
	b.put(to+".weight", b.get(from+"/gamma", 1), true)
	b.put(to+".bias", b.get(from+"/beta", 1), true)
}

func (b *namer) linear(from, to string) {
	b.put(to+".weight", b.get(from+"/weight", 2), false)
	b.put(to+".bias", b.get(from+"/bias", 1), true)
}

// selfAttention takes query, key and value out of one stacked layer. Whisper's
// keys have no bias; that part of the stacked bias is zero and left out.
func (b *namer) selfAttention(from, to string) {
	b.norm(from+"/layer_norm", to+"_ln")
	w, bias := b.get(from+"/linear_0/weight", 2), b.get(from+"/linear_0/bias", 1)
	b.part(to+".query.weight", w, 0, 3)
	b.part(to+".query.bias", bias, 0, 3)
	b.part(to+".key.weight", w, 1, 3)
	b.part(to+".value.weight", w, 2, 3)
	b.part(to+".value.bias", bias, 2, 3)
	b.noKeyBias(from, bias, b.width, 2*b.width)
	b.linear(from+"/linear_1", to+".out")
}

// crossAttention has its query apart, and key and value stacked.
func (b *namer) crossAttention(from, to string) {
	b.norm(from+"/layer_norm", to+"_ln")
	b.linear(from+"/linear_0", to+".query")
	w, bias := b.get(from+"/linear_1/weight", 2), b.get(from+"/linear_1/bias", 1)
	b.part(to+".key.weight", w, 0, 2)
	b.part(to+".value.weight", w, 1, 2)
	b.part(to+".value.bias", bias, 1, 2)
	b.noKeyBias(from, bias, 0, b.width)
	b.linear(from+"/linear_2", to+".out")
}

func (b *namer) feedForward(from, to string) {
	b.norm(from+"/layer_norm", to+".mlp_ln")
	b.linear(from+"/linear_0", to+".mlp.0")
	b.linear(from+"/linear_1", to+".mlp.2")
}
