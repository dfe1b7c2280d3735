package check

import (
	"fmt"
	"math"
	"slices"

	"waycall/internal/board"
	"waycall/internal/reading"
)

const (
	limitSource = "BS 7671:2018+A2:2022 Table 64 and IEC 60364-6 Table 6A, from memory"
	surgeSource = "BS 7671:2018+A2:2022 regulation 643.3.2, from memory"
	gn3Source   = "IET Guidance Note 3, insulation resistance, from memory"
	practice    = "common practice, no published source"
	comboSource = "resistances in parallel, each reading within the 30 % operating uncertainty of IEC 61557-2, from memory"

	// doubtful is the resistance in Mohm under which a reading above the limit
	// is still looked into: Guidance Note 3, from memory.
	doubtful = 2
	// sound is what a sound circuit of ordinary length at least gives, in
	// Mohm: common practice, no published source.
	sound = 20
	// uncertainty is the largest operating uncertainty of an insulation tester
	// as a fraction of what it shows: IEC 61557-2, from memory.
	uncertainty = 0.30
	// jump is the ratio from which two readings that should be alike are
	// looked into: nearly ten, the ratio of a slipped point. Common practice,
	// no published source.
	jump = 8
)

// Limit is what an insulation resistance test is made with and judged by.
type Limit struct {
	TestVoltage float64 // V DC
	Least       float64 // Mohm: a reading below it fails
	Source      string
}

// InsulationLimit returns the limit for a way whose circuit is at voltage,
// line to earth in V. surgeConnected says that a surge protective device could
// not be taken out, so that the test is made at 250 V but the limit stays.
func InsulationLimit(w board.Way, voltage float64, surgeConnected bool) Limit {
	switch {
	case w.Separated:
		return Limit{250, 0.5, limitSource}
	case voltage > 500:
		return Limit{1000, 1, limitSource}
	case surgeConnected:
		return Limit{250, 1, surgeSource}
	}
	return Limit{500, 1, limitSource}
}

// Earlier is a reading that was recorded before the one being checked.
type Earlier struct {
	Board    int
	Way      int
	Test     reading.Test
	Position int // as in record.Slot
	Quantity reading.Quantity
}

// Input is everything that the verdict on one insulation reading rests on.
type Input struct {
	Job            board.Job
	Board          int
	Way            int
	Test           reading.Test
	Position       int
	Quantity       reading.Quantity
	SurgeConnected bool
	// Earlier holds the readings on this board that still stand, in the order
	// they were recorded, at most one for each way, test and position, and not
	// the one that Quantity is to replace.
	Earlier []Earlier
}

// Insulation judges one insulation resistance reading. It never panics: what
// cannot be judged gives CannotSay with the reason.
func Insulation(in Input) Verdict {
	way := in.Job.Way(in.Board, in.Way)
	switch {
	case way == nil:
		return Verdict{CannotSay, fmt.Sprintf("There is no way %d on this board.", in.Way), practice}
	case !in.Test.Insulation():
		return Verdict{CannotSay, "This is not an insulation test.", practice}
	case in.Quantity.Check() != nil:
		return Verdict{CannotSay, "There is no reading to judge.", practice}
	case in.Quantity.Unit != reading.Megohm:
		return Verdict{CannotSay, "Insulation is read in megohms.", practice}
	}
	limit := InsulationLimit(*way, in.Job.Board(in.Board).Voltage, in.SurgeConnected)
	all := []Verdict{againstLimit(in.Quantity, limit)}
	for _, rule := range []func(Input, Limit) (Verdict, bool){againstSeparate, againstScale, againstPosition, sameAgain, slippedPoint} {
		if v, ok := rule(in, limit); ok {
			all = append(all, v)
		}
	}
	return worst(all)
}

// againstLimit judges q by the limit alone. Let the truth lie from low to
// high: it fails when even high does, passes when even low is what a sound
// circuit gives, and is looked into when even high is not. Between, nothing
// can be said. A higher low or high never makes this worse.
func againstLimit(q reading.Quantity, l Limit) Verdict {
	low, high := q.Interval()
	below := func(x float64) bool { // the truth is surely below x
		return high < x || high == x && q.Bound == reading.LessThan
	}
	least := spokenNumber(l.Least)
	if l.Least == 1 {
		least += " megohm"
	} else {
		least += " megohms"
	}
	switch {
	case below(l.Least):
		return Verdict{Fail, fmt.Sprintf("Below the limit of %s.", least), l.Source}
	case below(doubtful):
		return Verdict{Investigate, "Under two megohms, so look for the cause.", gn3Source}
	case below(sound):
		return Verdict{Investigate, "A sound circuit gives more than twenty megohms.", practice}
	case low >= sound:
		return Verdict{Pass, fmt.Sprintf("Meets the limit of %s.", least), l.Source}
	case q.Bound == reading.GreaterThan:
		return Verdict{CannotSay, fmt.Sprintf("Known only to be %s, so use a higher range.", q.Spoken()), l.Source}
	}
	return Verdict{CannotSay, fmt.Sprintf("Known only to be %s, so read the value itself.", q.Spoken()), l.Source}
}

// spokenNumber says a number that came from a file or a table, with no more
// decimal places than it has.
func spokenNumber(x float64) string {
	return reading.Number(x)
}

// againstSeparate compares the live conductors together to earth with line to
// earth and neutral to earth, once all three are known.
//
// Measured alone, line to earth is its own path in parallel with the way round
// through the neutral. So the reading together is at least the two separate
// ones in parallel (no path between line and neutral) and at most the smaller
// of them (line and neutral joined, as by a load left in).
func againstSeparate(in Input, _ Limit) (Verdict, bool) {
	got := map[reading.Test]Interval{}
	for _, e := range in.Earlier {
		if e.Board == in.Board && e.Way == in.Way && e.Position == in.Position {
			got[e.Test] = Of(e.Quantity)
		}
	}
	got[in.Test] = Of(in.Quantity)
	together, t := got[reading.LNE]
	line, l := got[reading.LE]
	neutral, n := got[reading.NE]
	if !t || !l || !n || in.Test == reading.LN || in.Test == reading.LL {
		return Verdict{}, false
	}
	together, line, neutral = together.widen(uncertainty), line.widen(uncertainty), neutral.widen(uncertainty)
	want := Interval{Parallel(line, neutral).Low, math.Min(line.High, neutral.High)}
	if !together.apart(want) {
		return Verdict{}, false
	}
	return Verdict{Investigate, "The readings together and separate do not fit, so one of them is wrong.", comboSource}, true
}

// againstScale finds an over-range reading that lost its "greater than" or one
// of its figures on the way. The scale ends elsewhere at other test voltages,
// so only the 500 V one is known.
func againstScale(in Input, l Limit) (Verdict, bool) {
	end, q := in.Job.Instrument.OverRange, in.Quantity
	if end <= 0 || l.TestVoltage != 500 {
		return Verdict{}, false
	}
	scale := spokenNumber(end)
	switch {
	case q.Bound == reading.Exactly && q.Value >= end:
		return Verdict{Investigate, fmt.Sprintf("The scale ends at %s, so was it over range?", scale), practice}, true
	case q.Bound == reading.GreaterThan && q.Value != end:
		return Verdict{Investigate, fmt.Sprintf("This instrument is over range at %s.", scale), practice}, true
	}
	return Verdict{}, false
}

// againstPosition compares the two positions of a two-way switch. Most of the
// cable is the same in both, so a great difference lies in the strappers or in
// one of the readings.
func againstPosition(in Input, _ Limit) (Verdict, bool) {
	for _, e := range in.Earlier {
		if e.Board != in.Board || e.Way != in.Way || e.Test != in.Test || e.Position == in.Position {
			continue
		}
		here, there := Of(in.Quantity), Of(e.Quantity)
		switch {
		case here.High*jump <= there.Low:
			return Verdict{Investigate, "Far lower than in the other switch position.", practice}, true
		case there.High*jump <= here.Low:
			return Verdict{Investigate, "Far higher than in the other switch position.", practice}, true
		}
	}
	return Verdict{}, false
}

// sameAgain finds the figure of the way before. Over-range readings are alike
// on every good way, so only values count.
func sameAgain(in Input, _ Limit) (Verdict, bool) {
	for _, e := range slices.Backward(in.Earlier) {
		if e.Test != in.Test || e.Board != in.Board || e.Way == in.Way {
			continue
		}
		if in.Quantity.Bound != reading.Exactly || !e.Quantity.Equal(in.Quantity) {
			break
		}
		return Verdict{Investigate, fmt.Sprintf("The same as way %s, so was it read again or carried over?", reading.Cardinal(e.Way)), practice}, true
	}
	return Verdict{}, false
}

// slippedPoint compares with the other ways where these are alike: at least
// three values, all within three times of the middle one. Where they scatter,
// ten times more or less means nothing.
func slippedPoint(in Input, _ Limit) (Verdict, bool) {
	if in.Quantity.Bound != reading.Exactly || in.Quantity.Value <= 0 {
		return Verdict{}, false
	}
	var others []float64
	for _, e := range in.Earlier {
		if e.Test == in.Test && e.Board == in.Board && e.Way != in.Way && e.Quantity.Bound == reading.Exactly {
			others = append(others, e.Quantity.Value)
		}
	}
	if len(others) < 3 {
		return Verdict{}, false
	}
	slices.Sort(others)
	middle := others[len(others)/2]
	if middle <= 0 || others[0]*3 < middle || others[len(others)-1] > 3*middle {
		return Verdict{}, false
	}
	ratio, side := in.Quantity.Value/middle, "higher"
	if ratio < 1 {
		ratio, side = 1/ratio, "lower"
	}
	if ratio < jump {
		return Verdict{}, false
	}
	times := [...]string{"ten", "ten", "a hundred", "a thousand"}[min(3, int(math.Round(math.Log10(ratio))))]
	return Verdict{Investigate, fmt.Sprintf("About %s times %s than the other ways, so did the point slip?", times, side), practice}, true
}
