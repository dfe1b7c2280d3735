package whisper

import (
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
		err := checkFile(path)
		if err != nil && (!strings.HasPrefix(err.Error(), "speech model "+path) || !strings.Contains(err.Error(), "scripts/setup") || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%v", err)
		}
		// What is whole is not any more with its last byte gone.
		if err == nil {
			if err := os.WriteFile(path, file[:len(file)-1], 0o600); err != nil {
				t.Fatal(err)
			}
			if checkFile(path) == nil {
				t.Errorf("%d bytes are a model, and %d, too", len(file), len(file)-1)
			}
		}
	})
}

func TestSmallModelIsOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "model.bin")
	if err := os.WriteFile(path, model(), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := checkFile(path); err != nil {
		t.Error("what the fuzzing begins with is not walked through:", err)
	}
}
