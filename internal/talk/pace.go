package talk

import (
	"waycall/internal/phrase"
	"waycall/internal/record"
)

// form is how much is said.
type form int

const (
	shortening form = iota // each prompt in full three times, then briefly
	inBrief
	inFull
)

// Prompts is how much is said, as it is chosen before a session; "keep it brief" and "in
// full please" change it, for the sessions of the same tester that follow, too.
type Prompts string

// How much is said.
const (
	Usual Prompts = "usual" // in full three times, then briefly; so is ""
	Brief Prompts = "brief"
	Full  Prompts = "full"
)

// The prompts that shorten themselves.
const (
	readPrompt   = iota // a reading read back
	storedPrompt        // that a reading was stored
	notedPrompt         // that a step was answered
	testPrompt          // a test announced on another way
	offerPrompt         // how one of two is chosen
	whyPrompt           // how a reason is given
	prompts
)

// short reports whether a prompt is said briefly, and counts how often it was not.
func (t *turn) short(prompt int) bool {
	switch {
	case t.s.form != shortening:
		return t.s.form == inBrief
	case t.s.times[prompt] == 3:
		return true
	}
	t.s.times[prompt]++
	return false
}

// formOf is how much is said in a session from the first on: what was asked for by voice
// in one before, unless the session was begun with something else.
func formOf(e Begin, said record.Manner) form {
	switch {
	case e.Insists || said.Words == "":
		return map[Prompts]form{Brief: inBrief, Full: inFull}[e.Prompts]
	case said.Words == record.Brief:
		return inBrief
	}
	return inFull
}

// wording takes "keep it brief" and "in full please".
func (t *turn) wording(c phrase.Command) {
	t.passing = true
	if t.s.form = inFull; c == phrase.Brief {
		t.s.form = inBrief
		t.say("Brief.")
	} else {
		t.say("In full.")
	}
	t.remindPending()
}

// Tone is a short sound to be played, an effect. It is heard sooner than words.
type Tone string

// The tones. Listening is the last effect of a step after which a phrase is
// waited for.
const (
	Listening Tone = "listening"
	Stored    Tone = "stored"         // something is in the record now
	Passed    Tone = "pass"           // the figure read back briefly passes
	NotCaught Tone = "not understood" // something was said for us that has no meaning
)

func (Tone) effect() {}

// rate is how fast this turn is spoken. Who keeps it brief is in a hurry, and what is
// read back briefly is known by its third time, unless slower speech was asked for.
func (t *turn) rate() int {
	asked := t.s.Record.Manner.Pace
	switch {
	case t.slow:
		return record.Slowest
	case t.s.form == inBrief || t.brisk && asked >= 0:
		return min(asked+1, record.Fastest)
	}
	return asked
}

// speed answers "slower" and "faster". The phrase itself has changed the pace, in the
// record, so that it outlives the session.
func (t *turn) speed(c phrase.Command) {
	word, end := "Faster.", "That is the fastest."
	if c == phrase.Slower {
		word, end = "Slower.", "That is the slowest."
	}
	if t.s.Record.Manner.Pace == t.paced {
		word = end
	}
	t.passing = true
	t.say(word)
	t.remindPending()
}

// again repeats what was said last.
func (t *turn) again(slowly bool) {
	t.slow = slowly
	if t.s.last == "" {
		t.prompt()
		return
	}
	t.asksWhole = true
	t.say(t.s.last)
}

// notUnderstood answers the first phrase that was not caught with a tone alone: it
// is mostly said again at once. After that it helps to hear what is waited for.
func (t *turn) notUnderstood(e NotUnderstood) {
	if !t.listening() {
		return
	}
	t.s.missed++
	t.s.quiet = 0
	t.sounds = append(t.sounds, NotCaught)
	if t.s.missed == 1 {
		return
	}
	t.passing = true
	t.say("I did not catch that.")
	if e.Noise && !t.s.proposed {
		t.s.proposed = true
		t.say(proposal(e.HasKey))
	}
	t.remind()
}

// whyText asks for what is missing of the reason why something is left out.
func (t *turn) whyText(first bool) string {
	brief := !first || t.short(whyPrompt)
	switch who := t.s.reason.why != ""; {
	case who && brief:
		return "Agreed with whom?"
	case who:
		return "Agreed with whom? Say agreed with the client, agreed with the owner, or no."
	case brief:
		return "What is the reason?"
	}
	return "What is the reason? Such as no access, or equipment connected."
}
