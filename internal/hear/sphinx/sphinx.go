// Package sphinx is the second witness: CMU PocketSphinx with its US English
// acoustic model. It works on other principles than the first (hidden Markov
// models over phones instead of a neural network over tokens), errs on other
// phrases, and is quick, which makes its agreement worth having.
//
// It cannot decline: held to the grammar, it finds the likeliest phrase in any
// sound.
package sphinx

// #cgo pkg-config: pocketsphinx sphinxbase
// #include <malloc.h>
// #include <stdlib.h>
// #include <pocketsphinx.h>
//
// // A session calls from whichever thread Go has at hand, and glibc would give each its
// // own heap, where what an earlier graph freed stays and helps no other: 110 MiB after
// // 40 minutes of a soak.
// static void wc_one_heap(void) {
// #ifdef M_ARENA_MAX
//     mallopt(M_ARENA_MAX, 1);
// #endif
// }
//
// // What is free within that heap goes back to the system: a graph is thousands of small
// // pieces, and the next one does not fit into the same gaps.
// static void wc_give_back(void) {
// #ifdef __GLIBC__
//     malloc_trim(0);
// #endif
// }
//
// static ps_decoder_t * wc_open(const char * hmm, const char * dict) {
//     cmd_ln_t * config = cmd_ln_init(NULL, ps_args(), TRUE,
//         "-hmm", hmm, "-dict", dict, "-logfn", "/dev/null",
//         "-remove_noise", "no", "-bestpath", "no", NULL);
//     if (config == NULL) return NULL;
//     ps_decoder_t * ps = ps_init(config);
//     cmd_ln_free_r(config);
//     return ps;
// }
//
// static fsg_model_t * wc_graph(ps_decoder_t * ps, const char * name, int n_states) {
//     cmd_ln_t * config = ps_get_config(ps);
//     return fsg_model_init(name, ps_get_logmath(ps), cmd_ln_float32_r(config, "-lw"), n_states);
// }
import "C"

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"unsafe"

	"waycall/internal/advice"
	"waycall/internal/hear"
	"waycall/internal/phrase"
)

// The acoustic model and its dictionary, as Debian's package pocketsphinx-en-us
// installs them.
const (
	modelDir   = "/usr/share/pocketsphinx/model/en-us/en-us"
	dictionary = "/usr/share/pocketsphinx/model/en-us/cmudict-en-us.dict"
)

// Recogniser is a loaded recogniser. Its methods may be called from one
// goroutine at a time.
type Recogniser struct {
	ps     *C.ps_decoder_t
	loaded []graph // the one used last stands last
	count  int
	buffer []int16
}

// graph is an automaton as pocketsphinx has it.
type graph struct {
	of   *phrase.Automaton
	name string // what pocketsphinx knows it by
}

// mostLoaded is how many graphs are kept. One takes some 9 MB, and loading one again
// 16 ms: a session is at one place, with what comes next made ready beside it.
const mostLoaded = 4

// Open loads the recogniser with the words of the lexicon.
func Open(lex phrase.Lexicon) (*Recogniser, error) {
	C.wc_one_heap()
	dict, err := writeDictionary(lex)
	if err != nil {
		return nil, err
	}
	defer os.Remove(dict)
	if _, err := os.Stat(modelDir); err != nil {
		return nil, advice.Errorf("run scripts/setup or install pocketsphinx-en-us", "second witness: no acoustic model at %s", modelDir)
	}
	hmm, file := C.CString(modelDir), C.CString(dict)
	defer C.free(unsafe.Pointer(hmm))
	defer C.free(unsafe.Pointer(file))
	ps := C.wc_open(hmm, file)
	if ps == nil {
		return nil, advice.New("second witness: pocketsphinx would not start", "reinstall pocketsphinx-en-us")
	}
	return &Recogniser{ps: ps}, nil
}

// Close frees the recogniser.
func (r *Recogniser) Close() { C.ps_free(r.ps) }

// writeDictionary makes a dictionary of the lexicon's words alone: those with
// pronunciations of ours, and the rest from the recogniser's own dictionary.
func writeDictionary(lex phrase.Lexicon) (string, error) {
	own, err := os.ReadFile(dictionary)
	if err != nil {
		return "", advice.Errorf("run scripts/setup or install pocketsphinx-en-us", "second witness: %w", err)
	}
	known := map[string][]string{}
	for _, line := range strings.Split(string(own), "\n") {
		if w, phones, ok := strings.Cut(line, " "); ok {
			w, _, _ = strings.Cut(w, "(")
			if _, wanted := lex[w]; wanted {
				known[w] = append(known[w], strings.TrimSpace(phones))
			}
		}
	}
	var b strings.Builder
	words := make([]string, 0, len(lex))
	for w := range lex {
		words = append(words, w)
	}
	slices.Sort(words)
	for _, w := range words {
		said := known[w]
		if p := lex[w]; len(p) > 0 {
			said = nil
			for _, phones := range p {
				said = append(said, strings.Join(phones, " "))
			}
		}
		if len(said) == 0 {
			return "", advice.Errorf("add one to grammar/lexicon.txt", "second witness: no pronunciation of %q", w)
		}
		for i, phones := range said {
			if i == 0 {
				fmt.Fprintf(&b, "%s %s\n", w, phones)
			} else {
				fmt.Fprintf(&b, "%s(%d) %s\n", w, i+1, phones)
			}
		}
	}
	f, err := os.CreateTemp("", "waycall-*.dict")
	if err != nil {
		return "", advice.Errorf("make room in the temporary folder", "second witness: %w", err)
	}
	if _, err = f.WriteString(b.String()); err == nil {
		err = f.Close()
	}
	if err != nil {
		os.Remove(f.Name())
		return "", advice.Errorf("make room in the temporary folder", "second witness: %w", err)
	}
	return f.Name(), nil
}

// Prepare loads an automaton ahead of its first use.
func (r *Recogniser) Prepare(a *phrase.Automaton) error {
	_, err := r.search(a)
	return err
}

// search loads the automaton as a finite state grammar and returns the name
// that pocketsphinx knows it by.
func (r *Recogniser) search(a *phrase.Automaton) (string, error) {
	if i := slices.IndexFunc(r.loaded, func(g graph) bool { return g.of == a }); i >= 0 {
		g := r.loaded[i]
		r.loaded = append(slices.Delete(r.loaded, i, i+1), g)
		return g.name, nil
	}
	if len(r.loaded) == mostLoaded {
		c := C.CString(r.loaded[0].name)
		C.ps_unset_search(r.ps, c)
		C.free(unsafe.Pointer(c))
		r.loaded = slices.Delete(r.loaded, 0, 1)
		C.wc_give_back()
	}
	r.count++
	name := fmt.Sprintf("scope%d", r.count)
	c := C.CString(name)
	defer C.free(unsafe.Pointer(c))
	n := len(a.States)
	g := C.wc_graph(r.ps, c, C.int(n+1)) // one state more, where every phrase ends
	if g == nil {
		return "", advice.New("second witness: out of memory for a grammar", "close other programs")
	}
	defer C.fsg_model_free(g)
	g.start_state, g.final_state = 0, C.int32(n)
	for from, s := range a.States {
		// Each way on is equally likely, as in a JSGF grammar without weights.
		ways := len(s.Arcs)
		if s.Final {
			ways++
		}
		logp := C.logmath_log(g.lmath, C.float64(1/float64(max(1, ways))))
		for _, arc := range s.Arcs {
			w := C.CString(arc.Word)
			C.fsg_model_trans_add(g, C.int32(from), C.int32(arc.To), C.int32(float64(logp)*float64(g.lw)), C.fsg_model_word_add(g, w))
			C.free(unsafe.Pointer(w))
		}
		if s.Final {
			C.fsg_model_null_trans_add(g, C.int32(from), C.int32(n), C.int32(float64(logp)*float64(g.lw)))
		}
	}
	if C.ps_set_fsg(r.ps, c, g) != 0 {
		return "", advice.New("second witness: the grammar was refused", "check that grammar/lexicon.txt has every word")
	}
	r.loaded = append(r.loaded, graph{a, name})
	return name, nil
}

// Hear returns the likeliest phrase of the automaton in 16 kHz mono sound. Its
// score is on pocketsphinx's own scale and compares only within one sound. The
// phrase is empty when none was found.
func (r *Recogniser) Hear(a *phrase.Automaton, sound []float32) (hear.Text, error) {
	name, err := r.search(a)
	if err != nil || len(sound) == 0 {
		return hear.Text{}, err
	}
	c := C.CString(name)
	defer C.free(unsafe.Pointer(c))
	if C.ps_set_search(r.ps, c) != 0 {
		return hear.Text{}, advice.New("second witness: the grammar is gone", "start the session again")
	}
	r.buffer = r.buffer[:0]
	for _, x := range sound {
		if math.IsNaN(float64(x)) {
			x = 0
		}
		r.buffer = append(r.buffer, int16(max(-1, min(1, x))*32767))
	}
	if C.ps_start_utt(r.ps) != 0 {
		return hear.Text{}, advice.New("second witness: could not begin a phrase", "start the session again")
	}
	C.ps_process_raw(r.ps, (*C.int16)(&r.buffer[0]), C.size_t(len(r.buffer)), 0, 1)
	C.ps_end_utt(r.ps)
	var score C.int32
	hyp := C.ps_get_hyp(r.ps, &score)
	if hyp == nil {
		return hear.Text{}, nil
	}
	return hear.Text{Words: C.GoString(hyp), LogProb: float64(score), Ended: true}, nil
}
