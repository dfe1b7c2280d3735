package main

import (
	"os/exec"
	"strings"
	"testing"

	"waycall/internal/lab/testsound"
)

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
