// Package rivals holds the ways of hearing readings that a person would pick if
// there were no waycall, so that the bench can measure them beside it:
//
//   - whisper's plain tiny.en in whisper.cpp, decoding freely as its command line
//     does, and a parse of what it wrote;
//   - the same held to our grammar by whisper.cpp's own grammar sampling;
//   - pocketsphinx alone, held to our grammar;
//   - faster-whisper (CTranslate2, int8) over the same weights, and the same parse.
//
// Each is set up as a careful engineer would: an example prompt where the method
// takes one, a parse that forgives spelling, figures and symbols, and two
// threads. The weights are as published. The prompt is the best of four tried on 60
// phrases of corpus/dev, and the parse knows spellings seen there, so that set
// favours the two that are parsed.
package rivals

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"waycall/internal/hear/sphinx"
	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
)

// Options says where the rivals find what they need.
type Options struct {
	Model   string // plain tiny.en as a ggml file, for whisper.cpp
	CT2     string // folder of the same weights for CTranslate2
	Python  string // interpreter of an environment that has faster-whisper
	Threads int    // for each method; 0 is two
}

// In returns the options for a project whose root is given: the weights where
// scripts/setup and scripts/lab/plain-model put them, and the interpreter that
// scripts/setup --tests made.
func In(root string) Options {
	return Options{
		Model:   filepath.Join(root, "models", "tiny.en-plain-q8_0.bin"),
		CT2:     filepath.Join(root, ".cache", "weights", "ct2"),
		Python:  filepath.Join(root, ".cache", "reference", "bin", "python"),
		Threads: 2,
	}
}

// prompt is given to both whispers as text said before. It shows how readings
// are written down, numbers as words above all: shown figures, whisper invents
// decimal points ("six one four" became 6.14).
const prompt = "Way three, live to earth, greater than nine nine nine megohms. " +
	"Way twelve, ring r n, nought point four seven. R one plus r two, one point oh five. " +
	"Zed s, two hundred and six ohms. Confirm. Skip this one."

// Open readies all four rivals over the grammar. The function it returns frees
// them. An error says which is missing and what to run.
func Open(g *phrase.Grammar, o Options) ([]bench.Method, func(), error) {
	if o.Threads <= 0 {
		o.Threads = 2
	}
	var methods []bench.Method
	var closers []func()
	shut := func() {
		for _, c := range closers {
			c()
		}
	}
	for _, open := range []func(*phrase.Grammar, Options) (bench.Method, func(), error){
		openFree, openGrammar, openSphinx, openFaster,
	} {
		m, c, err := open(g, o)
		if err != nil {
			shut()
			return nil, nil, err
		}
		methods, closers = append(methods, m), append(closers, c)
	}
	return methods, shut, nil
}

// openSphinx is pocketsphinx alone. Held to the grammar it cannot decline: any
// sound becomes its nearest phrase.
func openSphinx(g *phrase.Grammar, _ Options) (bench.Method, func(), error) {
	r, err := sphinx.Open(g.Lexicon())
	if err != nil {
		return bench.Method{}, nil, err
	}
	all := g.Narrow(phrase.Scope{})
	if err := r.Prepare(all); err != nil {
		r.Close()
		return bench.Method{}, nil, err
	}
	return bench.Method{
		Name: "pocketsphinx",
		Note: "pocketsphinx 5prealpha, en-us, our grammar and pronunciations; cannot decline",
		Hear: func(sound []float32) (string, phrase.Meaning, bool, error) {
			t, err := r.Hear(all, sound)
			if err != nil {
				return "", phrase.Meaning{}, false, err
			}
			m, ok := g.Meaning(t.Words)
			return t.Words, m, ok && t.Words != "", nil
		},
	}, r.Close, nil
}

func exists(what, path, help string) error {
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%s: %s is missing; run %s", what, path, help)
	} else if err != nil {
		return fmt.Errorf("%s: %w; check the file", what, err)
	}
	return nil
}
