package main

import (
	"slices"

	"waycall/internal/board"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

func scopeOf(job *board.Job) phrase.Scope { return phrase.Scope{} }

func contains(tests []reading.Test, t reading.Test) bool { return slices.Contains(tests, t) }
