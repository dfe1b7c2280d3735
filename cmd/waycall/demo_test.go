package main

import (
	"encoding/csv"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/jobs"
	"waycall/internal/store"
)

// What the electrician said in internal/demo/script.jsonl, line by line, and
// nothing else: written by hand from the script, not from what waycall made of it.
var demoSchedule = []string{
	"1  >999 410   insulation: pass", // 410 said later, in place of >999
	"2 1 560 >999   insulation: pass",
	"2 2 542 >999   insulation: pass",
	"3  315 >999   insulation: pass",             // in doubt beside the drill, and said again
	"4  >999 >999   insulation: pass",            // said as 999, and the bound corrected
	"5  >999 >999   insulation: pass",            // after the work; 0.3 before it
	"6  >999 >999   insulation: pass",            // the first together with way seven
	"7  >999 skipped   insulation: pass in part", // equipment connected
	"8  486 not made   insulation: pass",         // said as 46, and the value corrected; alarms stay connected
	"9  14.2 >999   investigate",                 //
	"10      ",                                   // spare
}

func TestDemo(t *testing.T) {
	out := filepath.Join(t.TempDir(), "demo")
	waycall, err := exec.LookPath("waycall")
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(waycall, "demo", "--out", out)
	cmd.Env = append(os.Environ(), "WAYCALL_MODEL="+modelFile(t))
	said, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	shown := string(said)
	for _, want := range []string{
		"(talk, not for waycall)",
		"  (disputed)",
		"Leads joined, nought point nought two, pass.",
		"Changed to: Way eight, live and neutral to earth, four, eight, six megohms. Pass. Confirm?",
		"Changed to: Way four, live and neutral to earth, greater than nine, nine, nine megohms. Pass. Confirm?",
		"Noted: the neutral was trapped under a screw.",
		"Ways six and seven, live and neutral to earth, all greater than nine nine nine megohms: way six and way seven. Pass. Confirm?",
		"Observation, way ten, code C 3: the spare way has no label on it.",
		"It replaces greater than nine nine nine megohms. Confirm?",
		"Way three, live and neutral to earth, three, one, five megohms. Pass. Confirm?",
		"Say option one, option two, or say it again.",
		"Way five, live and neutral to earth, nought point three megohms. Fail. Below the limit of one megohm. Confirm?",
		"Going on where this job stopped.",
		"Way five is tested again, and its earlier readings are kept.",
		"Skipped, equipment connected.",
		"Every test was made or left out with a reason.",
		"Is the surge protection back in? Say, surge protection back.",
		"Each way with its breaker off and its neutral out of the bar.",
		"71 phrases, ",
	} {
		if !strings.Contains(shown, want) {
			t.Errorf("it does not show %q", want)
		}
	}
	if strings.Contains(shown, "\x1b") {
		t.Error("colour was printed into a pipe")
	}

	f, err := os.Open(filepath.Join(out, "schedule.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	reader := csv.NewReader(f)
	reader.FieldsPerRecord = -1
	rows, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int { return slices.Index(rows[0], name) }
	var got []string
	for _, r := range rows[1:] {
		if r[0] == "line" {
			var cells []string
			for _, c := range []string{"way", "switch position", "LN-E Mohm", "L-N Mohm", "L-E Mohm", "N-E Mohm", "result"} {
				cells = append(cells, r[column(c)])
			}
			got = append(got, strings.Join(cells, " "))
		}
	}
	if !slices.Equal(got, demoSchedule) {
		t.Errorf("the schedule is\n%s\nwant\n%s\n\n%s", strings.Join(got, "\n"), strings.Join(demoSchedule, "\n"), shown)
	}

	if want := "waycall review --data " + out + " --open"; !strings.Contains(shown, want) {
		t.Errorf("it does not say how to look at it: %s", want)
	}

	// A reading that is agreed and passes is
	// read back in 2.5 s at most, its verdict and the tone with it.
	if m := regexp.MustCompile(`Read back in brief, with the verdict and the tone: (\d+) readings, [\d.]+ s in the middle, ([\d.]+) s at most`).FindStringSubmatch(shown); m == nil {
		t.Error("it does not say how long a reading is read back")
	} else if n, _ := strconv.Atoi(m[1]); n < 5 {
		t.Errorf("only %d readings were read back in brief", n)
	} else if most, _ := strconv.ParseFloat(m[2], 64); most > 2.5 {
		t.Errorf("a reading was read back in %v s", most)
	}

	// Both sides are on the track, and every reading has its sound.
	track, err := audio.ReadFile(filepath.Join(out, "session.wav"))
	if err != nil || track.Duration().Minutes() < 4 {
		t.Errorf("the track is %v long, %v", track.Duration(), err)
	}
	s, err := store.OpenReadOnly(filepath.Join(out, "TER-0107"+jobs.Ending))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	state, err := jobs.Fold(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if len(state.Readings) != 22 || len(state.Notes) != 2 || !state.Finished {
		t.Errorf("%d readings were ever confirmed, %d notes, finished %v", len(state.Readings), len(state.Notes), state.Finished)
	}
	// How the time went is in what is shown of the job: all of its phrases, by their sounds.
	if told, err := exec.Command(waycall, "show", "--json", s.Path()).Output(); err != nil {
		t.Error(err)
	} else if m := regexp.MustCompile(`"times":\[\{"board":1,.*"phrases":(\d+),"tester_s":([\d.]+),"prompts":\d+,"waycall_s":([\d.]+),`).FindSubmatch(told); m == nil {
		t.Errorf("%s does not say how the time went", told)
	} else if n, _ := strconv.Atoi(string(m[1])); n < 60 {
		t.Errorf("%d phrases are counted", n)
	} else if spoken, _ := strconv.ParseFloat(string(m[2]), 64); spoken < 60 || spoken > 300 {
		t.Errorf("the tester spoke %v s", spoken)
	} else if said, _ := strconv.ParseFloat(string(m[3]), 64); said < 60 || said > 600 {
		t.Errorf("waycall spoke %v s", said)
	}
	for _, r := range state.Readings {
		if sound, err := s.Sound(t.Context(), r.HeardID); err != nil || len(sound) < 16000 {
			t.Errorf("%v: the sound of its phrase has %d bytes, %v", r.Slot, len(sound), err)
		}
	}
}

// A folder that cannot be made is a clear error.
func TestDemoNowhere(t *testing.T) {
	waycall, err := exec.LookPath("waycall")
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(waycall, "demo", "--out", "/proc/waycall/demo")
	said, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitFailed || !strings.Contains(string(said), "name a folder that can be written to with --out") {
		t.Errorf("%v: %s", err, said)
	}
}
