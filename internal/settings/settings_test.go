package settings

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write docs/settings.md anew")

func TestTable(t *testing.T) {
	page := filepath.Join("..", "..", "docs", "settings.md")
	if *update {
		if err := os.WriteFile(page, []byte(table()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	have, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(table(), string(have)); d != "" {
		t.Errorf("docs/settings.md is not what the code says; go test ./internal/settings -update writes it: %s", d)
	}
}

func TestDefaults(t *testing.T) {
	for _, s := range All {
		if s.Default != "" && s.Check("it", s.Default) != nil {
			t.Errorf("%s: the default %q is refused", s.Name, s.Default)
		}
		if s.About == "" || s.Takes == "" || s.Unset == "" {
			t.Errorf("%s does not say what it is", s.Name)
		}
	}
}

func TestParse(t *testing.T) {
	for name, tt := range map[string]struct {
		text string
		want map[string]Line
		err  string // a part of it
	}{
		"several":    {"# mine\nmic: Headset 0012\nspeech-rate: 150\n\npause: 0.4s\n", map[string]Line{"mic": {"Headset 0012", 2}, "speech-rate": {"150", 3}, "pause": {"0.4s", 5}}, ""},
		"one":        {"threads: 1", map[string]Line{"threads": {"1", 1}}, ""},
		"digits":     {"mic: 0012", map[string]Line{"mic": {"0012", 1}}, ""},
		"home":       {"data: ~/jobs", map[string]Line{"data": {"/home/ab/jobs", 1}}, ""},
		"full":       {"copy-to: /media/stick", map[string]Line{"copy-to": {"/media/stick", 1}}, ""},
		"empty":      {"", nil, ""},
		"comments":   {"# nothing\n", nil, ""},
		"wrong key":  {"mic: a\nspeech_rate: 150", nil, "line 2: there is no setting speech_rate; did you mean speech-rate?"},
		"no key":     {"colour: red", nil, "line 1: there is no setting colour; use data, copy-to"},
		"twice":      {"mic: a\nmic: b", nil, "line 2"},
		"too fast":   {"speech-rate: 1000", nil, "line 1: speech-rate is 1000; give 80 to 400 words a minute"},
		"no number":  {"threads: two", nil, "threads is two; give 1 to 64"},
		"no unit":    {"pause: 500", nil, "pause is 500; give 250ms to 5s"},
		"relative":   {"data: jobs", nil, "data is jobs; write the full path"},
		"no value":   {"mic:", nil, "mic has no single value"},
		"list":       {"mic: [a, b]", nil, "mic has no single value"},
		"group":      {"mic:\n  name: a", nil, "mic has no single value"},
		"only a tag": {"mic: !!int 2", nil, "YAML that settings do without"},
		"no list":    {"fast please", nil, "not a list of settings"},
		"broken":     {"mic: \"a", nil, "write one setting a line"},
		"second":     {"mic: a\n---\nmic: b", nil, "not a list of settings"},
		"control":    {`mic: "a\u0007"`, nil, "mic is a\ufffd; give a part of a name"},
		"turned":     {`mic: "a\u202eb"`, nil, "mic is a\ufffdb; give a part of a name"},
		"two lines":  {"mic: |\n  a\n  b", nil, "mic has no single value"},
		"in quotes":  {"mic: a\n\"mic\": b", nil, "line 2"},
		"no colon":   {"mic = a", nil, "not a list of settings"},
		"large":      {strings.Repeat("# nothing\n", 7000), nil, "too large"},
	} {
		got, err := parse("/s.yaml", tt.text, "/home/ab")
		if (err == nil) != (tt.err == "") || err != nil && !strings.Contains(err.Error(), tt.err) {
			t.Errorf("%s: %v, want %q", name, err, tt.err)
		}
		if d := cmp.Diff(tt.want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	if _, err := parse("/s.yaml", "data: ~/jobs", ""); err == nil {
		t.Error("~ was taken without a home")
	}
}

func TestRead(t *testing.T) {
	dir := t.TempDir()
	if got, err := Read(filepath.Join(dir, "none.yaml")); got != nil || err != nil {
		t.Errorf("no file: %v, %v", got, err)
	}
	if _, err := Read(dir); err == nil {
		t.Error("a folder was read")
	}
	pipe := filepath.Join(dir, "pipe.yaml")
	if err := unix.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(pipe); err == nil || !strings.Contains(err.Error(), "not a plain file") {
		t.Errorf("a pipe: %v", err)
	}
	path := filepath.Join(dir, "settings.yaml")
	if err := os.WriteFile(path, []byte("\ufeffmic: a\r\npause: 1s\r\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := Read(path)
	if d := cmp.Diff(map[string]Line{"mic": {"a", 1}, "pause": {"1s", 2}}, got); d != "" || err != nil {
		t.Errorf("as an editor on another system writes it: %v %s", err, d)
	}
	// A second file is not passed over without a word.
	if err := os.WriteFile(filepath.Join(dir, "settings.yml"), []byte("mic: b"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(path); err == nil || !strings.Contains(err.Error(), "settings.yml is not read; put what it says into") {
		t.Errorf("two files: %v", err)
	}
}

// ~ is the home folder wherever a path is given, and nowhere else.
func TestHome(t *testing.T) {
	for name, from := range map[string]Source{
		"flag":        {Flag: func(string) (string, bool) { return "~/jobs", true }},
		"environment": {Env: func(string) string { return "~/jobs" }},
	} {
		for home, want := range map[string]string{"/home/ab": "/home/ab/jobs", "": "~/jobs"} {
			from.Home = home
			got, err := Resolve([]string{"data", "mic"}, from)
			if err != nil || got[0].Value != want || got[1].Value != "~/jobs" {
				t.Errorf("%s, home %q: %v, %v", name, home, got, err)
			}
		}
	}
}

// Whatever is given, the flag holds before the environment, that before the file,
// and that before the default.
func TestOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rates := rapid.SliceOfN(rapid.SampledFrom([]string{"", "80", "123", "400"}), 3, 3).Draw(t, "flag, environment, file")
		from := Source{
			Path: "/s.yaml", File: map[string]Line{},
			Flag: func(string) (string, bool) { return rates[0], rates[0] != "" },
			Env:  func(string) string { return rates[1] },
		}
		if rates[2] != "" {
			from.File["speech-rate"] = Line{rates[2], 7}
		}
		want := Value{"speech-rate", "180", Default, ""}
		switch {
		case rates[0] != "":
			want = Value{"speech-rate", rates[0], Flag, "--speech-rate"}
		case rates[1] != "":
			want = Value{"speech-rate", rates[1], Environment, "WAYCALL_SPEECH_RATE"}
		case rates[2] != "":
			want = Value{"speech-rate", rates[2], File, "/s.yaml, line 7"}
		}
		got, err := Resolve([]string{"speech-rate"}, from)
		if d := cmp.Diff([]Value{want}, got); d != "" || err != nil {
			t.Fatalf("%v %s", err, d)
		}
	})
}

func TestResolveRefuses(t *testing.T) {
	env := func(text string) Source { return Source{Env: func(string) string { return text }} }
	flag := func(text string) Source {
		return Source{Flag: func(string) (string, bool) { return text, true }}
	}
	for name, tt := range map[string]struct {
		setting string
		from    Source
		want    string
	}{
		"variable":   {"pause", env("1h"), "WAYCALL_PAUSE is 1h; give 250ms to 5s"},
		"flag":       {"pause", flag("1h0m0s"), "--pause is 1h0m0s; give 250ms to 5s"},
		"empty flag": {"pause", flag(""), `--pause is ""; give 250ms to 5s`},
		"control":    {"mic", flag("a\x1b[2J"), "--mic is a\ufffd[2J; give a part of a name"},
		"long":       {"mic", env(strings.Repeat("x", 2000)), "WAYCALL_MIC is xxx"},
	} {
		if _, err := Resolve([]string{tt.setting}, tt.from); err == nil || !strings.Contains(err.Error(), tt.want) || len(err.Error()) > 200 {
			t.Errorf("%s: %v, want %q", name, err, tt.want)
		}
	}
	got, err := Resolve([]string{"copy-to"}, Source{Flag: flag("").Flag, Env: env("/media/stick").Env})
	if err != nil || got[0] != (Value{"copy-to", "", Flag, "--copy-to"}) {
		t.Errorf("a copy that is not wanted this time: %v, %v", got, err)
	}
}

func TestUnknown(t *testing.T) {
	got := Unknown([]string{"WAYCALL_MIC=a", "WAYCALL_MICS=a", "HOME=/", "WAYCALL_SPEECH_RATE=1", "WAYCALL_=x"})
	if d := cmp.Diff([]string{"WAYCALL_MICS", "WAYCALL_"}, got); d != "" {
		t.Error(d)
	}
}

func FuzzParse(f *testing.F) {
	f.Add("mic: a\nspeech-rate: 150\n")
	f.Add("data: ~/x\npause: [1]")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := parse("/s.yaml", text, "/home/ab")
		if err != nil && (got != nil || len(err.Error()) > 500) {
			t.Errorf("%q: %v with %v", text, err, got)
		}
		for name, line := range got {
			if e := Find(name).Check(name, line.Text); e != nil || line.Number < 1 {
				t.Errorf("%q: %v, line %d", text, e, line.Number)
			}
		}
	})
}
