// Package grammar carries the files that say what may be said: the JSGF
// grammar (*.gram) and the lexicon. Package phrase reads them; README.md in
// this folder tells how to add a phrase.
package grammar

import "embed"

// Files holds the grammar and the lexicon.
//
//go:embed *.gram lexicon.txt
var Files embed.FS
