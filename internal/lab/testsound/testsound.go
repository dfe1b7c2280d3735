//go:build linux

// Package testsound lets tests speak to a program that listens to a real
// microphone, on a machine that has none.
//
// A Room is a private PulseAudio server with two devices that exist only in
// memory. Whatever is played into the voice comes out of its monitor, which is
// the room's microphone; what the program under test says goes to the speaker,
// and stays out of the microphone. ALSA, and through it PortAudio, finds both as
// its defaults when a program is run with the room's environment:
//
//	room := testsound.Start(t)
//	cmd := exec.Command("waycall", "test", "job.yaml")
//	cmd.Env = room.Env()
//	...
//	room.Play(t, "testdata/phrase.wav")
//
// Sound is played and recorded in real time, so a busy machine tears it. On a desktop the
// sound server goes before other programs; where this user may, as root may, the room's
// server, players and recorder do, too. Without that they take their turns, and tests
// that want a whole phrase try more than once.
//
// PortAudio reads the environment when it starts, so the program must be a
// process of its own. It needs the Debian packages pulseaudio, pulseaudio-utils
// and libasound2-plugins, and works as root.
package testsound

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"waycall/internal/audio"
)

// The room's two devices.
const (
	voice   = "waycall_voice"   // people speak into it; its monitor is the microphone
	speaker = "waycall_speaker" // the program under test speaks into it
)

// patience is how long anything may take before a test gives up. It is no
// measure of how long it does take.
const patience = time.Minute

// A Room is a place where a program under test can hear and be heard.
type Room struct {
	dir   string
	close func()
}

// Start opens a room, which closes when the test ends. It fails the test when
// the packages are missing: a live path that is not tried is not known to work.
func Start(t testing.TB) *Room {
	t.Helper()
	for _, tool := range []string{"pulseaudio", "paplay", "parecord"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Fatalf("no live sound: %v; run scripts/setup, which installs it", err)
		}
	}
	// Not t.TempDir: a socket's path may have 107 characters at most, and the
	// names of tests are long.
	dir, err := os.MkdirTemp("", "room-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	r := &Room{dir: dir}

	write(t, r.path("pulse.pa"), fmt.Sprintf(`load-module module-native-protocol-unix auth-anonymous=1 socket=%s
load-module module-null-sink sink_name=%s rate=%d channels=1
load-module module-null-sink sink_name=%s rate=%[3]d channels=1
set-default-sink %[4]s
set-default-source %[2]s.monitor
`, r.path("socket"), voice, audio.Rate, speaker))
	write(t, r.path("client.conf"), "autospawn = no\n")
	r.Devices(t, "pcm.!default { type pulse }")

	var log bytes.Buffer
	cmd := exec.Command("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1",
		"--disable-shm=yes", "--realtime=yes", "--high-priority=yes", "--log-target=stderr", "-F", r.path("pulse.pa"))
	cmd.Env = r.Env()
	cmd.Stdout, cmd.Stderr = &log, &log
	// The server must not outlive us even when the test is killed. The kernel
	// ties that to the thread which started it, so that thread stays.
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	started, ended := make(chan error, 1), make(chan struct{})
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		defer close(ended)
		err := cmd.Start()
		started <- err
		if err == nil {
			_ = cmd.Wait() // it is killed, so it fails
		}
	}()
	if err := <-started; err != nil {
		t.Fatalf("no live sound: %v", err)
	}
	Hurry(cmd)
	r.close = func() {
		_ = cmd.Process.Kill() // it may have gone already
		<-ended
	}
	t.Cleanup(r.close)
	for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		if out, err := r.command("pactl", "get-default-source").Output(); err == nil && strings.TrimSpace(string(out)) == voice+".monitor" {
			return r
		}
		select {
		case <-ended:
			t.Fatalf("no live sound: pulseaudio stopped:\n%s", log.String())
		default:
		}
		if time.Now().After(deadline) {
			t.Fatalf("no live sound: pulseaudio is not ready after %v", patience)
		}
	}
}

// Hurry lets a program that was started, and gives or takes the sound of a room, go before others, as far as this user may.
func Hurry(cmd *exec.Cmd) {
	_ = syscall.Setpriority(syscall.PRIO_PROCESS, cmd.Process.Pid, -11) // else it takes its turn
}

func write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func (r *Room) path(name string) string { return filepath.Join(r.dir, name) }

// Close takes the room's devices away, as when a headset is pulled out. A room that
// nobody closes closes when the test ends.
func (r *Room) Close() { r.close() }

// Devices writes what ALSA shows as devices, in the language of its configuration. A
// program that looks for devices anew finds them.
func (r *Room) Devices(t testing.TB, conf string) {
	t.Helper()
	write(t, r.path("alsa.conf"), conf+"\nctl.!default { type pulse }\n")
}

// Unplug takes the headset away, which is the voice and the speaker, as when its cable
// is pulled out.
func (r *Room) Unplug(t testing.TB) {
	t.Helper()
	for _, line := range strings.Split(r.Control(t, "list", "short", "modules"), "\n") {
		if f := strings.Fields(line); len(f) > 2 && (strings.Contains(line, "sink_name="+voice) || strings.Contains(line, "sink_name="+speaker)) {
			r.Control(t, "unload-module", f[0])
		}
	}
}

// Plug brings the headset back, with a sample rate in Hz that may be another than it
// had.
func (r *Room) Plug(t testing.TB, rate int) {
	t.Helper()
	for _, sink := range []string{voice, speaker} {
		r.Control(t, "load-module", "module-null-sink", "sink_name="+sink, fmt.Sprintf("rate=%d", rate), "channels=1")
	}
	r.Control(t, "set-default-sink", speaker)
	r.Control(t, "set-default-source", voice+".monitor")
}

// Echo makes the microphone hear what the program under test says, so much later, as a
// loudspeaker on the bench is heard.
func (r *Room) Echo(t testing.TB, delay time.Duration) {
	t.Helper()
	r.Control(t, "load-module", "module-loopback", "source="+speaker+".monitor", "sink="+voice, fmt.Sprintf("latency_msec=%d", delay.Milliseconds()),
		"source_dont_move=true", "sink_dont_move=true")
}

// Control gives the sound server a command of pactl, and returns what it prints.
func (r *Room) Control(t testing.TB, args ...string) string {
	t.Helper()
	cmd := r.command("pactl", args...)
	var complaint strings.Builder
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("pactl %v: %v: %s", args, err, complaint.String())
	}
	return string(out)
}

// Env returns the environment for a program in the room: this process's own, with
// the sound system replaced.
func (r *Room) Env() []string {
	env := []string{
		"PULSE_SERVER=unix:" + r.path("socket"),
		"PULSE_RUNTIME_PATH=" + r.dir,
		"PULSE_STATE_PATH=" + r.dir,
		"PULSE_CLIENTCONFIG=" + r.path("client.conf"),
		"PULSE_COOKIE=" + r.path("cookie"),
		"XDG_RUNTIME_DIR=" + r.dir,
		"ALSA_CONFIG_PATH=/usr/share/alsa/alsa.conf:" + r.path("alsa.conf"),
		"JACK_NO_START_SERVER=1",
	}
	for _, v := range os.Environ() {
		name, _, _ := strings.Cut(v, "=")
		switch {
		case strings.HasPrefix(name, "PULSE_"), strings.HasPrefix(name, "ALSA_"), strings.HasPrefix(name, "JACK_"),
			name == "XDG_RUNTIME_DIR", name == "DISPLAY", name == "DBUS_SESSION_BUS_ADDRESS":
		default:
			env = append(env, v)
		}
	}
	return env
}

func (r *Room) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(name, args...)
	cmd.Env = r.Env()
	return cmd
}

// Play speaks the sound of a WAV file into the room's microphone and returns when
// it has been spoken.
func (r *Room) Play(t testing.TB, wav string) {
	t.Helper()
	r.play(t, voice, wav)
}

// PlayClip speaks a clip into the room's microphone and returns when it has been
// spoken.
func (r *Room) PlayClip(t testing.TB, sound audio.Clip) {
	t.Helper()
	r.PlayInto(t, voice, sound)
}

// PlayCut is Play where the headset may be unplugged meanwhile.
func (r *Room) PlayCut(t testing.TB, wav string) {
	t.Helper()
	_ = r.paplay(context.Background(), voice, wav)
}

// PlayInto plays a clip into a sink of the room, and returns when it has been played.
func (r *Room) PlayInto(t testing.TB, sink string, sound audio.Clip) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "clip.wav")
	if err := audio.WriteWAV(path, sound); err != nil {
		t.Fatal(err)
	}
	r.play(t, sink, path)
}

func (r *Room) play(t testing.TB, device, wav string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience+audio.LongestFile)
	defer cancel()
	if err := r.paplay(ctx, device, wav); err != nil {
		t.Fatalf("cannot play %s into the room: %v", wav, err)
	}
}

// paplay plays a file into a device. Half a second is on its way at any time, so that a
// player which waits for its turn leaves no gap.
func (r *Room) paplay(ctx context.Context, device, wav string) error {
	cmd := exec.CommandContext(ctx, "paplay", "--latency-msec=500", "--device="+device, wav)
	cmd.Env = r.Env()
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		return err
	}
	Hurry(cmd)
	if err := cmd.Wait(); err != nil {
		return fmt.Errorf("%w\n%s", err, out.String())
	}
	return nil
}

// Record begins to record what the program under test says. The function that it
// returns ends the recording and gives the sound.
func (r *Room) Record(t testing.TB) (stop func() audio.Clip) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "speaker.wav")
	cmd := r.command("parecord", "--device="+speaker+".monitor", "--file-format=wav",
		fmt.Sprintf("--rate=%d", audio.Rate), "--channels=1", "--format=s16le", "--latency-msec=20", path)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	Hurry(cmd)
	t.Cleanup(func() { _ = cmd.Process.Kill() }) // for a test that fails before stop
	// It listens from the moment that the server knows its stream.
	for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		out, err := r.command("pactl", "list", "source-outputs").Output()
		if err == nil && strings.Contains(string(out), fmt.Sprintf("application.process.id = %q", fmt.Sprint(cmd.Process.Pid))) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the room's recorder does not start")
		}
	}
	return func() audio.Clip {
		t.Helper()
		if err := cmd.Process.Signal(os.Interrupt); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // interrupted, so it may say that it failed
		c, err := audio.ReadFile(path)
		if err != nil && c == nil {
			t.Fatal(err)
		}
		return c
	}
}
