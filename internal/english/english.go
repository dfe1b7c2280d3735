// Package english has the small words of sentences: how one begins and ends, and a noun
// with its number. It knows letters, not bytes, so that a name in any alphabet keeps its
// first letter whole.
package english

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Capital returns s as a sentence begins: with its first letter as a capital.
func Capital(s string) string { return first(s, unicode.ToTitle) }

// Lower returns s as it goes on in a sentence: with its first letter as a small one.
func Lower(s string) string { return first(s, unicode.ToLower) }

func first(s string, as func(rune) rune) string {
	r, n := utf8.DecodeRuneInString(s)
	if r == utf8.RuneError {
		return s
	}
	return string(as(r)) + s[n:]
}

// Sentence returns s with a capital and a full stop, unless it ends as a sentence
// already; of nothing it is "".
func Sentence(s string) string {
	s = Capital(strings.TrimSpace(s))
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".?!") {
		return s
	}
	return s + "."
}

// Plural returns the word for n things.
func Plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// Count returns n things in figures: "1 test", "3 tests", "0 tests".
func Count(n int, noun string) string { return strconv.Itoa(n) + " " + Plural(n, noun, noun+"s") }

// List returns items as in a sentence: "a", "a and b", "a, b and c".
func List(items []string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	return strings.Join(items[:len(items)-1], ", ") + " and " + items[len(items)-1]
}

// Distance is the least number of bytes to put in, leave out or exchange to make a out
// of b (Levenshtein).
func Distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		last := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := last
			if a[i] != b[j] {
				cost = 1 + min(last, row[j], row[j+1])
			}
			last, row[j+1] = row[j+1], cost
		}
	}
	return row[len(b)]
}
