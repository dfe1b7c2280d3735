package bench

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"waycall/grammar"
	"waycall/internal/phrase"
)

func TestJudge(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	heard := func(sure bool, text string) Answer {
		m, ok := g.Meaning(text)
		if !ok {
			return Answer{}
		}
		return Answer{ForUs: true, Words: text, Meaning: m, Sure: sure}
	}
	over := Want{Kind: "reading", Way: 3, Test: "L-E", Bound: ">", Value: 999}
	for name, tt := range map[string]struct {
		want  Want
		heard Answer
		end   End
	}{
		"right":                {over, heard(true, "way three live to earth over nine nine nine"), Right},
		"right in other words": {over, heard(true, "way three line to earth greater than triple nine"), Right},
		"asked":                {over, heard(false, "way three live to earth over nine nine nine"), Asked},
		"the bound is lost":    {over, heard(true, "way three live to earth nine nine nine"), Wrong},
		"another way":          {over, heard(false, "way two live to earth over nine nine nine"), Wrong},
		"ignored":              {over, heard(true, "mind your head"), Ignored},
		"command":              {Want{Kind: "command", Phrase: "No, two hundred and six"}, heard(true, "no two nought six"), Right},
		"command, more places": {Want{Kind: "command", Phrase: "no, point three"}, heard(true, "no point three oh"), Right},
		"another command":      {Want{Kind: "command", Phrase: "pause"}, heard(true, "confirm"), Wrong},
		"talk":                 {Want{Kind: "none"}, heard(true, "mind your head"), Right},
		"talk taken":           {Want{Kind: "none"}, heard(true, "confirm"), Wrong},
	} {
		if end := Judge(g, Item{Want: tt.want}, tt.heard); end != tt.end {
			t.Errorf("%s: %s, want %s", name, end, tt.end)
		}
	}
}

func TestJudgeTwoInOneBreath(t *testing.T) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	it := both(Item{Text: "skip this one", Want: Want{Kind: "command", Phrase: "skip this one"}},
		Item{Text: "no access", Want: Want{Kind: "command", Phrase: "no access"}})
	for words, want := range map[string]End{
		"skip this one": Right, "no access": Right, "skip this one no access": Right, "confirm": Wrong, "": Ignored,
	} {
		m, ok := g.Meaning(words)
		if end := Judge(g, it, Answer{ForUs: ok, Words: words, Meaning: m, Sure: true}); end != want {
			t.Errorf("%q: %s, want %s", words, end, want)
		}
	}
}

func TestSummarise(t *testing.T) {
	var results []Result
	for i := range 100 {
		results = append(results, Result{Item: Item{Want: Want{Kind: "reading", Way: 1}}, End: Right, Sure: true, MS: float64(100 - i), SoundS: 2})
	}
	results[3].End = Wrong
	results[4].Want.Way = 0
	s := Summarise(results)
	if c := s.Kinds["reading"]; c.Phrases != 99 || c.Right != 98 || c.Wrong != 1 || c.WrongSure != 1 || s.Kinds["value"].Right != 1 {
		t.Errorf("counted %+v", s.Kinds)
	}
	// Nearest rank, by hand: of 1 to 100 the 50th, 95th and 99th.
	if s.P50 != 50 || s.P95 != 95 || s.P99 != 99 {
		t.Errorf("percentiles %v, %v, %v", s.P50, s.P95, s.P99)
	}
	if got := s.RealTime; got < 0.02524 || got > 0.02526 { // 5.05 s of work for 200 s of sound
		t.Errorf("real-time factor %v", got)
	}
	var b bytes.Buffer
	s.Write(&b)
	if !strings.Contains(b.String(), "p50 50 ms") || len(s.Differences) != 1 {
		t.Errorf("wrote %s", b.String())
	}
	Summarise(nil).Write(&b) // nothing measured is no division by zero
}

func TestReadManifest(t *testing.T) {
	f, err := os.Open("../../../testdata/phrases/dev.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if items, err := ReadManifest(f, "dev"); err != nil || len(items) != 229 {
		t.Errorf("%d items, %v", len(items), err)
	}
	for bad, want := range map[string]string{
		"":  "no phrases in it",
		"{": "line 1",
		`{"file":"a.wav","want":{"kind":"song"}}`:            `want.kind is "song"`,
		`{"file":"../../etc/passwd","want":{"kind":"none"}}`: "name a file beside the manifest",
	} {
		if _, err := ReadManifest(strings.NewReader(bad), "m"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one with %q", bad, err, want)
		}
	}
}

func FuzzReadManifest(f *testing.F) {
	f.Add(`{"file":"a.wav","text":"confirm","want":{"kind":"command","phrase":"confirm"}}`)
	f.Fuzz(func(t *testing.T, s string) {
		items, err := ReadManifest(strings.NewReader(s), "m")
		if err == nil && len(items) == 0 {
			t.Error("an empty manifest was read")
		}
	})
}
