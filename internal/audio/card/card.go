// Package card opens the computer's sound devices through PortAudio, for the
// microphone (audio/mic) and the loudspeaker (say/speaker).
//
// PortAudio on Linux asks every ALSA and JACK device in turn whether it is there,
// and each answers on standard error. On a machine without a sound card that is a
// hundred lines before the one that matters, so this package silences them, and
// PortAudio's own lines about its sources; what went wrong comes back as an error that
// says what to do.
package card

/*
#cgo pkg-config: alsa
#cgo LDFLAGS: -ldl
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <alsa/asoundlib.h>

static void hush_alsa(const char *file, int line, const char *function, int err, const char *format, ...) {}
static void hush_jack(const char *message) {}

// What C writes to its standard error, without what PortAudio says of its own sources
// each time that a device does not open. Go's standard error is not this one.
static ssize_t pass_on(void *unused, const char *text, size_t n) {
	if (!memmem(text, n, "src/hostapi/", 12) && write(STDERR_FILENO, text, n) < 0) return 0;
	return n;
}

// PortAudio may or may not be built with JACK, so its functions are looked up
// rather than linked.
static void hush(void) {
	static const char *const names[] = {"jack_set_error_function", "jack_set_info_function"};
	snd_lib_error_set_handler(hush_alsa);
	for (int i = 0; i < 2; i++) {
		void (*set)(void (*)(const char *)) = (void (*)(void (*)(const char *)))dlsym(RTLD_DEFAULT, names[i]);
		if (set) set(hush_jack);
	}
	FILE *rest = fopencookie(NULL, "w", (cookie_io_functions_t){.write = pass_on});
	if (rest) {
		setvbuf(rest, NULL, _IONBF, 0); // a message at a time
		stderr = rest;
	}
	// Looking for JACK must not start it.
	setenv("JACK_NO_START_SERVER", "1", 0);
}
*/
import "C"

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/gordonklaus/portaudio"

	"waycall/internal/advice"
)

// lock guards PortAudio's lists, which are not safe between goroutines, and these.
var (
	lock    sync.Mutex
	users   int // Acquire less Release
	running bool
	streams = map[interface{ shut() }]bool{} // those that are open
)

// Acquire makes PortAudio ready. Each successful Acquire must be matched by one
// Release, after the streams opened in between are closed.
func Acquire() error {
	lock.Lock()
	defer lock.Unlock()
	if err := begin(); err != nil {
		return err
	}
	users++
	return nil
}

func begin() error {
	if running {
		return nil
	}
	hush()
	if err := portaudio.Initialize(); err != nil {
		return advice.Errorf("check that PortAudio is installed", "sound devices cannot be used: %w", err)
	}
	running = true
	return nil
}

var hush = sync.OnceFunc(func() { C.hush() })

func end() {
	if running {
		// That it does not like to end is nothing anybody could act on.
		_ = portaudio.Terminate()
		running = false
	}
}

// Release gives back what Acquire took.
func Release() {
	lock.Lock()
	defer lock.Unlock()
	if users--; users == 0 {
		end()
	}
}

// Rescan looks for devices anew: PortAudio knows only those that were there when it
// began. It closes every stream that is open, of any user: each finds its own gone and
// opens it again. PortAudio must have been acquired.
func Rescan() error {
	lock.Lock()
	defer lock.Unlock()
	for s := range streams {
		s.shut()
	}
	clear(streams)
	end()
	return begin()
}

// Patience is for how long a device that is gone is waited for: long enough to find and
// charge a headset.
const Patience = 30 * time.Minute

// Await opens a device that is gone: it tries once a second until open succeeds. It gives
// up with the error of open after Patience, or with the context's when ctx ends first.
func Await(ctx context.Context, open func() error) error {
	for begun := time.Now(); ; {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Second):
		}
		if err := open(); err == nil || time.Since(begun) > Patience {
			return err
		}
	}
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
		return nil, advice.Errorf("check that the sound system is running", "sound devices cannot be listed: %w", err)
	}
	standard, err := portaudio.DefaultInputDevice()
	if d == Out {
		standard, err = portaudio.DefaultOutputDevice()
	}
	if err != nil {
		standard = nil // none: no device of this direction is the default
	}
	devices := []Device{} // as JSON [], not null
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

// Find returns the device that is opened by a name: the one whose name is the given
// text, or the first that holds it, whatever the case, or the default device for an
// empty text. There is no other in place of one that is not there. PortAudio must have
// been acquired.
func Find(d Direction, name string) (Device, error) {
	devices, err := List(d)
	if err != nil {
		return Device{}, err
	}
	return choose(devices, name, held("/proc", d))
}

func choose(devices []Device, name string, held []string) (Device, error) {
	var names []string
	for _, dev := range devices {
		if name == "" && dev.Default || name != "" && dev.Name == name {
			return dev, nil
		}
		names = append(names, dev.Name)
	}
	for _, dev := range devices {
		if name != "" && strings.Contains(strings.ToLower(dev.Name), strings.ToLower(name)) {
			return dev, nil
		}
	}
	var why string
	switch {
	case len(devices) == 0:
		why = "there is none"
	case name == "":
		why = "the system has no default; there are: " + strings.Join(names, ", ")
	default:
		why = fmt.Sprintf("none has %q in its name; there are: %s", name, strings.Join(names, ", "))
	}
	// A device that another program holds is not even listed.
	for _, h := range held {
		why += "; " + h
	}
	return Device{}, errors.New(why)
}
