// Package bench measures hearing against a labelled set of phrases.
//
// A set is a folder of sound files with a manifest: one JSON object a line that
// names a file, what was said in it and what should be understood. Each phrase
// ends in one of four ways: right without a question, right but asked about,
// ignored, or wrong. What counts against an instrument that people trust is the
// last of these, and among it what was wrong and yet sure.
package bench

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"waycall/internal/hear"
	"waycall/internal/phrase"
	"waycall/internal/reading"
)

// Item is one line of a manifest.
type Item struct {
	File string `json:"file"` // beside the manifest
	Text string `json:"text"` // what was said
	Want Want   `json:"want"`
}

// Want is what should be understood.
type Want struct {
	Kind   string        `json:"kind"` // reading, command or none
	Way    int           `json:"way"`  // 0 for a value on its own
	Test   reading.Test  `json:"test"`
	Bound  reading.Bound `json:"bound"`
	Value  float64       `json:"value"`
	Phrase string        `json:"phrase"` // of a command
}

// ReadManifest reads a manifest and names the line of what is wrong with it.
func ReadManifest(r io.Reader, name string) ([]Item, error) {
	var items []Item
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		if strings.TrimSpace(lines.Text()) == "" {
			continue
		}
		var it Item
		if err := json.Unmarshal(lines.Bytes(), &it); err != nil {
			return nil, fmt.Errorf("manifest %s, line %d: %w; write one JSON object a line", name, n, err)
		}
		if k := it.Want.Kind; k != "reading" && k != "command" && k != "none" {
			return nil, fmt.Errorf("manifest %s, line %d: want.kind is %q; write reading, command or none", name, n, k)
		}
		if it.File == "" || strings.ContainsAny(it.File, "/\\") {
			return nil, fmt.Errorf("manifest %s, line %d: file is %q; name a file beside the manifest", name, n, it.File)
		}
		items = append(items, it)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("manifest %s: %w; split long lines", name, err)
	}
	if len(items) == 0 {
		return nil, fmt.Errorf("manifest %s: no phrases in it; add a line for each sound file", name)
	}
	return items, nil
}

// End is how one phrase ended.
type End string

// The ends.
const (
	Right   End = "right"   // understood, both witnesses agreeing
	Asked   End = "asked"   // the likeliest candidate is right, and the electrician is asked
	Ignored End = "ignored" // taken for talk
	Wrong   End = "wrong"
)

// Judge compares what was heard with what should be understood. sure reports
// whether the witnesses agreed.
func Judge(g *phrase.Grammar, want Want, h hear.Heard) (end End, sure bool) {
	nothing := h.Outcome == hear.None || h.Outcome == hear.Misplaced
	if want.Kind == "none" {
		if nothing {
			return Right, false
		}
		return Wrong, h.Agreed
	}
	if nothing {
		return Ignored, false
	}
	m := h.Best().Meaning
	ok := false
	if want.Kind == "reading" {
		q := m.Quantity
		ok = m.Command == "" && m.Way == want.Way && m.Test == want.Test && q.Bound == want.Bound && q.Value == want.Value
	} else if w, known := g.Meaning(Plain(want.Phrase)); known {
		ok = m == w
	}
	switch {
	case !ok:
		return Wrong, h.Agreed
	case h.Agreed:
		return Right, true
	}
	return Asked, false
}

// Plain returns text as the witnesses spell it: lower-case words without
// punctuation.
func Plain(text string) string {
	keep := func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z' || r == '\'':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return ' '
	}
	return strings.Join(strings.Fields(strings.Map(keep, text)), " ")
}

// Result is one measured phrase.
type Result struct {
	Item
	End    End
	Sure   bool
	Heard  string  // the likeliest candidate's words
	MS     float64 // from the end of the sound to its meaning
	SoundS float64 // length of the sound, s
}

// Count is how many phrases of a kind ended how.
type Count struct {
	Phrases   int `json:"phrases"`
	Right     int `json:"right"`
	Asked     int `json:"asked"`
	Ignored   int `json:"ignored"`
	Wrong     int `json:"wrong"`
	WrongSure int `json:"wrong_sure"` // wrong with both witnesses agreeing
}

// Summary is what a run measured.
type Summary struct {
	Kinds       map[string]Count `json:"kinds"` // reading, value, command, none
	P50         float64          `json:"p50_ms"`
	P95         float64          `json:"p95_ms"`
	P99         float64          `json:"p99_ms"`
	RealTime    float64          `json:"real_time_factor"` // time taken over length of sound
	PeakMiB     float64          `json:"peak_mib"`         // memory of the whole program
	Seconds     float64          `json:"sound_s"`
	Differences []Difference     `json:"differences"` // phrases that did not end right
}

// Difference is a phrase that did not end right.
type Difference struct {
	File  string `json:"file"`
	End   End    `json:"end"`
	Said  string `json:"said"`
	Heard string `json:"heard"`
}

// Summarise counts results. PeakMiB is left for the caller.
func Summarise(results []Result) Summary {
	s := Summary{Kinds: map[string]Count{}}
	var ms []float64
	spent := 0.0
	for _, r := range results {
		kind := r.Want.Kind
		if kind == "reading" && r.Want.Way == 0 {
			kind = "value"
		}
		c := s.Kinds[kind]
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
		s.Kinds[kind] = c
		if r.End != Right {
			s.Differences = append(s.Differences, Difference{r.File, r.End, r.Text, r.Heard})
		}
		ms = append(ms, r.MS)
		spent += r.MS / 1000
		s.Seconds += r.SoundS
	}
	slices.Sort(ms)
	s.P50, s.P95, s.P99 = percentile(ms, 50), percentile(ms, 95), percentile(ms, 99)
	if s.Seconds > 0 {
		s.RealTime = spent / s.Seconds
	}
	return s
}

// percentile returns the nearest-rank percentile of sorted values.
func percentile(sorted []float64, p float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	return sorted[max(0, int(math.Ceil(p/100*float64(len(sorted))))-1)]
}

// Write prints the summary as a table.
func (s Summary) Write(w io.Writer) {
	fmt.Fprintf(w, "%-9s %8s %7s %7s %8s %7s %11s\n", "kind", "phrases", "right", "asked", "ignored", "wrong", "wrong, sure")
	for _, k := range []string{"reading", "value", "command", "none"} {
		if c, ok := s.Kinds[k]; ok {
			fmt.Fprintf(w, "%-9s %8d %7d %7d %8d %7d %11d\n", k, c.Phrases, c.Right, c.Asked, c.Ignored, c.Wrong, c.WrongSure)
		}
	}
	fmt.Fprintf(w, "\nfrom end of sound to meaning: p50 %.0f ms, p95 %.0f ms, p99 %.0f ms\n", s.P50, s.P95, s.P99)
	fmt.Fprintf(w, "%.1f times faster than speech over %.0f s of sound; peak memory %.0f MiB\n", 1/max(s.RealTime, 1e-9), s.Seconds, s.PeakMiB)
	if len(s.Differences) > 0 {
		fmt.Fprintln(w)
		for _, d := range s.Differences {
			fmt.Fprintf(w, "%-8s %q", d.End, d.Said)
			if d.Heard != "" {
				fmt.Fprintf(w, " heard as %q", d.Heard)
			}
			fmt.Fprintf(w, " (%s)\n", d.File)
		}
	}
}
