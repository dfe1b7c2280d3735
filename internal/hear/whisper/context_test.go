package whisper

import (
	"bufio"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/phrase"
)

// Measures how a model takes an audio context cut to the phrase: how often its free
// decoding runs on or repeats itself, and how often it finds the right phrase when
// held to the grammar. Give a model and a labelled set:
//
//	WAYCALL_MODEL=FILE WAYCALL_PHRASES=FOLDER go test ./internal/hear/whisper -run AudioContext -v
//
// models/README.md has the figures that audioContext rests on.
func TestAudioContext(t *testing.T) {
	model, set := os.Getenv("WAYCALL_MODEL"), os.Getenv("WAYCALL_PHRASES")
	if model == "" || set == "" {
		t.Skip("a measurement, not a test: it needs WAYCALL_MODEL and WAYCALL_PHRASES")
	}
	m, err := Open(model, 2)
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	g := load(t)
	all := g.Narrow(phrase.Scope{})

	f, err := os.Open(filepath.Join(set, "manifest.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	type item struct {
		File string `json:"file"`
		Text string `json:"text"`
	}
	var items []item
	for lines := bufio.NewScanner(f); lines.Scan(); {
		var it item
		if err := json.Unmarshal(lines.Bytes(), &it); err != nil {
			t.Fatal(err)
		}
		if all.Accepts(strings.ReplaceAll(it.Text, ",", "")) {
			items = append(items, it)
		}
	}
	limit := 40
	if n, err := strconv.Atoi(os.Getenv("WAYCALL_LIMIT")); err == nil {
		limit = n
	}
	items = items[:min(limit, len(items))]

	for _, least := range []int{0, 384, 512, 768, 1024, 1500} {
		ranOn, right := 0, 0
		var ms []int64
		for _, it := range items {
			sound, err := audio.ReadFile(filepath.Join(set, it.File))
			if err != nil {
				t.Fatal(err)
			}
			frames := min(1500, max(least, (len(sound)/perFrame+96+63)/64*64))
			start := time.Now()
			if err := m.listenOver(sound, frames); err != nil {
				t.Fatal(err)
			}
			ms = append(ms, time.Since(start).Milliseconds())
			free, err := m.Free()
			if err != nil {
				t.Fatal(err)
			}
			if !free.Ended || repeats(free.Words) {
				ranOn++
			}
			held, err := m.Held(all)
			if err != nil {
				t.Fatal(err)
			}
			want, _ := g.Meaning(strings.ReplaceAll(it.Text, ",", ""))
			if got, ok := g.Meaning(held.Words); ok && held.Ended && got == want {
				right++
			}
		}
		slices.Sort(ms)
		t.Logf("context of at least %4d: %2d of %d ran on or repeated, %2d right when held, %d ms to encode", least, ranOn, len(items), right, ms[len(ms)/2])
	}
}

// repeats reports whether the same three words come three times in a row.
func repeats(words string) bool {
	w := strings.Fields(words)
	for i := 0; i+9 <= len(w); i++ {
		if slices.Equal(w[i:i+3], w[i+3:i+6]) && slices.Equal(w[i:i+3], w[i+6:i+9]) {
			return true
		}
	}
	return false
}

func TestRepeats(t *testing.T) {
	for words, want := range map[string]bool{
		"":                                false,
		"nine nine nine nine nine nine":   false,
		"way one way one way one way one": false,
		"so it is so it is so it is":      true,
		"and live to earth live to earth live to earth x": true,
	} {
		if repeats(words) != want {
			t.Errorf("repeats(%q) is %v", words, !want)
		}
	}
}
