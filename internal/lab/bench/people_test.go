package bench

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"waycall/internal/lab/noise"
)

// People stand before everything else in the report, each set against its own bar.
func TestReportOfPeople(t *testing.T) {
	digits := keptRun("people-digits", noise.Condition{}, 240, 1, "waycall")
	for i := range digits.Results {
		digits.Results[i].Voice = []string{"a", "b"}[i%2]
	}
	glued := keptRun("people-glued", noise.Condition{}, 100, 1, "waycall")
	words := keptRun("people-words", noise.Condition{}, 100, 0, "waycall")
	for i := range words.Results {
		r := &words.Results[i]
		r.Want, r.Text, r.ForUs, r.Sure, r.Heard, r.Means = Want{Kind: "none"}, "follow", false, false, "", ""
		if i < 2 {
			r.End, r.ForUs, r.Heard, r.Means = Wrong, true, "four oh", "reading"
		}
	}
	dir := t.TempDir()
	if err := Report(dir, []Kept{keptRun("dev", noise.Condition{}, 20, 0, "waycall"), digits, glued, words}); err != nil {
		t.Fatal(err)
	}
	read, err := os.ReadFile(filepath.Join(dir, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	text := string(read)
	for _, want := range []string{
		"| digits | a single figure in one second | 240 | 2 | 99.6 % | 99.6 % | 1 | 2.0 % |  | met |",
		"| glued | two or three figures, each spoken alone, with gaps of 20 to 600 ms | 100 | 1 | 99.0 % | 99.0 % | 1 | 4.7 % |  | **not met** |",
		"| words | single words and letters that are not for us | 100 | 1 |  |  | 0 | 3.0 % | 2 of 100 | met |",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
	people, bars := strings.Index(text, "## People"), strings.Index(text, "## Against the bars")
	if people < 0 || bars < people {
		t.Error("people do not come first")
	}
	if strings.Contains(text[bars:], "| people-digits, clean: ") {
		t.Error("people are held to the bars of rendered voices, too")
	}
	if t.Failed() {
		t.Log(text)
	}
}
