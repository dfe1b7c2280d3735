// Package whisper is the first witness: OpenAI's whisper model, adapted to the
// trade and run by whisper.cpp through its Go binding.
//
// A phrase is encoded once (Listen). Over the same encoder output it can then
// be decoded freely (Free), which tells whether it was for us at all, and held
// to an automaton (Held), which tells the likeliest phrase that may be said;
// and any text can be scored (Score). All log-probabilities are unmasked, so
// they can be compared with each other.
package whisper

// #include <stdlib.h>
// #include "decode.h"
import "C"

import (
	"math"
	"strings"
	"sync"
	"unicode"
	"unsafe"

	binding "github.com/ggerganov/whisper.cpp/bindings/go"

	"waycall/internal/advice"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/printable"
)

// Model is a loaded speech model. Its methods may be called from one goroutine
// at a time.
type Model struct {
	ctx     *binding.Context
	threads int // for encoding
	decode  int // for decoding
	adapted bool
	c       C.wc_model // the context for what the binding does not show
	eot     int32
	words   vocabulary
	text    []string         // token -> its text
	number  map[string]int32 // the other way round
	masks   map[*phrase.Automaton]*mask
}

var errNothing = advice.New("hearing: nothing may be said here", "check the board")

var quiet = sync.OnceFunc(func() { C.wc_quiet() })

// tiny is the width of the decoder of whisper's smallest model.
const tiny = 384

// Open loads a ggml model file. One that says that it is adapted to the trade
// (AdaptedMark) is taken by its free words; any other English whisper model works too,
// slower and less surely.
func Open(path string, threads int) (*Model, error) {
	quiet()
	adapted, err := checkFile(path)
	if err != nil {
		return nil, err
	}
	ctx := binding.Whisper_init(path)
	if ctx == nil {
		return nil, advice.Errorf("delete it and run scripts/setup, or name another with --model", "speech model %s: damaged or not a whisper model", path)
	}
	m := &Model{
		ctx: ctx, threads: threads, adapted: adapted,
		eot:    int32(ctx.Whisper_token_eot()),
		number: map[string]int32{},
		masks:  map[*phrase.Automaton]*mask{},
	}
	m.c.ctx = (*C.struct_whisper_context)(unsafe.Pointer(ctx))
	// A step of the decoder is too little work to share: between two threads,
	// which wait for each other at every layer, a free decoding took twice as long
	// as on one (28 ms and 13 ms in the median over 57 phrases of corpus/dev, tiny.en,
	// two busy cores). Models that are wider than tiny were not measured.
	m.decode = threads
	if C.whisper_model_n_text_state(m.c.ctx) <= tiny {
		m.decode = 1
	}
	for t := int32(0); t < m.eot; t++ {
		s := ctx.Whisper_token_to_str(binding.Token(t))
		m.text = append(m.text, s)
		if _, known := m.number[s]; !known {
			m.number[s] = t
		}
		// Only letters, blanks and apostrophes occur in phrases.
		if s != "" && strings.Trim(s, " 'abcdefghijklmnopqrstuvwxyz") == "" {
			m.words = append(m.words, spelling{s, t})
		}
	}
	m.words.sort()
	return m, nil
}

// Close frees the model.
func (m *Model) Close() { m.ctx.Whisper_free() }

// Adapted reports whether the model says that it writes phrases as the grammar spells
// them, so that what it hears freely can be compared with the grammar.
func (m *Model) Adapted() bool { return m.adapted }

const (
	rate     = 16000
	perFrame = 320 // samples in one frame of audio context, 20 ms
	// MaxSeconds is the longest sound the model can take in.
	MaxSeconds = 29
)

// audioContext returns the frames of context for a sound. The adapted model
// learnt to work with a context cut to the phrase; a plain one is unsteady
// below about half of its full context.
func (m *Model) audioContext(samples int) int {
	frames := samples/perFrame + 1
	if !m.adapted {
		return min(1500, max(768, (frames+64+63)/64*64))
	}
	// Less tail than this cost readings of corpus/dev, in quiet and in noise.
	const tail, grain, least = 64, 32, 192
	return min(1500, max(least, (frames+tail+grain-1)/grain*grain))
}

// Listen takes in one phrase of 16 kHz mono sound, at most MaxSeconds long.
func (m *Model) Listen(sound []float32) error {
	switch n := len(sound); {
	case n < rate/10:
		return advice.Errorf("say it again", "hearing: %d ms of sound is too short", n*1000/rate)
	case n > MaxSeconds*rate:
		return advice.Errorf("pause between phrases", "hearing: %d s of sound is longer than %d s", n/rate, MaxSeconds)
	}
	for i, x := range sound {
		if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
			return advice.Errorf("check the sound device", "hearing: sample %d is not a number", i)
		}
	}
	e := C.wc_encode(&m.c, (*C.float)(&sound[0]), C.int(len(sound)), C.int(m.audioContext(len(sound))), C.int(m.threads))
	return m.check(e)
}

// Free decodes what Listen took in without any grammar.
func (m *Model) Free() (hear.Text, error) {
	var out C.wc_text
	err := m.check(C.wc_decode(&m.c, nil, C.WC_PHRASE, C.int(m.decode), &out))
	return m.read(&out), err
}

// Note decodes what Listen took in as Free does, and goes on for as long as a note
// may be: 224 tokens, some 150 words, where Free stops at 64.
func (m *Model) Note() (hear.Text, error) {
	var out C.wc_text
	err := m.check(C.wc_decode(&m.c, nil, C.WC_TEXT, C.int(m.decode), &out))
	return m.read(&out), err
}

// Held decodes what Listen took in, held to the automaton's phrases.
func (m *Model) Held(a *phrase.Automaton) (hear.Text, error) {
	c, pin, err := m.pinned(a)
	if err != nil {
		return hear.Text{}, err
	}
	defer pin.Unpin()
	var out C.wc_text
	err = m.check(C.wc_decode(&m.c, c, C.WC_PHRASE, C.int(m.decode), &out))
	return m.read(&out), err
}

// Prepare works out the mask of an automaton ahead of its first use.
func (m *Model) Prepare(a *phrase.Automaton) { m.mask(a) }

func (m *Model) mask(a *phrase.Automaton) *mask {
	k := m.masks[a]
	if k == nil {
		if len(m.masks) >= 8 { // half a megabyte each, and a session needs four
			clear(m.masks)
		}
		k = newMask(a, m.words)
		m.masks[a] = k
	}
	return k
}

// Score returns the log-probability of the words for what Listen took in.
func (m *Model) Score(words string) (hear.Text, error) {
	out, err := m.given(words)
	if err != nil {
		return hear.Text{}, err
	}
	err = m.check(C.wc_score(&m.c, C.int(m.decode), &out))
	return m.read(&out), err
}

// Next returns how likely it is, for what Listen took in, that after words each of
// others begins, or that the text ends there where it is empty, as natural
// log-probabilities.
func (m *Model) Next(words string, others []string) ([]float64, error) {
	text, err := m.given(words)
	if err != nil {
		return nil, err
	}
	token, logprob := make([]C.int32_t, len(others)), make([]C.float, len(others))
	for i, w := range others {
		token[i] = C.int32_t(m.eot)
		if w != "" {
			t, ok := m.tokens(w)
			if !ok {
				return nil, advice.Errorf("check the grammar", "hearing: %q is no word of the speech model", w)
			}
			token[i] = C.int32_t(t[0])
		}
	}
	if len(others) == 0 {
		return nil, nil
	}
	if err := m.check(C.wc_next(&m.c, C.int(m.decode), &text, C.int(len(others)), &token[0], &logprob[0])); err != nil {
		return nil, err
	}
	all := make([]float64, len(others))
	for i, x := range logprob {
		all[i] = float64(x)
	}
	return all, nil
}

// given returns words as a text for the model to go on from.
func (m *Model) given(words string) (out C.wc_text, err error) {
	tokens, ok := m.tokens(words)
	if !ok || len(tokens) > len(out.token) {
		return out, advice.Errorf("shorten the phrase", "hearing: %q is too long to score, or no words", words)
	}
	for i, t := range tokens {
		out.token[i] = C.int32_t(t)
	}
	out.n = C.int32_t(len(tokens))
	return out, nil
}

func (m *Model) check(code C.int) error {
	if code != 0 {
		return advice.Errorf("start the session again", "hearing: the speech model stopped with error %d", int(code))
	}
	return nil
}

func (m *Model) read(t *C.wc_text) hear.Text {
	return hear.Text{
		Words:   m.spelled(t.token[:t.n]),
		LogProb: float64(t.logprob), Weakest: float64(t.weakest), Ended: t.ended == 1,
	}
}

// spelled returns the words that tokens make.
func (m *Model) spelled(tokens []C.int32_t) string {
	var b strings.Builder
	for _, k := range tokens {
		b.WriteString(m.text[k])
	}
	return visible(b.String())
}

// visible is text on one line, without what is hidden in it: among whisper's tokens is
// every byte, and a record with a control character in a note would not be taken for
// waycall's.
func visible(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		if printable.Hidden(r) {
			return -1
		}
		return r
	}, text)
	return strings.Join(strings.Fields(text), " ")
}
