package printable

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"unicode/utf8"
)

// hostile has a character of every kind that must not reach a terminal.
const hostile = "a\x1b[2J\x1b]0;title\x07b\x00\x7f\u009b2J\u202ec\u2066\u2028d\r\ue000\U000e0001\x9b\xff"

func TestText(t *testing.T) {
	const m = "\ufffd"
	want := "a" + m + "[2J" + m + "]0;title" + m + "b" + m + m + m + "2J" + m + "c" + m + m + "d" + m + m + m + m + m
	if got := Text(hostile); got != want {
		t.Errorf("%q", got)
	}
	if got := Text("one\n\ttwo Ω 👩\u200d🔧 né"); got != "one\n\ttwo Ω 👩\u200d🔧 né" {
		t.Errorf("%q", got)
	}
	if got := Line("one\ntwo\tthree\x1b"); got != "one two three"+m {
		t.Errorf("%q", got)
	}
	for s, want := range map[string]bool{"": true, "Way 1, Ω": true, "a\nb": false, "a\tb": false, "a\xffb": false, hostile: false} {
		if IsLine(s) != want {
			t.Errorf("IsLine(%q) is %v", s, !want)
		}
	}
}

// However the text is cut into writes, the same comes out, and nothing hidden.
func TestWriter(t *testing.T) {
	for cut := range len(hostile) {
		var b bytes.Buffer
		w := NewWriter(&b)
		w.Write([]byte(hostile[:cut]))
		w.Write([]byte(hostile[cut:]))
		if err := w.Flush(); err != nil || b.String() != Text(hostile) {
			t.Fatalf("cut at %d: %q, %v", cut, b.String(), err)
		}
	}
	var b bytes.Buffer
	w := NewWriter(&b)
	w.Write([]byte("a;b\r"))
	w.Write([]byte("\nc\r"))
	w.Write([]byte("d\x1b[1mbold\xe2"))
	w.Flush()
	if want := "a;b\r\nc\ufffdd\ufffd[1mbold\ufffd"; b.String() != want {
		t.Errorf("%q", b.String())
	}
	b.Reset()
	w = NewWriter(&b)
	w.AllowStyles()
	w.Write([]byte("\x1b[1mbold\x1b"))
	w.Write([]byte("[0m\x1b[2J\x1b[8m"))
	if want := "\x1b[1mbold\x1b[0m\ufffd[2J\ufffd[8m"; b.String() != want {
		t.Errorf("%q", b.String())
	}
}

// JSON stays JSON, with the same texts in it.
func TestJSON(t *testing.T) {
	said, _ := strings.CutSuffix(hostile, "\x9b\xff")
	var b bytes.Buffer
	enc := json.NewEncoder(JSON(&b))
	enc.SetEscapeHTML(false)
	if err := enc.Encode(map[string]string{said: said}); err != nil {
		t.Fatal(err)
	}
	if !IsLine(strings.TrimSuffix(b.String(), "\n")) {
		t.Errorf("%q", b.String())
	}
	var back map[string]string
	if err := json.Unmarshal(b.Bytes(), &back); err != nil || back[said] != said {
		t.Errorf("%q, %v", back, err)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("full") }

func TestWriterRemembersItsError(t *testing.T) {
	w := NewWriter(full{})
	w.Write([]byte("a"))
	if w.Err() == nil || w.Flush() == nil {
		t.Error("it forgot")
	}
	if n, err := w.Write([]byte("b")); n != 0 || err == nil {
		t.Error("it went on")
	}
}

// Whatever is written in whatever pieces: nothing hidden comes out, and what is
// visible all does.
func FuzzWriter(f *testing.F) {
	f.Add([]byte(hostile), uint8(3), false)
	f.Add([]byte("a\r\nb\x1b[1m\xe2\x80"), uint8(1), true)
	f.Fuzz(func(t *testing.T, text []byte, step uint8, asJSON bool) {
		var b bytes.Buffer
		w := NewWriter(&b)
		if asJSON {
			w = JSON(&b)
		}
		for rest := text; len(rest) > 0; {
			n := min(int(step)+1, len(rest))
			w.Write(rest[:n])
			rest = rest[n:]
		}
		w.Flush()
		if !utf8.Valid(b.Bytes()) || strings.ContainsFunc(strings.ReplaceAll(b.String(), "\r\n", "\n"), func(r rune) bool { return r != '\n' && r != '\t' && Hidden(r) }) {
			t.Errorf("%q became %q", text, b.String())
		}
		if !asJSON && strings.ReplaceAll(b.String(), "\r\n", "\n") != Text(strings.ReplaceAll(string(text), "\r\n", "\n")) {
			t.Errorf("%q became %q", text, b.String())
		}
	})
}

func TestWordsAndCut(t *testing.T) {
	if got := Words(" one\r\n\v two\u2028\u0085three\u202e "); got != "one two three\ufffd" {
		t.Errorf("%q", got)
	}
	for s, want := range map[string]string{"": "", "äöüß": "äöüß", "äöüßé": "ä...", "\xff\xff\xff\xff": "\xff\xff\xff\xff"} {
		if got := Cut(s, 4); got != want {
			t.Errorf("Cut(%q) is %q, want %q", s, got, want)
		}
	}
}

func TestFirstHidden(t *testing.T) {
	for _, c := range []struct {
		file         string
		r            rune
		line, column int
	}{
		{"", 0, 0, 0},
		{"\ufeffway: 1\r\n\tfeeds: né\u200d\n", 0, 0, 0},
		{"a\ufeff", '\ufeff', 1, 2},
		{"one\nné\x00", 0, 2, 3},
		{"one\n\n# \u202e", '\u202e', 3, 3},
		{"\uffff", '\uffff', 1, 1},
	} {
		if r, line, column := FirstHidden(c.file); r != c.r || line != c.line || column != c.column {
			t.Errorf("%q: %U at %d:%d, want %U at %d:%d", c.file, r, line, column, c.r, c.line, c.column)
		}
	}
}
