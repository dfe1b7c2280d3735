package printable

import (
	"bytes"
	"fmt"
	"io"
	"sync"
	"unicode/utf8"
)

// Writer passes text on and leaves out of it what Text does; line ends of CR LF stay.
// It remembers the first error, so that who prints need not ask after every line. It
// may be used by several goroutines.
type Writer struct {
	to     io.Writer
	mu     sync.Mutex
	styles bool // the program's own styles pass, see Styled
	asJSON bool
	rest   []byte // the beginning of something that the next Write may complete
	err    error
}

// NewWriter returns a Writer to w.
func NewWriter(w io.Writer) *Writer { return &Writer{to: w} }

// JSON returns a Writer for JSON: what is hidden in its texts is written as JSON has
// it, as \u202e, and is the same text to who reads the JSON.
func JSON(w io.Writer) *Writer { return &Writer{to: w, asJSON: true} }

// Under returns what w writes to.
func (w *Writer) Under() io.Writer { return w.to }

// Err returns the first error of w.
func (w *Writer) Err() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.err
}

// AllowStyles lets through the few commands to a terminal for bold, dim and coloured
// letters that the program itself gives. Texts that it prints in them must have gone
// through Text before.
func (w *Writer) AllowStyles() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.styles = true
}

// styles are what AllowStyles lets through.
var styles = [][]byte{[]byte("\x1b[0m"), []byte("\x1b[1m"), []byte("\x1b[2m"), []byte("\x1b[31m"), []byte("\x1b[33m")}

// Write writes p but for what is hidden in it.
func (w *Writer) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.err != nil {
		return 0, w.err
	}
	text := append(w.rest, p...)
	out, rest := w.clean(text)
	w.rest = bytes.Clone(rest)
	if _, w.err = w.to.Write(out); w.err != nil {
		return 0, w.err
	}
	return len(p), nil
}

// Flush writes what waited for its other half, as what it is without it.
func (w *Writer) Flush() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.err == nil && len(w.rest) > 0 {
		_, w.err = w.to.Write(bytes.Repeat([]byte("\ufffd"), len(w.rest)))
		w.rest = nil
	}
	return w.err
}

// clean returns text as it may be printed, and what of its end is to be seen together
// with what follows.
func (w *Writer) clean(text []byte) (out, rest []byte) {
	out = make([]byte, 0, len(text))
	for len(text) > 0 {
		if text[0] == '\r' || text[0] == 0x1b && w.styles {
			n, whole := w.allowed(text)
			if !whole {
				return out, text
			}
			if n > 0 {
				out, text = append(out, text[:n]...), text[n:]
				continue
			}
		}
		if !utf8.FullRune(text) {
			return out, text
		}
		r, n := utf8.DecodeRune(text)
		switch {
		case r == utf8.RuneError && n == 1:
			out = utf8.AppendRune(out, utf8.RuneError)
		case r == '\n' || r == '\t' || !Hidden(r):
			out = append(out, text[:n]...)
		case !w.asJSON:
			out = utf8.AppendRune(out, utf8.RuneError)
		case r > 0xffff:
			out = fmt.Appendf(out, `\u%04x\u%04x`, 0xd800+(r-0x10000)>>10, 0xdc00+(r-0x10000)&0x3ff)
		default:
			out = fmt.Appendf(out, `\u%04x`, r)
		}
		text = text[n:]
	}
	return out, nil
}

// allowed returns the length of what may stand at the beginning of text although it
// is hidden, 0 for nothing. It is not whole when only more of the text can tell.
func (w *Writer) allowed(text []byte) (n int, whole bool) {
	for _, s := range append([][]byte{[]byte("\r\n")}, styles...) {
		if bytes.HasPrefix(text, s) {
			return len(s), true
		}
		if bytes.HasPrefix(s, text) {
			return 0, false
		}
	}
	return 0, true
}
