package bench

import (
	"fmt"
	"io"
)

// Compared is how one method did in a run that tried several.
type Compared struct {
	Name  string `json:"name"`
	Note  string `json:"note"`
	ForUs Count  `json:"for_us"` // phrases that are for waycall
	Talk  Count  `json:"talk"`   // phrases that are not: wrong is what was taken for a phrase
	// P50 is the time within which half of the phrases were understood, in ms.
	P50 float64 `json:"p50_ms"`
	// P95 is as P50, of 95 in a hundred.
	P95 float64 `json:"p95_ms"`
}

// Compare sums up each method of a run, in its order.
func Compare(run Run, results []Result) []Compared {
	var out []Compared
	for i, name := range run.Methods {
		own := By(results, name)
		c := Compared{Name: name}
		if i < len(run.Notes) {
			c.Note = run.Notes[i]
		}
		for _, r := range own {
			if r.Want.Kind == "none" {
				c.Talk.add(r)
			} else {
				c.ForUs.add(r)
			}
		}
		c.ForUs, c.Talk = c.ForUs.filled(), c.Talk.filled()
		s := Summarise(own)
		c.P50, c.P95 = s.P50, s.P95
		out = append(out, c)
	}
	return out
}

// Better says, in a sentence each, where another method did better than the first
// in the list.
func Better(methods []Compared) []string {
	var out []string
	if len(methods) == 0 {
		return out
	}
	us := methods[0]
	for _, m := range methods[1:] {
		say := func(better bool, what, theirs, ours string) {
			if better {
				out = append(out, fmt.Sprintf("%s is better than %s in %s: %s against %s", m.Name, us.Name, what, theirs, ours))
			}
		}
		say(m.ForUs.RightShare > us.ForUs.RightShare, "phrases right", percent(m.ForUs.RightShare), percent(us.ForUs.RightShare))
		say(m.ForUs.WrongShare < us.ForUs.WrongShare, "phrases wrong", percent(m.ForUs.WrongShare), percent(us.ForUs.WrongShare))
		say(m.ForUs.RightSureShare > us.ForUs.RightSureShare, "phrases right without asking", percent(m.ForUs.RightSureShare), percent(us.ForUs.RightSureShare))
		say(m.Talk.WrongShare < us.Talk.WrongShare, "talk taken for a phrase", percent(m.Talk.WrongShare), percent(us.Talk.WrongShare))
		say(m.P50 < us.P50, "time, p50", milliseconds(m.P50), milliseconds(us.P50))
		say(m.P95 < us.P95, "time, p95", milliseconds(m.P95), milliseconds(us.P95))
	}
	return out
}

func milliseconds(ms float64) string { return fmt.Sprintf("%.0f ms", ms) }

// WriteComparison prints methods as a table, what they are, and where one of them
// is better than the first.
func WriteComparison(w io.Writer, methods []Compared) {
	fmt.Fprintf(w, "%-24s %8s %7s %7s %8s %7s %12s %8s %11s %8s %8s\n", "method", "phrases", "right", "asked", "ignored", "wrong", "wrong, sure", "right", "talk taken", "p50 ms", "p95 ms")
	for _, m := range methods {
		c := m.ForUs
		fmt.Fprintf(w, "%-24s %8d %7d %7d %8d %7d %12d %8s %11s %8.0f %8.0f\n", m.Name, c.Phrases, c.Right, c.Asked, c.Ignored, c.Wrong, c.WrongSure,
			percent(c.RightShare), fmt.Sprintf("%d of %d", m.Talk.Wrong, m.Talk.Phrases), m.P50, m.P95)
	}
	fmt.Fprintln(w)
	for _, m := range methods {
		fmt.Fprintf(w, "%s: %s\n", m.Name, m.Note)
	}
	fmt.Fprintln(w)
	better := Better(methods)
	for _, b := range better {
		fmt.Fprintln(w, b)
	}
	if len(better) == 0 && len(methods) > 1 {
		fmt.Fprintf(w, "nothing is better than %s in any column\n", methods[0].Name)
	}
}
