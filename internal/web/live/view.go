package live

import (
	"fmt"
	"strings"
	"time"

	"waycall/internal/check"
	"waycall/internal/english"
	"waycall/internal/record"
	"waycall/internal/show"
	"waycall/internal/words"
)

// history is how many of the last events the page lists.
const history = 6

// line is one event of the log in a few words.
type line struct {
	ID   int64  `json:"id"`
	At   string `json:"at"`   // hours, minutes and seconds, in this machine's time zone
	Who  string `json:"who"`  // "electrician", "waycall" or "record"
	Text string `json:"text"` // at most show.Longest characters
}

// lineOf describes e, which led to s.
func lineOf(s record.State, e record.Event) line {
	who := "record"
	switch e.Kind {
	case record.Heard, record.Tapped:
		who = "electrician"
	case record.Said:
		who = "waycall"
	}
	return line{ID: e.ID, At: e.At.Local().Format(time.TimeOnly), Who: who, Text: show.Short(words.OfEvent(s, e).String())}
}

// view is what the template draws.
type view struct {
	show.Facts
	Title  string
	Spoken string // what matters of it, in a sentence for a screen reader

	Turn, TurnShape string // what the session does, as far as the log says
	TurnClass       string
	Trouble         string
	Verdict         verdict
	Digits          int // of Place, which decide its size
	Left            string
	Counts          []count
	Lines           []line
}

// count is a line of what the job comes to.
type count struct {
	N int
	verdict
}

// verdict is a result as it is shown: a word and a shape beside the colour.
type verdict struct{ Word, Shape, Class string }

// shapes stand beside the words, for who does not see the colours.
var shapes = map[check.Result]string{check.Pass: "✓", check.Investigate: "!", check.Fail: "✗", check.CannotSay: "?", "": "–"}

func verdictOf(r check.Result) verdict {
	word, class := show.Verdict(r)
	return verdict{word, shapes[r], class}
}

func viewOf(s record.State, held bool, trouble string, tail []line) view {
	f := show.Of(s)
	for _, text := range []*string{&f.Job, &f.Name, &f.Place, &f.Feeds, &f.Due, &f.With} {
		*text = show.Short(*text)
	}
	v := view{Facts: f, Trouble: trouble, Lines: tail, Digits: len(f.Place)}
	if f.Last != nil {
		l := *f.Last
		l.Where, l.Others, l.Because = show.Short(l.Where), show.Short(l.Others), show.Short(l.Because)
		if v.Last = &l; l.Result != "" {
			v.Verdict = verdictOf(l.Result)
		}
	}
	for i, o := range v.Options {
		v.Options[i] = show.Option{Place: show.Short(o.Place), Text: show.Short(o.Text)}
	}
	for _, n := range v.Tally {
		v.Counts = append(v.Counts, count{n.N, verdictOf(n.Result)})
	}
	switch {
	case s.Sessions == 0:
		v.Turn, v.TurnShape, v.TurnClass = "NOT BEGUN", "…", "off"
	case s.Finished:
		// Nobody is asked for anything any more.
		v.Place, v.Label, v.Feeds, v.Due, v.With, v.Digits = "END", "THE SESSION IS ENDED", "", "", "", 3
		v.Turn, v.TurnShape, v.TurnClass = "FINISHED", "■", "off"
	case !held:
		v.Turn, v.TurnShape, v.TurnClass = "NO SESSION IS RUNNING", "○", "off"
	case s.Paused:
		v.Turn, v.TurnShape, v.TurnClass = "PAUSED", "‖", "wait"
	case s.Pending != nil:
		v.Turn, v.TurnShape, v.TurnClass = "WAITS FOR CONFIRM", "◆", "wait"
	default:
		v.Turn, v.TurnShape, v.TurnClass = "SESSION RUNNING", "●", "on"
	}
	v.Left = left(f)
	v.Title = show.Short(strings.Trim(f.Place+" "+f.Due, " "))
	v.Spoken = spoken(v)
	return v
}

// left is what is left, in a line.
func left(f show.Facts) string {
	var parts []string
	add := func(n int, one, many string) {
		switch {
		case n == 1:
			parts = append(parts, "1 "+one)
		case n > 1:
			parts = append(parts, fmt.Sprintf("%d %s", n, many))
		}
	}
	add(f.Tests, "test left", "tests left")
	add(f.Steps, "step left", "steps left")
	add(f.Waiting, "test waits for work", "tests wait for work")
	if len(parts) == 0 && f.All > 0 {
		parts = append(parts, "nothing left")
	}
	if f.Estimated && f.Estimate > 0 {
		minutes := int(f.Estimate.Round(time.Minute).Minutes())
		switch {
		case minutes < 1:
			parts = append(parts, "under a minute")
		case minutes < 90:
			parts = append(parts, fmt.Sprintf("about %d min", minutes))
		default:
			parts = append(parts, fmt.Sprintf("about %d h %02d min", minutes/60, minutes%60))
		}
	}
	return strings.Join(parts, ", ")
}

func spoken(v view) string {
	var b strings.Builder
	if v.Trouble != "" {
		return v.Trouble
	}
	fmt.Fprintf(&b, "%s. ", english.Capital(strings.ToLower(v.Turn)))
	if len(v.Options) > 0 {
		b.WriteString("Which was it? ")
		for i, o := range v.Options {
			fmt.Fprintf(&b, "Option %d: %s. ", i+1, o.Text)
		}
	}
	for _, c := range v.Counts {
		fmt.Fprintf(&b, "%d %s. ", c.N, strings.ToLower(c.Word))
	}
	if l := v.Last; l != nil && len(v.Options) == 0 {
		what := "Last reading"
		if l.Gone != "" {
			what += ", " + strings.ToLower(l.Gone)
		}
		if l.Waits {
			what = "Read back"
		}
		fmt.Fprintf(&b, "%s: %s, %s, %s. ", what, l.Where, strings.TrimSpace(l.Figure+" "+l.Unit), strings.ToLower(v.Verdict.Word))
	}
	if v.Due != "" && len(v.Options) == 0 {
		fmt.Fprintf(&b, "Due: %s %s, %s. ", strings.ToLower(v.Label), v.Place, strings.TrimRight(v.Due, ".?"))
	}
	if v.Left != "" {
		fmt.Fprintf(&b, "%s.", v.Left)
	}
	return strings.TrimSpace(b.String())
}
