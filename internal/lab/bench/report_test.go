package bench

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"waycall/internal/lab/noise"
)

// keptRun makes a run of readings of which some were wrong and sure.
func keptRun(set string, c noise.Condition, phrases, wrong int, methods ...string) Kept {
	k := Kept{Run: Run{Set: set, Condition: c, Methods: methods, Notes: make([]string, len(methods)), Date: "2026-01-02T03:04:05Z", Machine: "a machine, 2 cores"}}
	for i, m := range methods {
		k.Run.Notes[i] = "model of " + m
		for j := range phrases {
			r := Result{Item: Item{File: fmt.Sprintf("%d.wav", j), Text: "way one, fifty", Want: Want{Kind: "reading", Way: 1}},
				Method: m, End: Right, Sure: true, ForUs: true, Confidence: 0.993, Heard: "way one fifty", Means: "reading", MS: 50 + float64(100*i), SoundS: 2}
			if j < wrong {
				r.End, r.Heard = Wrong, "way one fifteen"
			}
			k.Results = append(k.Results, r)
		}
	}
	return k
}

func site(snr float64) noise.Condition {
	return noise.Condition{Noise: []noise.Added{{Kind: noise.Site, SNR: snr}}}
}

func TestReport(t *testing.T) {
	dir := t.TempDir()
	talk := keptRun("talk", noise.Condition{}, 1000, 0, "waycall")
	for i := range talk.Results {
		r := &talk.Results[i]
		r.Want, r.Text = Want{Kind: "none"}, "pass me the <red> | driver"
		if i < 3 {
			r.End, r.Heard, r.Means = Wrong, "confirm", "confirm"
		} else {
			r.ForUs, r.Sure, r.Heard, r.Means = false, false, "", ""
		}
	}
	kept := []Kept{
		keptRun("dev", noise.Condition{}, 200, 0, "waycall"),
		keptRun("dev", site(20), 200, 1, "waycall"),
		keptRun("dev", site(10), 200, 2, "waycall"),
		keptRun("dev", site(5), 200, 20, "waycall"),
		keptRun("dev", noise.Condition{Speed: 1.2}, 200, 0, "waycall"),
		keptRun("quiet", site(10), 50, 0, "waycall"),
		talk,
		keptRun("dev", noise.Condition{}, 100, 0, "waycall", "another"),
	}
	if err := Report(dir, kept); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"| dev, clean: readings and values right | at least 99.5 % | 100.0 % of 200 | met |",
		"| dev, site@10: right | at least 97.0 % | 99.0 % of 200 | met |",
		"| quiet, site@10: wrong among the sure | at most 0.5 % | 0 of 50; 0.0 %, at most 5.8 % | met, but too few to rule out more |",
		"| dev, site@10: wrong among the sure | at most 0.5 % | 2 of 200; 1.0 %, at most 3.1 % | **not met** |",
		"| dev, site@5: right | at least 92.0 % | 90.0 % of 200 | **not met** |",
		"| talk, clean: talk that became a reading or a confirmation | at most 0.2 % | 3 of 1000, 3 without asking; at most 0.8 % | **not met** |",
		"| dev | speed 1.2 | 200 | 100.0 % | 100.0 % |",
		"Nothing is better than waycall in any column.",
		"| fifty | fifteen | 23 |",
		"| pass me the &lt;red> \\| driver | confirm | talk, clean |",
		"![Set dev in site noise](noise-dev.svg)",
		"2026-01-02",
	} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the report lacks %q", want)
		}
	}
	if t.Failed() {
		t.Log(string(text))
	}
	for _, name := range []string{"noise-dev.svg", "confidence.svg"} {
		svg, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, svg)
	}
	if err := Report(dir, nil); err == nil {
		t.Error("a report on nothing was written")
	}
}

func wellFormed(t interface{ Errorf(string, ...any) }, svg []byte) {
	for dec := xml.NewDecoder(bytes.NewReader(svg)); ; {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Errorf("not XML: %v in\n%s", err, svg)
			return
		}
	}
	if s := string(svg); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
		t.Errorf("a place that is no number in\n%s", svg)
	}
}

func TestPlotsBearAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.OneOf(rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{0, 1}))
		var points []AtNoise
		for range rapid.IntRange(0, 5).Draw(t, "points") {
			n := rapid.IntRange(0, 6000).Draw(t, "sure")
			k := rapid.IntRange(0, n).Draw(t, "wrong")
			c := Count{Sure: n, WrongSure: k, RightShare: share.Draw(t, "right"), RightSureShare: share.Draw(t, "not asked")}
			if n > 0 {
				c.WrongSureShare, c.WrongSureMost = float64(k)/float64(n), AtMost(k, n)
			}
			points = append(points, AtNoise{"<20 dB & more>", c, c})
		}
		var b bytes.Buffer
		if err := PlotNoise(&b, `a "set" & <more>`, points); err != nil {
			t.Fatal(err)
		}
		wellFormed(t, b.Bytes())
		var table []Bin
		for range rapid.IntRange(0, 5).Draw(t, "bins") {
			n := rapid.IntRange(1, 6000).Draw(t, "answers")
			table = append(table, Bin{Answers: n, Right: rapid.IntRange(0, n).Draw(t, "right"), Claimed: share.Draw(t, "claimed")})
		}
		b.Reset()
		if err := PlotReliability(&b, "title", table); err != nil {
			t.Fatal(err)
		}
		wellFormed(t, b.Bytes())
	})
}

func TestBetter(t *testing.T) {
	us := Compared{Name: "waycall", ForUs: Count{RightShare: 0.99, RightSureShare: 0.98, WrongShare: 0.001}, Talk: Count{WrongShare: 0}, P50: 60, P95: 150}
	slow := Compared{Name: "slow", ForUs: Count{RightShare: 0.995, RightSureShare: 0.995, WrongShare: 0.005}, Talk: Count{WrongShare: 0.5}, P50: 400, P95: 600}
	got := strings.Join(Better([]Compared{us, slow}), "\n")
	want := "slow is better than waycall in phrases right: 99.5 % against 99.0 %\nslow is better than waycall in phrases right without asking: 99.5 % against 98.0 %"
	if got != want {
		t.Errorf("got\n%s", got)
	}
	if b := Better([]Compared{us, us}); len(b) != 0 {
		t.Errorf("an equal is better in %v", b)
	}
	var out bytes.Buffer
	WriteComparison(&out, []Compared{us, slow})
	if !strings.Contains(out.String(), want) {
		t.Errorf("wrote\n%s", out.String())
	}
}

func TestRefreshReadme(t *testing.T) {
	path := filepath.Join(t.TempDir(), "README.md")
	write := func(s string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(s), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept := []Kept{keptRun("dev", noise.Condition{}, 3, 0, "waycall"), keptRun("dev", noise.Condition{Speed: 1.4}, 3, 0, "waycall")}
	write("before\n" + beginMark + "\nold\n" + endMark + "\nafter\n")
	for range 2 { // refreshing again changes nothing
		if err := RefreshReadme(path, "docs/bench/README.md", kept); err != nil {
			t.Fatal(err)
		}
	}
	b, _ := os.ReadFile(path)
	s := string(b)
	if !strings.HasPrefix(s, "before\n"+beginMark+"\n\n| set |") || !strings.HasSuffix(s, "\n"+endMark+"\nafter\n") || strings.Contains(s, "old") ||
		!strings.Contains(s, "| dev | clean | 3 |") || strings.Contains(s, "speed") || strings.Count(s, "Measured 2026-01-02") != 1 {
		t.Errorf("wrote\n%s", s)
	}
	write("no place")
	if err := RefreshReadme(path, "x", kept); err == nil || !strings.Contains(err.Error(), beginMark) {
		t.Errorf("error %v", err)
	}
	if b, _ := os.ReadFile(path); string(b) != "no place" {
		t.Errorf("the README became %q", b)
	}
}
