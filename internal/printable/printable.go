// Package printable keeps what is printed harmless. A name in a record, a file or a
// page can hold characters that are not seen but change what is seen: ESC begins a
// command to the terminal, BEL rings, U+202E turns the order of letters round. What
// those are is said here, once, for what comes in and for what goes out.
package printable

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Hidden reports whether r cannot be seen, but changes what is seen or where it
// stands: controls, ends of lines, what turns the direction of writing, and
// characters for private use. The joiners that some scripts and emoji need are none.
func Hidden(r rune) bool {
	switch {
	case r == '\u200c' || r == '\u200d':
		return false
	case unicode.IsControl(r), unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Co, unicode.Cs):
		return true
	}
	return false
}

// IsLine reports whether s is one line of text without anything hidden.
func IsLine(s string) bool { return utf8.ValidString(s) && !strings.ContainsFunc(s, Hidden) }

// Text returns s with a mark, U+FFFD, for every byte that is no text and every hidden
// character but line feed and tab.
func Text(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && r != '\t' && Hidden(r) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// Line is Text for one line: line feeds and tabs become blanks.
func Line(s string) string {
	return Text(strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return ' '
		}
		return r
	}, s))
}
