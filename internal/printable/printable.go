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
// stands: controls, ends of lines, what turns the direction of writing,
// characters for private use and codes that are no characters. The joiners that some scripts and emoji need are none.
func Hidden(r rune) bool {
	switch {
	case r == '\u200c' || r == '\u200d':
		return false
	case unicode.IsControl(r), unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Co, unicode.Cs, unicode.Noncharacter_Code_Point):
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

// Line is Text for one line: what ends a line, and tabs, become blanks.
func Line(s string) string {
	return Text(strings.Map(func(r rune) rune {
		if strings.ContainsRune("\n\r\t\v\f\u0085\u2028\u2029", r) {
			return ' '
		}
		return r
	}, s))
}

// Words is Line with one blank between words and none at the ends.
func Words(s string) string { return strings.Join(strings.Fields(Line(s)), " ") }

// Cut returns s in at most most characters, and most is at least 3: where some are left
// out, three dots are the last of them.
func Cut(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-3]) + "..."
	}
	return s
}

// FirstHidden returns the first character of a file that is hidden and where it stands,
// line and column counted from 1, the column in characters. Ends of lines, tabs, and the
// mark that some programs begin a file with (U+FEFF) are none. Where there is no such
// character the line is 0.
func FirstHidden(file string) (c rune, line, column int) {
	line = 1
	for i, r := range file {
		column++
		switch {
		case r == '\n':
			line, column = line+1, 0
		case r == '\r', r == '\t', r == '\ufeff' && i == 0:
		case Hidden(r):
			return r, line, column
		}
	}
	return 0, 0, 0
}
