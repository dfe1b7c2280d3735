package say

import (
	"context"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/audio"
)

func TestWords(t *testing.T) {
	for text, want := range map[string]string{
		"":                      "",
		" \t\n":                 "",
		"...!":                  "",
		"Way 3, R1+R2.":         "Way 3, r one plus r two.",
		"R1 + R2 is 0.47 Ω":     "r one plus r two is 0.47 ohms",
		"ring r1, then rn":      "ring r one, then r n",
		"Zs, not Ze":            "zed s, not zed e",
		"> 999 MΩ at 500 V":     "greater than 999 megohms at 500 volts",
		"<0.05 Mohm":            "less than 0.05 megohms",
		"32 A, 6kA, 30 mA":      "32 amps, 6 kiloamps, 30 milliamps",
		"28.5 ms":               "28.5 milliseconds",
		"a 2.5 mm² cable":       "a 2.5 square millimetres cable",
		"A is a letter":         "A is a letter",
		"RCBOs & an RCD":        "r c b os and an r c d",
		"the RCD.":              "the r c d.",
		"<speak>way</speak>":    "speak way speak",
		"[[h@l'oU]] {x} |":      "h l'oU x",
		"nul\x00and\x1b[31m":    "nul and 31m",
		"bad \xff\xfe utf-8":    "bad utf-8",
		"say \u202eagain\u202c": "say again",
		"five hundred volts":    "five hundred volts",
		"wait … then , go":      "wait, then, go",
	} {
		if got := Words(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	if got := Words(strings.Repeat("megohms ", 5000)); len(got) > longest || len(got) < longest-20 {
		t.Errorf("40 kB of text leave %d bytes", len(got))
	}
}

// TestWordsOfAnything: what comes out is always speakable, bounded, and has
// nothing left to change.
func TestWordsOfAnything(t *testing.T) {
	speakable := regexp.MustCompile(`^[\p{L}\p{Nd} .,?!:;'’%-]*$`)
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text") + string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		got := Words(text)
		if !speakable.MatchString(got) || len([]rune(got)) > longest+1 || got != strings.TrimSpace(got) {
			t.Fatalf("%q gives %q", text, got)
		}
	})
}

func TestTrack(t *testing.T) {
	var track Track
	ctx, cancel := context.WithCancel(t.Context())
	for range 3 {
		if err := track.Play(ctx, audio.Clip{0.1, 0.2}); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(track.Sound()); n != 6 {
		t.Errorf("track of %d samples, want 6", n)
	}
	if err := track.Play(ctx, make(audio.Clip, 31*60*audio.Rate)); err == nil || len(track.Sound()) != 6 {
		t.Errorf("half an hour too much: %v", err)
	}
	cancel()
	if err := track.Play(ctx, audio.Clip{0.1}); err != context.Canceled {
		t.Errorf("after cancel: %v", err)
	}
}
