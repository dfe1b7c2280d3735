//go:build linux

package testsound_test

import (
	"bufio"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/lab/testsound"
)

// follower is a program in the room that listens all day.
type follower struct {
	t      *testing.T
	cmd    *exec.Cmd
	in     io.WriteCloser
	lines  chan string
	stderr strings.Builder
}

func startFollower(t *testing.T, room *testsound.Room, device string) *follower {
	t.Helper()
	f := &follower{t: t, cmd: inRoom(t, room.Env(), "follow", t.TempDir(), device, "default"), lines: make(chan string, 100)}
	f.cmd.Stderr = &f.stderr
	out, err := f.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if f.in, err = f.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := f.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(f.lines)
		for s := bufio.NewScanner(out); s.Scan(); {
			f.lines <- s.Text()
		}
	}()
	return f
}

// until returns what the follower says, up to and with the first line that begins so.
func (f *follower) until(begin string) (said []string) {
	f.t.Helper()
	limit := time.After(time.Minute)
	for {
		select {
		case line, ok := <-f.lines:
			if !ok {
				f.t.Fatalf("the follower ended before %q, after %q: %v: %s", begin, said, f.cmd.Wait(), f.stderr.String())
			}
			if said = append(said, line); strings.HasPrefix(line, begin) {
				return said
			}
		case <-limit:
			f.t.Fatalf("nothing for a minute while waiting for %q, after %q: %s", begin, said, f.stderr.String())
		}
	}
}

func (f *follower) end() {
	f.t.Helper()
	f.in.Close()
	if err := f.cmd.Wait(); err != nil {
		f.t.Errorf("the follower ended with %v: %s", err, f.stderr.String())
	}
}

// hears plays a phrase into a sink of the room and wants it to come out whole, through
// what the microphone does to it. A busy machine tears what is played, so there are
// five tries.
func (f *follower) hears(room *testsound.Room, sink, file string, through func(audio.Clip) audio.Clip) {
	f.t.Helper()
	clip := read(f.t, phrases+file)
	best := 0.0
	for range 5 {
		room.PlayInto(f.t, sink, clip)
		said := f.until("heard ")
		_, path, _ := strings.Cut(said[len(said)-1], " ")
		if best = max(best, likeness(read(f.t, path), middle(through(clip)))); best > 0.9 {
			return
		}
	}
	f.t.Errorf("what was heard is like what was said by %.3f, want 0.9", best)
}

// speaks lets the follower speak a phrase and wants it to come out of the loudspeaker
// whole, through what that does to it. It has five tries, as hears has.
func (f *follower) speaks(room *testsound.Room, file string, through func(audio.Clip) audio.Clip) {
	f.t.Helper()
	best := 0.0
	for range 5 {
		heard := room.Record(f.t)
		fmt.Fprintln(f.in, phrases+file)
		f.until("spoken")
		if best = max(best, likeness(heard(), through(middle(read(f.t, phrases+file))))); best > 0.9 {
			return
		}
	}
	f.t.Errorf("what was spoken is like it by %.3f, want 0.9", best)
}

func whole(c audio.Clip) audio.Clip { return c }

// telephone is a clip after a way through 8 kHz.
func telephone(c audio.Clip) audio.Clip {
	narrow, err := c.ResampleTo(8000)
	if err == nil {
		c, err = audio.Resample(narrow, 8000)
	}
	if err != nil {
		panic(err) // both rates can be converted
	}
	return c
}

const (
	voice                    = "waycall_voice"
	firstPhrase, otherPhrase = "0000-bm_george.flac", "0032-am_adam.flac"
)

// TestUnplugged pulls the headset out in the middle of a phrase, and plugs it in again
// at a telephone's rate. Half the phrase is none, waycall waits, and then hears and
// speaks as before. Nothing of the sound system's own goes to the terminal.
func TestUnplugged(t *testing.T) {
	room := testsound.Start(t)
	f := startFollower(t, room, "default")
	f.until("listening")
	f.hears(room, voice, firstPhrase, whole)
	// Words without a pause, for so long that a slow machine pulls it out in time.
	word := audio.Trim(read(t, phrases+otherPhrase), audio.Settings{}).Sound
	word = word[audio.Rate/5 : len(word)-audio.Rate/5] // without the quiet beside it
	long := filepath.Join(t.TempDir(), "long.wav")
	if err := audio.WriteWAV(long, slices.Repeat(word, int(12*time.Second/word.Duration()))); err != nil {
		t.Fatal(err)
	}
	gone := make(chan struct{})
	go func() { // cut off by the unplugging
		defer close(gone)
		room.PlayCut(t, long)
	}()
	f.until("started")
	room.Unplug(t)
	<-gone
	said := f.until("news: The microphone is gone (default): plug it in")
	room.Plug(t, 8000)
	said = append(said, f.until("break: the microphone was gone for a while")...)
	for _, line := range said {
		if strings.HasPrefix(line, "heard") {
			t.Errorf("half a phrase was taken for one: %q", said)
		}
	}
	f.hears(room, voice, firstPhrase, telephone)
	f.speaks(room, otherPhrase, telephone) // the loudspeaker was taken away, too
	f.end()
	if f.stderr.Len() > 0 {
		t.Errorf("on standard error: %s", f.stderr.String())
	}
}

// TestDefaultChanges makes another microphone the system's default while it is used:
// the sound system goes over to it.
func TestDefaultChanges(t *testing.T) {
	room := testsound.Start(t)
	f := startFollower(t, room, "default")
	f.until("listening")
	f.hears(room, voice, firstPhrase, whole)
	room.Control(t, "load-module", "module-null-sink", "sink_name=other", "rate=48000", "channels=2")
	room.Control(t, "set-default-source", "other.monitor")
	f.hears(room, "other", otherPhrase, whole)
	f.end()
}

// TestNamed uses a microphone that is named, though it is not the default, and none in
// its place when it is not there.
func TestNamed(t *testing.T) {
	room := testsound.Start(t)
	const both = `pcm.!default { type pulse }
pcm.site_headset { type pulse device waycall_other.monitor hint { show on description "Site headset" } }`
	room.Devices(t, both)
	room.Control(t, "load-module", "module-null-sink", "sink_name=waycall_other", "rate=16000", "channels=1")
	f := startFollower(t, room, "site_headset")
	f.until("listening to site_headset")
	room.PlayClip(t, read(t, phrases+otherPhrase)) // into the default, which nobody listens to
	f.hears(room, "waycall_other", firstPhrase, whole)
	f.end()

	room.Devices(t, "pcm.!default { type pulse }")
	out, err := inRoom(t, room.Env(), "follow", t.TempDir(), "site_headset", "default").CombinedOutput()
	if err == nil || !strings.Contains(string(out), `none has "site_headset" in its name; there are: `) || !strings.Contains(string(out), `name another with --mic`) {
		t.Errorf("a microphone that is remembered and not there: %v: %s", err, out)
	}
}

// TestEcho lets the microphone hear what waycall says, as from a loudspeaker in the same
// room or a headset that leaks: none of it may be taken for speech, and the phrase of a
// person after it is heard.
func TestEcho(t *testing.T) {
	for _, delay := range []time.Duration{20 * time.Millisecond, 200 * time.Millisecond, 400 * time.Millisecond} {
		t.Run(delay.String(), func(t *testing.T) {
			room := testsound.Start(t)
			room.Echo(t, delay)
			f := startFollower(t, room, "default")
			f.until("listening")
			// Somebody else's voice from the same loudspeaker is heard: the echo is there.
			if out, err := inRoom(t, room.Env(), "speak", phrases+otherPhrase).CombinedOutput(); err != nil {
				t.Fatalf("speaking: %v: %s", err, out)
			}
			f.until("heard ")
			time.Sleep(time.Second)
			for len(f.lines) > 0 {
				<-f.lines // torn on a busy machine, it may be heard as two
			}
			for range 3 {
				fmt.Fprintln(f.in, phrases+otherPhrase)
				f.until("spoken")
				time.Sleep(2 * time.Second)
			}
			for len(f.lines) > 0 {
				t.Errorf("its own voice: %s", <-f.lines)
			}
			f.hears(room, voice, firstPhrase, whole)
			f.end()
		})
	}
}
