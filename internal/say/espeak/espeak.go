// Package espeak is waycall's voice by libespeak-ng: small, offline, and clear
// enough to be understood over a drill.
package espeak

/*
#cgo pkg-config: espeak-ng
#include <stdlib.h>
#include <string.h>
#include <espeak-ng/speak_lib.h>

// The engine has one state for the whole process; the Go side holds a lock while
// it speaks, so one buffer is enough.
static struct {
	short *samples;
	int count, room, most;
	int failed; // out of memory
} spoken;

// collect takes each piece of sound as it is made. Anything but 0 stops the
// engine.
static int collect(short *wav, int count, espeak_EVENT *events) {
	if (wav == NULL || count <= 0) return 0;
	if (count > spoken.most - spoken.count) count = spoken.most - spoken.count;
	if (spoken.count + count > spoken.room) {
		int room = 2 * (spoken.count + count);
		short *grown = realloc(spoken.samples, room * sizeof(short));
		if (grown == NULL) {
			spoken.failed = 1;
			return 1;
		}
		spoken.samples = grown;
		spoken.room = room;
	}
	memcpy(spoken.samples + spoken.count, wav, count * sizeof(short));
	spoken.count += count;
	return spoken.count >= spoken.most;
}

static int begin(void) {
	int rate = espeak_Initialize(AUDIO_OUTPUT_SYNCHRONOUS, 0, NULL, espeakINITIALIZE_DONT_EXIT);
	if (rate > 0) espeak_SetSynthCallback(collect);
	return rate;
}

// choose picks the voice by language, since the engine's names for voices change
// from version to version.
static espeak_ERROR choose(const char *language) {
	espeak_VOICE wanted;
	memset(&wanted, 0, sizeof wanted);
	wanted.languages = language;
	return espeak_SetVoiceByProperties(&wanted);
}

static espeak_ERROR speak(const char *text, int words_a_minute, int most) {
	spoken.count = spoken.failed = 0;
	spoken.most = most;
	espeak_ERROR err = espeak_SetParameter(espeakRATE, words_a_minute, 0);
	// Neither SSML nor phoneme input is switched on: text is only ever text.
	if (err == EE_OK) err = espeak_Synth(text, strlen(text) + 1, 0, POS_CHARACTER, 0, espeakCHARS_UTF8, NULL, NULL);
	if (err == EE_OK) err = espeak_Synchronize();
	return err;
}

static short *spoken_samples(void) { return spoken.samples; }
static int spoken_count(void) { return spoken.count; }
static int spoken_failed(void) { return spoken.failed; }
*/
import "C"

import (
	"container/list"
	"fmt"
	"math"
	"sync"
	"unsafe"

	"waycall/internal/advice"
	"waycall/internal/audio"
	"waycall/internal/say"
)

// Speeds of speech, in words a minute.
const (
	DefaultSpeed = 180 // "three hundred and seventy seven, pass" with its tone takes 2.5 s
	MinSpeed     = 80  // the slowest that the engine does
	MaxSpeed     = 450 // the fastest
)

// language is the engine's British English.
const language = "en-gb"

// The cache holds what a session says again and again: the names of ways and
// tests, and the last readings.
const (
	cachedTexts   = 256
	cachedSamples = 5 * 60 * audio.Rate // five minutes, 19 MB
	longestSpeech = 60                  // seconds of one text; say.Words leaves less
)

// engine is libespeak-ng, of which a process has one.
var engine struct {
	sync.Mutex
	rate int // samples a second; 0 until it is started
}

// A Voice speaks British English at one speed, and at paces about it. It is safe for use by several
// goroutines.
type Voice struct {
	speed int

	mu     sync.Mutex
	held   int        // samples in the cache
	recent *list.List // of *speech, newest first
	byText map[spoken]*list.Element
}

// spoken is a text at a pace.
type spoken struct {
	text string
	pace int
}

type speech struct {
	spoken
	sound audio.Clip
}

// Open starts the engine and returns a voice of the given speed in words a
// minute, from MinSpeed to MaxSpeed, or 0 for DefaultSpeed.
func Open(speed int) (*Voice, error) {
	if speed == 0 {
		speed = DefaultSpeed
	}
	if speed < MinSpeed || speed > MaxSpeed {
		return nil, advice.New(fmt.Sprintf("cannot speak at %d words a minute", speed), fmt.Sprintf("choose %d to %d", MinSpeed, MaxSpeed))
	}
	engine.Lock()
	defer engine.Unlock()
	if engine.rate == 0 {
		rate := int(C.begin())
		if rate <= 0 {
			return nil, advice.New("cannot speak: espeak-ng does not start", "check that its voices are installed (Debian package espeak-ng-data)")
		}
		name := C.CString(language)
		defer C.free(unsafe.Pointer(name))
		if C.choose(name) != C.EE_OK {
			return nil, advice.Errorf("install its voices (Debian package espeak-ng-data)", "cannot speak: espeak-ng has no voice %s", language)
		}
		engine.rate = rate
	}
	return &Voice{speed: speed, recent: list.New(), byText: map[spoken]*list.Element{}}, nil
}

// Speak returns the sound of text as say.Words has it, at once when it has been
// spoken lately. The engine goes no slower than MinSpeed and no faster than MaxSpeed,
// whatever the pace.
func (v *Voice) Speak(text string, pace int) (audio.Clip, error) {
	text = say.Words(text)
	if text == "" {
		return audio.Clip{}, nil
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	key := spoken{text, pace}
	if e, ok := v.byText[key]; ok {
		v.recent.MoveToFront(e)
		return e.Value.(*speech).sound, nil
	}
	speed := int(math.Round(float64(v.speed) * say.Factor(pace)))
	sound, err := synthesise(text, min(max(speed, MinSpeed), MaxSpeed))
	if err != nil {
		return nil, err
	}
	v.byText[key] = v.recent.PushFront(&speech{key, sound})
	v.held += len(sound)
	for v.recent.Len() > cachedTexts || v.held > cachedSamples && v.recent.Len() > 1 {
		oldest := v.recent.Remove(v.recent.Back()).(*speech)
		delete(v.byText, oldest.spoken)
		v.held -= len(oldest.sound)
	}
	return sound, nil
}

func synthesise(text string, speed int) (audio.Clip, error) {
	engine.Lock()
	defer engine.Unlock()
	in := C.CString(text)
	defer C.free(unsafe.Pointer(in))
	if code := C.speak(in, C.int(speed), C.int(longestSpeech*engine.rate)); code != C.EE_OK || C.spoken_failed() != 0 {
		return nil, advice.Errorf("what it would have said is on the screen", "cannot speak: espeak-ng fails with code %d", int(code))
	}
	pcm := unsafe.Slice((*int16)(unsafe.Pointer(C.spoken_samples())), int(C.spoken_count()))
	samples := make([]float32, len(pcm))
	for i, x := range pcm {
		samples[i] = float32(x) / (1 << 15)
	}
	return audio.Resample(samples, engine.rate)
}

var _ say.Voice = (*Voice)(nil)
