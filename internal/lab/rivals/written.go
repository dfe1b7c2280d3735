package rivals

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"waycall/internal/english"
	"waycall/internal/phrase"
)

// understand returns what a whisper's writing means, with the words it was read
// as. It tries the figures as they stand, and then run together ("26 1" as 261).
func understand(g *phrase.Grammar, text string) (words string, m phrase.Meaning, ok bool) {
	for _, join := range []bool{false, true} {
		w := spoken(text, join, g.Lexicon())
		if words == "" {
			words = w
		}
		if m, ok := g.Meaning(w); ok && w != "" {
			return w, m, true
		}
	}
	return words, phrase.Meaning{}, false
}

var (
	aside = regexp.MustCompile(`\[[^\]]*\]|\([^)]*\)|\*[^*]*\*`) // "[BLANK_AUDIO]", "(beeping)"
	piece = regexp.MustCompile(`\d+(?:,\d{3})+(?:\.\d+)?|\d*\.\d+|\d+|[a-zω']+|[<>≤≥+&]`)
	group = regexp.MustCompile(`(\d) (\d)`)
)

// spellings are ways in which the whispers write words of the trade, and what
// was said. They are read word by word.
var spellings = map[string]string{
	">": "greater than", "≥": "greater than", "<": "less than", "≤": "less than", "+": "plus", "&": "and",
	"ω": "ohms", "ohm": "ohms", "ohm's": "ohms", "homes": "ohms", "oms": "ohms", "ums": "ohms",
	"mω": "megohms", "mohm": "megohms", "mohms": "megohms", "milliohms": "megohms",
	"ms": "milliseconds", "msec": "milliseconds", "ka": "kiloamps", "kilowamps": "kiloamps",
	"rn": "r n", "rcd": "r c d", "ze": "zed e", "zs": "zed s", "zee": "zed", "z": "zed", "said": "zed", "zedi": "zed e", "zeddy": "zed e",
	"x": "times", "overrange": "over range", "st": "", "nd": "", "th": "",
	"naught": "nought", "nort": "nought", "nawt": "nought", "knot": "nought", "not": "not",
	"weigh": "way", "whey": "way", "wei": "way", "waye": "way",
	"too": "two", "for": "four", "fore": "four", "won": "one", "ate": "eight", "o": "oh",
	"know": "no", "whats": "what's", "thats": "that's", "paws": "pause", "their": "the",
	"leeds": "leads", "prove": "proved", "looked": "locked",
}

// phrasings are the same for several words. Each stands between blanks.
var phrasings = []string{
	"mega ohms", "megohms", "meg ohms", "megohms", "m ohms", "megohms",
	"milli seconds", "milliseconds", "kilo amps", "kiloamps", "k a", "kiloamps",
	"live in neutral", "live and neutral", "line in neutral", "line and neutral",
	"our one", "r one", "our two", "r two", "are one", "r one", "are two", "r two", "our n", "r n", "are n", "r n",
	"zed as", "zed s", "zed ass", "zed s", "zed yes", "zed s",
	"we're", "way", "not point", "nought point", "one first", "first", "the one", "the first", "the two", "the second",
	"one x", "one times", "times one", "one times", "times five", "five times",
}

// spoken turns writing into words as the grammar spells them: figures into
// numbers, symbols into words, sentences into one run without punctuation, and a
// near miss of a long word into the word. With join, neighbouring figures are one
// number.
func spoken(text string, join bool, lex phrase.Lexicon) string {
	text = strings.ToLower(strings.NewReplacer("’", "'", "Ω", "ω", "Ω", "ω").Replace(text))
	text = aside.ReplaceAllString(text, " ")
	if join {
		text = strings.NewReplacer(",", " ", "-", " ", "/", " ").Replace(text)
		for range 4 { // a match takes both its figures, so a run takes several rounds
			text = group.ReplaceAllString(strings.Join(strings.Fields(text), " "), "$1$2")
		}
	}
	var words []string
	after := func(w string) bool { return len(words) > 0 && words[len(words)-1] == w }
	for _, p := range piece.FindAllString(text, -1) {
		switch {
		case p[0] == '.' || p[0] >= '0' && p[0] <= '9':
			words = append(words, number(strings.ReplaceAll(p, ",", ""), after("point"))...)
		case strings.HasPrefix(p, "meg"): // "megums", "megaohms", "mega homes"
			words = append(words, "megohms")
		case (p == "ohms" || p == "homes" || p == "ums" || p == "oms") && after("megohms"):
		default:
			p = strings.Trim(p, "'")
			if w, known := spellings[p]; known {
				p = w
			} else if _, known := lex[p]; !known {
				p = nearest(p, lex)
			}
			words = append(words, strings.Fields(p)...)
		}
	}
	for i, w := range words { // "to" is a number but in a pair of conductors
		if w == "to" && (i+1 == len(words) || !slices.Contains([]string{"earth", "neutral", "line", "live"}, words[i+1])) {
			words[i] = "two"
		}
		if w == "we" && i+1 < len(words) {
			words[i] = "way"
		}
	}
	s := " " + strings.Join(words, " ") + " "
	for i := 0; i < len(phrasings); i += 2 {
		s = strings.ReplaceAll(s, " "+phrasings[i]+" ", " "+phrasings[i+1]+" ")
	}
	return strings.TrimSpace(s)
}

var (
	units = strings.Fields("nought one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens  = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
)

// number spells a number: whole as a cardinal where it can be one, and figure by
// figure behind a point, with a leading nought, or beyond 9999.
func number(s string, behindPoint bool) []string {
	whole, places, decimal := strings.Cut(s, ".")
	var words []string
	n, err := strconv.Atoi(whole)
	switch {
	case whole == "": // ".47"
	case behindPoint || err != nil || n > 9999 || whole[0] == '0' && len(whole) > 1:
		words = figures(whole)
	default:
		words = cardinal(n)
	}
	if decimal {
		words = append(append(words, "point"), figures(places)...)
	}
	return words
}

func figures(s string) []string {
	var words []string
	for _, c := range s {
		words = append(words, units[c-'0'])
	}
	return words
}

// cardinal spells 0 to 9999 as said in Britain.
func cardinal(n int) []string {
	switch {
	case n < 20:
		return []string{units[n]}
	case n < 100:
		if n%10 == 0 {
			return []string{tens[n/10]}
		}
		return []string{tens[n/10], units[n%10]}
	}
	big, name := 100, "hundred"
	if n >= 1000 {
		big, name = 1000, "thousand"
	}
	words := []string{units[n/big], name}
	if rest := n % big; rest >= 100 {
		words = append(words, cardinal(rest)...)
	} else if rest > 0 {
		words = append(append(words, "and"), cardinal(rest)...)
	}
	return words
}

// nearest returns the word of the lexicon that differs from w in the fewest
// letters, one in every four of w at most, else w itself. Short words are left
// alone: too many lie close to another.
func nearest(w string, lex phrase.Lexicon) string {
	best, least := w, len(w)/4+1
	if len(w) < 4 {
		return w
	}
	for _, c := range sortedWords(lex) {
		if d := english.Distance(w, c); d < least {
			best, least = c, d
		}
	}
	return best
}

func sortedWords(lex phrase.Lexicon) []string {
	words := make([]string, 0, len(lex))
	for w := range lex {
		words = append(words, w)
	}
	slices.Sort(words)
	return words
}
