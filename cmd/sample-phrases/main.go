// Command sample-phrases makes up phrases from the grammar, for training the
// model and for measuring it: JSON objects, one a line, with the text to be
// spoken and what should be understood.
//
//	sample-phrases --seed 1 --reading 500 --value 300 --command 200 --talk FILE > phrases.jsonl
//	sample-phrases --seed 1 --several 50 --repair 100    # of these rules alone
//	sample-phrases --seed 1 --ahead models/adapt --planned 200 ...
//	sample-phrases --texts testdata/bench/large.txt      # these phrases, not new ones
//
// No text comes twice, except commands, of which there are few: these are
// repeated to make up their number, to be spoken in other voices.
package main

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"

	"waycall/grammar"
	"waycall/internal/phrase"
)

// item is a line of what is written; internal/bench reads it.
type item struct {
	Text string         `json:"text"`
	Want map[string]any `json:"want"`
}

// likely is roughly how often each form is said on a job (a guess: no published
// source). Rare forms keep a share that is large enough to learn and to measure.
var likely = map[string][]float64{
	"phrases.reading":   {8, 1, 1, 1, 1},
	"phrases.tested":    {8, 6, 1, 1, 0.5, 1},
	"phrases.insulated": {8, 1},
	"phrases.value":     {20, 1},
	"phrases.command":   {4, 3, 4, 2, 1},
	"tests.insulation":  {4, 4, 4, 4, 1, 1, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5},
	"numbers.number":    {4, 5, 6, 0.3, 0.2},
	"numbers.cardinal":  {6, 8, 1},
	"numbers.whole":     {6, 1, 1, 6},
	"numbers.places":    {8, 1, 1, 0.3},
	"numbers.figures":   {8, 1, 1, 2},
	"numbers.digit":     {2, 9},
}

// kinds are the rules of which phrases can be asked for by number.
var kinds = []string{"reading", "value", "command", "several", "repair", "preparation"}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "sample-phrases:", err)
		os.Exit(1)
	}
}

func run() error {
	seed := flag.Uint64("seed", 1, "seed of the choice")
	counts := map[string]*int{}
	for _, kind := range kinds {
		counts[kind] = flag.Int(kind, 0, "number of phrases of the kind "+kind)
	}
	ways := flag.Int("ways", phrase.MaxWay, "highest way; the grammar has names for 99")
	planned := flag.Int("planned", 0, "number of phrases of ahead.gram")
	ahead := flag.String("ahead", "models/adapt", "folder of ahead.gram")
	texts := flag.String("texts", "", "file of phrases of the grammar, one a line, instead of phrases made up")
	talk := flag.String("talk", "", "file of talk to be ignored, one sentence a line")
	fold := flag.String("fold", "all", "which of the talk: one sentence in six (fit), the others (train), or all")
	flag.Parse()

	g, err := phrase.Load(grammar.Files)
	if err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(*seed, 0))
	out := bufio.NewWriter(os.Stdout)
	defer out.Flush()
	write := json.NewEncoder(out)

	sampler, err := phrase.NewSampler(grammar.Files, "phrases", likely)
	if err != nil {
		return err
	}
	for _, kind := range kinds {
		seen := map[string]bool{}
		for made, tries := 0, 0; made < *counts[kind]; tries++ {
			text, err := sampler.Phrase("phrases."+kind, rng)
			if err != nil {
				return err
			}
			m, ok := g.Meaning(text)
			if !ok {
				return fmt.Errorf("%q was made from the grammar and has no meaning; mend the grammar", text)
			}
			if m.Way > *ways || seen[text] && m.Command == "" {
				if tries > 1000**counts[kind] {
					return fmt.Errorf("only %d different phrases of the kind %s; ask for fewer", made, kind)
				}
				continue
			}
			seen[text] = true
			if err := write.Encode(item{text, want(m, text)}); err != nil {
				return err
			}
			made++
		}
	}
	if *texts != "" {
		lines, err := readLines(*texts)
		if err != nil {
			return fmt.Errorf("texts: %w; check its name", err)
		}
		for _, text := range lines {
			m, ok := g.Meaning(text)
			if !ok {
				return fmt.Errorf("texts: %q is not a phrase of the grammar; take it out", text)
			}
			if err := write.Encode(item{text, want(m, text)}); err != nil {
				return err
			}
		}
	}
	if *planned > 0 {
		sampler, err := phrase.NewSampler(phrase.Over(os.DirFS(*ahead), grammar.Files), "ahead", likely)
		if err != nil {
			return err
		}
		for range *planned {
			text, err := sampler.Phrase("ahead.phrase", rng)
			if err != nil {
				return err
			}
			if err := write.Encode(item{text, map[string]any{"kind": "planned"}}); err != nil {
				return err
			}
		}
	}
	if *talk == "" {
		return nil
	}
	lines, err := readLines(*talk)
	if err != nil {
		return fmt.Errorf("talk: %w; check its name", err)
	}
	for i, text := range lines {
		if *fold == "fit" && i%6 > 0 || *fold == "train" && i%6 == 0 {
			continue
		}
		if _, ok := g.Meaning(text); ok {
			return fmt.Errorf("talk: %q is a phrase of the grammar; take it out", text)
		}
		if err := write.Encode(item{text, map[string]any{"kind": "none"}}); err != nil {
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
