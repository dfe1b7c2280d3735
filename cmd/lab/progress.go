package main

import (
	"fmt"
	"os"

	"golang.org/x/term"
)

// progress shows how far long work has come, on standard error and only where
// somebody is looking.
type progress struct {
	what     string
	n, total int
	shown    bool
}

func newProgress(what string, total int) *progress {
	return &progress{what: what, total: total, shown: term.IsTerminal(int(os.Stderr.Fd()))}
}

func (p *progress) step() {
	p.n++
	if p.shown {
		fmt.Fprintf(os.Stderr, "\r%d of %d %s", p.n, p.total, p.what)
	}
}

func (p *progress) done() {
	if p.shown {
		fmt.Fprint(os.Stderr, "\r\x1b[K")
	}
}
