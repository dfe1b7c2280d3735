// Package phrases makes up phrases from the grammar, for training the model and for
// measuring it. Package bench reads what it writes.
package phrases

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strings"

	"waycall/grammar"
	"waycall/internal/phrase"
)

// item is a line of what is written; package bench reads it.
type item struct {
	Text string         `json:"text"`
	Want map[string]any `json:"want"`
}

// likely is roughly how often each form is said on a job (a guess: no published
// source). Rare forms keep a share that is large enough to learn and to measure.
var likely = map[string][]float64{
	"phrases.reading":   {8, 2, 2, 0.1},
	"phrases.tested":    {8, 6, 1, 1, 0.5, 1, 0.3},
	"phrases.insulated": {8, 0.1, 1, 0.1},
	"phrases.value":     {20, 0.1, 1, 0.2, 0.1, 0.1, 0.2},
	"phrases.command":   {4, 3, 4, 2, 1},
	"tests.insulation":  {4, 4, 4, 4, 1, 1, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5},
	"numbers.number":    {6, 5, 3, 1, 0.6, 0.1},
	"numbers.cardinal":  {6, 8, 1, 0.2},
	"numbers.places":    {8, 1, 1, 0.3},
	"numbers.figures":   {8, 1, 1, 2},
	"numbers.digit":     {2, 9},
}

// Kinds are the rules of which phrases can be asked for by number.
var Kinds = []string{"reading", "value", "command", "several", "repair", "preparation"}

// Options say which phrases are wanted.
type Options struct {
	Seed    uint64          // of the choice
	Counts  map[string]*int // number of phrases of each of Kinds
	Ways    int             // highest way that is named
	Planned int             // number of phrases of ahead.gram
	Ahead   string          // folder of ahead.gram
	Texts   string          // file of phrases of the grammar, or empty
	Label   string          // file of texts that need not be phrases of the grammar, or empty
	Talk    string          // file of talk to be ignored, or empty
	Fold    string          // which of the talk: fit, train or all
}

// writer writes phrases as JSON objects, one a line.
type writer struct {
	*json.Encoder
	g *phrase.Grammar
}

// Write writes the phrases that are wanted: JSON objects, one a line, with the text to
// be spoken and what should be understood. No text comes twice, except commands, of
// which there are few: these are repeated to make up their number, to be spoken in
// other voices.
func Write(w io.Writer, o Options) error {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0))
	buffer := bufio.NewWriter(w)
	out := writer{json.NewEncoder(buffer), g}
	if err := out.madeUp(o, rng); err != nil {
		return err
	}
	if err := out.texts(o.Texts); err != nil {
		return err
	}
	if err := out.labels(o.Label); err != nil {
		return err
	}
	if err := out.planned(o, rng); err != nil {
		return err
	}
	if err := out.talk(o); err != nil {
		return err
	}
	return buffer.Flush()
}

// madeUp writes phrases made up from the rules of the grammar.
func (w writer) madeUp(o Options, rng *rand.Rand) error {
	sampler, err := phrase.NewSampler(grammar.Files, "phrases", likely)
	if err != nil {
		return err
	}
	for _, kind := range Kinds {
		seen := map[string]bool{}
		for made, tries := 0, 0; made < *o.Counts[kind]; tries++ {
			text, err := sampler.Phrase("phrases."+kind, rng)
			if err != nil {
				return err
			}
			m, ok := w.g.Meaning(text)
			if !ok {
				return fmt.Errorf("%q was made from the grammar and has no meaning; mend the grammar", text)
			}
			if m.Way > o.Ways || seen[text] && m.Command == "" {
				if tries > 1000**o.Counts[kind] {
					return fmt.Errorf("only %d different phrases of the kind %s; ask for fewer", made, kind)
				}
				continue
			}
			seen[text] = true
			if err := w.Encode(item{text, want(m, text)}); err != nil {
				return err
			}
			made++
		}
	}
	return nil
}

// texts writes the phrases of a file, if one is named.
func (w writer) texts(name string) error {
	if name == "" {
		return nil
	}
	lines, err := readLines(name)
	if err != nil {
		return fmt.Errorf("texts: %w; check its name", err)
	}
	for _, text := range lines {
		m, ok := w.g.Meaning(text)
		if !ok {
			return fmt.Errorf("texts: %q is not a phrase of the grammar; take it out", text)
		}
		if err := w.Encode(item{text, want(m, text)}); err != nil {
			return err
		}
	}
	return nil
}

// labels writes what should be understood of each line of a file, if one is named:
// nothing where it is no phrase of the grammar.
func (w writer) labels(name string) error {
	if name == "" {
		return nil
	}
	lines, err := readLines(name)
	if err != nil {
		return fmt.Errorf("label: %w; check its name", err)
	}
	for _, text := range lines {
		wanted := map[string]any{"kind": "none"}
		if m, ok := w.g.Meaning(text); ok {
			wanted = want(m, text)
		}
		if err := w.Encode(item{text, wanted}); err != nil {
			return err
		}
	}
	return nil
}

// planned writes phrases of ahead.gram, which the grammar does not have yet.
func (w writer) planned(o Options, rng *rand.Rand) error {
	if o.Planned <= 0 {
		return nil
	}
	sampler, err := phrase.NewSampler(phrase.Over(os.DirFS(o.Ahead), grammar.Files), "ahead", likely)
	if err != nil {
		return err
	}
	for range o.Planned {
		text, err := sampler.Phrase("ahead.phrase", rng)
		if err != nil {
			return err
		}
		if err := w.Encode(item{text, map[string]any{"kind": "planned"}}); err != nil {
			return err
		}
	}
	return nil
}

// talk writes the sentences that are to be ignored, if a file of them is named.
func (w writer) talk(o Options) error {
	if o.Talk == "" {
		return nil
	}
	lines, err := readLines(o.Talk)
	if err != nil {
		return fmt.Errorf("talk: %w; check its name", err)
	}
	for i, text := range lines {
		if o.Fold == "fit" && i%6 > 0 || o.Fold == "train" && i%6 == 0 {
			continue
		}
		if _, ok := w.g.Meaning(text); ok {
			return fmt.Errorf("talk: %q is a phrase of the grammar; take it out", text)
		}
		if err := w.Encode(item{text, map[string]any{"kind": "none"}}); err != nil {
			return err
		}
	}
	return nil
}

// readLines returns the lines of a file but blank ones and comments.
func readLines(name string) ([]string, error) {
	src, err := os.ReadFile(name)
	return slices.DeleteFunc(strings.Split(string(src), "\n"), func(l string) bool { return l == "" || l[0] == '#' }), err
}

func want(m phrase.Meaning, text string) map[string]any {
	if m.Command != "" {
		return map[string]any{"kind": "command", "phrase": text}
	}
	w := map[string]any{"kind": "reading"}
	if m.Then[0].Test != "" {
		w["phrase"] = text
	}
	if m.Way > 0 {
		w["way"] = m.Way
	}
	if m.Test != "" {
		w["test"] = m.Test
	}
	if m.OverRange {
		w["over_range"] = true
	} else {
		w["bound"], w["value"] = m.Quantity.Bound, m.Quantity.Value
	}
	return w
}
