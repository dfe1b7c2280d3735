// Package settings says what can be set once for all sessions, and works out what
// holds and where that comes from.
//
// A setting has one name everywhere. What is given later in this row holds:
//
//	default    built in
//	file       speech-rate: 150          in settings.yaml in the user's folder for settings
//	environment  WAYCALL_SPEECH_RATE=150
//	flag       --speech-rate 150
//
// A name that is none, and a value that cannot be, are errors that say what to do,
// wherever they stand: a setting that is quietly not used is worse than none.
package settings

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"waycall/internal/printable"
)

// Setting is one thing that can be set.
type Setting struct {
	Name    string // in the file, and as a flag with "--" before it
	About   string // what it is, in a few words
	Default string // "" where the program looks for something fitting; see Unset
	Unset   string // what holds by default, for people
	Takes   string // what values there are, for people
	path    bool
	check   func(string) bool
}

// VoiceBank is the value of the setting voice for the bank of rendered phrases.
const VoiceBank = "bank"

// All is every setting there is, in the order in which they are shown.
//
// A new one goes here; then a command takes it as a flag, and docs/settings.md is
// made anew (go test ./internal/settings -update).
var All = []Setting{
	{
		Name: "data", About: "folder where jobs are kept", Unset: "waycall in your data folder, ~/.local/share",
		Takes: "a folder", path: true, check: short,
	}, {
		Name: "copy-to", About: "folder where a copy of the job is kept, too, such as on a USB stick", Unset: "no copy",
		Takes: "a folder", path: true, check: short,
	}, {
		Name: "mic", About: "microphone, by a part of its name (waycall mics lists them)", Unset: "the one that the system uses",
		Takes: "a part of a name", check: short,
	}, {
		Name: "speaker", About: "loudspeaker or headphones, by a part of the name", Unset: "the one that the system uses",
		Takes: "a part of a name", check: short,
	}, {
		Name: "speech-rate", About: "how fast waycall speaks, words a minute", Default: "180", Unset: "180",
		Takes: "80 to 400 words a minute", check: number(80, 400),
	}, {
		Name: "voice", About: "what waycall speaks with: espeak, or bank, a natural voice rendered beforehand", Default: "espeak", Unset: "espeak",
		Takes: "espeak or bank", check: oneOf("espeak", VoiceBank),
	}, {
		Name: "prompts", About: "how much waycall says: usual is in full three times, then briefly", Default: "usual", Unset: "usual",
		Takes: "usual, brief or full", check: oneOf("usual", "brief", "full"),
	}, {
		Name: "key", About: "foot switch, clicker or button of a headset, by a part of its name; NAME:CODE is one key of a keyboard", Unset: "none",
		Takes: "a part of a name", check: short,
	}, {
		Name: "key-tap", About: "what a tap of the key means", Default: "confirm", Unset: "confirm",
		Takes: "confirm, no, say again or nothing", check: oneOf("confirm", "no", "say again", "nothing"),
	}, {
		Name: "key-double", About: "what a double tap of the key means", Default: "no", Unset: "no",
		Takes: "confirm, no, say again or nothing", check: oneOf("confirm", "no", "say again", "nothing"),
	}, {
		Name: "key-hold", About: "whether the key must be held to be heard, as in noise", Default: "nothing", Unset: "nothing",
		Takes: "speak (only what is said while it is held is heard) or nothing", check: oneOf("speak", "nothing"),
	}, {
		Name: "pause", About: "silence that ends a phrase; one that nothing can follow ends sooner", Default: "500ms", Unset: "500ms",
		Takes: "250ms to 5s", check: duration(250*time.Millisecond, 5*time.Second),
	}, {
		Name: "model", About: "speech model, a ggml-*.bin of whisper", Unset: "the one that came with waycall",
		Takes: "a file", path: true, check: short,
	}, {
		Name: "threads", About: "threads for the speech model", Default: strconv.Itoa(min(runtime.NumCPU(), mostThreads)), Unset: "one for each processor",
		Takes: "1 to 64", check: number(1, mostThreads),
	},
}

// Key are the names of the settings of a key: its device, and what a tap, a double tap and
// holding it mean.
var Key = [4]string{"key", "key-tap", "key-double", "key-hold"}

const mostThreads = 64

// Find returns the setting of that name. A name that is none is a mistake in the
// program and panics.
func Find(name string) Setting {
	s, ok := find(name)
	if !ok {
		panic("no setting " + name)
	}
	return s
}

func find(name string) (Setting, bool) {
	for _, s := range All {
		if s.Name == name {
			return s, true
		}
	}
	return Setting{}, false
}

// Variable is the name of the setting in the environment.
func (s Setting) Variable() string {
	return prefix + strings.ToUpper(strings.ReplaceAll(s.Name, "-", "_"))
}

const prefix = "WAYCALL_"

// Check returns an error where the text cannot be a value of the setting; where
// is what it was given as, such as "--pause".
func (s Setting) Check(where, text string) error {
	if s.check(text) {
		return nil
	}
	return fmt.Errorf("%s is %s; give %s", where, clip(text), s.Takes)
}

// expand returns the value with the home folder in place of ~/ at the beginning of a
// path. A shell does that only where the path stands by itself, not in --data=~/jobs
// or in a unit of systemd.
func (s Setting) expand(value, home string) string {
	if under, tilde := strings.CutPrefix(value, "~/"); s.path && tilde && home != "" {
		return filepath.Join(home, under)
	}
	return value
}

// Origin is where a value comes from.
type Origin string

// The origins, the later before the earlier.
const (
	Flag        Origin = "flag"
	Environment Origin = "environment"
	File        Origin = "file"
	Default     Origin = "default"
)

// Value is what holds for a setting.
type Value struct {
	Name   string `json:"name"`
	Value  string `json:"value"` // "" where nothing is given and the program looks for something fitting
	Origin Origin `json:"origin"`
	Where  string `json:"where,omitempty"` // the flag, the variable, or the file and its line
}

// Source is where values are given.
type Source struct {
	Flag func(name string) (string, bool) // a flag that was given; nil for none
	Env  func(variable string) string     // "" where it is not set; nil for none
	File map[string]Line                  // what Read returned
	Path string                           // of the file
	Home string                           // what ~/ at the beginning of a path stands for; "" for nothing
}

func (f Source) flag(name string) (string, bool) {
	if f.Flag == nil {
		return "", false
	}
	return f.Flag(name)
}

func (f Source) env(variable string) string {
	if f.Env == nil {
		return ""
	}
	return f.Env(variable)
}

// Resolve returns what holds for each of the settings named, in their order. An
// empty variable is as good as none; an empty flag is the default, where that is one
// that the program looks for. The error is about the first value that cannot be.
func Resolve(names []string, from Source) ([]Value, error) {
	var all []Value
	for _, name := range names {
		s := Find(name)
		v := Value{Name: name, Value: s.Default, Origin: Default}
		if text, given := from.flag(name); given {
			v = Value{name, text, Flag, "--" + name}
		} else if text := from.env(s.Variable()); text != "" {
			v = Value{name, text, Environment, s.Variable()}
		} else if line, given := from.File[name]; given {
			v = Value{name, line.Text, File, fmt.Sprintf("%s, line %d", from.Path, line.Number)}
		}
		v.Value = s.expand(v.Value, from.Home)
		// An empty flag takes back what the environment or the file says.
		if v.Value != s.Default {
			where := v.Where
			if v.Origin == File {
				where += ": " + name
			}
			if err := s.Check(where, v.Value); err != nil {
				return nil, err
			}
		}
		all = append(all, v)
	}
	return all, nil
}

// Unknown returns the variables of the environment that look like settings of
// waycall and are none. environ is as os.Environ gives it.
func Unknown(environ []string) []string {
	var all []string
	for _, e := range environ {
		name, _, _ := strings.Cut(e, "=")
		text, ours := strings.CutPrefix(name, prefix)
		if _, ok := find(strings.ToLower(strings.ReplaceAll(text, "_", "-"))); ours && !ok {
			all = append(all, clip(name))
		}
	}
	return all
}

// Where returns the path of the file of settings, which need not exist:
// waycall/settings.yaml in the folder for settings of the XDG base directory
// specification.
func Where() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("folder for settings: %w; set HOME, or XDG_CONFIG_HOME to a full path", err)
	}
	return filepath.Join(dir, "waycall", "settings.yaml"), nil
}

// short is a name or a path: one line of text that a person can have meant.
func short(text string) bool {
	// What does not print, such as a mark that turns the order of letters round, would
	// be shown as another text than it is.
	return text != "" && len(text) <= 1000 && printable.IsLine(text)
}

func number(least, most int) func(string) bool {
	return func(text string) bool {
		n, err := strconv.Atoi(text)
		return err == nil && n >= least && n <= most
	}
}

func oneOf(words ...string) func(string) bool {
	return func(text string) bool { return slices.Contains(words, text) }
}

func duration(least, most time.Duration) func(string) bool {
	return func(text string) bool {
		d, err := time.ParseDuration(text)
		return err == nil && d >= least && d <= most
	}
}

// clip returns text as it may be shown: short, and of printable characters.
func clip(text string) string {
	text = printable.Cut(printable.Line(text), 60)
	if text == "" || strings.TrimSpace(text) != text {
		return strconv.Quote(text)
	}
	return text
}
