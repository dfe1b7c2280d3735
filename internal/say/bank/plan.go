package bank

// This file divides a text into the phrases of the bank and what another voice says.

import (
	"strconv"
	"strings"
	"unicode"

	"waycall/internal/reading"
)

// mark is what stands after a word: it says how the melody goes on.
type mark byte

const (
	none  mark = 0
	comma mark = ','
	stop  mark = '.'
	asks  mark = '?'
)

// ends reports whether a sentence ends with it.
func (m mark) ends() bool { return m == stop || m == asks }

// word is one word of a text.
type word struct {
	text string // small letters, no mark
	mark mark
	said string // as it stood, for another voice; "" where the word before has it
}

// cut divides a text as say.Words gives it into words. Whole numbers become words.
func cut(text string) []word {
	var all []word
	for _, f := range strings.Fields(text) {
		bare := strings.TrimRight(f, ".,?!:;")
		m := none
		for _, r := range f[len(bare):] {
			switch {
			case r == '?':
				m = asks
			case strings.ContainsRune(".!", r) && m != asks:
				m = stop
			case m == none:
				m = comma
			}
		}
		bare = strings.ReplaceAll(strings.ToLower(bare), "’", "'")
		if bare == "" {
			continue // a mark alone, which say.Words leaves nowhere
		}
		said := f
		for _, w := range strings.Fields(inWords(bare)) {
			all = append(all, word{text: w, said: said})
			said = ""
		}
		all[len(all)-1].mark = m
	}
	return all
}

// inWords is a whole number in words; anything else comes back as it is.
func inWords(s string) string {
	if n, err := strconv.Atoi(s); err == nil && strconv.Itoa(n) == s {
		return reading.Cardinal(n)
	}
	return s
}

// figures are the words that numbers are made of.
var figures = func() map[string]bool {
	all := map[string]bool{"point": true}
	for n := range 100 {
		for _, w := range strings.Fields(reading.Cardinal(n)) {
			all[w] = true
		}
	}
	for _, w := range strings.Fields(reading.Cardinal(1100)) {
		all[w] = true
	}
	return all
}()

// figure reports whether a word is of a number, or has one in it.
func figure(w string) bool {
	return figures[w] || strings.ContainsFunc(w, unicode.IsDigit)
}

// part is something to be said in one go: a phrase of the bank, or else a text for
// another voice.
type part struct {
	key   string // of the phrase; "" where the text is said
	text  string
	after mark // what stands after it
}

// plan returns how the bank says a text. A sentence is said by phrases; in one for which
// they do not suffice, a clause is said by another voice, and the whole sentence where
// that clause has a figure: no figure is in two voices.
func (s *store) plan(text string) []part {
	var all []part
	for _, sentence := range split(cut(text), mark.ends) {
		all = append(all, s.sentence(sentence)...)
	}
	return all
}

func (s *store) sentence(words []word) []part {
	if all, ok := s.cover(words); ok {
		return all
	}
	var all []part
	for _, clause := range split(words, func(m mark) bool { return m != none }) {
		phrases, ok := s.cover(clause)
		if ok {
			all = append(all, phrases...)
			continue
		}
		for _, w := range clause {
			if figure(w.text) {
				return []part{other(words)}
			}
		}
		if n := len(all); n > 0 && all[n-1].key == "" {
			all[n-1].text += " " + other(clause).text
			all[n-1].after = other(clause).after
			continue
		}
		all = append(all, other(clause))
	}
	return all
}

// other is words for another voice.
func other(words []word) part {
	var said []string
	for _, w := range words {
		if w.said != "" {
			said = append(said, w.said)
		}
	}
	return part{text: strings.Join(said, " "), after: words[len(words)-1].mark}
}

// split divides words after each whose mark is so.
func split(words []word, after func(mark) bool) [][]word {
	var all [][]word
	from := 0
	for i, w := range words {
		if after(w.mark) || i == len(words)-1 {
			all = append(all, words[from:i+1])
			from = i + 1
		}
	}
	return all
}

// What a phrase costs: few and long ones sound best, and of the right melody.
const (
	joinCost   = 10
	likeCost   = 1 // "way two" for "way two,": both go on
	unlikeCost = 4 // one that goes on where the sentence ends, or the reverse
)

// melodies are the marks to look for, best first, with what they cost.
func melodies(m mark) [4]struct {
	mark mark
	cost int
} {
	type row = struct {
		mark mark
		cost int
	}
	switch m {
	case comma:
		return [4]row{{comma, 0}, {none, likeCost}, {stop, unlikeCost}, {asks, 2 * unlikeCost}}
	case stop:
		return [4]row{{stop, 0}, {comma, unlikeCost}, {none, unlikeCost}, {asks, 2 * unlikeCost}}
	case asks:
		return [4]row{{asks, 0}, {comma, unlikeCost}, {none, unlikeCost}, {stop, 2 * unlikeCost}}
	}
	return [4]row{{none, 0}, {comma, likeCost}, {stop, unlikeCost}, {asks, 2 * unlikeCost}}
}

// cover returns the phrases that say these words at the least cost, and whether there
// are any.
func (s *store) cover(words []word) ([]part, bool) {
	type step struct {
		cost int
		from int
		part part
	}
	best := make([]*step, len(words)+1)
	best[0] = &step{}
	for i := range words {
		if best[i] == nil {
			continue
		}
		for j := i + 1; j <= min(len(words), i+s.longest); j++ {
			last := words[j-1].mark
			for _, m := range melodies(last) {
				k := key(words[i:j], m.mark)
				if s.clips[k] == nil {
					continue
				}
				if cost := best[i].cost + joinCost + m.cost; best[j] == nil || cost < best[j].cost {
					best[j] = &step{cost, i, part{key: k, after: last}}
				}
				break
			}
		}
	}
	if best[len(words)] == nil {
		return nil, false
	}
	var all []part
	for at := len(words); at > 0; at = best[at].from {
		all = append(all, best[at].part)
	}
	for i, j := 0, len(all)-1; i < j; i, j = i+1, j-1 {
		all[i], all[j] = all[j], all[i]
	}
	return all, true
}
