package whisper

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// model is a file in the form of a ggml model, with one token and one tensor of
// four numbers.
func model(more ...int32) []byte {
	var b bytes.Buffer
	put := func(n ...int32) {
		for _, n := range n {
			b.Write(binary.LittleEndian.AppendUint32(nil, uint32(n)))
		}
	}
	put(0x67676d6c, 51864, 1500, 384, 6, 4, 448, 384, 6, 4, 80, 1) // "ggml", then sizes
	put(1, 1)                                                      // mel filters
	put(0)                                                         // one number
	put(1, 2)                                                      // tokens, bytes of the first
	b.WriteString("ab")
	put(1, 3, 0, 4) // dimensions, letters of the name, kind (F32), numbers
	b.WriteString("t.w")
	put(1, 2, 3, 4)
	put(more...)
	return b.Bytes()
}

// Whatever file is named as a model is walked through to its end, or refused with
// what to do; it never goes on to whisper.cpp, which trusts it.
func FuzzCheckFile(f *testing.F) {
	f.Add(model())
	f.Add(model(1, 3))
	f.Add(model(4, 3, 8, 1<<24, 1<<24, 1<<24, 1<<24))
	f.Add(model(1, 1<<30, 0, 1))
	f.Add([]byte("lmgg"))
	f.Fuzz(func(t *testing.T, file []byte) {
		path := filepath.Join(t.TempDir(), "model.bin")
		if err := os.WriteFile(path, file, 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := checkFile(path)
		if err != nil && (!strings.HasPrefix(err.Error(), "speech model "+path) || !strings.Contains(err.Error(), "scripts/setup") || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%v", err)
		}
		// What is whole is not any more with its last byte gone.
		if err == nil {
			if err := os.WriteFile(path, file[:len(file)-1], 0o600); err != nil {
				t.Fatal(err)
			}
			if _, err := checkFile(path); err == nil {
				t.Errorf("%d bytes are a model, and %d, too", len(file), len(file)-1)
			}
		}
	})
}

// structure is what checkFile does to find out whether a file is a model, without its sum.
func structure(model []byte) error {
	r := &modelReader{r: bufio.NewReaderSize(bytes.NewReader(model), 1<<16)}
	return r.check()
}

// A flipped bit in what says how much of what there is never reaches whisper.cpp, which
// would end the program from within: any in the header and the counts, and any in the
// head of any tensor. Only the sum tells of one in the numbers themselves; with such
// a one the model still loads.
func TestFlippedBits(t *testing.T) {
	whole, err := os.ReadFile(modelFile)
	if err != nil {
		t.Fatalf("%v; run make test, which builds it", err)
	}
	if err := structure(whole); err != nil {
		t.Fatal("the model is not one: ", err)
	}
	refused := func(what string, at int, bit byte) {
		t.Helper()
		whole[at] ^= bit
		if structure(whole) == nil {
			t.Errorf("%s: byte %d, bit %d: was taken", what, at, bit)
		}
		whole[at] ^= bit
	}
	for at := range 56 {
		for bit := range 8 {
			refused("header", at, 1<<bit)
		}
	}
	vocabulary := 56 + 80*fftBins*4
	for at := vocabulary; at < vocabulary+8; at++ {
		for bit := range 8 {
			refused("vocabulary", at, 1<<bit)
		}
	}
	heads := headsOf(whole, vocabulary)
	if len(heads) != 167 {
		t.Fatalf("there are %d tensors", len(heads))
	}
	for n, h := range heads {
		for k := range 3 { // another three bits of each
			at := h[0] + (7*n+11*k)%(h[1]-h[0])
			refused("tensor", at, 1<<((n+k)%8))
		}
	}
	for _, at := range []int{60, vocabulary + 8, heads[3][1] + 5, len(whole) - 2} {
		path := filepath.Join(t.TempDir(), "waycall.bin")
		whole[at] ^= 2
		if err := os.WriteFile(path, whole, 0o600); err != nil {
			t.Fatal(err)
		}
		whole[at] ^= 2
		m, err := Open(path, 1)
		if err != nil {
			t.Errorf("byte %d: %v", at, err)
			continue
		}
		m.Close()
	}
}

// headsOf returns where the head of each tensor begins and where its numbers do. It
// reads the file by itself, as it is that which is tried here.
func headsOf(b []byte, at int) (heads [][2]int) {
	number := func() int {
		at += 4
		return int(binary.LittleEndian.Uint32(b[at-4:]))
	}
	for range number() {
		n := number()
		at += n
	}
	for at < len(b) {
		begin := at
		dims, letters, kind := number(), number(), number()
		n := 1
		for range dims {
			n *= number()
		}
		at += letters
		heads = append(heads, [2]int{begin, at})
		switch kind {
		case 0:
			at += 4 * n
		case 1:
			at += 2 * n
		default: // 32 numbers of a byte, and what they are multiplied by
			at += n / 32 * 34
		}
	}
	return heads
}

// What is heard freely goes into the record as it is: on one line, and nothing hidden.
func TestVisible(t *testing.T) {
	for text, want := range map[string]string{
		" the neutral was  trapped": "the neutral was trapped", "a\x1b[2Jb\u202e\x00c": "a[2Jbc",
		"one\ntwo\u2028three\u00a0four": "one two three four",
	} {
		if got := visible(text); got != want {
			t.Errorf("%q became %q", text, got)
		}
	}
}
