// Package bank is waycall's voice made of phrases that were rendered beforehand by a
// natural one: what waycall says is closed, as what it hears is. Phrases are found
// longest first and joined; what the bank lacks, another voice says.
//
// This file reads the bank. It is a zip file: voice.json, the index, and for each phrase a
// file of ITU-T G.711 mu-law at 16 kHz, mono, without a head: small, and sound at once, so
// nothing need be kept decoded. docs/voice.md says how it is made.
package bank

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/audio"
	"waycall/internal/plainfile"
)

// File is the name of the bank, which lies beside the models.
const File = "voice.zip"

const (
	version     = 1
	indexName   = "voice.json"
	largestFile = 16 << 20 // bytes; the bank is kept below 12 MB
	mostWords   = 40       // of one phrase
)

// index is what voice.json says.
type index struct {
	Version int               `json:"version"`
	Voice   string            `json:"voice"`   // its name with the renderer
	Phrases map[string]string `json:"phrases"` // the file of each, by its text
}

// store is a bank that was read and found whole.
type store struct {
	voice   string
	clips   map[string][]byte // mu-law, by key
	longest int               // words of the longest phrase
}

// read reads a bank and holds every file in it against its sum.
func read(path string) (*store, error) {
	const again = "install waycall again, or choose the other voice with --voice espeak"
	data, err := readFile(path)
	if err != nil {
		return nil, advice.Errorf(again, "the bank of phrases: %w", err)
	}
	s, err := parse(data)
	if err != nil {
		return nil, advice.Errorf(again, "the bank of phrases, %s: %w", path, err)
	}
	return s, nil
}

func readFile(path string) ([]byte, error) {
	f, err := plainfile.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, err
	case info.Size() > largestFile:
		return nil, fmt.Errorf("%s has %d bytes, and a bank at most %d", path, info.Size(), largestFile)
	}
	return io.ReadAll(io.LimitReader(f, largestFile))
}

func parse(data []byte) (*store, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, fmt.Errorf("damaged: %w", err)
	}
	files := map[string]*zip.File{}
	var size uint64
	for _, f := range z.File {
		// Stored as they are, and each once, they take no more memory than the bank.
		if f.Method != zip.Store {
			return nil, fmt.Errorf("damaged: %q is packed", f.Name)
		}
		files[f.Name] = f
		if size += f.UncompressedSize64; size > uint64(len(data)) {
			return nil, errors.New("damaged: its files are larger than it is")
		}
	}
	raw, err := content(files[indexName])
	if err != nil {
		return nil, fmt.Errorf("damaged: its index: %w", err)
	}
	var x index
	if err := json.Unmarshal(raw, &x); err != nil {
		return nil, fmt.Errorf("damaged: its index: %w", err)
	}
	if x.Version != version {
		return nil, fmt.Errorf("it is of version %d, and this waycall speaks from version %d", x.Version, version)
	}
	s := &store{voice: x.Voice, clips: map[string][]byte{}}
	for text, name := range x.Phrases {
		words := cut(text)
		if len(words) == 0 || len(words) > mostWords {
			return nil, fmt.Errorf("damaged: a phrase of %d words", len(words))
		}
		clip, err := content(files[name])
		if err != nil {
			return nil, fmt.Errorf("damaged: the phrase %q: %w", text, err)
		}
		delete(files, name)
		s.clips[key(words, words[len(words)-1].mark)] = clip
		s.longest = max(s.longest, len(words))
	}
	if len(s.clips) == 0 {
		return nil, errors.New("it has no phrases")
	}
	return s, nil
}

// content returns what is in a file of the bank; a wrong sum is an error.
func content(f *zip.File) ([]byte, error) {
	if f == nil {
		return nil, errors.New("not there, or there for another phrase")
	}
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return io.ReadAll(r)
}

// linear is the sample of each code of mu-law, from -1 to 1.
var linear = func() (table [256]float32) {
	for code := range table {
		bits := ^byte(code)
		x := (int(bits&15)<<3+132)<<(bits>>4&7) - 132
		if bits&128 != 0 {
			x = -x
		}
		table[code] = float32(x) / (1 << 15)
	}
	return table
}()

// clip returns the sound of the phrase of that key.
func (s *store) clip(key string) audio.Clip {
	c := make(audio.Clip, len(s.clips[key]))
	for i, code := range s.clips[key] {
		c[i] = linear[code]
	}
	return c
}

// key is how a phrase is found: its words with the marks between them, and the mark at
// its end, which gives the melody.
func key(words []word, last mark) string {
	var b strings.Builder
	for i, w := range words {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(w.text)
		m := w.mark
		if i == len(words)-1 {
			m = last
		}
		if m != none {
			b.WriteByte(byte(m))
		}
	}
	return b.String()
}
