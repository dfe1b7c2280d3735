package talk

import (
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"waycall/internal/phrase"
	"waycall/internal/record"
)

// asksFor reports whether what was said tells what could be said now: it names a phrase,
// asks, or reminds of what is waited for.
func asksFor(said string, states ...State) bool {
	if strings.Contains(said, "?") || saysHow.MatchString(said) {
		return true
	}
	for _, s := range states {
		t := &turn{s: s}
		t.remind()
		for _, waited := range t.words {
			if strings.Contains(said, waited) {
				return true
			}
		}
	}
	return false
}

var saysHow = regexp.MustCompile(`\b[Ss]ay\b`)

// beside are the commands that are answered and refuse nothing.
var beside = map[phrase.Command]bool{
	phrase.ReadBack: true, phrase.WhatsLeft: true, phrase.Slower: true, phrase.Faster: true, phrase.Brief: true, phrase.InFull: true, phrase.Pause: true,
	phrase.SayAgain: true, phrase.SayAgainSlow: true, phrase.WhatsNext: true, phrase.WhatCanISay: true,
}

// Whatever is refused, wherever the conversation is, the answer tells what could be said
// now, so that nobody stands there and guesses: at every place of two jobs, whatever the
// grammar has and the board has not.
func TestRefusalsTellTheWayOut(t *testing.T) {
	seen := map[string]bool{}
	for n, job := range smallJobs(t) {
		phrases := spokenAt(t, job, 200)
		rng := rand.New(rand.NewPCG(20, uint64(n)))
		k := newTalkerOf(t, job, record.Each)
		try := func(state State) {
			for range 12 {
				m := phrases[rng.IntN(len(phrases))]
				heard := Heard{At: k.at, Meaning: m, Phrase: record.Phrase{Agreed: true}}
				events := []Event{heard, Beyond{k.at, m}}
				if state.Record.Paused {
					events = nil
				}
				for i, e := range events {
					if i == 0 && beside[m.Command] {
						continue
					}
					next, effects, err := step(state, e)
					if err != nil {
						t.Fatalf("%+v: %v", m, err)
					}
					said, refused := "", true
					for _, f := range effects {
						switch f := f.(type) {
						case Say:
							said = f.Text
						case Append:
							refused = refused && (f.Event.Kind == record.Heard || f.Event.Kind == record.Said)
						}
					}
					if key := strings.Join(strings.Fields(said)[:min(5, len(strings.Fields(said)))], " "); refused && !asksFor(said, state, next) && !seen[key] {
						seen[key] = true
						t.Errorf("%+v (%T) is answered %q, and nobody knows what to say", m, e, said)
					}
				}
			}
		}
		after := func(m phrase.Meaning) State {
			next, _, err := step(k.state, Heard{At: k.at, Meaning: m, Phrase: record.Phrase{Agreed: true}})
			if err != nil {
				t.Fatal(err)
			}
			return next
		}
		for {
			m, more := k.willing()
			try(k.state)
			if !more {
				break
			}
			if k.state.Record.Pending == nil {
				try(after(phrase.Meaning{Command: phrase.Skip}))
				try(after(phrase.Meaning{Command: phrase.Limitation}))
				two := Heard{At: k.at, Meaning: m, Candidates: []phrase.Meaning{meaning("", 0, "", "0.4", "", ""), meaning("", 0, "", "0.5", "", "")}}
				if next, _, err := step(k.state, two); err == nil && next.offer != nil {
					try(next)
				}
			}
			k.phrase(m)
		}
	}
}
