package whisper

// #include <ggml.h>
import "C"

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

// checkFile finds damage that whisper.cpp would not: it loads a file that is
// cut short without a word, and hears nonsense with it.
//
// A ggml file is a header of 12 numbers, the mel filters, the vocabulary, and
// tensors until the end of the file, each with its shape, type and name. When
// PATH.sha256 is beside it, as scripts/setup leaves it, the sum is checked too.
func checkFile(path string) error {
	const remedy = "delete it and run scripts/setup, or name another with --model"
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("speech model %s: %w; run scripts/setup to build it, or name another with --model", path, errors.Unwrap(err))
	}
	defer f.Close()
	sum := sha256.New()
	r := &modelReader{r: bufio.NewReaderSize(io.TeeReader(f, sum), 1<<20)}
	if err := r.check(); err != nil {
		return fmt.Errorf("speech model %s: %w; %s", path, err, remedy)
	}
	want, err := os.ReadFile(path + ".sha256")
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	got := hex.EncodeToString(sum.Sum(nil))
	if listed, _, _ := strings.Cut(string(want), " "); err != nil || strings.TrimSpace(listed) != got {
		return fmt.Errorf("speech model %s: damaged, it does not match %s.sha256; %s", path, path, remedy)
	}
	return nil
}

// modelReader walks through a ggml file.
type modelReader struct {
	r   *bufio.Reader
	cut bool // the end came too early
}

func (m *modelReader) number() int {
	var b [4]byte
	if _, err := io.ReadFull(m.r, b[:]); err != nil {
		m.cut = true
	}
	return int(int32(binary.LittleEndian.Uint32(b[:])))
}

func (m *modelReader) skip(n int) {
	if m.cut || n < 0 {
		m.cut = true
		return
	}
	for n > 0 { // in pieces: Discard takes an int, a tensor may be larger than a buffer
		k, err := m.r.Discard(min(n, 1<<20))
		if n -= k; err != nil {
			m.cut = true
			return
		}
	}
}

var (
	errNotGGML = errors.New("not a ggml file; name a ggml-*.bin of whisper")
	errCut     = errors.New("cut short or longer than it should be")
	errHeader  = errors.New("damaged, its header makes no sense")
)

func (m *modelReader) check() error {
	const magic = 0x67676d6c // "ggml"
	if m.number() != magic {
		if m.cut {
			return errCut
		}
		return errNotGGML
	}
	vocabulary := m.number()
	for range 10 {
		m.number()
	}
	mels, bins := m.number(), m.number()
	if m.cut {
		return errCut
	}
	if vocabulary < 50000 || vocabulary > 60000 || mels < 1 || mels > 256 || bins < 1 || bins > 1024 {
		return errHeader
	}
	m.skip(mels * bins * 4)
	tokens := m.number()
	if m.cut {
		return errCut
	}
	if tokens < 1 || tokens > vocabulary {
		return errHeader
	}
	for range tokens {
		m.skip(m.number())
	}
	for n := 0; ; n++ {
		if _, err := m.r.Peek(1); err == io.EOF && n > 0 && !m.cut {
			return nil
		}
		if m.cut {
			return errCut
		}
		if err := m.tensor(); err != nil {
			return err
		}
	}
}

func (m *modelReader) tensor() error {
	dims, name, kind := m.number(), m.number(), m.number()
	if m.cut {
		return errCut
	}
	if dims < 1 || dims > 4 || name < 1 || name > 256 || kind < 0 || kind >= C.GGML_TYPE_COUNT {
		return errHeader
	}
	block := int(C.ggml_blck_size(C.enum_ggml_type(kind)))
	size := int(C.ggml_type_size(C.enum_ggml_type(kind)))
	values := 1
	for range dims {
		n := m.number()
		if n < 1 || n > 1<<24 || values > 1<<32/n {
			return errHeader
		}
		values *= n
	}
	if block < 1 || size < 1 || values%block != 0 {
		return errHeader
	}
	m.skip(name)
	m.skip(values / block * size)
	if m.cut {
		return errCut
	}
	return nil
}
