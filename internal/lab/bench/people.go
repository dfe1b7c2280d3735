package bench

import (
	"fmt"
	"io"
	"strings"
)

// People: the sets of recordings of people, as models/adapt/people.py makes them, and
// what is asked of the hearing on them. They stand apart from rendered voices, which a
// model that is trained on renderings hears far better.

// peoplePrefix begins the name of every such set.
const peoplePrefix = "people-"

// ofPeople returns which set of people a run heard; empty for any other run, and for one
// that did not hear them as they are.
func (k Kept) ofPeople() string {
	name, ok := strings.CutPrefix(k.Run.Set, peoplePrefix)
	if !ok || !k.plain() {
		return ""
	}
	return name
}

// peopleBar is what is asked of one set of people.
type peopleBar struct {
	name, what string
	// right is the least share to be right, asked about or not, and unasked of them without
	// a question; 0 asks for nothing.
	right, unasked float64
	// sure is the largest share of all the phrases that may be wrong and sure.
	sure float64
	// taken is the largest share of what is not for us that may be taken for a phrase.
	taken float64
}

// peopleBars are the sets in the order of the report.
var peopleBars = []peopleBar{
	{"natural", "two to four figures as they were said together", 1, 0.97, 0, 0},
	{"numbers", "teens, tens and hundreds as they were said", 1, 0.97, 0, 0},
	{"yes-no", "yes and no", 0.99, 0, 0, 0},
	{"digits", "a single figure in one second", 0.96, 0, 1.0 / 240, 0},
	{"glued", "two or three figures, each spoken alone, with gaps of 20 to 600 ms", 0.92, 0, 0.005, 0},
	{"glued-numbers", "the words of a number, with such gaps", 0.92, 0, 0.005, 0},
	{"repeated", "one figure three times, with such gaps", 22.0 / 24, 0, 0.005, 0},
	{"words", "single words and letters that are not for us", 0, 0, 1.0 / 500, 0.02},
	{"talk", "sentences, orders and spelled words that are not for us", 0, 0, 0, 0.01},
	{"alike", "words that sound like a figure when said alone: not judged", 0, 0, 1, 1},
}

// met reports whether a count meets the bar.
func (p peopleBar) met(c Count) bool {
	n := float64(c.Phrases)
	if p.right == 0 {
		return float64(c.Wrong) <= p.taken*n && float64(c.WrongSure) <= p.sure*n
	}
	return c.RightShare >= p.right && c.RightSureShare >= p.unasked && float64(c.WrongSure) <= p.sure*n
}

// writePeople writes how people are heard: what stands first in the report.
func writePeople(w io.Writer, own []Kept) {
	byName := map[string]Kept{}
	var all []Result
	for _, k := range own {
		if name := k.ofPeople(); name != "" {
			byName[name] = k
			all = append(all, k.Results...)
		}
	}
	if len(all) == 0 {
		return
	}
	fmt.Fprint(w, `## People

Recordings of people whom no training and no fit has heard, apart from the rendered voices
below; [docs/human-speech.md](../human-speech.md) says who they are. "Wrong, sure" is of all the phrases of
the set, with its upper 95 % bound; "taken" are words that were not for waycall and became
a phrase, asked about or not.

| set | what was said | phrases | speakers | right | not asked | wrong, sure | at most | taken | |
|---|---|---|---|---|---|---|---|---|---|
`)
	for _, p := range peopleBars {
		k, heard := byName[p.name]
		if !heard {
			continue
		}
		c := Summarise(k.Results).All
		right, unasked, taken := percent(c.RightShare), percent(c.RightSureShare), ""
		if p.right == 0 {
			right, unasked, taken = "", "", ratio(c.Wrong, c.Phrases)
		}
		verdict := "**not met**"
		switch {
		case p.taken == 1:
			verdict = ""
		case p.met(c):
			verdict = "met"
		}
		fmt.Fprintf(w, "| %s | %s | %d | %d | %s | %s | %d | %s | %s | %s |\n", p.name, p.what, c.Phrases, speakers(k.Results),
			right, unasked, c.WrongSure, percent(AtMost(c.WrongSure, c.Phrases)), taken, verdict)
	}
	fmt.Fprint(w, "\nConfidence claimed and what was right, of these people alone:\n")
	writeReliability(w, Summarise(all).Reliability)
	fmt.Fprintln(w)
}

// speakers counts the voices of a set.
func speakers(results []Result) int {
	voices := map[string]bool{}
	for _, r := range results {
		voices[r.Voice] = true
	}
	return len(voices)
}

func writeReliability(w io.Writer, table []Bin) {
	fmt.Fprint(w, "\n| confidence | answers | claimed | right | 95 % bounds |\n|---|---|---|---|---|\n")
	for _, r := range table {
		fmt.Fprintf(w, "| %g to %g | %d | %s | %s | %s to %s |\n", r.From, r.To, r.Answers, percent(r.Claimed),
			percent(float64(r.Right)/float64(r.Answers)), percent(AtLeast(r.Right, r.Answers)), percent(AtMost(r.Right, r.Answers)))
	}
}
