package whisper

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/plainfile"
)

const remedy = "delete it and run scripts/setup, or name another with --model"

// checkFile finds damage that whisper.cpp would not: it loads a file that is
// cut short without a word, and hears nonsense with it, and one whose header is wrong
// ends the program from within. When PATH.sha256 is beside it, as scripts/setup leaves
// it, the sum is checked too. adapted is whether the model says that it is.
func checkFile(path string) (adapted bool, err error) {
	got, adapted, err := walk(path)
	if err != nil {
		return false, err
	}
	listed, err := readSum(SumFile(path))
	if errors.Is(err, os.ErrNotExist) {
		return adapted, nil
	}
	if err != nil || listed != got {
		return false, advice.Errorf(remedy, "speech model %s: damaged, it does not match %s", path, SumFile(path))
	}
	return adapted, nil
}

// SumFile is where the sum of a model file is kept: its SHA-256 in hexadecimal.
func SumFile(path string) string { return path + ".sha256" }

// readSum returns the sum that a file names first. More than a sum and a name is not read.
func readSum(name string) (string, error) {
	f, err := plainfile.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	line, err := io.ReadAll(io.LimitReader(f, 4096))
	sum, _, _ := strings.Cut(string(line), " ")
	return strings.TrimSpace(sum), err
}

// Sum walks through a model file, whose every part must be as whisper.cpp wants it, and
// returns its SHA-256 in hexadecimal. Which numbers the weights are only the sum tells.
func Sum(path string) (string, error) {
	sum, _, err := walk(path)
	return sum, err
}

// walk is Sum, and says whether the model is adapted.
func walk(path string) (of string, adapted bool, err error) {
	f, err := plainfile.Open(path)
	if err != nil {
		return "", false, advice.Errorf("run scripts/setup to build it, or name another with --model", "speech model %s: %w", path, errors.Unwrap(err))
	}
	defer f.Close()
	sum := sha256.New()
	r := &modelReader{r: bufio.NewReaderSize(io.TeeReader(f, sum), 1<<20)}
	if err := r.check(); err != nil {
		return "", false, advice.Errorf(remedy, "speech model %s: %w", path, err)
	}
	return hex.EncodeToString(sum.Sum(nil)), r.adapted, nil
}

// modelReader walks through a ggml file: a header of 12 numbers, the mel filters, the
// vocabulary, and tensors until the end of the file, each with its shape, type and name.
type modelReader struct {
	r       *bufio.Reader
	cut     bool // the end came too early
	adapted bool // the model says so: AdaptedMark
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
	errNotGGML = advice.New("not a ggml file", "name a ggml-*.bin of whisper")
	errCut     = errors.New("cut short or longer than it should be")
	errHeader  = errors.New("damaged, its header makes no sense")
	errTensors = errors.New("damaged, its tensors are not those of its header")
)

func (m *modelReader) check() error {
	const magic = 0x67676d6c // "ggml"
	if m.number() != magic {
		if m.cut {
			return errCut
		}
		return errNotGGML
	}
	s := m.shape()
	mels, bins := m.number(), m.number()
	if m.cut {
		return errCut
	}
	if !s.known() || mels != s.mels || bins != fftBins {
		return errHeader
	}
	m.skip(mels * bins * 4)
	tokens := m.number()
	if m.cut {
		return errCut
	}
	if tokens < leastTokens || tokens > s.vocabulary {
		return errHeader
	}
	for i := range tokens {
		n := m.number()
		if n < 0 || n > longestToken {
			return errHeader
		}
		if i == tokens-1 && n == len(AdaptedMark) {
			last, err := m.r.Peek(n)
			m.adapted = err == nil && string(last) == AdaptedMark
		}
		m.skip(n)
	}
	return m.tensors(s.tensors())
}

// tensors walks through the tensors, which must be those wanted, each once, and the end.
func (m *modelReader) tensors(wanted map[string]tensor) error {
	for len(wanted) > 0 {
		name, got := m.tensor()
		if m.cut {
			return errCut
		}
		want, known := wanted[name]
		if !known || want != got {
			return errTensors
		}
		delete(wanted, name)
		m.skip(got.size())
		if m.cut {
			return errCut
		}
	}
	if _, err := m.r.Peek(1); err != io.EOF { //nolint:errorlint // as bufio returns it
		return errCut
	}
	return nil
}

// tensor reads the head of a tensor; what makes none is the zero tensor.
func (m *modelReader) tensor() (name string, t tensor) {
	dims, letters, kind := m.number(), m.number(), m.number()
	if m.cut || dims < 1 || dims > len(t.shape) || letters < 1 || letters > longestName {
		return "", t
	}
	t.kind, t.dims = kind, dims
	for i := range dims {
		t.shape[i] = m.number()
	}
	b := make([]byte, letters)
	if _, err := io.ReadFull(m.r, b); err != nil {
		m.cut = true
	}
	return string(b), t
}
