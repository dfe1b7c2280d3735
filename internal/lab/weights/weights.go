// Package weights makes whisper.cpp's model file from the published weights of
// whisper and an adaptation of them.
//
// The weights come as a CTranslate2 model (model.bin and tokenizer.json). The
// adaptation is a low-rank update in a safetensors file, merged into the weights
// before they are written. Both formats are described where they are read
// (ReadModel, ReadAdapter), the written one at writeGGML.
//
// Every file is treated as hostile: sizes are checked against what is there before
// anything is allocated, and a damaged file is an error that says where.
package weights

import (
	"bufio"
	"fmt"
	"io"
	"os"

	"waycall/internal/hear/whisper"
	"waycall/internal/plainfile"
)

// Files names what Convert reads and writes.
type Files struct {
	Model     string // CTranslate2 model.bin
	Tokenizer string // its tokenizer.json
	Adapter   string // safetensors; empty for the weights as published. With one the model says that it is adapted
	Out       string // whisper.cpp model, half precision
}

// Convert writes whisper.cpp's model file, whole or not at all. The same input
// gives the same bytes on every amd64 machine.
func Convert(f Files) error {
	src, err := os.ReadFile(f.Model)
	if err != nil {
		return fmt.Errorf("weights: %w; run scripts/setup, which fetches them", err)
	}
	model, err := ReadModel(src)
	if err != nil {
		return fmt.Errorf("weights %s: %w; delete it and run scripts/setup", f.Model, err)
	}
	if src, err = os.ReadFile(f.Tokenizer); err != nil {
		return fmt.Errorf("tokenizer: %w; run scripts/setup, which fetches it", err)
	}
	tokens, err := ReadTokens(src)
	if err != nil {
		return fmt.Errorf("tokenizer %s: %w; delete it and run scripts/setup", f.Tokenizer, err)
	}
	if f.Adapter != "" {
		if src, err = os.ReadFile(f.Adapter); err != nil {
			return fmt.Errorf("adapter: %w; name another, or none", err)
		}
		layers, err := ReadAdapter(src)
		if err == nil {
			err = model.Merge(layers)
		}
		if err != nil {
			return fmt.Errorf("adapter %s: %w; use the one that belongs to these weights", f.Adapter, err)
		}
	}
	// What a model is, it says itself: behind the end of text, where whisper.cpp has a mark
	// whose name it does not need.
	if f.Adapter != "" {
		tokens = append(tokens, []byte(whisper.AdaptedMark))
	}
	return writeFile(f.Out, func(w io.Writer) error { return writeGGML(w, model, tokens) })
}

// writeFile writes a file whole or not at all.
func writeFile(path string, write func(io.Writer) error) error {
	err := plainfile.Write(path, 0o644, false, func(to io.Writer) error {
		w := bufio.NewWriterSize(to, 1<<20)
		if err := write(w); err != nil {
			return err
		}
		return w.Flush()
	})
	if err != nil {
		return fmt.Errorf("model file %s: %w; make room and try again", path, err)
	}
	return nil
}
