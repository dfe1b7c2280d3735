package phrase

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"pgregory.net/rapid"

	"waycall/grammar"
	"waycall/internal/reading"
)

func load(t testing.TB) *Grammar {
	t.Helper()
	g, err := Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func exactly(v float64, places int, u reading.Unit) reading.Quantity {
	return reading.Quantity{Value: v, Places: places, Bound: reading.Exactly, Unit: u}
}

func TestMeaning(t *testing.T) {
	over := func(v float64, u reading.Unit) reading.Quantity {
		return reading.Quantity{Value: v, Bound: reading.GreaterThan, Unit: u}
	}
	tests := []struct {
		text string
		want Meaning
	}{
		{"way three live to earth greater than nine nine nine", Meaning{Way: 3, Test: reading.LE, Quantity: over(999, reading.Megohm)}},
		{"way twelve line and neutral to earth over range", Meaning{Way: 12, Test: reading.LNE, OverRange: true, Quantity: reading.Quantity{Unit: reading.Megohm}}},
		{"lives together to earth two hundred and six megohms", Meaning{Test: reading.LNE, Quantity: exactly(206, 0, reading.Megohm)}},
		{"way one r two point oh nine", Meaning{Way: 1, Test: reading.R2, Quantity: exactly(0.09, 2, reading.Ohm)}},
		{"way one ring r two nought point five two", Meaning{Way: 1, Test: reading.RingR2, Quantity: exactly(0.52, 2, reading.Ohm)}},
		{"way twenty r one plus r two one point three ohms", Meaning{Way: 20, Test: reading.R1R2, Quantity: exactly(1.3, 1, reading.Ohm)}},
		{"way twenty two r n three", Meaning{Way: 22, Test: reading.RingRn, Quantity: exactly(3, 0, reading.Ohm)}},
		{"circuit three live to earth over nine nine nine", Meaning{Way: 3, Test: reading.LE, Quantity: over(999, reading.Megohm)}},
		{"over nine nine nine live to earth way three", Meaning{Way: 3, Test: reading.LE, Quantity: over(999, reading.Megohm)}},
		{"over nine nine nine way three live to earth", Meaning{Way: 3, Test: reading.LE, Quantity: over(999, reading.Megohm)}},
		{"over range neutral to earth circuit twelve", Meaning{Way: 12, Test: reading.NE, OverRange: true, Quantity: reading.Quantity{Unit: reading.Megohm}}},
		{"nought point double oh five ohms r two", Meaning{Test: reading.R2, Quantity: exactly(0.005, 3, reading.Ohm)}},
		{"two hundred meg", Meaning{Quantity: exactly(200, 0, reading.Megohm)}},
		{"one twenty five", Meaning{Quantity: exactly(125, 0, ""), Near: true}},
		{"two hundred six", Meaning{Quantity: exactly(206, 0, ""), Near: true}},
		{"two hundred and six", Meaning{Quantity: exactly(206, 0, "")}},
		{"two point one gigohms", Meaning{Quantity: exactly(2100, 0, reading.Megohm)}},
		{"fault current eight hundred amps", Meaning{Test: reading.PFC, Quantity: exactly(0.8, 1, reading.Kiloamp)}},
		{"water bonding point oh two", Meaning{Test: reading.Bonding, Service: "water", Quantity: exactly(0.02, 2, reading.Ohm)}},
		{"correct", Meaning{Command: Right}},
		{"pass", Meaning{Command: Correct}},
		{"ways one to ten polarity correct", Meaning{Command: Correct, Way: 1, Last: 10, Test: reading.Polarity}},
		{"four eight six", Meaning{Quantity: exactly(486, 0, "")}},
		{"seven oh nine", Meaning{Quantity: exactly(709, 0, "")}},
		{"triple nine", Meaning{Quantity: exactly(999, 0, "")}},
		{"double nine", Meaning{Quantity: exactly(99, 0, "")}},
		{"two double four", Meaning{Quantity: exactly(244, 0, "")}},
		{"double two four", Meaning{Quantity: exactly(224, 0, "")}},
		{"a hundred and twenty", Meaning{Quantity: exactly(120, 0, "")}},
		{"nine thousand nine hundred and ninety nine ohms", Meaning{Quantity: exactly(9999, 0, reading.Ohm)}},
		{"three point one nought", Meaning{Quantity: exactly(3.1, 2, "")}},
		{"oh point four seven megohms", Meaning{Quantity: exactly(0.47, 2, reading.Megohm)}},
		{"less than point oh five", Meaning{Quantity: reading.Quantity{Value: 0.05, Places: 2, Bound: reading.LessThan}}},
		{"nought", Meaning{Quantity: exactly(0, 0, "")}},
		{"over range", Meaning{OverRange: true}},
		{"no two hundred and six", Meaning{Command: No, Quantity: exactly(206, 0, "")}},
		{"correction one point four seven", Meaning{Command: No, Quantity: exactly(1.47, 2, "")}},
		{"skip this one no access", Meaning{Command: Skip, Reason: "no access"}},
		{"circuit in use", Meaning{Command: Reason, Reason: "circuit in use"}},
		{"way seven", Meaning{Command: GoTo, Way: 7}},
		{"way one l two", Meaning{Command: GoTo, Way: 201}},
		{"circuit twenty one l three polarity correct", Meaning{Command: Correct, Way: 321, Test: reading.Polarity}},
		{"way one l one r one plus r two point three", Meaning{Way: 101, Test: reading.R1R2, Quantity: exactly(0.3, 1, reading.Ohm)}},
		{"point three r one plus r two way one l three", Meaning{Way: 301, Test: reading.R1R2, Quantity: exactly(0.3, 1, reading.Ohm)}},
		{"way nine a f d d button works", Meaning{Command: Correct, Way: 9, Test: reading.AFDDButton}},
		{"way one p e n fault works", Meaning{Command: Correct, Way: 1, Test: reading.PENFault}},
		{"d c protection wrong", Meaning{Command: Incorrect, Test: reading.DCFault}},
		{"read back way three", Meaning{Command: ReadBack, Way: 3}},
		{"test way twenty four again", Meaning{Command: TestAgain, Way: 24}},
		{"that's right", Meaning{Command: Confirm}},
		{"polarity correct", Meaning{Command: Correct, Test: reading.Polarity}},
		{"way three polarity wrong", Meaning{Command: Incorrect, Way: 3, Test: reading.Polarity}},
		{"r c d half times no trip", Meaning{Command: Correct, Test: reading.RCDHalf}},
		{"way nine test button works", Meaning{Command: Correct, Way: 9, Test: reading.RCDButton}},
		{"way two r c d ramp twenty two milliamps", Meaning{Way: 2, Test: reading.RCDRamp, Quantity: exactly(22, 0, reading.Milliamp)}},
		{"short circuit current one point two", Meaning{Test: reading.PSC, Quantity: exactly(1.2, 1, reading.Kiloamp)}},
		{"way five brown to black over range", Meaning{Way: 5, Test: "L1-L2", OverRange: true, Quantity: reading.Quantity{Unit: reading.Megohm}}},
		{"main earth point oh two", Meaning{Test: reading.Earthing, Quantity: exactly(0.02, 2, reading.Ohm)}},
		{"p s c c one point two", Meaning{Test: reading.PSC, Quantity: exactly(1.2, 1, reading.Kiloamp)}},
		{"main bonding point oh four", Meaning{Test: reading.Bonding, Quantity: exactly(0.04, 2, reading.Ohm)}},
		{"board two", Meaning{Command: GoToBoard, Board: 2}},
		{"main switch locked off", Meaning{Command: "main switch locked off"}},
		{"earthing conductor off", Meaning{Command: "earthing conductor off"}},
		{"earthing conductor back", Meaning{Command: "earthing conductor back"}},
		{"main switch back on", Meaning{Command: "main switch back on"}},
		{"earthing conductor nought point oh four", Meaning{Test: reading.Earthing, Quantity: exactly(0.04, 2, reading.Ohm)}},
		{"all connected again", Meaning{Command: "all connected again"}},
		{"surge protection back", Meaning{Command: "surge protection back"}},
		{"neutral back", Meaning{Command: "neutral back"}},
		{"whole board first", Meaning{Command: "whole board first"}},
		{"way by way", Meaning{Command: "way by way"}},
		{"told the client", Meaning{Command: Told, Reason: "the client"}},
		{"told nobody", Meaning{Command: Told, Reason: "nobody"}},
		{"not verified circuit in use", Meaning{Command: NotVerified, Reason: "circuit in use"}},
		{"ready for live tests by agreement", Meaning{Command: ReadyForLive, Reason: "by agreement"}},
		{"ways three to seven live and neutral to earth all greater than nine nine nine", Meaning{Command: Several, Way: 3, Last: 7, Test: reading.LNE, Quantity: over(999, reading.Megohm)}},
		{"ways twenty two to thirty line to neutral all over range", Meaning{Command: Several, Way: 22, Last: 30, Test: reading.LN, OverRange: true, Quantity: reading.Quantity{Unit: reading.Megohm}}},
		{"way six to seven line to neutral all over range", Meaning{Command: Several, Way: 6, Last: 7, Test: reading.LN, OverRange: true, Quantity: reading.Quantity{Unit: reading.Megohm}}},
		{"it was four eight six", Meaning{Command: No, Quantity: exactly(486, 0, "")}},
		{"it was greater than", Meaning{Command: OnlyBound, Quantity: reading.Quantity{Bound: reading.GreaterThan}}},
		{"it was way five", Meaning{Command: OnlyWay, Way: 5}},
		{"it was neutral to earth", Meaning{Command: OnlyTest, Test: reading.NE, Quantity: reading.Quantity{Unit: reading.Megohm}}},
		{"undo that", Meaning{Command: Scratch}},
		{"undo way five", Meaning{Command: Undo, Way: 5}},
		{"undo circuit five live to earth", Meaning{Command: Undo, Way: 5, Test: reading.LE, Quantity: reading.Quantity{Unit: reading.Megohm}}},
		{"undo main bonding", Meaning{Command: Undo, Test: reading.Bonding, Quantity: reading.Quantity{Unit: reading.Ohm}}},
		{"undo p f c", Meaning{Command: Undo, Test: reading.PFC, Quantity: reading.Quantity{Unit: reading.Kiloamp}}},
		{"replace zed e nought point one two", Meaning{Command: Replace, Test: reading.Ze, Quantity: exactly(0.12, 2, reading.Ohm)}},
		{"replace way five live to earth four eight six", Meaning{Command: Replace, Way: 5, Test: reading.LE, Quantity: exactly(486, 0, reading.Megohm)}},
		{"observation way six code c two", Meaning{Command: Observation, Way: 6, Code: "C2"}},
		{"observation code f i", Meaning{Command: Observation, Code: "FI"}},
		{"indicator proved again", Meaning{Command: "proved dead"}},
		{"leads joined point oh four", Meaning{Command: "leads joined", Quantity: exactly(0.04, 2, "")}},
		{"leads apart over range", Meaning{Command: "leads apart", OverRange: true}},
		{"not possible no access", Meaning{Command: NotPossible, Reason: "no access"}},
		{"two hundred and fifty volts", Meaning{Command: TwoFifty}},
		{"not tested circuit in use", Meaning{Command: Skip, Reason: "circuit in use"}},
		{"way four r one nought point three one r n nought point three one r two nought point five two", Meaning{
			Way: 4, Test: reading.RingR1, Quantity: exactly(0.31, 2, reading.Ohm),
			Then: [2]Part{{reading.RingRn, exactly(0.31, 2, reading.Ohm)}, {reading.RingR2, exactly(0.52, 2, reading.Ohm)}}}},
	}
	g := load(t)
	for _, tt := range tests {
		if got, ok := g.Meaning(tt.text); !ok || got != tt.want {
			t.Errorf("%q: got %+v, %v; want %+v", tt.text, got, ok, tt.want)
		}
	}
}

// Phrases that must not exist, each for a reason.
func TestNotSaid(t *testing.T) {
	g := load(t)
	for text, why := range map[string]string{
		"lives to earth two hundred":               "may mean one conductor or all",
		"way three lives to earth two hundred":     "may mean one conductor or all",
		"nought six":                               "sounds like a lost point",
		"nine nine nine nine":                      "no display shows it",
		"greater than":                             "half a phrase",
		"way three live to earth":                  "half a phrase",
		"point":                                    "half a number",
		"way three live to earth two hundred ohms": "insulation is read in megohms",
		"go back to the van":                       "talk",
		"live to earth way three four eight six":   "way thirty-four or way three",
		"two hundred ohms live to earth":           "insulation is read in megohms",
		"over range megohms":                       "no figure, no unit",
		"":                                         "nothing",
	} {
		if m, ok := g.Meaning(text); ok {
			t.Errorf("%q (%s) was taken as %+v", text, why, m)
		}
	}
}

// The texts of the labelled corpus mean what their labels say.
func TestMeaningOfCorpus(t *testing.T) {
	g := load(t)
	a := g.Narrow(Scope{})
	f, err := os.ReadFile("../../testdata/phrases/dev.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	clean := regexp.MustCompile(`[^a-z' ]`)
	n := 0
	for s := bufio.NewScanner(bytes.NewReader(f)); s.Scan(); n++ {
		var item struct {
			Text string
			Want struct {
				Kind  string
				Way   int
				Test  reading.Test
				Bound reading.Bound
				Value float64
			}
		}
		if err := json.Unmarshal(s.Bytes(), &item); err != nil {
			t.Fatal(err)
		}
		text := clean.ReplaceAllString(strings.ToLower(item.Text), "")
		m, ok := g.Meaning(text)
		switch w := item.Want; {
		case (w.Kind == "none") == ok || ok != a.Accepts(text):
			t.Errorf("%q (%s): in the grammar %v, accepted %v", text, w.Kind, ok, a.Accepts(text))
		case w.Kind == "command" && m.Command == "" || w.Kind == "reading" && m.Command != "":
			t.Errorf("%q: %s taken as %+v", text, w.Kind, m)
		case w.Kind == "reading" && (m.Way != w.Way || m.Test != w.Test || m.Quantity.Bound != w.Bound || m.Quantity.Value != w.Value):
			t.Errorf("%q: got %+v, want %+v", text, m, w)
		}
	}
	if n < 200 {
		t.Fatalf("only %d phrases in the corpus", n)
	}
}

func TestScope(t *testing.T) {
	g := load(t)
	a := g.Narrow(Scope{
		Ways: map[int][]reading.Test{
			1:   {reading.LNE, reading.LN},
			2:   {reading.RingR1, reading.LNE},
			0:   {reading.Ze}, // the board itself
			204: {reading.LN}, // 4L2
		},
		Here: 1, Boards: []int{1, 3},
		Unit: reading.Megohm,
	})
	for text, want := range map[string]bool{
		"way one live to neutral two hundred":       true,
		"way two live to neutral two hundred":       false, // not on this way
		"way two ring r one point three":            true,
		"way one ring r one point three":            false, // not a ring
		"way three live to neutral two hundred":     false, // no such way
		"live to neutral two hundred":               true,  // the way in hand
		"ring r one point three":                    false,
		"two hundred megohms":                       true,
		"two hundred ohms":                          false, // another unit is due
		"two hundred":                               true,
		"way two":                                   true,
		"way four l two":                            true,
		"way four l two live to neutral twenty":     true,
		"way four l two ring r one point three":     false,
		"way four l one":                            false,
		"way four":                                  false, // divided
		"way two l two":                             false, // not divided
		"over range live to neutral way four l two": true,
		"way three":                                 false,
		"read back way thirty one":                  false,
		"confirm":                                   true,
		"two hundred live to neutral way one":       true,
		"two hundred way one live to neutral":       true,
		"two hundred live to neutral way two":       false,
		"two hundred live to neutral":               true, // the way in hand
		"point three ring r one way two":            true, // not of the way in hand, but of the one named
		"point three ring r one":                    false,
		"over range live to neutral way two":        false, // over range comes first as a value does
		"board two":                                 false, // no such board
		"board three":                               true,
		"zed e point three":                         true, // of the board itself
		"way one zed e point three":                 false,
		"ways one to two live and neutral to earth all over range":            true,
		"ways one to three live and neutral to earth all over range":          false, // no such way
		"ways two to one live and neutral to earth all over range":            false, // backwards
		"way two ring r one point three one r n point three r two point five": true,
		"way one ring r one point three one r n point three r two point five": false,
	} {
		if a.Accepts(text) != want {
			t.Errorf("%q accepted: %v", text, !want)
		}
	}
	if len(g.Narrow(Scope{Ways: map[int][]reading.Test{}}).States) < 10 {
		t.Error("with no ways at all, the commands are gone too")
	}
}

// randomPhrase walks through an automaton at random.
func randomPhrase(a *Automaton, pick func(n int) int) string {
	var words []string
	for state := 0; ; {
		s := a.States[state]
		n := len(s.Arcs)
		if s.Final {
			n++
		}
		k := pick(n)
		if k == len(s.Arcs) {
			return strings.Join(words, " ")
		}
		words = append(words, s.Arcs[k].Word)
		state = s.Arcs[k].To
	}
}

func TestNarrowedPhrasesKeepTheScope(t *testing.T) {
	g := load(t)
	insulation := []reading.Test{reading.LNE, reading.LE, reading.NE, reading.LN}
	rapid.Check(t, func(t *rapid.T) {
		s := Scope{Ways: map[int][]reading.Test{}}
		for _, w := range rapid.SliceOfDistinct(rapid.IntRange(1, 99), rapid.ID[int]).Draw(t, "ways") {
			s.Ways[w] = rapid.SliceOfDistinct(rapid.SampledFrom(insulation), rapid.ID[reading.Test]).Draw(t, "tests")
		}
		a := g.Narrow(s)
		for range 50 {
			text := randomPhrase(a, func(n int) int { return rapid.IntRange(0, n-1).Draw(t, "arc") })
			m, ok := g.Meaning(text)
			if !ok || !a.Accepts(text) {
				t.Fatalf("%q is in the automaton but not in the grammar", text)
			}
			if _, exists := s.Ways[m.Way]; m.Way != 0 && !exists {
				t.Fatalf("%q: no way %d", text, m.Way)
			}
			if m.Way != 0 && m.Test != "" && !s.allows(m.Way, m.Test) {
				t.Fatalf("%q: way %d cannot have %s", text, m.Way, m.Test)
			}
			if m.HasValue() && !m.OverRange && m.Quantity.Check() != nil {
				t.Fatalf("%q: %v", text, m.Quantity.Check())
			}
		}
	})
}

func TestEnds(t *testing.T) {
	g := load(t)
	here := Scope{Ways: map[int][]reading.Test{3: {reading.LE, reading.LNE}}, Here: 3, Unit: reading.Megohm}
	a := g.Narrow(here)
	for text, want := range map[string]bool{
		"confirm": true, "tested dead": true, "way three live to earth two hundred and six megohms": true, "scratch that": true,
		"no": false, "two hundred": false, "way three live to earth two hundred and six": false, "way three": false, "": false, "confirm confirm": false, "mind your head": false,
		"two hundred and six megohms": false, // "way three" may follow
	} {
		if got := a.Ends(text); got != want {
			t.Errorf("%q ends: %v, want %v", text, got, want)
		}
	}
}

func TestGrammarErrors(t *testing.T) {
	lexicon := "one\ntwo\nno\nnow : N AW\n"
	for name, tt := range map[string]struct{ gram, lex, want string }{
		"two readings":     {"<phrase> = one {d 1} | one {d 2};", lexicon, `ambiguous: "one"`},
		"two ways through": {"<phrase> = [one] [one] two;", lexicon, `ambiguous: "one"`},
		"split":            {"<phrase> = one two no | one <x>; <x> = two no;", lexicon, `ambiguous: "one two no"`},
		"silent twice":     {"<phrase> = one ([two] | [no]);", lexicon, "may both be empty"},
		"empty":            {"<phrase> = [one];", lexicon, "may be empty"},
		"recursion":        {"<phrase> = one <phrase>;", lexicon, "contains itself"},
		"missing rule":     {"<phrase> = one\n <two>;", lexicon, "phrases.gram:4: no rule <two>"},
		"star":             {"<phrase> = one*;", lexicon, `phrases.gram:3: "*" is not used`},
		"weight":           {"<phrase> = /2/ one | two;", lexicon, `"/" is not used`},
		"unclosed":         {"<phrase> = (one;", lexicon, `")" expected`},
		"unknown tag":      {"<phrase> = one {eins};", lexicon, "tag {eins} is not an action"},
		"unknown test":     {"<phrase> = one {test Zq};", lexicon, "tag {test Zq} is not an action"},
		"upper case":       {"<phrase> = One;", lexicon, "not a lower-case word"},
		"no top":           {"<other> = one;", lexicon, "no rule <phrase>"},
		"no such word":     {"<phrase> = three;", lexicon, `no line for "three"`},
		"twice":            {"<phrase> = one; <phrase> = two;", lexicon, "defined twice"},
		"bad phone":        {"<phrase> = one;", "one : W XX N\n", `lexicon.txt:1: "XX" is not a phone`},
		"word twice":       {"<phrase> = one;", "one\none\n", "has a line already"},
		"import":           {"import <../x.*>; <phrase> = one;", lexicon, "cannot import"},
		"import missing":   {"import <x.*>; <phrase> = one;", lexicon, "check its import line"},
	} {
		_, err := Load(fstest.MapFS{
			"phrases.gram": {Data: []byte("#JSGF V1.0;\ngrammar phrases;\n" + tt.gram)},
			"lexicon.txt":  {Data: []byte(tt.lex)},
		})
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: got error %v, want one with %q", name, err, tt.want)
		}
	}
}

func FuzzLoad(f *testing.F) {
	for _, name := range []string{"phrases.gram", "numbers.gram", "tests.gram"} {
		src, err := grammar.Files.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(src))
	}
	f.Add("#JSGF V1.0; grammar phrases; <phrase> = ((one|two) {d 1})")
	f.Fuzz(func(t *testing.T, src string) {
		files := fstest.MapFS{"phrases.gram": {Data: []byte(src)}, "lexicon.txt": {Data: []byte("one\n")}}
		if g, err := Load(files); err == nil && len(g.words) < 2 {
			t.Error("an empty grammar was loaded")
		}
	})
}

func FuzzMeaning(f *testing.F) {
	g, err := Load(grammar.Files)
	if err != nil {
		f.Fatal(err)
	}
	a := g.Narrow(Scope{})
	f.Add("way three live to earth over nine nine nine")
	f.Add("no two  hundred\tand six")
	f.Fuzz(func(t *testing.T, text string) {
		m, ok := g.Meaning(text)
		if a.Accepts(text) && !ok {
			t.Errorf("%q is accepted but means nothing", text)
		}
		if ok && m == (Meaning{}) {
			t.Errorf("%q means nothing", text)
		}
	})
}

func BenchmarkNarrow(b *testing.B) {
	g := load(b)
	for b.Loop() {
		g.Narrow(Scope{})
	}
}

// seeded returns a repeatable source of random numbers.
func seeded() func(n int) int { return rand.New(rand.NewPCG(7, 11)).IntN }

// Another grammar beside the first has its own top rule and may have words of its
// own, which the first does not get.
func TestLoadNamed(t *testing.T) {
	files := fstest.MapFS{
		"phrases.gram": {Data: []byte("#JSGF V1.0;\ngrammar phrases;\npublic <phrase> = yes {say confirm};\n")},
		"other.gram":   {Data: []byte("#JSGF V1.0;\ngrammar other;\npublic <phrase> = yes {say confirm} | later {say wait};\n")},
		"lexicon.txt":  {Data: []byte("yes\n")},
		"other.txt":    {Data: []byte("later : L EY T ER\n")},
	}
	g, err := LoadNamed(files, "other")
	if err != nil {
		t.Fatal(err)
	}
	if m, ok := g.Meaning("later"); !ok || m.Command != "wait" {
		t.Errorf("%+v, %v", m, ok)
	}
	if first, err := Load(files); err != nil || len(first.Lexicon()) != 1 {
		t.Errorf("%v, %v", first, err)
	}
	if _, err := LoadNamed(files, "none"); err == nil || !strings.Contains(err.Error(), "none") {
		t.Error(err)
	}
	delete(files, "other.txt")
	if _, err := LoadNamed(files, "other"); err == nil || !strings.Contains(err.Error(), `no line for "later"`) {
		t.Error(err)
	}
}
