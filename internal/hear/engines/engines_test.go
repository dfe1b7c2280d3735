package engines

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"waycall/grammar"
	"waycall/internal/hear/whisper"
	"waycall/internal/phrase"
)

// A model under the name of waycall's own that does not say that it is adapted is
// refused with what to do: it would be heard with as a plain one, and ask more.
func TestOwnModelIsMarked(t *testing.T) {
	model, err := os.ReadFile("../../../models/" + Model)
	if err != nil {
		t.Fatalf("%v; run make test, which builds it", err)
	}
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	mark := append(binary.LittleEndian.AppendUint32(nil, uint32(len(whisper.AdaptedMark))), whisper.AdaptedMark...)
	at := bytes.Index(model, mark)
	if at < 0 {
		t.Fatal("the built model is not marked")
	}
	model[at+len(mark)-1] ^= 1
	path := filepath.Join(t.TempDir(), Model)
	if err := os.WriteFile(path, model, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, shut, err := Open(g, path, 1); err == nil {
		shut()
		t.Error("it was opened")
	} else if !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "scripts/setup") {
		t.Errorf("%v", err)
	}
}
