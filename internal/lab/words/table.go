package words

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"waycall/internal/hear"
	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
)

// word is one word or phrase that was weighed.
type word struct {
	Text  string
	Known bool           // the grammar has it
	For   phrase.Command // what it asks for, or would if the grammar took it; empty when nothing was thought of
}

// wouldBe says what each word that was weighed would ask for.
var wouldBe = map[string]phrase.Command{
	"affirmative": phrase.Confirm, "correct": phrase.Confirm, "accept": phrase.Confirm, "accept that": phrase.Confirm,
	"store it": phrase.Confirm, "keep it": phrase.Confirm, "agreed": phrase.Confirm,
	"negative": phrase.No,
	"cancel":   phrase.Scratch, "cancel that": phrase.Scratch, "delete that": phrase.Scratch,
	"repeat": phrase.SayAgain, "repeat that": phrase.SayAgain,
	"next": phrase.WhatsNext, "next one": phrase.WhatsNext,
	"previous": phrase.GoBack, "step back": phrase.GoBack,
	"hold on": phrase.Pause, "stand by": phrase.Pause,
	"resume": phrase.CarryOn, "continue": phrase.CarryOn, "go on": phrase.CarryOn,
	"done": phrase.Finish, "end session": phrase.Finish, "stop here": phrase.Finish, "all done": phrase.Finish,
	"leave it out": phrase.Skip, "pass over": phrase.Skip,
	"option one": phrase.First, "number one": phrase.First, "former": phrase.First,
	"option two": phrase.Second, "number two": phrase.Second, "latter": phrase.Second,
	"note this": phrase.Note, "remark": phrase.Note,
}

// harmless are the commands that move about, ask, or choose what is then read
// back. Every other phrase stores, confirms or deletes, or is a figure that would
// be stored once confirmed; so is a command that is new and not named here.
var harmless = map[phrase.Command]bool{
	phrase.SayAgain: true, phrase.WhatsNext: true, phrase.WhatsLeft: true, phrase.WhatCanISay: true, phrase.GoBack: true,
	phrase.GoTo: true, phrase.GoToBoard: true, phrase.ReadBack: true, phrase.TestAgain: true,
	phrase.SayAgainSlow: true, phrase.Slower: true, phrase.Faster: true, phrase.Brief: true, phrase.InFull: true,
	phrase.Pause: true, phrase.CarryOn: true, phrase.Note: true, phrase.Observation: true, phrase.First: true, phrase.Second: true,
}

// needed is the share of a word's hearings that must be right for it to pass.
const needed = 0.95

// inTraining marks a voice that training has heard, in the manifest.
const inTraining = " (in training)"

// tally counts how one word was heard by one witness in one condition.
type tally struct {
	n, right int
	instead  map[string]int // what was heard when it was not right
}

func (t *tally) add(heard string, right bool) {
	t.n++
	if right {
		t.right++
		return
	}
	if t.instead == nil {
		t.instead = map[string]int{}
	}
	t.instead[heard]++
}

func (t *tally) String() string { return fmt.Sprintf("%d/%d", t.right, t.n) }

// enough reports whether the share that was right is what is needed.
func (t *tally) enough() bool { return t.n > 0 && float64(t.right) >= needed*float64(t.n) }

// score is how a word was heard.
type score struct {
	word
	model, sphinx [2]tally       // in quiet, in noise
	together      map[string]int // wrong words that both witnesses heard at once
	harm          map[string]int // what the model heard that stores, confirms or deletes
}

// table is what all words were heard as.
type table struct {
	grammar *phrase.Grammar
	words   map[string]word
	scores  map[string]*score // by the word that was said
	voices  map[string]*voice
	broken  int // hearings in noise in which the model wrote a broken-off start first
}

// brokenOff is how the model writes a start that was broken off, as in internal/hear.
const brokenOff = "- "

// voice is how one voice was heard by the model.
type voice struct{ quiet, noise tally }

// count counts what was heard. A word without a result has no score.
func count(g *phrase.Grammar, words []word, kept []bench.Kept) (*table, error) {
	t := &table{grammar: g, words: map[string]word{}, scores: map[string]*score{}, voices: map[string]*voice{}}
	for _, w := range words {
		t.words[w.Text] = w
	}
	for _, k := range kept {
		in := 0
		if len(k.Run.Condition.Noise) > 0 {
			in = 1
		}
		for _, r := range k.Results {
			w, ok := t.words[r.Text]
			if !ok {
				continue // heard when the grammar had it
			}
			model, second := r.Witnesses[hear.WhisperFree], r.Witnesses[hear.Sphinx]
			model, broken := strings.CutPrefix(model, brokenOff)
			right := t.same(r.Text, model)
			v := t.voices[r.Voice]
			if v == nil {
				v = &voice{}
				t.voices[r.Voice] = v
			}
			[]*tally{&v.quiet, &v.noise}[in].add(model, right)
			if strings.HasSuffix(r.Voice, inTraining) {
				continue // whoever uses waycall is not among them
			}
			s := t.scores[r.Text]
			if s == nil {
				s = &score{word: w, together: map[string]int{}, harm: map[string]int{}}
				t.scores[r.Text] = s
			}
			s.model[in].add(model, right)
			if broken && in == 1 {
				t.broken++
			}
			s.sphinx[in].add(second, t.same(r.Text, second))
			if !right && t.same(model, second) {
				s.together[model]++
			}
			if !right && t.harmful(w, model) {
				s.harm[model]++
			}
		}
	}
	if len(t.scores) == 0 {
		return nil, errors.New("none of the words was heard; run scripts/lab/confusion")
	}
	return t, nil
}

// same reports whether two texts are the same or mean the same to the grammar.
func (t *table) same(a, b string) bool {
	if a == b {
		return true
	}
	m, ok := t.grammar.Meaning(a)
	n, too := t.grammar.Meaning(b)
	return ok && too && m.Same(n)
}

// harmful reports whether it would store, confirm or delete what was not meant to
// be, if the word w was heard as text.
func (t *table) harmful(w word, text string) bool {
	asks := t.words[text].For
	m, known := t.grammar.Meaning(text)
	if known {
		asks = m.Command
	}
	if known && asks == "" {
		return true // a figure
	}
	if asks == "" || harmless[asks] {
		return false
	}
	if known && w.Known {
		return !t.same(w.Text, text) // one reason for another is not the same
	}
	return asks != w.For
}

// verdict applies the rule: it returns nothing when the word passes, else why it
// does not.
func (s *score) verdict() string {
	var why []string
	if !s.model[0].enough() {
		why = append(why, fmt.Sprintf("right in quiet %s", &s.model[0]))
	}
	if !s.model[1].enough() {
		why = append(why, fmt.Sprintf("right in noise %s", &s.model[1]))
	}
	if len(s.harm) > 0 {
		why = append(why, "heard as "+most(s.harm, 3, true))
	}
	return strings.Join(why, "; ")
}

// most lists the texts that were counted most often.
func most(counts map[string]int, limit int, quoted bool) string {
	texts := byCount(counts)
	var out []string
	for i, text := range texts {
		if i == limit {
			out = append(out, fmt.Sprintf("%d more", len(texts)-limit))
			break
		}
		name := shown(text)
		if quoted {
			name = `"` + name + `"`
		}
		out = append(out, fmt.Sprintf("%s %d", name, counts[text]))
	}
	return strings.Join(out, ", ")
}

// shown is what was heard as it stands in a table.
func shown(text string) string {
	return cmp.Or(strings.ReplaceAll(text, "|", " "), "nothing")
}

// byCount sorts texts, the most counted first.
func byCount(counts map[string]int) []string {
	return slices.SortedFunc(maps.Keys(counts), func(a, b string) int {
		return cmp.Or(cmp.Compare(counts[b], counts[a]), cmp.Compare(a, b))
	})
}

// sum adds counts up.
func sum(counts ...map[string]int) map[string]int {
	all := map[string]int{}
	for _, c := range counts {
		for text, n := range c {
			all[text] += n
		}
	}
	return all
}

// groups are the scores by what they ask for, the best heard first. A reason and an
// answer to the preparation have but one wording and stand together under "".
func (t *table) groups() map[phrase.Command][]*score {
	g := map[phrase.Command][]*score{}
	candidates := map[phrase.Command]bool{}
	for _, w := range t.words {
		if !w.Known {
			candidates[w.For] = true
		}
	}
	for _, s := range t.scores {
		if !candidates[s.For] {
			g[""] = append(g[""], s)
			continue
		}
		g[s.For] = append(g[s.For], s)
	}
	for _, scores := range g {
		slices.SortFunc(scores, func(a, b *score) int {
			pass := func(s *score) int {
				if s.verdict() == "" {
					return 1
				}
				return 0
			}
			return cmp.Or(cmp.Compare(pass(b), pass(a)), cmp.Compare(len(a.harm), len(b.harm)),
				cmp.Compare(b.model[1].right, a.model[1].right), cmp.Compare(b.model[0].right, a.model[0].right),
				cmp.Compare(b.sphinx[1].right, a.sphinx[1].right), cmp.Compare(a.Text, b.Text))
		})
	}
	return g
}

// advice says what the figures speak for among the wordings of one command, which
// are in the order of groups.
func advice(scores []*score) string {
	var keep, weak, instead []string
	for _, s := range scores {
		quoted := `"` + s.Text + `"`
		switch passes := s.verdict() == ""; {
		case s.Known && passes:
			keep = append(keep, quoted)
		case s.Known:
			weak = append(weak, quoted)
		case passes:
			instead = append(instead, quoted)
		}
	}
	var out []string
	if len(keep) > 0 {
		out = append(out, "keep "+strings.Join(keep, ", "))
	}
	if len(weak) > 0 {
		out = append(out, "weak: "+strings.Join(weak, ", "))
	}
	switch {
	case len(instead) > 0:
		out = append(out, "could be taken: "+strings.Join(instead, ", "))
	case len(keep) == 0:
		out = append(out, "no other passes either")
	}
	return strings.Join(out, "; ")
}

// pair is a word and what it was heard as.
type pair struct{ said, heard string }

// confusions counts pairs: by the model and by the second witness, in quiet and in
// noise, and by both at once.
func (t *table) confusions() (pairs []pair, counts map[pair][5]int) {
	counts = map[pair][5]int{}
	for _, s := range t.scores {
		for i, c := range []map[string]int{s.model[0].instead, s.model[1].instead, s.sphinx[0].instead, s.sphinx[1].instead, s.together} {
			for heard, n := range c {
				if heard == "" {
					continue
				}
				p := pair{s.Text, heard}
				row := counts[p]
				row[i] += n
				counts[p] = row
			}
		}
	}
	pairs = slices.SortedFunc(maps.Keys(counts), func(a, b pair) int {
		x, y := counts[a], counts[b]
		return cmp.Or(cmp.Compare(y[4], x[4]), cmp.Compare(y[0]+y[1], x[0]+x[1]),
			cmp.Compare(y[2]+y[3], x[2]+x[3]), cmp.Compare(a.said, b.said), cmp.Compare(a.heard, b.heard))
	})
	return pairs, counts
}

// mostPairs is how many pairs are listed.
const mostPairs = 25

// writeTable writes the report.
func writeTable(out io.Writer, g *phrase.Grammar, words []word, kept []bench.Kept) error {
	t, err := count(g, words, kept)
	if err != nil {
		return err
	}
	groups := t.groups()
	commands := slices.Sorted(maps.Keys(groups))
	commands = append(slices.DeleteFunc(commands, func(c phrase.Command) bool { return c == "" }), "")
	var b strings.Builder
	t.writeHead(&b, kept)
	writeAdvice(&b, groups, commands)
	writeWords(&b, groups, commands)
	t.writePairs(&b)
	t.writeVoices(&b)
	_, err = io.WriteString(out, b.String())
	return err
}

// writeHead writes how the words were heard, and the rule that they are judged by.
func (t *table) writeHead(b *strings.Builder, kept []bench.Kept) {
	voices := 0
	for name := range t.voices {
		if !strings.HasSuffix(name, inTraining) {
			voices++
		}
	}
	n, all := 0, 0 // hearings in noise, of a word and of all
	for _, s := range t.scores {
		n, all = max(n, s.model[1].n), all+s.model[1].n
	}
	fmt.Fprintf(b, `# How surely the command words are heard

Made by `+"`scripts/lab/confusion`"+`; do not edit. Heard with %s.

Each of %d words and phrases was spoken by %d voices that training has not heard (ten,
of which three decided when training stopped, and four made of two of these), all
synthetic, and heard once in quiet and %d times in noise of a site at %d dB. In bold:
what the grammar has (every command that holds no number). The others are the words
that were weighed for commands (`+"`models/adapt/ahead.gram`"+`); they stand under the
command that they would give. "Model" is the adapted model decoding freely, "second" is
pocketsphinx held to all of these words. In use neither is believed alone
(`+"`internal/hear`"+`), and the second is held to what may be said at the moment; what both
make of a phrase is not measured here but in `+"`scripts/lab/bench`"+`.

In %d of %d hearings in noise the model wrote a start that was broken off ("- pause")
before the word; it counts as the word here, but in use such a phrase is taken only
when another witness heard it, too.

**The rule.** A word passes when the model hears it right, in quiet and in noise, at
least %.0f %% of the time, and never as a phrase that stores, confirms or deletes, or as a
figure, unless that asks for the same. What a word would do that was only weighed counts
as if it were taken. Two wordings with one meaning count as the same.

**How far to trust it.** A word right %d times of %d is right at least %.0f %% of the time
(95 %% bound), if all hearings were independent; those in noise are of the same
recordings in other noise, so they are less so. Words that differ by one or two do not
differ by this table, and a word that fails by one may be as good as one that passes.
Training met the older commands more often than the words that were weighed, which
tilts the table towards the former; a phrase that is newer than the training it has
never met.

## What the figures speak for

| command | |
|---|---|
`, strings.Join(kept[0].Run.Notes, ", "), len(t.scores), voices, len(kept)-1, noiseDB, t.broken, all, 100*needed, n, n, 100*bench.AtLeast(n, n))
}

// writeAdvice writes what the figures speak for, command by command.
func writeAdvice(b *strings.Builder, groups map[phrase.Command][]*score, commands []phrase.Command) {
	for _, c := range commands {
		if c != "" {
			fmt.Fprintf(b, "| %s | %s |\n", c, advice(groups[c]))
		}
	}
	var weak []string
	for _, s := range groups[""] {
		if s.Known && s.verdict() != "" {
			weak = append(weak, `"`+s.Text+`"`)
		}
	}
	fmt.Fprintf(b, "| those with one wording | weak: %s |\n", cmp.Or(strings.Join(weak, ", "), "none"))
}

// writeWords writes how each word was heard.
func writeWords(b *strings.Builder, groups map[phrase.Command][]*score, commands []phrase.Command) {
	b.WriteString("\n## Each word\n")
	for _, c := range commands {
		fmt.Fprintf(b, `
### %s

| | model, quiet | noise | second, quiet | noise | the model heard instead | the second heard instead | |
|---|---|---|---|---|---|---|---|
`, cmp.Or(string(c), "Those with one wording"))
		for _, s := range groups[c] {
			name := s.Text
			if s.Known {
				name = "**" + name + "**"
			}
			verdict := "passes"
			if why := s.verdict(); why != "" {
				verdict = "fails: " + why
			}
			fmt.Fprintf(b, "| %s | %s | %s | %s | %s | %s | %s | %s |\n", name, &s.model[0], &s.model[1], &s.sphinx[0], &s.sphinx[1],
				most(sum(s.model[0].instead, s.model[1].instead), 4, false), most(sum(s.sphinx[0].instead, s.sphinx[1].instead), 3, false), verdict)
		}
	}
}

// writePairs writes which words are taken for which.
func (t *table) writePairs(b *strings.Builder) {
	fmt.Fprintf(b, `
## The pairs confused most

One word taken for another, not lost. Those heard wrongly by both witnesses at once
come first: nothing but the place in the conversation speaks against these.

| said | heard | both at once | model, quiet | noise | second, quiet | noise |
|---|---|---|---|---|---|---|
`)
	pairs, counts := t.confusions()
	for _, p := range pairs[:min(mostPairs, len(pairs))] {
		c := counts[p]
		fmt.Fprintf(b, "| %s | %s | %d | %d | %d | %d | %d |\n", p.said, shown(p.heard), c[4], c[0], c[1], c[2], c[3])
	}
}

// writeVoices writes how surely each voice is heard.
func (t *table) writeVoices(b *strings.Builder) {
	b.WriteString("\n## By voice\n\n| | model, quiet | noise |\n|---|---|---|\n")
	for _, name := range slices.Sorted(maps.Keys(t.voices)) {
		v := t.voices[name]
		fmt.Fprintf(b, "| %s | %s | %s |\n", name, &v.quiet, &v.noise)
	}
}
