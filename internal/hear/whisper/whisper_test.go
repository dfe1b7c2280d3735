package whisper

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	binding "github.com/ggerganov/whisper.cpp/bindings/go"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

const modelFile = "../../../models/tiny.en-waycall-q8_0.bin"

func open(t testing.TB) *Model {
	t.Helper()
	m, err := Open(modelFile, 2)
	if err != nil {
		t.Fatalf("%v (make test does that)", err)
	}
	t.Cleanup(m.Close)
	return m
}

func listen(t testing.TB, m *Model, file string) {
	t.Helper()
	clip, err := audio.ReadFile(filepath.Join("../../../testdata/audio", file))
	if err != nil {
		t.Fatal(err)
	}
	if err := m.Listen(clip); err != nil {
		t.Fatal(err)
	}
}

func load(t testing.TB) *phrase.Grammar {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// recorded are phrases of testdata/audio with their words.
var recorded = map[string]string{
	"0004-af_heart.flac":  "over nine nine nine",
	"0019-af_sarah.flac":  "way fourteen live and neutral to earth zero point four",
	"0065-am_fenrir.flac": "no two hundred and six",
	"0067-af_nova.flac":   "confirm",
}

func TestFreeAndHeld(t *testing.T) {
	m, g := open(t), load(t)
	if !m.Adapted() {
		t.Fatal("the built model is not taken to be adapted")
	}
	all := g.Narrow(phrase.Scope{})
	for file, want := range recorded {
		listen(t, m, file)
		free, err := m.Free()
		if err != nil || free.Words != want || !free.Ended {
			t.Errorf("%s: heard freely %+v, %v; want %q", file, free, err, want)
		}
		held, err := m.Held(all)
		if err != nil || held.Words != want || !held.Ended {
			t.Errorf("%s: held to the grammar %+v, %v; want %q", file, held, err, want)
		}
		scored, err := m.Score(want)
		if err != nil || scored.Words != want || abs(scored.LogProb-free.LogProb) > 1e-3 {
			t.Errorf("%s: scored %+v, %v; the free decoding gave %+v", file, scored, err, free)
		}
		if other, err := m.Score("isolated and locked off"); err != nil || other.LogProb > scored.LogProb-5 {
			t.Errorf("%s: other words score %+v beside %+v", file, other, scored)
		}
	}
}

// A model is adapted when it says so in its file, whatever the file is called.
func TestAdapted(t *testing.T) {
	whole, err := os.ReadFile(modelFile)
	if err != nil {
		t.Fatalf("%v; run make test, which builds it", err)
	}
	mark := append(binary.LittleEndian.AppendUint32(nil, uint32(len(AdaptedMark))), AdaptedMark...)
	at := bytes.Index(whole, mark)
	if at < 0 || bytes.Count(whole, []byte(AdaptedMark)) != 1 {
		t.Fatal("the built model does not say once that it is adapted")
	}
	// The same vocabulary without the mark: the count of it stands behind the header and
	// the mel filters.
	plain := slices.Delete(slices.Clone(whole), at, at+len(mark))
	count := plain[4*14+4*80*fftBins:]
	binary.LittleEndian.PutUint32(count, binary.LittleEndian.Uint32(count)-1)
	// And with another mark there.
	other := slices.Clone(whole)
	other[at+len(mark)-1] ^= 1

	for name, tt := range map[string]struct {
		data []byte
		want bool
	}{
		"any.bin":             {whole, true},
		"tiny.en-waycall.bin": {plain, false},
		"another-waycall.bin": {other, false},
	} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, tt.data, 0o600); err != nil {
			t.Fatal(err)
		}
		m, err := Open(path, 1)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if m.Adapted() != tt.want {
			t.Errorf("%s: adapted is %v", name, m.Adapted())
		}
		m.Close()
	}
}

// What a decoder has gone through already counts as if it went through it again, in
// whatever order texts come.
func TestScoreGoesOn(t *testing.T) {
	m, other := open(t), open(t)
	const file = "0019-af_sarah.flac"
	texts := []string{
		"way fourteen live and neutral to earth zero point four", "way fourteen live and neutral to earth zero point five",
		"way fourteen live", "confirm", "way fourteen live and neutral to earth zero point four megs", "way forty", "",
	}
	alone := func(text string) (scored hear.Text, next []float64) {
		listen(t, other, file) // nothing is kept
		scored, err := other.Score(text)
		if err != nil {
			t.Fatal(err)
		}
		listen(t, other, file)
		if next, err = other.Next(text, []string{"oh", ""}); err != nil {
			t.Fatal(err)
		}
		return scored, next
	}
	listen(t, m, file)
	if _, err := m.Free(); err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	for range 4 * len(texts) {
		text := texts[random.IntN(len(texts))]
		want, wantNext := alone(text)
		if random.IntN(2) == 0 {
			if got, err := m.Score(text); err != nil || abs(got.LogProb-want.LogProb) > 1e-3 || abs(got.Weakest-want.Weakest) > 1e-3 {
				t.Errorf("%q: scored %+v, %v; alone %+v", text, got, err, want)
			}
			continue
		}
		got, err := m.Next(text, []string{"oh", ""})
		if err != nil || abs(got[0]-wantNext[0]) > 1e-2 || abs(got[1]-wantNext[1]) > 1e-2 {
			t.Errorf("%q: next %v, %v; alone %v", text, got, err, wantNext)
		}
	}
}

// Held to a board, the model cannot say what the board does not have, however
// clearly it was spoken.
func TestHeldToTheBoard(t *testing.T) {
	m, g := open(t), load(t)
	a := g.Narrow(phrase.Scope{Ways: map[int][]reading.Test{4: {reading.LNE}}})
	listen(t, m, "0019-af_sarah.flac") // way fourteen
	held, err := m.Held(a)
	if err != nil {
		t.Fatal(err)
	}
	if !a.Accepts(held.Words) {
		t.Errorf("held to way 4, the model said %q", held.Words)
	}
}

func TestTalkComesOutAsTalk(t *testing.T) {
	m, g := open(t), load(t)
	for _, file := range []string{"0103-bm_daniel.flac", "0150-bm_george.flac"} {
		listen(t, m, file)
		free, err := m.Free()
		if err != nil {
			t.Fatal(err)
		}
		if meaning, ok := g.Meaning(free.Words); ok {
			t.Errorf("%s: talk was heard as %q, %+v", file, free.Words, meaning)
		}
	}
}

// The mask accepts exactly the automaton's phrases, token by token.
func TestMaskIsTheAutomaton(t *testing.T) {
	m, g := open(t), load(t)
	a := g.Narrow(phrase.Scope{Ways: map[int][]reading.Test{1: {reading.LNE, reading.LN}, 30: {reading.R2}}})
	k := m.mask(a)
	rng := rand.New(rand.NewPCG(1, 2))
	tokens := func(words string) []int32 {
		buf := make([]binding.Token, 64)
		n, err := m.ctx.Whisper_tokenize(" "+words, buf)
		if err != nil {
			t.Fatal(err)
		}
		var out []int32
		for _, x := range buf[:n] {
			out = append(out, int32(x))
		}
		return out
	}
	for range 2000 {
		var words []string
		for state := 0; ; {
			s := a.States[state]
			if s.Final && (len(s.Arcs) == 0 || rng.IntN(3) == 0) {
				break
			}
			arc := s.Arcs[rng.IntN(len(s.Arcs))]
			words, state = append(words, arc.Word), arc.To
		}
		text := strings.Join(words, " ")
		if !k.accepts(tokens(text)) {
			t.Fatalf("the mask refuses %q", text)
		}
		// Cut short, or with a word too many, it is a phrase only if the
		// automaton says so.
		for _, other := range []string{strings.Join(words[:len(words)-1], " "), text + " nine", strings.TrimSpace(text[:len(text)-1])} {
			if other != "" && k.accepts(tokens(other)) != a.Accepts(other) {
				t.Fatalf("mask and automaton differ on %q", other)
			}
		}
	}
}

func TestOpenRefuses(t *testing.T) {
	good, err := os.ReadFile(modelFile)
	if err != nil {
		t.Fatalf("%v; run make test, which builds it", err)
	}
	bad := func(change func(b []byte) []byte) []byte { return change(append([]byte(nil), good...)) }
	for name, tt := range map[string]struct {
		data []byte
		want string
	}{
		"empty":       {nil, "cut short"},
		"header only": {good[:48], "cut short"},
		"half":        {good[:len(good)/2], "cut short"},
		"cut":         {good[:len(good)-1], "cut short"},
		"longer":      {append(good[:len(good):len(good)], 1), "cut short"},
		"not a model": {bytesOf("hello", 4096), "not a ggml file"},
		"zeros":       {make([]byte, 4096), "not a ggml file"},
		"bad header":  {bad(func(b []byte) []byte { b[4], b[5], b[6], b[7] = 0xff, 0xff, 0xff, 0x7f; return b }), "damaged"},
	} {
		path := filepath.Join(t.TempDir(), "waycall.bin")
		if err := os.WriteFile(path, tt.data, 0o600); err != nil {
			t.Fatal(err)
		}
		m, err := Open(path, 2)
		if err == nil {
			m.Close()
			t.Errorf("%s: was opened", name)
		} else if !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: error %q does not say %q", name, err, tt.want)
		}
	}
	// A sum beside the file finds what its structure does not show.
	path := filepath.Join(t.TempDir(), "waycall.bin")
	flipped := bad(func(b []byte) []byte { b[len(b)/2] ^= 1; return b })
	if err := errors.Join(os.WriteFile(path, flipped, 0o600),
		os.WriteFile(path+".sha256", fmt.Appendf(nil, "%x  waycall.bin\n", sha256.Sum256(good)), 0o600)); err != nil {
		t.Fatal(err)
	}
	if m, err := Open(path, 2); err == nil {
		m.Close()
		t.Error("a flipped bit went unnoticed")
	} else if !strings.Contains(err.Error(), "does not match") {
		t.Errorf("flipped bit: %v", err)
	}
	// A pipe in the place of the sum is not waited for.
	path = filepath.Join(t.TempDir(), "waycall.bin")
	if err := errors.Join(os.WriteFile(path, good, 0o600), syscall.Mkfifo(path+".sha256", 0o600)); err != nil {
		t.Fatal(err)
	}
	refused := make(chan error, 1)
	go func() {
		_, err := checkFile(path)
		refused <- err
	}()
	select {
	case err := <-refused:
		if err == nil || !strings.Contains(err.Error(), "does not match") {
			t.Errorf("a pipe for the sum: %v", err)
		}
	case <-time.After(time.Minute):
		t.Error("a pipe for the sum is waited for")
	}
	if _, err := Open(filepath.Join(t.TempDir(), "none.bin"), 2); err == nil || !strings.Contains(err.Error(), "scripts/setup") {
		t.Errorf("missing file: %v", err)
	}
}

func TestListenRefuses(t *testing.T) {
	m := open(t)
	nan := make([]float32, rate)
	nan[7] = float32(nanValue())
	for name, sound := range map[string][]float32{
		"nothing":   nil,
		"a click":   make([]float32, 320),
		"a minute":  make([]float32, 60*rate),
		"no number": nan,
	} {
		if err := m.Listen(sound); err == nil {
			t.Errorf("%s: was taken in", name)
		}
	}
}

func bytesOf(s string, n int) []byte { return []byte(strings.Repeat(s, n/len(s)+1))[:n] }

func abs(x float64) float64 { return max(x, -x) }

func nanValue() float64 { var z float64; return z / z }

// What comes next, word by word, adds up to what the whole text scores, and a figure
// that was said to its end does not go on.
func TestNext(t *testing.T) {
	m, _ := open(t), load(t)
	for file, want := range recorded {
		listen(t, m, file)
		scored, err := m.Score(want)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		words := strings.Fields(want)
		for i := range len(words) + 1 {
			next := ""
			if i < len(words) {
				next = words[i]
			}
			lp, err := m.Next(strings.Join(words[:i], " "), []string{"seven", next})
			if err != nil {
				t.Fatal(err)
			}
			sum += lp[1]
			if next == "" && lp[0] > lp[1]-3 {
				t.Errorf("%s: after %q it goes on with seven (%.1f) and does not end (%.1f)", file, want, lp[0], lp[1])
			}
		}
		// A word of several tokens counts by its first alone.
		if sum < scored.LogProb-0.01 || sum > scored.LogProb+1 {
			t.Errorf("%s: word by word %.2f, as a whole %.2f", file, sum, scored.LogProb)
		}
	}
	if _, err := m.Next("", []string{"壺"}); err == nil {
		t.Error("a word that the model cannot write was taken")
	}
	if all, err := m.Next("way one", nil); err != nil || len(all) != 0 {
		t.Errorf("nothing asked for gave %v, %v", all, err)
	}
}
