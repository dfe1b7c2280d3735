// Package bench measures hearing against labelled sets of phrases.
//
// A set is a folder of sound files with a manifest: one JSON object a line that
// names a file, what was said in it and what should be understood. A set is heard
// as it is or under a noise.Condition, such as site noise at 10 dB (Try), and
// each phrase ends in one of four ways: right without a question, right but asked
// about, ignored, or wrong. What counts against an instrument that people trust is
// the last of these, and among it what was wrong and yet sure.
//
// What happened to each phrase is kept (Writer, Load), so that counts, tables
// and plots (Summarise, Report) can be made again without hearing again.
package bench

import (
	"bufio"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"waycall/internal/phrase"
	"waycall/internal/reading"
)

// Item is one line of a manifest.
type Item struct {
	File  string `json:"file"`            // beside the manifest
	Text  string `json:"text"`            // what was said
	Voice string `json:"voice,omitempty"` // whose voice it is; of a recording the speaker
	Want  Want   `json:"want"`
	Or    []Want `json:"or,omitempty"` // what would be as right
}

// Want is what should be understood.
type Want struct {
	Kind   string        `json:"kind"`             // reading, command or none
	Way    int           `json:"way,omitempty"`    // 0 for a value on its own
	Test   reading.Test  `json:"test,omitempty"`   // empty for a value on its own
	Bound  reading.Bound `json:"bound,omitempty"`  // of a reading
	Value  float64       `json:"value,omitempty"`  // of a reading
	Phrase string        `json:"phrase,omitempty"` // of a command, or of a reading of more than one value
}

// ReadManifest reads a manifest and names the line of what is wrong with it.
func ReadManifest(r io.Reader, name string) ([]Item, error) {
	var items []Item
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		if strings.TrimSpace(lines.Text()) == "" {
			continue
		}
		var it Item
		if err := json.Unmarshal(lines.Bytes(), &it); err != nil {
			return nil, fmt.Errorf("manifest %s, line %d: %w; write one JSON object a line", name, n, err)
		}
		if k := it.Want.Kind; k != "reading" && k != "command" && k != "none" {
			return nil, fmt.Errorf("manifest %s, line %d: want.kind is %q; write reading, command or none", name, n, k)
		}
		if it.File == "" || strings.ContainsAny(it.File, "/\\") {
			return nil, fmt.Errorf("manifest %s, line %d: file is %q; name a file beside the manifest", name, n, it.File)
		}
		items = append(items, it)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("manifest %s: %w; split long lines", name, err)
	}
	if len(items) == 0 {
		return nil, fmt.Errorf("manifest %s: no phrases in it; add a line for each sound file", name)
	}
	return items, nil
}

// kind returns what a phrase is counted as: reading, value, command, none, or
// joined for two phrases in one breath.
func (it Item) kind() string {
	switch {
	case len(it.Or) > 0:
		return "joined"
	case it.Want.Kind == "reading" && it.Want.Way == 0:
		return "value"
	}
	return it.Want.Kind
}

// Answer is what an ear made of one phrase.
type Answer struct {
	ForUs      bool           // false when it was taken for talk or noise; Words and Meaning are then what came nearest, if anything
	Words      string         // of the likeliest candidate
	Meaning    phrase.Meaning // of the same
	Sure       bool           // taken without a question
	Confidence float64        // claimed probability, 0 to 1, that the likeliest candidate is right; negative where none is claimed
	Evidence   []float64      // what the confidence was made of; may be nil

	// Took is the time from the end of the sound to its meaning where the ear
	// measures it itself; 0 where the time that Hear takes is what counts.
	Took time.Duration

	Witnesses map[string]string  // what each recogniser heard, for the record; may be nil
	Scores    map[string]float64 // its log-probabilities; may be nil
}

// End is how one phrase ended.
type End string

// The ends.
const (
	Right   End = "right"   // understood without a question, or talk that was ignored
	Asked   End = "asked"   // the likeliest candidate is right, and the electrician is asked
	Ignored End = "ignored" // taken for talk
	Wrong   End = "wrong"
)

// Judge compares an answer with what should have been understood.
func Judge(g *phrase.Grammar, it Item, a Answer) End {
	if !a.ForUs {
		if it.Want.Kind == "none" {
			return Right
		}
		return Ignored
	}
	ok := means(g, it.Want, a.Meaning)
	for _, w := range it.Or {
		ok = ok || means(g, w, a.Meaning)
	}
	switch {
	case !ok:
		return Wrong
	case a.Sure:
		return Right
	}
	return Asked
}

// Again returns results as they would have ended by other thresholds: decide says
// from the evidence and the likeliest candidate's words what becomes of it. Results
// without evidence stay as they are.
func Again(g *phrase.Grammar, results []Result, decide func(evidence []float64, words string) (confidence float64, forUs, sure bool)) []Result {
	out := slices.Clone(results)
	for i := range out {
		r := &out[i]
		if r.Evidence == nil || r.Heard == "" {
			continue
		}
		var a Answer
		a.Confidence, a.ForUs, a.Sure = decide(r.Evidence, r.Heard)
		a.Meaning, _ = g.Meaning(r.Heard)
		r.decided(g, a)
	}
	return out
}

// decided notes what became of the phrase.
func (r *Result) decided(g *phrase.Grammar, a Answer) {
	r.End, r.Confidence, r.ForUs = Judge(g, r.Item, a), a.Confidence, a.ForUs
	if r.Sure, r.Means = false, ""; a.ForUs {
		r.Sure, r.Means = a.Sure, cmp.Or(string(a.Meaning.Command), "reading")
	}
}

// nearest reports whether the likeliest candidate is right, whatever became of it.
func nearest(g *phrase.Grammar, it Item, a Answer) bool {
	a.ForUs, a.Sure = true, true
	return it.Want.Kind != "none" && Judge(g, it, a) == Right
}

// means reports whether m is what is wanted.
func means(g *phrase.Grammar, w Want, m phrase.Meaning) bool {
	switch w.Kind {
	case "reading":
		if want, known := g.Meaning(Plain(w.Phrase)); known {
			return m.Same(want)
		}
		q := m.Quantity
		return m.Command == "" && m.Way == w.Way && m.Test == w.Test && q.Bound == w.Bound && q.Value == w.Value
	case "command":
		want, known := g.Meaning(Plain(w.Phrase))
		return known && m.Same(want)
	}
	return false
}

// Plain returns text as the witnesses spell it: lower-case words without
// punctuation.
func Plain(text string) string {
	keep := func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z' || r == '\'':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return ' '
	}
	return strings.Join(strings.Fields(strings.Map(keep, text)), " ")
}
