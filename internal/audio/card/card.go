// Package card opens the computer's sound devices through PortAudio, for the
// microphone (audio/mic) and the loudspeaker (say/speaker).
//
// PortAudio on Linux asks every ALSA and JACK device in turn whether it is there,
// and each answers on standard error. On a machine without a sound card that is a
// hundred lines before the one that matters, so this package silences them, and
// what went wrong comes back as an error that says what to do. What it cannot
// silence are the few lines of PortAudio's own when a headset is pulled out.
package card

/*
#cgo pkg-config: alsa
#cgo LDFLAGS: -ldl
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdlib.h>
#include <alsa/asoundlib.h>

static void hush_alsa(const char *file, int line, const char *function, int err, const char *format, ...) {}
static void hush_jack(const char *message) {}

// PortAudio may or may not be built with JACK, so its functions are looked up
// rather than linked.
static void hush(void) {
	static const char *const names[] = {"jack_set_error_function", "jack_set_info_function"};
	snd_lib_error_set_handler(hush_alsa);
	for (int i = 0; i < 2; i++) {
		void (*set)(void (*)(const char *)) = (void (*)(void (*)(const char *)))dlsym(RTLD_DEFAULT, names[i]);
		if (set) set(hush_jack);
	}
	// Looking for JACK must not start it.
	setenv("JACK_NO_START_SERVER", "1", 0);
}
*/
import "C"

import (
	"fmt"
	"strings"
	"sync"

	"github.com/gordonklaus/portaudio"

	"waycall/internal/audio"
)

// PortAudio's own count of its users is not safe between goroutines.
var lock sync.Mutex

// Acquire makes PortAudio ready. Each successful Acquire must be matched by one
// Release, after the streams opened in between are closed.
func Acquire() error {
	lock.Lock()
	defer lock.Unlock()
	C.hush()
	if err := portaudio.Initialize(); err != nil {
		return fmt.Errorf("sound devices cannot be used: %w; check that PortAudio is installed", err)
	}
	return nil
}

// Release gives back what Acquire took.
func Release() {
	lock.Lock()
	defer lock.Unlock()
	// The last Release ends PortAudio; that it does not like to end is nothing
	// anybody could act on.
	_ = portaudio.Terminate()
}

// A Direction is the way the sound goes.
type Direction int

// The directions.
const (
	In  Direction = iota // from a microphone
	Out                  // to a loudspeaker
)

// A Device is one that sound can come from or go to.
type Device struct {
	Name    string // as PortAudio calls it
	Rate    int    // its usual sample rate in Hz
	Default bool   // used when no name is given

	info *portaudio.DeviceInfo
}

// List returns the devices for one direction, in PortAudio's order. PortAudio
// must have been acquired.
func List(d Direction) ([]Device, error) {
	lock.Lock()
	defer lock.Unlock()
	all, err := portaudio.Devices()
	if err != nil {
		return nil, fmt.Errorf("sound devices cannot be listed: %w; check that the sound system is running", err)
	}
	standard, err := portaudio.DefaultInputDevice()
	if d == Out {
		standard, err = portaudio.DefaultOutputDevice()
	}
	if err != nil {
		standard = nil // none: no device of this direction is the default
	}
	var devices []Device
	for _, info := range all {
		channels := info.MaxInputChannels
		if d == Out {
			channels = info.MaxOutputChannels
		}
		if channels > 0 {
			devices = append(devices, Device{
				Name: info.Name, Rate: int(info.DefaultSampleRate),
				Default: standard != nil && info.Index == standard.Index, info: info,
			})
		}
	}
	return devices, nil
}

// Find returns the device that Open opens: the one whose name is the given text, or
// holds it, whatever the case, or the default device for an empty text. PortAudio must
// have been acquired.
func Find(d Direction, name string) (Device, error) {
	devices, err := List(d)
	if err != nil {
		return Device{}, err
	}
	if len(devices) == 0 {
		return Device{}, fmt.Errorf("there is none")
	}
	var names []string
	for _, dev := range devices {
		if name == "" && dev.Default || name != "" && dev.Name == name {
			return dev, nil
		}
		names = append(names, dev.Name)
	}
	for _, dev := range devices {
		if name == "" || strings.Contains(strings.ToLower(dev.Name), strings.ToLower(name)) {
			return dev, nil
		}
	}
	return Device{}, fmt.Errorf("none has %q in its name; there are: %s", name, strings.Join(names, ", "))
}

// Open opens a mono stream of 32-bit samples on the device whose name holds the
// given text, or the default device when it is empty. The rate is audio.Rate, or
// the device's own when it refuses that; it is returned in Hz. handler is what
// portaudio.OpenStream takes: a callback or a buffer. PortAudio must have been
// acquired.
func Open(d Direction, name string, frames int, handler any) (*portaudio.Stream, int, error) {
	dev, err := Find(d, name)
	if err != nil {
		return nil, 0, err
	}
	lock.Lock()
	defer lock.Unlock()
	p := portaudio.StreamParameters{SampleRate: audio.Rate, FramesPerBuffer: frames}
	side := portaudio.StreamDeviceParameters{Device: dev.info, Channels: 1}
	// The higher latency costs a few tens of milliseconds and survives a busy
	// processor, which recognition makes sure of.
	if d == In {
		side.Latency = dev.info.DefaultHighInputLatency
		p.Input = side
	} else {
		side.Latency = dev.info.DefaultHighOutputLatency
		p.Output = side
	}
	stream, err := portaudio.OpenStream(p, handler)
	if err != nil && dev.Rate != audio.Rate {
		p.SampleRate = float64(dev.Rate)
		stream, err = portaudio.OpenStream(p, handler)
	}
	if err != nil {
		return nil, 0, fmt.Errorf("%q does not open: %w", dev.Name, err)
	}
	return stream, int(p.SampleRate), nil
}
