package bench

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
)

// Result is what came of one phrase.
type Result struct {
	Item
	Method     string  `json:"method"` // name of the ear
	End        End     `json:"end"`
	ForUs      bool    `json:"for_us"` // something was heard
	Sure       bool    `json:"sure"`
	Confidence float64 `json:"confidence"` // claimed, 0 to 1; negative where none is claimed
	Nearest    bool    `json:"nearest"`    // the likeliest candidate is right, whatever became of it
	// Evidence is what the confidence rests on, in the order of hear.EvidenceNames.
	Evidence  []float64          `json:"evidence,omitempty"`
	Heard     string             `json:"heard"`   // the likeliest candidate's words
	Means     string             `json:"means"`   // "reading", or the command that they are
	MS        float64            `json:"ms"`      // from the end of the sound to its meaning
	SoundS    float64            `json:"sound_s"` // length of the sound, s
	Witnesses map[string]string  `json:"witnesses,omitempty"`
	Scores    map[string]float64 `json:"scores,omitempty"`
}

// Count is how many phrases ended how. Shares lie between 0 and 1 and are 0 where
// there is nothing to share.
type Count struct {
	Phrases   int `json:"phrases"`
	Right     int `json:"right"` // without a question
	Asked     int `json:"asked"` // right after a question
	Ignored   int `json:"ignored"`
	Wrong     int `json:"wrong"`
	Sure      int `json:"sure"`       // answers that were taken without a question
	WrongSure int `json:"wrong_sure"` // those of them that were wrong

	RightShare     float64 `json:"right_share"`      // right and asked, of the phrases
	RightSureShare float64 `json:"right_sure_share"` // right without a question, of the phrases
	WrongShare     float64 `json:"wrong_share"`      // wrong, of the phrases
	WrongAtMost    float64 `json:"wrong_at_most"`    // its upper 95 % bound
	WrongSureShare float64 `json:"wrong_sure_share"` // wrong among the sure
	WrongSureMost  float64 `json:"wrong_sure_most"`  // its upper 95 % bound
}

func (c *Count) add(r Result) {
	c.Phrases++
	switch r.End {
	case Right:
		c.Right++
	case Asked:
		c.Asked++
	case Ignored:
		c.Ignored++
	case Wrong:
		c.Wrong++
		if r.Sure {
			c.WrongSure++
		}
	}
	if r.Sure {
		c.Sure++
	}
}

// filled returns c with its shares.
func (c Count) filled() Count {
	share := func(k, n int) float64 {
		if n == 0 {
			return 0
		}
		return float64(k) / float64(n)
	}
	c.RightShare = share(c.Right+c.Asked, c.Phrases)
	c.RightSureShare = share(c.Right, c.Phrases)
	c.WrongShare, c.WrongAtMost = share(c.Wrong, c.Phrases), AtMost(c.Wrong, c.Phrases)
	c.WrongSureShare, c.WrongSureMost = share(c.WrongSure, c.Sure), AtMost(c.WrongSure, c.Sure)
	return c
}

// Summary is what a run measured.
type Summary struct {
	Kinds   map[string]Count `json:"kinds"`   // reading, value, command, none, joined
	Figures Count            `json:"figures"` // readings and values
	All     Count            `json:"all"`
	// P50 is the time within which half of the phrases were understood, in ms.
	P50 float64 `json:"p50_ms"`
	// P95 is as P50, of 95 in a hundred.
	P95 float64 `json:"p95_ms"`
	// P99 is as P50, of 99 in a hundred.
	P99 float64 `json:"p99_ms"`
	// PerSecond is how many phrases a second were understood.
	PerSecond float64 `json:"phrases_per_second"`
	RealTime  float64 `json:"real_time_factor"` // time taken over length of sound
	PeakMiB   float64 `json:"peak_mib"`         // memory of the whole program
	// Seconds is the length of all the sound.
	Seconds     float64      `json:"sound_s"`
	Confusions  []Confusion  `json:"confusions"`  // within phrases that were heard wrongly
	Reliability []Bin        `json:"reliability"` // empty where no confidence is claimed
	Differences []Difference `json:"differences"` // phrases that did not end right
}

// Difference is a phrase that did not end right.
type Difference struct {
	File  string `json:"file"`
	End   End    `json:"end"`
	Sure  bool   `json:"sure"`
	Said  string `json:"said"`
	Heard string `json:"heard"`
}

// Confusion is how often one word, or run of words, was heard as another. Heard is
// empty for what was lost and Said for what was put in.
type Confusion struct {
	Said  string `json:"said"`
	Heard string `json:"heard"`
	Count int    `json:"count"`
}

// Bin holds the answers whose claimed confidence lies from From up to To.
type Bin struct {
	From    float64 `json:"from"`
	To      float64 `json:"to"`
	Answers int     `json:"answers"`
	Right   int     `json:"right"`   // whose likeliest candidate was right
	Claimed float64 `json:"claimed"` // mean claimed confidence
}

// bins are the edges of the reliability table, finer where trust is decided.
var bins = []float64{0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999, 1}

// Summarise counts results. PeakMiB is left for the caller.
func Summarise(results []Result) Summary {
	s := Summary{Kinds: map[string]Count{}}
	var ms []float64
	spent := 0.0
	for _, r := range results {
		kind := r.kind()
		c := s.Kinds[kind]
		c.add(r)
		s.Kinds[kind] = c
		s.All.add(r)
		if kind == "reading" || kind == "value" {
			s.Figures.add(r)
		}
		if r.End != Right {
			s.Differences = append(s.Differences, Difference{r.File, r.End, r.Sure, r.Text, r.Heard})
		}
		ms = append(ms, r.MS)
		spent += r.MS / 1000
		s.Seconds += r.SoundS
	}
	for k, c := range s.Kinds {
		s.Kinds[k] = c.filled()
	}
	s.All, s.Figures = s.All.filled(), s.Figures.filled()
	slices.Sort(ms)
	s.P50, s.P95, s.P99 = Percentile(ms, 50), Percentile(ms, 95), Percentile(ms, 99)
	if s.Seconds > 0 {
		s.RealTime = spent / s.Seconds
	}
	if spent > 0 {
		s.PerSecond = float64(len(results)) / spent
	}
	s.Confusions, s.Reliability = confusions(results), reliability(results)
	return s
}

// Percentile returns the nearest-rank percentile of sorted values, of which a share of p
// hundredths is no greater; 0 for none.
func Percentile(sorted []float64, p float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	return stat.Quantile(p/100, stat.Empirical, sorted, nil)
}

// reliability compares the confidence claimed with what was right.
func reliability(results []Result) []Bin {
	table := make([]Bin, len(bins)-1)
	for i := range table {
		table[i].From, table[i].To = bins[i], bins[i+1]
	}
	for _, r := range results {
		if !(r.Confidence >= 0 && r.Confidence <= 1) {
			continue
		}
		i := 0
		for i+1 < len(table) && r.Confidence >= table[i].To {
			i++
		}
		b := &table[i]
		b.Answers++
		b.Claimed += r.Confidence
		if r.Nearest {
			b.Right++
		}
	}
	table = slices.DeleteFunc(table, func(b Bin) bool { return b.Answers == 0 })
	for i := range table {
		table[i].Claimed /= float64(table[i].Answers)
	}
	return table
}

// confusions lines up what was said with what was heard in the phrases that were
// heard wrongly, and counts the words that differ. Talk taken for a phrase is not
// lined up: there is nothing in it to be heard right.
func confusions(results []Result) []Confusion {
	counts := map[[2]string]int{}
	for _, r := range results {
		if r.End != Wrong || r.Want.Kind == "none" {
			continue
		}
		for _, d := range differ(strings.Fields(Plain(r.Text)), strings.Fields(r.Heard)) {
			counts[d]++
		}
	}
	var out []Confusion
	for d, n := range counts {
		out = append(out, Confusion{d[0], d[1], n})
	}
	slices.SortFunc(out, func(a, b Confusion) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Said, b.Said), cmp.Compare(a.Heard, b.Heard))
	})
	return out
}

// differ returns the runs of words in which two phrases differ, by the shortest
// edit between them.
func differ(said, heard []string) [][2]string {
	// cost[i][j] is the least number of edits between said[i:] and heard[j:].
	cost := make([][]int, len(said)+1)
	for i := len(said); i >= 0; i-- {
		cost[i] = make([]int, len(heard)+1)
		for j := len(heard); j >= 0; j-- {
			switch {
			case i == len(said):
				cost[i][j] = len(heard) - j
			case j == len(heard):
				cost[i][j] = len(said) - i
			case said[i] == heard[j]:
				cost[i][j] = cost[i+1][j+1]
			default:
				cost[i][j] = 1 + min(cost[i+1][j+1], cost[i+1][j], cost[i][j+1])
			}
		}
	}
	var out [][2]string
	var a, b []string
	end := func() {
		if len(a)+len(b) > 0 {
			out = append(out, [2]string{strings.Join(a, " "), strings.Join(b, " ")})
		}
		a, b = nil, nil
	}
	for i, j := 0, 0; i < len(said) || j < len(heard); {
		switch {
		case i < len(said) && j < len(heard) && said[i] == heard[j]:
			end()
			i, j = i+1, j+1
		case i < len(said) && j < len(heard) && cost[i][j] == 1+cost[i+1][j+1]:
			a, b = append(a, said[i]), append(b, heard[j])
			i, j = i+1, j+1
		case i < len(said) && cost[i][j] == 1+cost[i+1][j]:
			a = append(a, said[i])
			i++
		default:
			b = append(b, heard[j])
			j++
		}
	}
	end()
	return out
}

// kinds are the kinds of phrase in the order of the tables.
var kinds = []string{"reading", "value", "command", "none", "joined"}

// Write prints the summary as a table.
func (s Summary) Write(w io.Writer) {
	fmt.Fprintf(w, "%-9s %8s %7s %7s %8s %7s %7s %12s %15s %10s\n", "kind", "phrases", "right", "asked", "ignored", "wrong", "right", "not asked", "wrong, sure", "at most")
	row := func(k string, c Count) {
		fmt.Fprintf(w, "%-9s %8d %7d %7d %8d %7d %7s %12s %15s %10s\n", k, c.Phrases, c.Right, c.Asked, c.Ignored, c.Wrong,
			percent(c.RightShare), percent(c.RightSureShare), fmt.Sprintf("%d of %d", c.WrongSure, c.Sure), percent(c.WrongSureMost))
	}
	for _, k := range kinds {
		if c, ok := s.Kinds[k]; ok {
			row(k, c)
		}
	}
	if len(s.Kinds) > 1 {
		row("all", s.All)
	}
	fmt.Fprintf(w, "\nfrom end of sound to meaning: p50 %.0f ms, p95 %.0f ms, p99 %.0f ms\n", s.P50, s.P95, s.P99)
	fmt.Fprintf(w, "%.1f phrases a second, %.1f times faster than speech (real-time factor %.3f) over %.0f s of sound; peak memory %.0f MiB\n",
		s.PerSecond, 1/max(s.RealTime, 1e-9), s.RealTime, s.Seconds, s.PeakMiB)
	if len(s.Reliability) > 0 {
		fmt.Fprintf(w, "\n%-18s %8s %8s %8s\n", "confidence", "answers", "claimed", "right")
		for _, b := range s.Reliability {
			fmt.Fprintf(w, "%-18s %8d %8s %8s\n", fmt.Sprintf("%g to %g", b.From, b.To), b.Answers, percent(b.Claimed), percent(float64(b.Right)/float64(b.Answers)))
		}
	}
	if len(s.Confusions) > 0 {
		fmt.Fprintln(w, "\nin what was heard wrongly:")
		for _, c := range s.Confusions {
			fmt.Fprintf(w, "%4d  %s -> %s\n", c.Count, something(c.Said), something(c.Heard))
		}
	}
	if len(s.Differences) > 0 {
		fmt.Fprintln(w)
		for _, d := range s.Differences {
			end := string(d.End)
			if d.End == Wrong && d.Sure {
				end = "WRONG"
			}
			fmt.Fprintf(w, "%-8s %q", end, d.Said)
			if d.Heard != "" {
				fmt.Fprintf(w, " heard as %q", d.Heard)
			}
			fmt.Fprintf(w, " (%s)\n", d.File)
		}
	}
}

func something(words string) string {
	if words == "" {
		return "(nothing)"
	}
	return words
}

// percent writes a share with as many digits as it can bear: 100 % only where all
// of it is meant.
func percent(share float64) string {
	p := 100 * share
	if p == 0 || p == 100 || p >= 0.05 && p < 99.95 {
		return fmt.Sprintf("%.1f %%", p)
	}
	return fmt.Sprintf("%.3f %%", p)
}
