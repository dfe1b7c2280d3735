// Package grammar carries the files that say what may be said: the JSGF
// grammar (*.gram) and the lexicon. Package phrase reads them; README.md in
// this folder tells how to add a phrase.
package grammar

import "embed"

// Files holds the grammars and the lexicons.
//
//go:embed *.gram *.txt
var Files embed.FS
