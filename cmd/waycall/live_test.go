package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/demo"
	"waycall/internal/jobs"
	"waycall/internal/lab/testsound"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/screen"
	"waycall/internal/store"
)

const liveBoard = `reference: LIVE-1
address: Test room
date: 2026-03-14
tester: AB
instrument: {serial: "1", checked: 2026-02-02, over_range: 999}
board:
  name: Small board
  earthing: TN-S
  voltage: 230
  ways:
    - way: 1
      feeds: Lighting
      device: {standard: BS EN 60898, type: B, rating: 6, breaking: 6}
      wiring: radial
      line: 1.5
      cpc: 1.0
tests: [insulation]
`

// live is a running `waycall start` in a room with a microphone.
type live struct {
	t      *testing.T
	room   *testsound.Room
	cmd    *exec.Cmd
	events chan screen.Event
	speech map[string]audio.Clip
}

func startLive(t *testing.T, room *testsound.Room, data, job string) *live {
	t.Helper()
	waycall, err := exec.LookPath("waycall")
	if err != nil {
		t.Fatal(err)
	}
	l := &live{t: t, room: room, events: make(chan screen.Event, 64), speech: map[string]audio.Clip{}}
	lines, err := demo.Script()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range lines {
		if _, known := l.speech[line.Text]; line.Text != "" && line.Noise == nil && !known {
			l.speech[line.Text] = line.Sound
		}
	}
	l.cmd = exec.Command(waycall, "start", "--json", "--speech-rate", "350", "--data", data, "--copy-to", stick(t, data), "--tester", "CD", job)
	l.cmd.Env = append(room.Env(), "WAYCALL_MODEL="+modelFile(t))
	l.cmd.Stderr = os.Stderr
	out, err := l.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.cmd.Process.Kill() })
	go func() {
		defer close(l.events)
		for s := bufio.NewScanner(out); s.Scan(); {
			var e screen.Event
			if json.Unmarshal(s.Bytes(), &e) == nil {
				l.events <- e
			}
		}
	}()
	return l
}

// stick is a folder that the job is copied to, such as on a USB stick.
func stick(t *testing.T, data string) string {
	t.Helper()
	dir := filepath.Join(data, "stick")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	return dir
}

// wait returns the next event of a kind.
func (l *live) wait(kind string) screen.Event {
	l.t.Helper()
	limit := time.After(time.Minute)
	for {
		select {
		case e, ok := <-l.events:
			if !ok {
				l.t.Fatalf("waycall ended while waiting for %q", kind)
			}
			if e.Event == kind {
				return e
			}
		case <-limit:
			l.t.Fatalf("nothing for a minute while waiting for %q", kind)
		}
	}
}

// end waits for the program to end, which it was asked to, and returns how it did.
func (l *live) end() error {
	l.t.Helper()
	limit := time.AfterFunc(2*time.Minute, func() { _ = l.cmd.Process.Kill() })
	for range l.events {
		continue
	}
	err := l.cmd.Wait()
	if !limit.Stop() {
		l.t.Fatal("waycall did not end in two minutes, and was killed")
	}
	return err
}

// say speaks into the microphone once waycall listens, and again where it asks, as on
// a busy machine whose sound is torn.
func (l *live) say(text string) {
	l.t.Helper()
	sound, ok := l.speech[text]
	if !ok {
		l.t.Fatalf("no recording of %q", text)
	}
	for range 3 {
		l.wait("listening")
		l.room.PlayClip(l.t, sound)
		h := l.wait("heard")
		if h.Outcome == "none" || h.Agreed && h.Text == text {
			return
		}
		if h.Agreed {
			l.t.Fatalf("said %q, heard %+v", text, h)
		}
		l.t.Logf("said %q, disputed: %+v", text, h)
	}
	l.t.Fatalf("said %q, which stays disputed", text)
}

// The live path without hardware: phrases are played into a PulseAudio sink
// whose monitor is PortAudio's default input, and waycall start runs as it does
// at a board. Half way through it is killed, as by a flat battery.
func TestLive(t *testing.T) {
	room := testsound.Start(t)
	data := t.TempDir()
	board := filepath.Join(data, "board.yaml")
	if err := os.WriteFile(board, []byte(liveBoard), 0o600); err != nil {
		t.Fatal(err)
	}
	l := startLive(t, room, data, board)
	for _, text := range []string{
		"isolated and locked off", "notices up", "indicator proved", "tested dead", "proved dead", "lamps removed", "loads disconnected",
		"electronics out", "switches on", "links as found", "leads joined nought point oh two", "leads apart over range",
		"pass me the long screwdriver would you",
		"five hundred and sixty megohms", "confirm",
		"over nine nine nine",
	} {
		l.say(text)
	}
	l.wait("speaking") // the reading is read back, so it is in the record

	// A second session on the same job is refused while this one runs.
	second := exec.Command(l.cmd.Path, "start", "--data", data, "LIVE-1")
	second.Env = l.cmd.Env
	said, err := second.CombinedOutput()
	if err == nil || !strings.Contains(string(said), "open in another session") {
		t.Errorf("a second session: %v: %s", err, said)
	}
	if err := l.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_ = l.cmd.Wait()

	// The copy on the stick is a whole record, and the beginning of this one.
	path, copied := filepath.Join(data, "LIVE-1"+jobs.Ending), filepath.Join(stick(t, data), "LIVE-1"+jobs.Ending)
	half, err := store.Verify(t.Context(), copied)
	if err != nil || len(half.Problems) != 0 || half.Events < 20 {
		t.Errorf("the copy after the kill: %+v, %v", half, err)
	}

	l = startLive(t, room, data, "LIVE-1")
	if e := l.wait("speaking"); e.Text == "" {
		t.Error("nothing was said on going on")
	}
	l.say("confirm")
	l.say("finish here")
	if err := l.end(); err != nil {
		t.Fatal(err)
	}

	// Each phrase was on the stick before the next, and the end is there, too.
	job, err := store.Verify(t.Context(), path)
	if err != nil || len(job.Problems) != 0 {
		t.Errorf("%+v, %v", job, err)
	}
	if whole, err := store.Verify(t.Context(), copied); err != nil || whole.Head != job.Head || whole.Sounds != job.Sounds || whole.Events <= half.Events {
		t.Errorf("the copy at the end: %+v, %v; the job: %+v", whole, err, job)
	}
	s, err := store.OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	state, err := jobs.Fold(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	for test, want := range map[reading.Test]string{reading.LNE: "560 Mohm", reading.LN: ">999 Mohm"} {
		r, ok := state.Latest(record.Slot{Board: 1, Way: 1, Test: test})
		if !ok || r.Quantity.String() != want {
			t.Errorf("%s: %v, %v; want %s", test, r.Quantity, ok, want)
			continue
		}
		if r.Tester != "CD" {
			t.Errorf("%s was taken by %q", test, r.Tester)
		}
		sound, err := s.Sound(t.Context(), r.HeardID)
		if err != nil || len(sound) < 16000 {
			t.Errorf("%s: the sound of its phrase has %d bytes, %v", test, len(sound), err)
		}
	}
	if !state.Finished || state.Sessions != 2 {
		t.Errorf("finished %v after %d openings", state.Finished, state.Sessions)
	}

	// Ctrl-C, or a terminal that is closed, while it speaks, ends a session cleanly: what
	// is beside the job of one that was cut off is not there.
	for _, stop := range []os.Signal{os.Interrupt, syscall.SIGHUP} {
		if signal.Ignored(stop) {
			// Under nohup the program outlives its terminal, as it is asked to.
			t.Logf("%v is ignored here, and so it is in what the test starts", stop)
			continue
		}
		l = startLive(t, room, data, "LIVE-1")
		l.wait("speaking")
		if err := l.cmd.Process.Signal(stop); err != nil {
			t.Fatal(err)
		}
		if err := l.end(); l.cmd.ProcessState.ExitCode() != exitStopped {
			t.Errorf("after %v: %v", stop, err)
		}
		if _, err := os.Lstat(path + "-wal"); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("after %v its log is not in the file: %v", stop, err)
		}
	}
}

// quiet waits for much longer than an echo, in which nothing may be heard. After a person
// has spoken, the rest of a phrase that came broken may be heard as nothing for us.
func (l *live) quiet(spoken bool) {
	l.t.Helper()
	for {
		select {
		case e := <-l.events:
			if rest := e.Event == "heard" && e.Outcome == "none" || e.Event == "listening"; !spoken || !rest {
				l.t.Fatalf("nobody has spoken, and it says %+v", e)
			}
		case <-time.After(1500 * time.Millisecond):
			return
		}
	}
}

// TestLiveEcho runs a session whose microphone hears its loudspeaker: no read-back,
// warning or tone of its own is taken for a phrase, and what a person says is heard.
func TestLiveEcho(t *testing.T) {
	room := testsound.Start(t)
	room.Echo(t, 100*time.Millisecond)
	data := t.TempDir()
	board := filepath.Join(data, "board.yaml")
	if err := os.WriteFile(board, []byte(liveBoard), 0o600); err != nil {
		t.Fatal(err)
	}
	l := startLive(t, room, data, board)
	spoken := false
	for _, text := range []string{"isolated and locked off", "notices up", "finish here"} {
		// On a busy machine the sound comes broken now and then. Then it is asked, and
		// said again, as a person would; what was not said is never heard surely.
		var heard screen.Event
		for try := 0; !heard.Agreed && try < 4; try++ {
			l.wait("listening")
			l.quiet(spoken)
			spoken = true
			l.room.PlayClip(t, l.speech[text])
			heard = l.wait("heard")
		}
		if !heard.Agreed || heard.Text != text {
			t.Fatalf("said %q, heard %+v", text, heard)
		}
	}
	ended := l.wait("ended")
	if ended.Sound == nil || ended.Sound.Seconds < 3 || ended.Sound.Device == "" {
		t.Errorf("at the end it says %+v", ended.Sound)
	}
	if err := l.cmd.Wait(); err != nil {
		t.Error(err)
	}
}
