package phrase

import (
	"bufio"
	"bytes"
	"fmt"
	"io/fs"
	"strings"
)

// Lexicon maps each word of the grammar to its pronunciations, each a list of
// phones of the CMU set. A word without any is pronounced as the recogniser's
// own dictionary says.
type Lexicon map[string][][]string

// phones is the set of the CMU Pronouncing Dictionary, which the acoustic model
// of the second witness was trained on.
const phones = " AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH "

// readLexicon reads lines of the form
//
//	word : PH O N E S / PH O N E S
//
// where the colon and what follows may be left out.
func readLexicon(files fs.FS, name string) (Lexicon, error) {
	src, err := fs.ReadFile(files, name)
	if err != nil {
		return nil, fmt.Errorf("lexicon: %w; put %s beside the grammar", err, name)
	}
	lex := Lexicon{}
	lines := bufio.NewScanner(bytes.NewReader(src))
	for n := 1; lines.Scan(); n++ {
		line, _, _ := strings.Cut(lines.Text(), "#")
		if strings.TrimSpace(line) == "" {
			continue
		}
		w, sounds, _ := strings.Cut(line, ":")
		w = strings.TrimSpace(w)
		if strings.Trim(w, "abcdefghijklmnopqrstuvwxyz'") != "" || w == "" {
			return nil, fmt.Errorf("%s:%d: %q is not a word; begin the line with a lower-case word", name, n, w)
		}
		if _, twice := lex[w]; twice {
			return nil, fmt.Errorf("%s:%d: %q has a line already; keep one", name, n, w)
		}
		lex[w] = nil
		if strings.TrimSpace(sounds) != "" {
			for _, s := range strings.Split(sounds, "/") {
				p := strings.Fields(s)
				if len(p) == 0 {
					return nil, fmt.Errorf("%s:%d: a pronunciation is empty; remove the /", name, n)
				}
				for _, ph := range p {
					if !strings.Contains(phones, " "+ph+" ") {
						return nil, fmt.Errorf("%s:%d: %q is not a phone of the CMU set; use one of%s", name, n, ph, phones)
					}
				}
				lex[w] = append(lex[w], p)
			}
		}
	}
	return lex, lines.Err()
}
