package rivals

// #include <stdlib.h>
// #include "full.h"
import "C"

import (
	"fmt"
	"runtime"
	"strings"
	"unsafe"

	binding "github.com/ggerganov/whisper.cpp/bindings/go"

	"waycall/internal/hear/whisper"
	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
)

// openWhisper loads the plain model into whisper.cpp.
func openWhisper(o Options) (*binding.Context, error) {
	if err := exists("plain whisper", o.Model, "scripts/lab/plain-model"); err != nil {
		return nil, err
	}
	m, err := whisper.Open(o.Model, o.Threads) // checks that the file is whole
	if err != nil {
		return nil, err
	}
	m.Close()
	C.wr_quiet()
	ctx := binding.Whisper_init(o.Model)
	if ctx == nil {
		return nil, fmt.Errorf("plain whisper: %s would not load; delete it and run scripts/lab/plain-model", o.Model)
	}
	return ctx, nil
}

// transcribe returns what whisper.cpp writes for the sound, held to the rules
// when there are any.
func transcribe(ctx *binding.Context, threads int, rules *rules, sound []float32) (string, error) {
	if len(sound) == 0 {
		return "", nil
	}
	hint := C.CString(prompt)
	defer C.free(unsafe.Pointer(hint))
	var g *C.wr_grammar
	if rules != nil {
		// C reads the slices through the struct, so they are pinned for the call.
		var pin runtime.Pinner
		defer pin.Unpin()
		pin.Pin(&rules.from[0])
		pin.Pin(&rules.element[0])
		g = &C.wr_grammar{
			n_rules: C.int32_t(len(rules.from)),
			from:    (*C.int32_t)(&rules.from[0]),
			element: (*C.whisper_grammar_element)(unsafe.Pointer(&rules.element[0])),
		}
	}
	var out [4096]C.char
	code := C.wr_full((*C.struct_whisper_context)(unsafe.Pointer(ctx)), (*C.float)(&sound[0]), C.int(len(sound)), C.int(threads), hint, g, &out[0], C.int(len(out)))
	if code != 0 {
		return "", fmt.Errorf("plain whisper stopped with error %d; run the comparison again", int(code))
	}
	return C.GoString(&out[0]), nil
}

// openFree is whisper as its command line runs it: beam of five, temperature
// fallback, the full context of 30 s.
func openFree(g *phrase.Grammar, o Options) (bench.Method, func(), error) {
	ctx, err := openWhisper(o)
	if err != nil {
		return bench.Method{}, nil, err
	}
	return bench.Method{
		Name: "whisper.cpp, free",
		Note: "whisper.cpp 1.9.1, plain tiny.en q8_0, beam 5, full context, example prompt, then a parse",
		Hear: func(sound []float32) (string, phrase.Meaning, bool, error) {
			text, err := transcribe(ctx, o.Threads, nil, sound)
			words, m, ok := understand(g, text)
			return words, m, ok, err
		},
	}, ctx.Whisper_free, nil
}

// openGrammar is whisper.cpp's grammar sampling. It writes numbers as words: held
// to figures it invents decimal points. It knows what may come next, not where a
// phrase may end, so some phrases stop half way; they mean nothing.
func openGrammar(g *phrase.Grammar, o Options) (bench.Method, func(), error) {
	ctx, err := openWhisper(o)
	if err != nil {
		return bench.Method{}, nil, err
	}
	r := newRules(g.Narrow(phrase.Scope{}))
	return bench.Method{
		Name: "whisper.cpp, GBNF",
		Note: "whisper.cpp 1.9.1, plain tiny.en q8_0, its own grammar sampling at penalty 100, numbers as words, beam 5, full context, example prompt",
		Hear: func(sound []float32) (string, phrase.Meaning, bool, error) {
			text, err := transcribe(ctx, o.Threads, r, sound)
			words := strings.Join(strings.Fields(text), " ")
			m, ok := g.Meaning(words)
			return words, m, ok && words != "", err
		},
	}, ctx.Whisper_free, nil
}
