package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/lab/testsound"
)

func TestJudgeClock(t *testing.T) {
	now := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	for name, tt := range map[string]struct {
		made, last time.Time
		set        bool
		want       state
	}{
		"kept":                         {now.AddDate(0, -1, 0), now.Add(-time.Second), true, good},
		"nothing known":                {time.Time{}, time.Time{}, true, good},
		"not kept":                     {now.AddDate(0, -1, 0), now.Add(-time.Second), false, look},
		"made an hour later elsewhere": {now.Add(time.Hour), time.Time{}, true, good},
		"back at the year of the chip": {now.AddDate(5, 0, 0), time.Time{}, true, missing},
		"before the last event":        {now.AddDate(0, -1, 0), now.Add(time.Second), true, missing},
	} {
		f := judgeClock(now, tt.made, tt.last, tt.set)
		if f.State != tt.want || (f.Do == "") != (f.State == good) {
			t.Errorf("%s: %+v, want %s", name, f, tt.want)
		}
	}
}

func TestJudgeRoom(t *testing.T) {
	for free, want := range map[uint64]state{0: missing, leastRoom - 1: missing, leastRoom: look, dayRoom - 1: look, dayRoom: good, 1 << 60: good} {
		if f := judgeRoom("disk", free); f.State != want || (f.Do == "") != (f.State == good) {
			t.Errorf("%d bytes free: %+v, want %s", free, f, want)
		}
	}
}

func TestLookFolder(t *testing.T) {
	dir := t.TempDir()
	mine, open, file := filepath.Join(dir, "mine"), filepath.Join(dir, "open"), filepath.Join(dir, "file")
	if err := errors.Join(os.Mkdir(mine, 0o700), os.Mkdir(open, 0o755), os.WriteFile(file, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]state{mine: good, open: look, file: missing, filepath.Join(dir, "none"): good, filepath.Join(file, "below"): missing} {
		if f := lookFolder("folder", path); f.State != want {
			t.Errorf("%s: %+v, want %s", path, f, want)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*", ".ready-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestFromError(t *testing.T) {
	if f := fromError("x", missing, errors.New("no voice: none; a, b; install it")); f.Found != "no voice: none; a, b" || f.Do != "install it" {
		t.Errorf("%+v", f)
	}
	if f := fromError("x", missing, errors.New("no voice")); f.Do == "" {
		t.Errorf("%+v", f)
	}
}

// With a microphone and a loudspeaker nothing is missing.
func TestReadyWithSound(t *testing.T) {
	waycall, err := exec.LookPath("waycall")
	if err != nil {
		t.Fatal(err)
	}
	room := testsound.Start(t)
	heard := room.Record(t)
	cmd := exec.Command(waycall, "ready", "--aloud", "--data", t.TempDir())
	cmd.Env = append(room.Env(), "WAYCALL_MODEL="+modelFile(t), "XDG_CONFIG_HOME="+t.TempDir())
	said, err := cmd.CombinedOutput()
	if code := cmd.ProcessState.ExitCode(); code != 0 && code != exitDoubtful {
		t.Fatalf("%v: %s", err, said)
	}
	for _, part := range []string{"microphone", "good     voice and speaker ", "good     speech model ", "good     second witness ", "good     third witness "} {
		if !strings.Contains(string(said), part) {
			t.Errorf("no %q in: %s", part, said)
		}
	}
	loud := 0
	for _, x := range heard() {
		if x > 0.05 || x < -0.05 {
			loud++
		}
	}
	if loud < 1000 {
		t.Errorf("the sentence was not spoken: %d loud samples", loud)
	}
}
