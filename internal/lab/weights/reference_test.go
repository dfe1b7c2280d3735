package weights

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/lab/weights/peek"
)

// How far the two may differ: whisper.cpp keeps weights, keys and values in half
// precision, CTranslate2 computes in single here. The rounding moves all logits of
// a step together, which changes no probability, so that is taken out: what is
// compared is the standard deviation of the differences of a step's logits, which
// span about 40, and the log-probability of each token that was chosen. Measured:
// 0.094 and 0.082 at most.
const (
	maxSpread  = 0.2
	maxLogProb = 0.15
)

// Outside reference: CTranslate2 (PyPI) reads the same wheel, without the
// adaptation. From the same features both must give the same words, and logits
// that differ by no more than rounding.
func TestAgainstCTranslate2(t *testing.T) {
	const wheel = "../../../.cache/weights/ct2"
	dir := t.TempDir()
	model := filepath.Join(dir, "plain.bin")
	if err := Convert(Files{Model: wheel + "/model.bin", Tokenizer: wheel + "/tokenizer.json", Out: model}); err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	info, err := os.Stat(model)
	if err != nil {
		t.Fatal(err)
	}
	if info.Size() != 77704715 {
		t.Errorf("the model file has %d bytes, want 77704715", info.Size())
	}
	for _, name := range []string{"0004-af_heart.flac", "0103-bm_daniel.flac"} {
		sound, err := audio.ReadFile("../../../testdata/audio/" + name)
		if err != nil {
			t.Fatal(err)
		}
		file := func(n string) string { return filepath.Join(dir, n) }
		writeFloats(t, file("samples"), sound)
		writeFloats(t, file("filters"), melFilters())
		ct2 := exec.Command("../../../.cache/reference/bin/python", "testdata/ct2.py", wheel, file("samples"), file("filters"), file("mel"), file("logits"))
		ct2.Stderr = os.Stderr
		out, err := ct2.Output()
		if err != nil {
			t.Fatalf("ctranslate2: %v; run make test, which installs it", err)
		}
		tokens, logits, err := peek.Decode(model, readFloats(t, file("mel")), []int32{50257, 50362})
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Trim(fmt.Sprint(tokens), "[]"); got != strings.TrimSpace(string(out)) || len(tokens) < 3 {
			t.Fatalf("%s: whisper.cpp gives tokens %s, ctranslate2 %s", name, got, out)
		}
		want := readFloats(t, file("logits"))
		vocabulary := len(logits[0])
		if len(want) < len(tokens)*vocabulary {
			t.Fatalf("%s: ctranslate2 gave %d logits for %d steps", name, len(want), len(tokens))
		}
		spread, off := 0.0, 0.0
		for step, token := range tokens {
			theirs := want[step*vocabulary : (step+1)*vocabulary]
			mean, square := 0.0, 0.0
			for i, x := range logits[step] {
				d := float64(x - theirs[i])
				mean += d / float64(vocabulary)
				square += d * d / float64(vocabulary)
			}
			spread = math.Max(spread, math.Sqrt(math.Max(0, square-mean*mean)))
			off = math.Max(off, math.Abs(logProb(logits[step], token)-logProb(theirs, token)))
		}
		t.Logf("%s: %d tokens alike; logits spread by %.3f, log-probabilities differ by %.3f at most", name, len(tokens), spread, off)
		if spread > maxSpread || off > maxLogProb {
			t.Errorf("%s: logits spread by %v, log-probabilities differ by %v; more than %v and %v", name, spread, off, maxSpread, maxLogProb)
		}
	}
}

// logProb returns the log-probability of a token.
func logProb(logits []float32, token int32) float64 {
	top := slices.Max(logits)
	sum := 0.0
	for _, x := range logits {
		sum += math.Exp(float64(x - top))
	}
	return float64(logits[token]-top) - math.Log(sum)
}

func writeFloats(t *testing.T, path string, x []float32) {
	t.Helper()
	var b bytes.Buffer
	if err := binary.Write(&b, binary.LittleEndian, x); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

func readFloats(t *testing.T, path string) []float32 {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float32, len(b)/4)
	if err := binary.Read(bytes.NewReader(b), binary.LittleEndian, x); err != nil {
		t.Fatal(err)
	}
	return x
}
