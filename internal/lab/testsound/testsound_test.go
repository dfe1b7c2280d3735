//go:build linux

package testsound_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/audio/mic"
	"waycall/internal/lab/testsound"
	"waycall/internal/say/speaker"
)

// The tests run this test binary again as the program in the room: what it is to
// do is named here, and its arguments follow.
const role = "WAYCALL_LIVESOUND_ROLE"

func TestMain(m *testing.M) {
	roles := map[string]func(args []string) error{
		"listen": listen, "follow": follow, "capture": capture, "burn": func([]string) error { burn(); return nil }, "speak": speakFile, "devices": devices,
		"no-mic":     func([]string) error { _, err := mic.Open(""); return err },
		"other-mic":  func([]string) error { _, err := mic.Open("the blue headset"); return err },
		"no-speaker": func([]string) error { _, err := speaker.Open(""); return err },
	}
	if name := os.Getenv(role); name != "" {
		if err := roles[name](os.Args[1:]); err != nil {
			fmt.Fprintln(os.Stderr, "error:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// inRoom returns a command that plays a role with the given environment.
func inRoom(t *testing.T, env []string, name string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute+*captureFor)
	t.Cleanup(cancel)
	cmd := exec.CommandContext(ctx, self, args...)
	cmd.Env = append(env, role+"="+name)
	return cmd
}

// listen catches one phrase for each file named and writes it there.
func listen(files []string) error {
	m, err := mic.Open("")
	if err != nil {
		return err
	}
	defer m.Close()
	// Sound arrives: the microphone is open.
	if _, err := m.Next(context.Background()); err != nil {
		return err
	}
	fmt.Println("listening")
	e := audio.NewEndpointer(audio.Settings{})
	for i := 0; i < len(files); {
		frame, err := m.Next(context.Background())
		if err != nil {
			return err
		}
		for _, ev := range e.Push(frame) {
			if ev.Kind != audio.Ended {
				continue
			}
			if err := audio.WriteWAV(files[i], ev.Phrase.Sound); err != nil {
				return err
			}
			fmt.Println("heard", files[i])
			i++
		}
	}
	fmt.Println("lost", m.Lost())
	return m.Close()
}

// follow listens until its input ends, says each phrase that it heard and what the
// microphone tells, and writes the phrases below a folder. Its other arguments are the
// names of the microphone and the loudspeaker. For each line of input it speaks the file named there first.
func follow(args []string) error {
	m, err := mic.Open(args[1])
	if err != nil {
		return err
	}
	defer m.Close()
	m.Tell = func(n audio.News) { fmt.Println("news:", n.Text) }
	s, err := speaker.Open(args[2])
	if err != nil {
		return err
	}
	defer s.Close()
	s.Tell = m.Tell
	speak := make(chan string)
	go func() {
		defer close(speak)
		for in := bufio.NewScanner(os.Stdin); in.Scan(); {
			speak <- in.Text()
		}
	}()
	e := audio.NewEndpointer(audio.Settings{})
	begun := false
	for n := 0; ; {
		select {
		case file, ok := <-speak:
			if !ok {
				return nil
			}
			c, err := audio.ReadFile(file)
			if err != nil {
				return err
			}
			if err := s.Play(context.Background(), c); err != nil {
				return err
			}
			m.Discard()
			e.Reset()
			fmt.Println("spoken")
		default:
		}
		frame, err := m.Next(context.Background())
		if b := new(audio.Break); errors.As(err, &b) {
			fmt.Println("break:", err)
			e.Reset()
			continue
		}
		if err != nil {
			return err
		}
		if !begun {
			begun = true
			fmt.Println("listening to", m.Device().Name)
		}
		for _, ev := range e.Push(frame) {
			switch ev.Kind {
			case audio.Started:
				fmt.Println("started")
			case audio.Ended:
				n++
				file := filepath.Join(args[0], fmt.Sprint(n, ".wav"))
				if err := audio.WriteWAV(file, ev.Phrase.Sound); err != nil {
					return err
				}
				fmt.Println("heard", file)
			}
		}
	}
}

func speakFile(files []string) error {
	s, err := speaker.Open("")
	if err != nil {
		return err
	}
	defer s.Close()
	for _, f := range files {
		c, err := audio.ReadFile(f)
		if err != nil {
			return err
		}
		if err := s.Play(context.Background(), c); err != nil {
			return err
		}
	}
	// Cancelled in the middle, it falls silent and can speak again.
	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(200*time.Millisecond, cancel)
	if err := s.Play(ctx, make(audio.Clip, 60*audio.Rate)); !errors.Is(err, context.Canceled) {
		return fmt.Errorf("cancelled: %w", err)
	}
	return s.Play(context.Background(), make(audio.Clip, audio.FrameSize))
}

func devices([]string) error {
	list, err := mic.List()
	if err != nil {
		return err
	}
	for _, d := range list {
		fmt.Println(d.Name, d.Rate, d.Default)
	}
	return nil
}

const phrases = "../../audio/testdata/phrases/"

func read(t *testing.T, path string) audio.Clip {
	t.Helper()
	c, err := audio.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// likeness returns the greatest normalised correlation of b with any part of a: 1
// when a holds b exactly, near 0 when it holds something else.
func likeness(a, b audio.Clip) float64 {
	energy := func(c audio.Clip) (sum float64) {
		for _, x := range c {
			sum += float64(x) * float64(x)
		}
		return sum
	}
	best := 0.0
	for at := 0; at+len(b) <= len(a); at++ {
		dot := 0.0
		for i, x := range b {
			dot += float64(x) * float64(a[at+i])
		}
		best = max(best, dot/math.Sqrt(energy(a[at:at+len(b)])*energy(b)+1e-12))
	}
	return best
}

// middle returns the loudest 150 ms of c, which stands for it in likeness.
func middle(c audio.Clip) audio.Clip {
	const n = audio.Rate * 150 / 1000
	best := c[:n]
	for at := 0; at+n <= len(c); at += 80 {
		if part := c[at : at+n]; part.Level() > best.Level() {
			best = part
		}
	}
	return best
}

// TestMicrophone speaks two phrases into the room and wants both of them, and
// nothing else, to come out of PortAudio's default microphone. A busy machine may
// stretch a sound on its way, so it has three tries.
func TestMicrophone(t *testing.T) {
	room := testsound.Start(t)
	var wrong []string
	for range 3 {
		if wrong = spokenInto(t, room); wrong == nil {
			return
		}
	}
	t.Error(strings.Join(wrong, "; "))
}

// spokenInto speaks the phrases into the room, and says how what the microphone gave
// differs from them.
func spokenInto(t *testing.T, room *testsound.Room) (wrong []string) {
	t.Helper()
	dir := t.TempDir()
	said := []string{"0000-bm_george.flac", "0032-am_adam.flac"}
	heard := []string{filepath.Join(dir, "1.wav"), filepath.Join(dir, "2.wav")}
	cmd := inRoom(t, room.Env(), "listen", heard...)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	expect := func(want string) {
		t.Helper()
		if !lines.Scan() {
			_ = cmd.Wait()
			t.Fatalf("the listener ended before %q: %s", want, stderr.String())
		}
		if lines.Text() != want {
			t.Fatalf("the listener says %q, want %q", lines.Text(), want)
		}
	}
	expect("listening")
	for i, file := range said {
		clip := read(t, phrases+file)
		// What the program itself says must not reach its microphone.
		if speaking := inRoom(t, room.Env(), "speak", phrases+"0058-am_puck.flac"); i == 0 {
			if out, err := speaking.CombinedOutput(); err != nil {
				t.Fatalf("speaking: %v: %s", err, out)
			}
		}
		room.PlayClip(t, clip)
		expect("heard " + heard[i])
	}
	expect("lost 0")
	if err := cmd.Wait(); err != nil || stderr.Len() > 0 {
		t.Errorf("the listener ended with %v and %q", err, stderr.String())
	}
	for i, file := range said {
		want := audio.Trim(read(t, phrases+file), audio.Settings{}).Sound
		got := read(t, heard[i])
		if d := got.Duration() - want.Duration(); d < -100*time.Millisecond || d > 100*time.Millisecond {
			wrong = append(wrong, fmt.Sprintf("%s: heard %v of it, spoken %v", file, got.Duration(), want.Duration()))
		}
		if d := got.Level() - want.Level(); math.Abs(d) > 1 {
			wrong = append(wrong, fmt.Sprintf("%s: heard %.1f dB louder than it was spoken", file, d))
		}
		if l := likeness(got, middle(want)); l < 0.98 {
			wrong = append(wrong, fmt.Sprintf("%s: what was heard is like it by %.3f, want 0.98", file, l))
		}
	}
	return wrong
}

// TestPulledOut: when the whole sound system goes away in mid-session, the listener is
// told so and waits, until it is stopped.
func TestPulledOut(t *testing.T) {
	room := testsound.Start(t)
	f := startFollower(t, room, "default")
	f.until("listening")
	room.Close()
	f.until("news: The microphone is gone (default): plug it in")
	if err := f.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	for line := range f.lines {
		t.Errorf("the listener says %q", line)
	}
	_ = f.cmd.Wait() // it was killed
}

// TestSpeaker wants what the program says to come out of the room's speaker
// whole. A busy machine may lose some of it on the way, so it has three tries.
func TestSpeaker(t *testing.T) {
	room := testsound.Start(t)
	files := []string{phrases + "0013-bm_daniel.flac", phrases + "0032-am_adam.flac"}
	var wrong []string
	for range 3 {
		stop := room.Record(t)
		if out, err := inRoom(t, room.Env(), "speak", files...).CombinedOutput(); err != nil || len(out) > 0 {
			t.Fatalf("speaking: %v: %s", err, out)
		}
		if wrong = lost(t, stop(), files); wrong == nil {
			return
		}
	}
	t.Error(strings.Join(wrong, "; "))
}

// lost says what of the files is not in the sound that came out.
func lost(t *testing.T, got audio.Clip, files []string) (wrong []string) {
	var all audio.Clip
	for _, f := range files {
		c := read(t, f)
		all = append(all, c...)
		if l := likeness(got, middle(c)); l < 0.98 {
			wrong = append(wrong, fmt.Sprintf("%s: what came out is like it by %.3f, want 0.98", f, l))
		}
	}
	spoken := audio.Trim(got, audio.Settings{}).Sound
	if len(spoken) < len(audio.Trim(all, audio.Settings{}).Sound)-audio.Rate/10 {
		wrong = append(wrong, fmt.Sprintf("%v came out of %v", spoken.Duration(), all.Duration()))
	}
	return wrong
}

func TestDevices(t *testing.T) {
	room := testsound.Start(t)
	out, err := inRoom(t, room.Env(), "devices").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "true") {
		t.Errorf("no default microphone in the room: %v: %s", err, out)
	}
	out, err = inRoom(t, room.Env(), "other-mic").CombinedOutput()
	if err == nil || !strings.Contains(string(out), `"the blue headset"`) || !strings.Contains(string(out), "default") {
		t.Errorf("a microphone that is not there: %v: %s", err, out)
	}
}

// TestNoDevices: on a machine without sound there is one line of error and none
// of the sound system's own.
func TestNoDevices(t *testing.T) {
	env := slices.DeleteFunc(os.Environ(), func(v string) bool {
		return strings.HasPrefix(v, "PULSE_") || strings.HasPrefix(v, "ALSA_")
	})
	// No server and no card, whatever machine this is.
	conf := filepath.Join(t.TempDir(), "alsa.conf")
	if err := os.WriteFile(conf, []byte("pcm.!default { type hw card 31 }\nctl.!default { type hw card 31 }\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	env = append(env, "PULSE_SERVER=unix:/nonexistent", "ALSA_CONFIG_PATH="+conf)
	for name, want := range map[string]string{"no-mic": "no microphone: ", "no-speaker": "no loudspeaker: "} {
		out, err := inRoom(t, env, name).CombinedOutput()
		if err == nil {
			t.Skip("this machine has sound devices that cannot be hidden")
		}
		if s := string(out); strings.Count(s, "\n") != 1 || !strings.HasPrefix(s, "error: "+want) || !strings.Contains(s, "plug in a headset") {
			t.Errorf("%s: %s", name, s)
		}
	}
}
