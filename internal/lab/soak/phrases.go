package soak

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"waycall/internal/audio"
	"waycall/internal/demo"
	"waycall/internal/reading"
)

// phrases is what the electrician can say: words, without commas, and the sound of
// each as it was rendered, several times where it is said often.
type phrases map[string][]audio.Clip

var noLetters = regexp.MustCompile(`[^a-z]+`)

// loadPhrases reads the sound of the demonstration and of the folders session and soak
// of testdata, each with a script.jsonl and a folder of FLAC files.
func loadPhrases(testdata string) (phrases, error) {
	all := phrases{}
	lines, err := demo.Script()
	if err != nil {
		return nil, err
	}
	for _, l := range lines {
		if l.Text != "" && l.Noise == nil {
			all.add(l.Text, l.Sound)
		}
	}
	for _, folder := range []string{"session", "soak"} {
		f, err := os.Open(filepath.Join(testdata, folder, "script.jsonl"))
		if err != nil {
			return nil, fmt.Errorf("soak: %w; run it in the repository's root", err)
		}
		defer f.Close()
		seen := map[string]bool{}
		s := bufio.NewScanner(f)
		for s.Scan() {
			var l struct {
				Text string `json:"text"`
			}
			if err := json.Unmarshal(s.Bytes(), &l); err != nil {
				return nil, fmt.Errorf("soak: script of %s: %w", folder, err)
			}
			if l.Text == "" || seen[l.Text] {
				continue
			}
			seen[l.Text] = true
			slug := strings.Trim(noLetters.ReplaceAllString(strings.ToLower(l.Text), "-"), "-")
			files, err := filepath.Glob(filepath.Join(testdata, folder, "sound", slug+"-[0-9].flac"))
			if err != nil || len(files) == 0 {
				return nil, fmt.Errorf("soak: no sound of %q in %s; scripts/lab/render-demo renders it", l.Text, folder)
			}
			for _, name := range files {
				clip, err := audio.ReadFile(name)
				if err != nil {
					return nil, err
				}
				all.add(l.Text, clip)
			}
		}
		if err := s.Err(); err != nil {
			return nil, fmt.Errorf("soak: script of %s: %w", folder, err)
		}
	}
	return all, nil
}

func (p phrases) add(text string, clip audio.Clip) {
	text = plain(text)
	p[text] = append(p[text], clip)
}

// plain is text in small letters, with one blank between words and nothing else.
func plain(text string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return strings.ContainsRune(" ,.:;?!", r) }), " ")
}

// value is how a reading is said alone, and what it is, as a schedule writes it. This
// list is the soak's own, so that nothing of waycall's understanding is in it.
type value struct{ said, written string }

var megohms = []value{
	{"over nine nine nine", ">999"}, {"over range", ">999"}, {"greater than nine nine nine", ">999"}, {"over nine nine nine megohms", ">999"},
	{"five hundred and sixty megohms", "560"}, {"five four two", "542"},
	{"five hundred and twelve megohms", "512"}, {"nine nine nine", "999"}, {"eight two four", "824"}, {"two hundred", "200"},
	{"four hundred and ten", "410"}, {"six hundred and thirty five", "635"}, {"nine four seven megohms", "947"},
	{"one hundred and twenty eight megs", "128"}, {"seven hundred and thirty", "730"}, {"eighty six megohms", "86"}, {"two six nine", "269"},
}

// lowMegohms fails.
var lowMegohms = value{"nought point four megohms", "0.4"}

var continuity = []value{
	{"nought point two three", "0.23"}, {"nought point two four ohms", "0.24"}, {"point two five", "0.25"}, {"nought point two one", "0.21"},
	{"nought point two six ohms", "0.26"}, {"nought point two two", "0.22"}, {"point two two", "0.22"},
}

var loops = []value{
	{"nought point four one", "0.41"}, {"nought point four three", "0.43"}, {"nought point four five ohms", "0.45"},
	{"point four four", "0.44"}, {"nought point four six", "0.46"}, {"nought point four two ohms", "0.42"},
}

var bonds = []value{
	{"nought point oh three", "0.03"}, {"nought point oh four ohms", "0.04"}, {"nought point oh two ohms", "0.02"}, {"nought point oh three ohms", "0.03"},
}

var values = map[reading.Test][]value{
	reading.LNE: megohms, reading.LN: megohms, reading.LE: megohms, reading.NE: megohms,
	reading.R1R2: continuity, reading.Zs: loops, reading.Earthing: bonds, reading.Bonding: bonds,
	reading.Ze: {{"nought point two one", "0.21"}, {"zed e nought point two one", "0.21"}, {"nought point two two", "0.22"}, {"nought point two three", "0.23"}},
	reading.PFC: {
		{"one point oh nine kiloamps", "1.09"}, {"one point one", "1.1"}, {"one point two kiloamps", "1.2"}, {"one point oh four", "1.04"},
		{"fault current one point oh six kiloamps", "1.06"},
	},
	reading.PSC: {{"one point oh nine kiloamps", "1.09"}, {"one point one", "1.1"}, {"one point two kiloamps", "1.2"}, {"p s c c one point two", "1.2"}},
	reading.RCD1x: {
		{"twenty two milliseconds", "22"}, {"nineteen", "19"}, {"twenty six", "26"}, {"twenty four milliseconds", "24"}, {"thirty one", "31"},
		{"seventeen milliseconds", "17"}, {"eighteen", "18"}, {"twenty seven milliseconds", "27"}, {"r c d one times thirty one milliseconds", "31"},
	},
	reading.Polarity:   {{"polarity correct", "correct"}},
	reading.Functional: {{"functional correct", "correct"}, {"functional test correct", "correct"}},
	reading.RCDButton:  {{"test button correct", "correct"}, {"test button works", "correct"}},
}

// placed is a phrase that names its place on the board in hand.
type placed struct {
	said    string
	way     int
	test    reading.Test
	written string
	replace bool // "replace way two, ..."
}

// inPlace are the tests that phrases with a place are said for, as they are named.
var inPlace = map[string]reading.Test{
	"live and neutral to earth": reading.LNE, "live to neutral": reading.LN, "r one plus r two": reading.R1R2, "zed s": reading.Zs, "r c d one times": reading.RCD1x,
}

// furtherFigures are figures that are said only with a place, or in a correction.
var furtherFigures = []value{
	{"six hundred and thirty five megohms", "635"}, {"seven hundred and thirty megohms", "730"}, {"two hundred and six", "206"}, {"three hundred and fifteen", "315"}, {"four hundred and ten", "410"},
	{"point two four ohms", "0.24"}, {"nought point one three", "0.13"}, {"nought point four five", "0.45"},
	{"nought point three four", "0.34"}, {"point three nine", "0.39"}, {"one point four six", "1.46"}, {"nineteen milliseconds", "19"},
	{"nought point two four", "0.24"}, {"twenty six milliseconds", "26"},
}

// figure returns what the words of a figure are.
func figure(said string) (string, bool) {
	lists := [][]value{furtherFigures}
	for _, list := range values {
		lists = append(lists, list)
	}
	for _, list := range lists {
		if i := slices.IndexFunc(list, func(v value) bool { return v.said == said }); i >= 0 {
			return list[i].written, true
		}
	}
	return "", false
}

// withPlace finds the phrases with a place among what there is sound of, in order.
func (p phrases) withPlace() []placed {
	var all []placed
	for text := range p {
		rest, replace := strings.CutPrefix(text, "replace ")
		for n := 1; n < 20; n++ {
			rest, ok := strings.CutPrefix(rest, "way "+reading.Cardinal(n)+" ")
			if !ok {
				continue
			}
			for name, test := range inPlace {
				said, ok := strings.CutPrefix(rest, name+" ")
				if !ok {
					continue
				}
				if written, ok := figure(said); ok {
					all = append(all, placed{text, n, test, written, replace})
				}
			}
		}
	}
	slices.SortFunc(all, func(a, b placed) int { return strings.Compare(a.said, b.said) })
	return all
}

// corrections returns the phrases "no, ..." with the figure that each gives.
func (p phrases) corrections() map[string]string {
	all := map[string]string{}
	for text := range p {
		if said, ok := strings.CutPrefix(text, "no "); ok {
			if written, ok := figure(said); ok {
				all[text] = written
			}
		}
	}
	return all
}

// What is said beside readings.
var (
	yes     = []string{"confirm", "yes", "that's right"}
	chatter = []string{
		"can you hold the torch a bit higher please", "pass me the long screwdriver would you", "is the kettle on yet", "mind your feet on that cable reel",
		"i left the other drill in the van this morning", "they said the plasterer is coming on thursday",
	}
	notes = []string{
		"the cover of the trunking was broken and has been replaced", "two screws of the back box were missing",
		"the gland on the cooker cable is loose and was tightened", "the neutral was trapped under a screw",
	}
	steps = map[string][]string{ // a preparation step -> how it is answered
		"isolated and locked off": {"isolated and locked off"}, "notices up": {"notices up"}, "indicator proved": {"indicator proved"},
		"tested dead": {"tested dead"}, "proved dead": {"proved dead"}, "surge protection out": {"surge protection out"}, "lamps removed": {"lamps removed"},
		"loads disconnected": {"loads disconnected"}, "electronics out": {"electronics out"}, "switches on": {"switches on"},
		"links as found": {"links as found"}, "leads joined": {"leads joined nought point oh three ohms", "leads joined nought point oh two"},
		"leads apart": {"leads apart over range"}, "dead tests complete": {"dead tests complete"}, "ready for live tests": {"ready for live tests"},
		"all connected again": {"all connected again"}, "surge protection back": {"surge protection back"}, "neutral back": {"neutral back"}, "whole board first": {"way by way"}, "main switch locked off": {"main switch locked off"},
		"earthing conductor off": {"earthing conductor off"}, "earthing conductor back": {"earthing conductor back"}, "main switch back on": {"main switch back on"},
	}
)

// check says which phrase there is no sound of.
func (p phrases) check() error {
	need := slices.Concat(yes, chatter, notes, []string{"no", "scratch that", "what's next", "make a note", "carry on", "finish here", lowMegohms.said})
	for _, list := range steps {
		need = append(need, list...)
	}
	for _, list := range values {
		for _, v := range list {
			need = append(need, v.said)
		}
	}
	for _, text := range need {
		if len(p[text]) == 0 {
			return fmt.Errorf("soak: there is no sound of %q; scripts/lab/render-demo renders what testdata/soak/script.jsonl names", text)
		}
	}
	return nil
}

func pick[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

// suits reports whether a figure may be read at a test.
func (v value) suits(test reading.Test) bool {
	return slices.ContainsFunc(values[test], func(x value) bool { return x.written == v.written })
}

func cardinal(n int) string { return reading.Cardinal(n) }
