package hear

import (
	"maps"
	"slices"
	"strings"

	"waycall/internal/phrase"
	"waycall/internal/reading"
)

// figures is what the fusion knows of the words of figures: which are easily misheard,
// and what is left of them when noise swallows their end. The words are the grammar's;
// what sounds like what is said here.
type figures struct {
	// alike are words that differ by their ends alone: "thirteen" and "thirty"; "four oh" is
	// forty and "four ohm" is four.
	alike map[string]string
	// longer are the figures that a figure begins, or nearly: what is left of them when
	// noise swallows the end, "four" of "fourteen" and "forty".
	longer map[string][]string
	units  map[string]bool        // words that may follow a figure
	tails  []string               // words that go on with a figure and make another of it
	digits map[string]int         // words for one digit
	begins func(word string) bool // whether a figure may begin with the word
}

// soundsAlike are a digit and a unit that differ by their ends alone. The grammar must
// have both, or neither.
var soundsAlike = [2]string{"oh", "ohm"}

// answerAlike are an answer and a figure that differ by their ends alone. As above. Of 70
// times that people said "no", two were taken for the figure.
var answerAlike = [2]string{"no", "nought"}

// figuresOf finds the words of figures in a grammar.
func figuresOf(g *phrase.Grammar) figures {
	from := g.Figures()
	f := figures{alike: map[string]string{}, longer: map[string][]string{}, units: map[string]bool{}}
	for _, u := range from.Units {
		f.units[u] = true
	}
	f.digits = from.Digits
	f.begins = func(w string) bool {
		return slices.ContainsFunc([]string{w, w + " nine", w + " hundred", w + " point nine"}, func(text string) bool {
			m, ok := g.Meaning(text)
			return ok && m.Command == "" && m.Way == 0 && m.Test == "" && m.Quantity.Bound == reading.Exactly
		})
	}
	f.tails = append(slices.Sorted(maps.Keys(from.Digits)), from.Scales...)
	pair := func(a, b string) { f.alike[a], f.alike[b] = b, a }
	if a, b := soundsAlike[0], soundsAlike[1]; f.units[b] {
		pair(a, b)
	}
	lexicon := g.Lexicon()
	_, answer := lexicon[answerAlike[0]]
	if _, nought := lexicon[answerAlike[1]]; answer && nought {
		pair(answerAlike[0], answerAlike[1])
	}
	// From thirteen and thirty on they begin with the digit; eleven, twelve and twenty do
	// not sound like one, two or each other.
	for n := 3; n <= 9; n++ {
		digit, teen, ty := from.Numbers[n], from.Numbers[10+n], from.Numbers[10*n]
		if digit == "" || teen == "" || ty == "" {
			continue // not a grammar with such numbers
		}
		pair(teen, ty)
		f.longer[digit] = []string{teen, ty}
	}
	return f
}

// neighbours returns the phrases that differ from text in one word that is easily
// misheard.
func (f *figures) neighbours(text string) (all []string) {
	words := strings.Fields(text)
	for i, w := range words {
		if other, ok := f.alike[w]; ok {
			words[i] = other
			all = append(all, strings.Join(words, " "))
			words[i] = w
		}
	}
	return all
}

// splitUnit parts text into its words and the unit that they end with, if any.
func (f *figures) splitUnit(text string) (words []string, unit string) {
	words = strings.Fields(text)
	if i := len(words) - 1; i > 0 && f.units[words[i]] {
		return words[:i], words[i]
	}
	return words, ""
}

// swallowed returns the phrases of which text is left when the figure at its end loses
// its own end.
func (f *figures) swallowed(text string) (all []string) {
	words, unit := f.splitUnit(text)
	i := len(words) - 1
	if i < 0 {
		return nil
	}
	for _, w := range f.longer[words[i]] {
		words[i] = w
		all = append(all, strings.TrimSpace(strings.Join(words, " ")+" "+unit))
	}
	return all
}

// oneMore reports whether longer is shorter with one more of a digit that is said twice or
// more on end: "nine nine nine" of "nine nine".
func (f *figures) oneMore(shorter, longer string) bool {
	a, b := strings.Fields(shorter), strings.Fields(longer)
	if len(b) != len(a)+1 {
		return false
	}
	for i := 1; i < len(a); i++ {
		if _, digit := f.digits[a[i]]; digit && a[i] == a[i-1] && slices.Equal(slices.Insert(slices.Clone(a), i, a[i]), b) {
			return true
		}
	}
	return false
}
