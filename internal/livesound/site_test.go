//go:build linux

package livesound_test

import (
	"bufio"
	"fmt"
	"io"
	"os/exec"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/livesound"
)

// follower is a program in the room that listens all day.
type follower struct {
	t      *testing.T
	cmd    *exec.Cmd
	in     io.WriteCloser
	lines  chan string
	stderr strings.Builder
}

func startFollower(t *testing.T, room *livesound.Room, device string) *follower {
	t.Helper()
	f := &follower{t: t, cmd: inRoom(t, room.Env(), "follow", t.TempDir(), device), lines: make(chan string, 100)}
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

// hears plays a phrase into the room and wants it to come out whole.
func (f *follower) hears(room *livesound.Room, file string) {
	f.t.Helper()
	clip := read(f.t, phrases+file)
	room.PlayClip(f.t, clip)
	f.heardLike(clip)
}

// hears8 is hears where the microphone has the telephone's rate.
func (f *follower) hears8(room *livesound.Room, file string) {
	f.t.Helper()
	clip := read(f.t, phrases+file)
	room.PlayClip(f.t, clip)
	f.heardLike(telephone(f.t, clip))
}

func (f *follower) heardLike(clip audio.Clip) {
	f.t.Helper()
	said := f.until("heard ")
	_, path, _ := strings.Cut(said[len(said)-1], " ")
	if l := likeness(read(f.t, path), middle(clip)); l < 0.95 {
		f.t.Errorf("what was heard is like what was said by %.3f, want 0.95", l)
	}
}

// telephone is a clip after a way through 8 kHz.
func telephone(t *testing.T, c audio.Clip) audio.Clip {
	t.Helper()
	narrow, err := c.ResampleTo(8000)
	if err != nil {
		t.Fatal(err)
	}
	if c, err = audio.Resample(narrow, 8000); err != nil {
		t.Fatal(err)
	}
	return c
}

const firstPhrase, otherPhrase = "0000-bm_george.flac", "0032-am_adam.flac"

// TestUnplugged pulls the headset out in the middle of a phrase, and plugs it in again
// at a telephone's rate. Half the phrase is none, waycall waits, and then hears and
// speaks as before. Nothing of the sound system's own goes to the terminal.
func TestUnplugged(t *testing.T) {
	room := livesound.Start(t)
	f := startFollower(t, room, "default")
	f.until("listening")
	f.hears(room, firstPhrase)
	gone := make(chan struct{})
	go func() { // cut off by the unplugging
		defer close(gone)
		room.PlayCut(t, phrases+otherPhrase)
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
	f.hears8(room, firstPhrase)
	// The loudspeaker was taken away, too.
	heard := room.Record(t)
	fmt.Fprintln(f.in, phrases+otherPhrase)
	f.until("spoken")
	if l := likeness(audio.Clip(heard()), telephone(t, middle(read(t, phrases+otherPhrase)))); l < 0.9 {
		t.Errorf("what was spoken afterwards is like it by %.3f, want 0.9", l)
	}
	f.end()
	if f.stderr.Len() > 0 {
		t.Errorf("on standard error: %s", f.stderr.String())
	}
}

// TestDefaultChanges makes another microphone the system's default while it is used:
// the sound system goes over to it.
func TestDefaultChanges(t *testing.T) {
	room := livesound.Start(t)
	f := startFollower(t, room, "default")
	f.until("listening")
	f.hears(room, firstPhrase)
	room.Control(t, "load-module", "module-null-sink", "sink_name=other", "rate=48000", "channels=2")
	room.Control(t, "set-default-source", "other.monitor")
	clip := read(t, phrases+otherPhrase)
	room.PlayInto(t, "other", clip)
	f.heardLike(clip)
	f.end()
}

// TestNamed uses a microphone that is named, though it is not the default, and none in
// its place when it is not there.
func TestNamed(t *testing.T) {
	room := livesound.Start(t)
	const both = `pcm.!default { type pulse }
pcm.site_headset { type pulse device waycall_other.monitor hint { show on description "Site headset" } }`
	room.Devices(t, both)
	room.Control(t, "load-module", "module-null-sink", "sink_name=waycall_other", "rate=16000", "channels=1")
	out, err := inRoom(t, room.Env(), "devices").CombinedOutput()
	t.Logf("%v: %s", err, out)
	f := startFollower(t, room, "site_headset")
	f.until("listening to site_headset")
	room.PlayClip(t, read(t, phrases+otherPhrase)) // into the default, which nobody listens to
	clip := read(t, phrases+firstPhrase)
	room.PlayInto(t, "waycall_other", clip)
	f.heardLike(clip)
	f.end()

	room.Devices(t, "pcm.!default { type pulse }")
	out, err = inRoom(t, room.Env(), "follow", t.TempDir(), "site_headset").CombinedOutput()
	if err == nil || !strings.Contains(string(out), `none has "site_headset" in its name; there are: default`) || !strings.Contains(string(out), `name another with --mic`) {
		t.Errorf("a microphone that is remembered and not there: %v: %s", err, out)
	}
}
