package check

import (
	"waycall/internal/board"
	"waycall/internal/reading"
)

// answered judges the tests that are answered by correct or wrong. A wrong one
// is named by what it may mean; what it is must be looked for.
func (c *ctx) answered() []Verdict {
	test := c.in.Test
	source := map[reading.Test]string{
		reading.Polarity:      "BS 7671 regulation 643.6, from memory",
		reading.PhaseSequence: "BS 7671 regulation 643.9, from memory",
		reading.Functional:    "BS 7671 regulation 643.10, from memory",
		reading.RCDButton:     "BS 7671 regulation 643.10, from memory",
		reading.AFDDButton:    "BS 7671 regulation 643.10, from memory",
		reading.PENFault:      PENSource,
		reading.DCFault:       EVSource,
		reading.RCDHalf:       "IET Guidance Note 3 and IEC 61008-1 rated residual non-operating current, from memory",
	}[test]
	if c.q == reading.Correct {
		reason := map[reading.Test]string{
			reading.Polarity: "Polarity is as it should be.", reading.PhaseSequence: "The sequence is as it should be.", reading.Functional: "It works as it should.",
			reading.RCDButton: "The test button trips it.", reading.RCDHalf: "It does not trip at half its rated current.",
			reading.AFDDButton: "The test button trips it.", reading.PENFault: "By its maker's test it disconnects.", reading.DCFault: "By its maker's test it disconnects.",
		}[test]
		return []Verdict{c.numbers(verdict(Pass, test.Spoken(), source, "%s", reason))}
	}
	reason, next := c.wrong()
	return []Verdict{c.numbers(verdict(Fail, test.Spoken(), source, "%s", reason)).next("%s", next)}
}

func (c *ctx) wrong() (reason, next string) {
	switch c.in.Test {
	case reading.PhaseSequence:
		return "Two lines are changed round, so motors would turn the wrong way.", "Compare the colours at both ends of the cable."
	case reading.Functional:
		return "It does not work as it should.", "Find out what does not work, and why."
	case reading.RCDButton:
		return "The test button does not trip it, so its mechanism may be stuck.", "Check that it is supplied, then replace it."
	case reading.AFDDButton:
		return "The test button does not trip it, so its mechanism may be stuck.", "Check that it is supplied, then replace it."
	case reading.PENFault:
		return "It does not disconnect, so a vehicle would become live where the combined conductor breaks.", "Keep the charging point off and ask its maker."
	case reading.DCFault:
		return "It does not disconnect on direct current, which may keep a residual current device from tripping.", "Keep the charging point off and ask its maker."
	case reading.RCDHalf:
		return "It trips at half its rated current.", "Test again with the loads off: they may leak."
	}
	if c.way == nil {
		return "The supply may be reversed, so every single pole device would stand in the neutral.", "Stop, keep the supply off and tell the distributor."
	}
	switch c.way.Use {
	case board.Socket:
		return "A socket may be reversed, so the switch or fuse of what is plugged in would stand in the neutral.", "Open the sockets from the last good one on."
	case board.Lighting:
		return "A switch may stand in the neutral, so the lampholder would stay live when it is off.", "Open the switches, and check the screw contact of each lampholder."
	}
	return "A single pole device may stand in the neutral, so equipment would stay live when it is off.", "Compare line and neutral at both ends of the cable."
}
