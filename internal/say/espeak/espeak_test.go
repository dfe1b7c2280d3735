package espeak

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"waycall/internal/audio"
)

func TestSpeak(t *testing.T) {
	v, err := Open(0)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{
		"way three, live and neutral to earth", "greater than nine hundred and ninety-nine megohms",
		"five hundred volts", "R1+R2", "500 V",
	} {
		c, err := v.Speak(text, 0)
		if err != nil {
			t.Fatal(err)
		}
		// A syllable takes a sixth of a second or so.
		if d := c.Duration(); d < 300*time.Millisecond || d > 5*time.Second {
			t.Errorf("%q lasts %v", text, d)
		}
		if p := audio.Trim(c, audio.Settings{}); len(p.Sound) == 0 || c.Level() < -35 || c.Level() > -6 {
			t.Errorf("%q: level %.1f dB, %v of speech", text, c.Level(), p.Sound.Duration())
		}
	}
	short, _ := v.Speak("confirm", 0)
	long, _ := v.Speak("confirm, greater than nine hundred and ninety-nine", 0)
	if len(long) < 2*len(short) {
		t.Errorf("long text lasts %v, short %v", long.Duration(), short.Duration())
	}
	slow, err := Open(MinSpeed)
	if err != nil {
		t.Fatal(err)
	}
	slowly, _ := slow.Speak("confirm, greater than nine hundred and ninety-nine", 0)
	if len(slowly) < len(long)*3/2 {
		t.Errorf("at %d words a minute it lasts %v, at %d %v", MinSpeed, slowly.Duration(), DefaultSpeed, long.Duration())
	}
	last := audio.Clip{}
	for pace := 5; pace >= -5; pace-- { // beyond four steps nothing changes
		c, err := v.Speak("confirm, greater than nine hundred and ninety-nine", pace)
		if err != nil || len(c) < len(last)*99/100 || pace >= -4 && pace < 4 && len(c) < len(last)*105/100 {
			t.Errorf("at pace %d it lasts %v, %v; at the next %v", pace, c.Duration(), err, last.Duration())
		}
		last = c
	}
	for _, speed := range []int{-1, 79, 451} {
		if _, err := Open(speed); err == nil || !strings.Contains(err.Error(), "choose 80 to 450") {
			t.Errorf("speed %d: %v", speed, err)
		}
	}
}

func TestSpeakHostile(t *testing.T) {
	v, err := Open(0)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"", "   ", "\x00", "\x00\xff\xfe", "...", "<>", "\x1b"} {
		if c, err := v.Speak(text, 0); err != nil || c == nil || len(c) != 0 {
			t.Errorf("%q: %d samples, %v", text, len(c), err)
		}
	}
	plain, _ := v.Speak("speak way speak", 0)
	for _, text := range []string{"<speak>way</speak>", "speak\x00 way\x00 speak"} {
		if c, _ := v.Speak(text, 0); !slices.Equal(c, plain) {
			t.Errorf("%q is not taken as plain text", text)
		}
	}
	for _, text := range []string{
		strings.Repeat("nine hundred and ninety nine ", 400), strings.Repeat("x", 10000),
		"[[" + strings.Repeat("@", 5000), "Ω∂ß漢字🙂", "<audio src='/etc/passwd'/>", "<mark name=\"" + strings.Repeat("é", 3000),
	} {
		if c, err := v.Speak(text, 0); err != nil || c.Duration() > longestSpeech*time.Second {
			t.Errorf("%.20q: %v, %v", text, c.Duration(), err)
		}
	}
}

func TestSpeakIsCachedAndBounded(t *testing.T) {
	v, err := Open(MaxSpeed)
	if err != nil {
		t.Fatal(err)
	}
	a, _ := v.Speak("say again", 0)
	if b, _ := v.Speak("say again", 0); &a[0] != &b[0] {
		t.Error("the same text was spoken twice")
	}
	var group sync.WaitGroup
	for worker := range 4 {
		group.Go(func() {
			for i := range 100 {
				if _, err := v.Speak(fmt.Sprintf("%d %d", worker, i), 0); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Wait()
	held := 0
	for e := v.recent.Front(); e != nil; e = e.Next() {
		held += len(e.Value.(*speech).sound)
	}
	if v.recent.Len() != cachedTexts || len(v.byText) != cachedTexts || held != v.held {
		t.Errorf("cache of %d and %d texts, %d samples counted as %d", v.recent.Len(), len(v.byText), held, v.held)
	}
	again, _ := v.Speak("say again", 0) // long since dropped
	// The engine's voicing is never twice the same, sample for sample.
	if d := len(again) - len(a); d < -len(a)/10 || d > len(a)/10 {
		t.Errorf("the same text lasts %v and then %v", a.Duration(), again.Duration())
	}
}
