package rivals

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

const root = "../../.."

func sound(t testing.TB, file string) []float32 {
	t.Helper()
	clip, err := audio.ReadFile(filepath.Join(root, "testdata/audio", file))
	if err != nil {
		t.Fatal(err)
	}
	return clip
}

// Each rival hears two easy phrases, and nothing in no sound.
func TestRivals(t *testing.T) {
	g := load(t)
	o := In(root)
	for name, tt := range map[string]struct {
		open  func(*phrase.Grammar, Options) (bench.Method, func(), error)
		needs string // what may be absent, and makes the test skip
		make  string
	}{
		"free":    {openFree, o.Model, "scripts/lab/plain-model"},
		"grammar": {openGrammar, o.Model, "scripts/lab/plain-model"},
		"sphinx":  {openSphinx, "", ""},
		"faster":  {openFaster, filepath.Join(filepath.Dir(o.Python), "../lib/python3.11/site-packages/faster_whisper"), "scripts/setup --tests"},
	} {
		t.Run(name, func(t *testing.T) {
			if tt.needs != "" {
				if _, err := os.Stat(tt.needs); err != nil {
					t.Skipf("%s is not there (%s makes it): the comparison is not part of waycall", tt.needs, tt.make)
				}
			}
			m, shut, err := tt.open(g, o)
			if err != nil {
				t.Fatal(err)
			}
			defer shut()
			if m.Name == "" || m.Note == "" || strings.Contains(m.Note, "\n") {
				t.Errorf("named %q, noted %q", m.Name, m.Note)
			}
			for file, said := range map[string]string{
				"0019-af_sarah.flac": "way fourteen live and neutral to earth zero point four",
				"0067-af_nova.flac":  "confirm",
			} {
				want, _ := g.Meaning(said)
				in := sound(t, file)
				if words, got, ok, err := m.Hear(in); err != nil || !ok || got != want {
					t.Errorf("%s: heard %q, %+v, %v, %v; want %q", file, words, got, ok, err, said)
				}
			}
			if words, _, ok, err := m.Hear(nil); ok || err != nil {
				t.Errorf("no sound: heard %q, %v, %v", words, ok, err)
			}
		})
	}
}

func TestMissingParts(t *testing.T) {
	g := load(t)
	none := In(t.TempDir())
	if _, _, err := Open(g, none); err == nil || !strings.Contains(err.Error(), "scripts/lab/plain-model") {
		t.Errorf("no model: %v", err)
	}
	if _, _, err := openFaster(g, none); err == nil || !strings.Contains(err.Error(), "scripts/setup") {
		t.Errorf("no environment: %v", err)
	}
	// An interpreter without the library, and something that is none.
	for name, script := range map[string]string{
		"silent":  "#!/bin/sh\necho 'no module named x' >&2\nexit 1\n",
		"garbage": "#!/bin/sh\necho hello\ncat >/dev/null\n",
		"refuses": "#!/bin/sh\necho '{\"error\": \"no such folder\"}'\n",
	} {
		o := Options{Python: filepath.Join(t.TempDir(), "python"), CT2: t.TempDir(), Threads: 1}
		if err := os.WriteFile(o.Python, []byte(script), 0o700); err != nil {
			t.Fatal(err)
		}
		if _, _, err := openFaster(g, o); err == nil || !strings.Contains(err.Error(), "scripts/setup --tests") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// accepts walks the rules as whisper.cpp does: every way at once, each a stack of
// places still to go. It reports whether the text may come, and may end there.
func (r *rules) accepts(text string) (goesOn, ends bool) {
	var advance func(stack []int32, out *[][]int32)
	over := func(at int32) bool { k := r.element[at].kind; return k == endOfRule || k == alternative }
	advance = func(stack []int32, out *[][]int32) {
		if len(stack) == 0 || r.element[stack[len(stack)-1]].kind == character {
			*out = append(*out, stack)
			return
		}
		top := stack[len(stack)-1]
		for at := r.from[r.element[top].value]; ; at++ {
			next := append([]int32(nil), stack[:len(stack)-1]...)
			if !over(top + 1) {
				next = append(next, top+1)
			}
			if !over(at) {
				next = append(next, at)
			}
			advance(next, out)
			for !over(at) {
				at++
			}
			if r.element[at].kind == endOfRule {
				return
			}
		}
	}
	// Begin as if a rule had held a reference to rule 0.
	r.element = append(r.element, element{reference, 0}, element{endOfRule, 0})
	var stacks [][]int32
	advance([]int32{int32(len(r.element) - 2)}, &stacks)
	for _, c := range text {
		var next [][]int32
		for _, s := range stacks {
			if len(s) == 0 || r.element[s[len(s)-1]].value != uint32(c) {
				continue
			}
			rest := append([]int32(nil), s[:len(s)-1]...)
			if !over(s[len(s)-1] + 1) {
				rest = append(rest, s[len(s)-1]+1)
			}
			advance(rest, &next)
		}
		stacks = next
	}
	for _, s := range stacks {
		ends = ends || len(s) == 0
	}
	r.element = r.element[:len(r.element)-2]
	return len(stacks) > 0, ends
}

// The rules hold the automaton's phrases and no others.
func TestRulesAreTheAutomaton(t *testing.T) {
	g := load(t)
	a := g.Narrow(phrase.Scope{Ways: map[int][]reading.Test{1: {reading.LNE, reading.LN}, 24: {reading.R2}}})
	r := newRules(a)
	rng := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		var words []string
		for state := 0; ; {
			s := a.States[state]
			if s.Final && (len(s.Arcs) == 0 || rng.IntN(3) == 0) {
				break
			}
			arc := s.Arcs[rng.IntN(len(s.Arcs))]
			words, state = append(words, arc.Word), arc.To
		}
		text := strings.Join(words, " ")
		if on, ends := r.accepts(" " + text); !on || !ends {
			t.Fatalf("the rules refuse %q", text)
		}
		for _, other := range []string{strings.Join(words[:len(words)-1], " "), text + " nine", strings.TrimSpace(text[:len(text)-1])} {
			if _, ends := r.accepts(" " + other); other != "" && ends != a.Accepts(other) {
				t.Fatalf("the rules and the automaton differ on %q", other)
			}
		}
	}
}

// The processes and engines are handed what a microphone may give, too.
func TestRivalsTakeAnySound(t *testing.T) {
	g := load(t)
	m, shut, err := openSphinx(g, In(root))
	if err != nil {
		t.Fatal(err)
	}
	defer shut()
	nan := make([]float32, 8000)
	nan[5] = float32(math.NaN())
	for name, in := range map[string][]float32{"click": make([]float32, 320), "NaN": nan, "silence": make([]float32, 16000)} {
		if _, _, _, err := m.Hear(in); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
