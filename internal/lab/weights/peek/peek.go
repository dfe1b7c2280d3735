// Package peek lets tests look into whisper.cpp: it decodes greedily from given
// features and returns the logits of every step, which neither the Go binding nor
// waycall itself shows.
package peek

// #include <whisper.h>
import "C"

import (
	"fmt"
	"unsafe"

	binding "github.com/ggerganov/whisper.cpp/bindings/go"
)

// Decode loads the model and decodes log-mel features of 80 bands (band by band)
// from the prompt until the end of text. It returns the tokens and, for each step
// with the one that ended it, the logits of the whole vocabulary.
func Decode(model string, mel []float32, prompt []int32) (tokens []int32, logits [][]float32, err error) {
	const threads, most = 2, 60
	ctx := binding.Whisper_init(model)
	if ctx == nil {
		return nil, nil, fmt.Errorf("whisper.cpp did not load %s", model)
	}
	defer ctx.Whisper_free()
	c := (*C.struct_whisper_context)(unsafe.Pointer(ctx))
	// The binding's own Whisper_set_mel takes the numbers for frames.
	const bands = 80
	if C.whisper_set_mel(c, (*C.float)(&mel[0]), C.int(len(mel)/bands), bands) != 0 {
		return nil, nil, fmt.Errorf("whisper.cpp did not take %d numbers as features", len(mel))
	}
	if err := ctx.Whisper_encode(0, threads); err != nil {
		return nil, nil, err
	}
	vocabulary := int(C.whisper_n_vocab(c))
	feed := make([]binding.Token, len(prompt))
	for i, p := range prompt {
		feed[i] = binding.Token(p)
	}
	for past := 0; ; {
		if err := ctx.Whisper_decode(feed, past, threads); err != nil {
			return nil, nil, err
		}
		past += len(feed)
		rows := unsafe.Slice((*float32)(unsafe.Pointer(C.whisper_get_logits(c))), len(feed)*vocabulary)
		step := append([]float32(nil), rows[(len(feed)-1)*vocabulary:]...)
		logits = append(logits, step)
		best := 0
		for i, x := range step {
			if x > step[best] {
				best = i
			}
		}
		if best == int(ctx.Whisper_token_eot()) || len(tokens) == most {
			return tokens, logits, nil
		}
		tokens = append(tokens, int32(best))
		feed = []binding.Token{binding.Token(best)}
	}
}
