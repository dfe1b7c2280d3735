package bench

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/lab/noise"
	"waycall/internal/phrase"
)

func TestAtMost(t *testing.T) {
	// From mpmath 1.3.0, 30 digits: the p at which the regularised incomplete beta
	// function I_p(k+1, n-k) is 0.95. The second is 1 - 0.05^(1/5000) by hand, too.
	for _, tt := range []struct {
		k, n int
		want float64
	}{
		{0, 1, 0.95},
		{0, 5000, 0.000598967002315},
		{3, 500, 0.0154337348768},
		{27, 300, 0.121975107725},
		{1, 20, 0.216106164207},
		{5, 5000, 0.0021014479784},
		{199, 200, 0.999743566413},
		{20, 20, 1},
		{0, 0, 1},
	} {
		if got := AtMost(tt.k, tt.n); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%d of %d: at most %.12f, want %.12f", tt.k, tt.n, got, tt.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 3000).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		share := float64(k) / float64(n)
		if low, high := AtLeast(k, n), AtMost(k, n); low > share || high < share || low < 0 || high > 1 {
			t.Fatalf("%d of %d lies outside %v to %v", k, n, low, high)
		}
		if k < n && AtMost(k+1, n) <= AtMost(k, n) {
			t.Fatalf("more cases of %d give a lower bound", n)
		}
	})
}

func TestReliability(t *testing.T) {
	var results []Result
	add := func(confidence float64, end End, n int) {
		for range n {
			results = append(results, Result{ForUs: end != Ignored, Confidence: confidence, End: end, Nearest: end == Right || end == Asked})
		}
	}
	add(0.97, Right, 6)
	add(0.95, Asked, 2) // the edge belongs to the bin above it; the likeliest candidate was right
	add(0.97, Wrong, 2)
	add(1, Right, 3)
	add(0.2, Wrong, 1)
	add(-1, Right, 9)         // claims nothing
	add(math.NaN(), Wrong, 9) // claims nonsense
	add(-1, Ignored, 9)       // nothing was heard
	want := []Bin{
		{0, 0.5, 1, 0, 0.2},
		{0.95, 0.98, 10, 8, 0.966},
		{0.999, 1, 3, 3, 1},
	}
	got := reliability(results)
	for i := range got {
		got[i].Claimed = math.Round(got[i].Claimed*1e6) / 1e6
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestConfusions(t *testing.T) {
	heardAs := func(said, heard string, end End, kind string) Result {
		return Result{Item: Item{Text: said, Want: Want{Kind: kind}}, Heard: heard, End: end, ForUs: true}
	}
	got := confusions([]Result{
		heardAs("Way three, fifty.", "way three fifteen", Wrong, "reading"),
		heardAs("over fifty", "over fifteen", Wrong, "reading"),
		heardAs("over nine nine nine", "five nine nine nine", Wrong, "reading"),
		heardAs("nought point four", "point four", Wrong, "reading"),
		heardAs("four", "four over", Wrong, "reading"),
		heardAs("triple nine", "nine nine nine", Right, "reading"), // other words, same meaning
		heardAs("go back to the van", "go back", Wrong, "none"),
	})
	want := []Confusion{{"fifty", "fifteen", 2}, {"", "over", 1}, {"nought", "", 1}, {"over", "five", 1}}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "c"}), 0, 8)
		a, b := words.Draw(t, "said"), words.Draw(t, "heard")
		ds := differ(a, b)
		if (len(ds) == 0) != (strings.Join(a, " ") == strings.Join(b, " ")) {
			t.Fatalf("%v and %v differ in %v", a, b, ds)
		}
		change := 0
		for _, d := range ds {
			change += len(strings.Fields(d[1])) - len(strings.Fields(d[0]))
		}
		if change != len(b)-len(a) {
			t.Fatalf("%v and %v differ in %v, which does not make up the difference in length", a, b, ds)
		}
	})
}

func loadGrammar(t *testing.T) *phrase.Grammar {
	t.Helper()
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// buzzes writes a set of short sounds, whose pitch an ear can tell, and opens it.
func buzzes(t *testing.T, limit int) Set {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "buzz")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	var lines bytes.Buffer
	for i, want := range []string{
		`{"kind":"command","phrase":"confirm"}`,
		`{"kind":"reading","bound":"=","value":7}`,
		`{"kind":"none"}`,
		`{"kind":"command","phrase":"pause"}`,
	} {
		name := fmt.Sprintf("%d.wav", i)
		clip := make(audio.Clip, audio.Rate)
		for k := 4000; k < 12000; k++ {
			clip[k] = 0.3 * float32(math.Sin(float64(k)*0.05*float64(i+1)))
		}
		if err := audio.WriteWAV(filepath.Join(dir, name), clip); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&lines, `{"file":%q,"text":"phrase %d","want":%s}`+"\n", name, i, want)
	}
	manifest := filepath.Join(dir, "manifest.jsonl")
	if err := os.WriteFile(manifest, lines.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	set, err := OpenSet(manifest, limit)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func TestTryAndKeep(t *testing.T) {
	g := loadGrammar(t)
	set := buzzes(t, 0)
	confirm, _ := g.Meaning("confirm")
	var lengths []int
	always := Ear{Name: "always", Note: "says confirm", Hear: func(s []float32) (Answer, error) {
		lengths = append(lengths, len(s))
		return Answer{ForUs: true, Words: "confirm", Meaning: confirm, Sure: true, Confidence: 0.9}, nil
	}}
	never := Method{Name: "never", Hear: func(s []float32) (string, phrase.Meaning, bool, error) {
		return "", phrase.Meaning{}, false, nil
	}}.Ear()

	path := filepath.Join(t.TempDir(), "kept.jsonl")
	run := Run{Set: set.Name, Condition: noise.Condition{Noise: []noise.Added{{Kind: noise.Fan, SNR: 10}}}, Methods: []string{"always", "never"}}
	keep, err := Create(path, run)
	if err != nil {
		t.Fatal(err)
	}
	var results []Result
	err = Try(context.Background(), g, set, Trial{Condition: run.Condition, Seed: 1}, []Ear{always, never}, func(r Result) error {
		results = append(results, r)
		return keep.Add(r)
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("an unfinished run has its name: %v", err)
	}
	run.PeakMiB = 12
	if err := keep.Finish(run); err != nil {
		t.Fatal(err)
	}
	if want := audio.Rate * 2; len(lengths) != 5 || lengths[0] != want { // once to warm up, and half a second of noise each side
		t.Errorf("heard sounds of %v samples, want %d and five of them", lengths, want)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	gotRun, got, err := Load(f, "kept")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(run, gotRun); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(results, got); d != "" {
		t.Error(d)
	}
	a, n := Summarise(By(got, "always")), Summarise(By(got, "never"))
	if a.All.Right != 1 || a.All.WrongSure != 3 || a.All.Sure != 4 || n.All.Right != 1 || n.All.Ignored != 3 || n.All.Sure != 0 {
		t.Errorf("always %+v, never %+v", a.All, n.All)
	}
	if len(a.Reliability) != 1 || a.Reliability[0].Right != 1 || len(n.Reliability) != 0 {
		t.Errorf("reliability %+v and %+v", a.Reliability, n.Reliability)
	}
}

func TestTryJoined(t *testing.T) {
	g := loadGrammar(t)
	var results []Result
	ear := Ear{Hear: func(s []float32) (Answer, error) { return Answer{}, nil }}
	err := Try(context.Background(), g, buzzes(t, 0), Trial{Join: true}, []Ear{ear}, func(r Result) error {
		results = append(results, r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	// Talk joins with nothing, and nothing is followed by a value.
	var texts []string
	for _, r := range results {
		texts = append(texts, r.Text)
		if r.kind() != "joined" {
			t.Errorf("%q counts as %s", r.Text, r.kind())
		}
	}
	if d := cmp.Diff([]string{"phrase 0, phrase 3", "phrase 1, phrase 3", "phrase 3, phrase 0"}, texts); d != "" {
		t.Error(d)
	}
}

func TestTryStops(t *testing.T) {
	g := loadGrammar(t)
	set := buzzes(t, 2)
	if len(set.Items) != 2 || set.Items[1].File != "2.wav" {
		t.Errorf("of four phrases two are %+v", set.Items)
	}
	broken := Ear{Name: "broken", Hear: func([]float32) (Answer, error) { return Answer{}, errors.New("no ear; fit one") }}
	each := func(Result) error { return nil }
	if err := Try(context.Background(), g, set, Trial{}, []Ear{broken}, each); err == nil || !strings.Contains(err.Error(), "broken: 0.wav: no ear") {
		t.Errorf("error %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := Try(ctx, g, set, Trial{}, nil, each); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if err := Try(context.Background(), g, set, Trial{Condition: noise.Condition{Speed: 7}}, nil, each); err == nil {
		t.Error("a speed of 7 was tried")
	}
	talk, err := set.Talk()
	if err != nil || len(talk) != 1 {
		t.Errorf("%d clips of talk, %v", len(talk), err)
	}
	os.Remove(filepath.Join(set.Dir, "0.wav"))
	if err := Try(context.Background(), g, set, Trial{}, nil, each); err == nil {
		t.Error("a missing file was heard")
	}
}

func FuzzLoad(f *testing.F) {
	f.Add(`{"run":{"set":"dev","methods":["waycall"]}}` + "\n" + `{"phrase":{"file":"a.wav","end":"right","confidence":0.5}}`)
	f.Add(`{"run":null}`)
	f.Fuzz(func(t *testing.T, s string) {
		run, results, err := Load(strings.NewReader(s), "kept")
		if err != nil {
			return
		}
		if len(run.Methods) == 0 || len(results) == 0 {
			t.Error("an empty run was read")
		}
		Summarise(results).Write(new(bytes.Buffer))
	})
}
