package phrase

import "waycall/internal/reading"

// Meaning is what a phrase says. The zero Meaning says nothing.
type Meaning struct {
	Command Command // what is asked for; empty for a plain reading

	Board     int              // 1 to 99, in "board two"; 0 when the phrase names no board
	Way       int              // as board.Way.Number; 0 when the phrase names no way
	Last      int              // 1 to 99, the last of several ways that begin with Way; otherwise 0
	Test      reading.Test     // empty when the phrase names no test
	Quantity  reading.Quantity // what was read off the instrument; Bound is empty when the phrase holds no value
	OverRange bool             // "over range": greater than the end of the instrument's scale, which the job knows
	// Near says that it might have been meant otherwise. A figure such as "one twenty" is
	// then read back digit by digit; "okay" confirms only what passes without a doubt, and
	// "that's it" ends only a session in which nothing is due.
	Near    bool
	Named   string  // a word of the name of a board to go to, such as garage
	Service string  // what a bonding conductor goes to: water, gas, oil or steel
	Reason  string  // why something is skipped, as said
	Code    string  // of an observation: C1, C2, C3 or FI
	Then    [2]Part // what the same breath says after it: the other ends of a ring
}

// Part is a further reading of a phrase, of the same way.
type Part struct {
	Test     reading.Test
	Quantity reading.Quantity
}

// HasValue reports whether the phrase gives a quantity.
func (m Meaning) HasValue() bool { return m.Quantity.Bound != "" || m.OverRange }

// Same reports whether m and n say the same: "nought point three oh" and "point
// three" do.
func (m Meaning) Same(n Meaning) bool { return m.unplaced() == n.unplaced() }

// Standing gives "correct" by itself the meaning that it has where it answers a test of
// right or wrong, or else, where it confirms what waits. Other meanings stay.
func (m Meaning) Standing(answers bool) Meaning {
	switch {
	case m.Command != Right:
	case answers:
		m.Command = Correct
	default:
		m.Command = Confirm
	}
	return m
}

func (m Meaning) unplaced() Meaning {
	m.Near = false
	m.Quantity.Places, m.Then[0].Quantity.Places, m.Then[1].Quantity.Places = 0, 0, 0
	return m
}

// Command names a phrase of the conversation. The strings are stored and
// exported.
type Command string

// The commands. Each is written here as its plainest phrase; the grammar lists
// the others.
const (
	Confirm       Command = "confirm"      // the reading read back is right
	No            Command = "no"           // it is wrong; with a value: this value is right
	Scratch       Command = "scratch that" // take back the pending reading, else the last one stored
	Several       Command = "several"      // the same over-range reading on each way from Way to Last
	OnlyBound     Command = "only bound"   // "it was greater than": the figure stays
	OnlyWay       Command = "only way"     // "it was way five": the figure and the test stay
	OnlyTest      Command = "only test"    // "it was live to neutral"
	Undo          Command = "undo"         // "undo way five": take back its last reading, or that of Test; without a way that of Test
	Replace       Command = "replace"      // a full reading, in place of the one stored there
	SayAgain      Command = "say again"
	SayAgainSlow  Command = "say again slowly"
	Slower        Command = "slower"
	Faster        Command = "faster"
	Brief         Command = "brief" // shorter prompts from now on
	InFull        Command = "in full"
	WhatsNext     Command = "what's next"    // which test is due
	WhatsLeft     Command = "what's left"    // what remains to be done
	WhatCanISay   Command = "what can i say" // what may be said now
	Skip          Command = "skip this one"  // with or without a Reason
	NotApplicable Command = "not applicable"
	NotVerified   Command = "not verified"
	Limitation    Command = "limitation" // the test cannot be made; recorded as a limitation
	GoBack        Command = "go back"    // to the test before
	GoTo          Command = "way"        // "way seven": go to that way
	ReadBack      Command = "read back"  // "read back way three"
	TestAgain     Command = "test again" // "test way six again": after work on it, both kept
	Pause         Command = "pause"
	CarryOn       Command = "carry on"
	Finish        Command = "finish here"
	Note          Command = "make a note"
	Observation   Command = "observation" // with a Code, and with a Way or of the board in hand; its text is said next
	Told          Command = "told"        // with a Reason: who was told of a danger
	GoToBoard     Command = "board"       // "board two": go to that board
	First         Command = "the first"   // answer to "which one?"
	Second        Command = "the second"
	Reason        Command = "reason" // a reason on its own, in answer to "what is the reason?"

	// Answers to the preparation steps that are more than the step itself; the others are
	// the identities of the steps, which package sequence has.
	LeadsChecked   Command = "leads checked"
	TwoFifty       Command = "two fifty volts" // surge protection stays in
	NotPossible    Command = "not possible"    // with or without a Reason
	EnergisedAgain Command = "energised again" // the supply was put on: proving dead begins anew

	DeadTestsComplete Command = "dead tests complete"
	ReadyForLive      Command = "ready for live tests" // with a Reason: dead tests that are left are waived

	// Answers to the test that Test names, which has no figure.
	Correct   Command = "correct"
	Incorrect Command = "incorrect"

	// Right is "correct" by itself: it confirms what waits, or else answers the test that
	// is due.
	Right Command = "right"
	// Same is the figure stored last, for the test that is due.
	Same Command = "same"
)
