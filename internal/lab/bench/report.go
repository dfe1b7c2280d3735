package bench

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"waycall/internal/lab/noise"
	"waycall/internal/plainfile"
)

// Kept is a run with what came of it.
type Kept struct {
	Run     Run
	Results []Result
}

// LoadFiles reads kept runs, each from a file.
func LoadFiles(paths []string) ([]Kept, error) {
	var all []Kept
	for _, path := range paths {
		k, err := loadFile(path)
		if err != nil {
			return nil, err
		}
		all = append(all, k)
	}
	return all, nil
}

func loadFile(path string) (Kept, error) {
	f, err := plainfile.Open(path)
	if err != nil {
		return Kept{}, fmt.Errorf("results: %w; check the name", err)
	}
	defer f.Close()
	run, results, err := Load(f, path)
	return Kept{run, results}, err
}

// single reports whether the run tried waycall's own ear alone.
func (k Kept) single() bool { return len(k.Run.Methods) == 1 }

// plain reports whether the phrases were heard as they are.
func (k Kept) plain() bool {
	return !k.Run.Join && !k.Run.Streamed && k.Run.Condition.String() == "clean"
}

// siteAt returns the ratio at which site noise, and nothing else, was added.
func (k Kept) siteAt() (snr float64, ok bool) {
	n := k.Run.Condition.Noise
	if len(n) != 1 || n[0].Kind != noise.Site || k.Run.Join || k.Run.Streamed {
		return 0, false
	}
	c := k.Run.Condition
	c.Noise = nil
	return n[0].SNR, c.String() == "clean"
}

func (k Kept) only(c noise.Condition) bool {
	return !k.Run.Join && !k.Run.Streamed && k.Run.Condition.String() == c.String()
}

// Report writes the report on kept runs into a folder: README.md and the plots.
func Report(dir string, kept []Kept) error {
	if len(kept) == 0 {
		return errors.New("no results to report on; run the bench first")
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("report: %w; name a folder that can be written to", err)
	}
	var own, several []Kept
	for _, k := range kept {
		if k.single() {
			own = append(own, k)
		} else {
			several = append(several, k)
		}
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "# How well waycall hears\n\nWritten by `scripts/lab/bench`; change it there.\n\n")
	writePeople(&b, own)
	writeHow(&b, kept)
	if rows := bars(own); len(rows) > 0 {
		fmt.Fprintf(&b, "\n## Against the bars\n\n| what | bar | measured | |\n|---|---|---|---|\n")
		for _, r := range rows {
			verdict := "**not met**"
			if r.met && r.few {
				verdict = "met, but too few to rule out more"
			} else if r.met {
				verdict = "met"
			}
			fmt.Fprintf(&b, "| %s | %s | %s | %s |\n", r.what, r.bar, r.measured, verdict)
		}
	}
	if len(own) > 0 {
		fmt.Fprintf(&b, "\n## Every set and condition\n\n%s", conditionTable(own))
	}
	plots := noisePlots(own)
	pooled := pool(own)
	whole := Summarise(pooled)
	if len(whole.Reliability) > 0 {
		p := plot{name: "confidence.svg", title: "Confidence claimed and what was right"}
		if err := PlotReliability(&p.svg, p.title, whole.Reliability); err != nil {
			return err
		}
		plots = append(plots, p)
	}
	for _, p := range plots {
		if err := replace(filepath.Join(dir, p.name), p.svg.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(&b, "\n![%s](%s)\n", p.title, p.name)
	}
	if len(whole.Reliability) > 0 {
		writeReliability(&b, whole.Reliability)
		fmt.Fprintf(&b, "\nOver all sets and conditions above but two phrases in one breath.\n")
	}
	for _, k := range several {
		writeCompared(&b, k)
	}
	writeWrong(&b, own, whole)
	return replace(filepath.Join(dir, "README.md"), b.Bytes())
}

type plot struct {
	name, title string
	svg         bytes.Buffer
}

// noisePlots draws each set that was heard clean and in site noise.
func noisePlots(own []Kept) []plot {
	type point struct {
		snr float64
		AtNoise
	}
	sets := map[string][]point{}
	for _, k := range own {
		s := Summarise(k.Results)
		if snr, ok := k.siteAt(); ok {
			sets[k.Run.Set] = append(sets[k.Run.Set], point{snr, AtNoise{fmt.Sprintf("%g dB", snr), s.Figures, s.All}})
		} else if k.plain() {
			sets[k.Run.Set] = append(sets[k.Run.Set], point{1000, AtNoise{"clean", s.Figures, s.All}})
		}
	}
	var out []plot
	for _, set := range slices.Sorted(maps.Keys(sets)) {
		points := sets[set]
		if len(points) < 2 {
			continue
		}
		slices.SortStableFunc(points, func(a, b point) int { return int(b.snr - a.snr) })
		var at []AtNoise
		for _, p := range points {
			at = append(at, p.AtNoise)
		}
		p := plot{name: "noise-" + fileName(set) + ".svg", title: "Set " + set + " in site noise"}
		if PlotNoise(&p.svg, p.title, at) == nil { // a bytes.Buffer never fails
			out = append(out, p)
		}
	}
	return out
}

// fileName keeps of a name what may stand in a file's.
func fileName(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, s)
}

// pool puts together the results from which the claims of confidence are judged.
func pool(own []Kept) []Result {
	var out []Result
	for _, k := range own {
		if !k.Run.Join {
			out = append(out, k.Results...)
		}
	}
	return out
}

func writeHow(b *bytes.Buffer, kept []Kept) {
	machines, notes := map[string]bool{}, map[string]bool{}
	first, last, phrases := kept[0].Run.Date, "", 0
	limited := false
	for _, k := range kept {
		machines[k.Run.Machine] = true
		if k.single() && len(k.Run.Notes) > 0 {
			notes[k.Run.Notes[0]] = true
		}
		first, last = min(first, k.Run.Date), max(last, k.Run.Date)
		phrases += len(k.Results)
		limited = limited || k.Run.Limit > 0
	}
	join := func(m map[string]bool) string { return strings.Join(slices.Sorted(maps.Keys(m)), "; ") }
	fmt.Fprintf(b, "%d phrases heard in %d runs, %s to %s, on %s. Model and settings: %s.\n",
		phrases, len(kept), day(first), day(last), join(machines), join(notes))
	if limited {
		fmt.Fprintf(b, "\n**Some sets were heard only in part; the count of phrases says how far.**\n")
	}
	fmt.Fprint(b, `
No board and no due test, so that every phrase of the grammar is possible. "Right"
is the whole meaning: way, test, bound and value; it counts phrases that were right
once the electrician was asked. "Not asked" are those that were right without a
question. "Wrong, sure" is what would have been read back as if it had been said;
"at most" is its upper 95 % confidence bound (Clopper and Pearson, one-sided).
Noise at 10 dB means that the speech, while somebody speaks, lies 10 dB above the
noise over the same stretch; every noise is made by [internal/lab/noise](../../internal/lab/noise).
Times count from the end of the sound, the whole of which is heard at once; "in
real time" they count from the end of the pause that ends the phrase, as for
somebody who speaks into a microphone. The set dev as it is, what was heard in real
time and what is compared had the machine to themselves as far as this run goes; of the
rest two conditions at a time were heard, each on one thread, so that they took longer.
`)
}

func day(date string) string { return date[:min(10, len(date))] }

// conditionTable is the table of all runs.
func conditionTable(own []Kept) string {
	var b strings.Builder
	b.WriteString("| set | condition | phrases | readings, values right | not asked | commands right | talk taken | wrong, sure | at most | p50, p95 ms |\n|---|---|---|---|---|---|---|---|---|---|\n")
	for _, k := range own {
		s := Summarise(k.Results)
		command, none, joined := s.Kinds["command"], s.Kinds["none"], s.Kinds["joined"]
		if joined.Phrases > 0 { // stands where commands do: it mixes both
			command = joined
		}
		fmt.Fprintf(&b, "| %s | %s | %d | %s | %s | %s | %s | %d of %d | %s | %.0f, %.0f |\n", cell(k.Run.Set), cell(k.Run.Title()), s.All.Phrases,
			of(s.Figures, s.Figures.RightShare), of(s.Figures, s.Figures.RightSureShare), of(command, command.RightShare),
			ratio(none.Wrong, none.Phrases), s.All.WrongSure, s.All.Sure, percent(s.All.WrongSureMost), s.P50, s.P95)
	}
	return b.String()
}

func of(c Count, share float64) string {
	if c.Phrases == 0 {
		return ""
	}
	return percent(share)
}

func ratio(k, n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%d of %d", k, n)
}

// cell makes text fit for a cell of a Markdown table.
func cell(s string) string {
	return strings.NewReplacer("|", "\\|", "\n", " ", "<", "&lt;", "`", "'").Replace(s)
}

type bar struct {
	what, bar, measured string
	met                 bool
	few                 bool // met by what was counted, which is too little to rule out that it is not
}

// bars compares with what was asked of the hearing, as far as it was measured; but for
// people, see writePeople.
func bars(own []Kept) []bar {
	var out []bar
	var quiet []Result
	for _, k := range own {
		if k.plain() && k.ofPeople() == "" {
			quiet = append(quiet, k.Results...)
		}
	}
	if all := Summarise(quiet).All; all.Phrases >= 5000 {
		out = append(out, bar{"all sets as they are, together: wrong among the sure", "at most " + percent(0.001),
			fmt.Sprintf("%d of %d; %s, at most %s", all.WrongSure, all.Sure, percent(all.WrongSureShare), percent(all.WrongSureMost)), all.WrongSureShare <= 0.001, all.WrongSureMost > 0.001})
	}
	for _, k := range own {
		s := Summarise(k.Results)
		name := cell(k.Run.Set + ", " + k.Run.Title())
		least := func(what string, c Count, share, limit float64) {
			if c.Phrases > 0 {
				out = append(out, bar{name + ": " + what, "at least " + percent(limit), fmt.Sprintf("%s of %d", percent(share), c.Phrases), share >= limit, false})
			}
		}
		sure := func(limit float64) {
			out = append(out, bar{name + ": wrong among the sure", "at most " + percent(limit),
				fmt.Sprintf("%d of %d; %s, at most %s", s.All.WrongSure, s.All.Sure, percent(s.All.WrongSureShare), percent(s.All.WrongSureMost)), s.All.WrongSureShare <= limit, limit > 0 && s.All.WrongSureMost > limit})
		}
		snr, site := k.siteAt()
		switch {
		case k.ofPeople() != "": // these have their own: peopleBars
		case k.Run.Streamed:
			out = append(out, bar{name + ": end of speech to meaning, pause excluded, p50 and p95", "80 and 200 ms", fmt.Sprintf("%.1f and %.1f ms", s.P50, s.P95), s.P50 <= 80 && s.P95 <= 200, false})
		case k.plain():
			least("readings and values right", s.Figures, s.Figures.RightShare, 0.995)
			least("right without asking", s.Figures, s.Figures.RightSureShare, 0.98)
			c := s.Kinds["command"]
			least("commands right", c, c.RightShare, 0.99)
			if s.All.Phrases < 1000 {
				sure(0)
			} else {
				sure(0.001)
			}
			if n := s.Kinds["none"]; n.Phrases > 0 {
				limit := 0.0
				if n.Phrases >= 1000 {
					limit = 0.002
				}
				taken, unasked := 0, 0
				for _, r := range k.Results {
					if r.Want.Kind == "none" && (r.Means == "reading" || r.Means == "confirm") {
						taken++
						if r.Sure {
							unasked++
						}
					}
				}
				out = append(out, bar{name + ": talk that became a reading or a confirmation", "at most " + percent(limit),
					fmt.Sprintf("%d of %d, %d without asking; at most %s", taken, n.Phrases, unasked, percent(AtMost(taken, n.Phrases))), float64(taken) <= limit*float64(n.Phrases), limit > 0 && AtMost(taken, n.Phrases) > limit})
			}
		case site && snr == 10:
			least("right", s.All, s.All.RightShare, 0.97)
			sure(0.005)
		case site && snr == 5:
			least("right", s.All, s.All.RightShare, 0.92)
			sure(0.005)
		case k.only(noise.Condition{Band: true}):
			least("right", s.All, s.All.RightShare, 0.97)
		case k.only(noise.Condition{FalseStart: true}):
			sure(0)
		}
	}
	return out
}

func writeCompared(b *bytes.Buffer, k Kept) {
	methods := Compare(k.Run, k.Results)
	fmt.Fprintf(b, "\n## Compared on %s, %s\n\nIn one run, phrase by phrase, on the same sound, cut out by waycall's endpointing.\n\n", cell(k.Run.Set), cell(k.Run.Title()))
	b.WriteString("| method | phrases | right | not asked | wrong | wrong, sure | ignored | talk taken | p50 ms | p95 ms |\n|---|---|---|---|---|---|---|---|---|---|\n")
	for _, m := range methods {
		c := m.ForUs
		fmt.Fprintf(b, "| %s | %d | %s | %s | %d | %d | %d | %s | %.0f | %.0f |\n", cell(m.Name), c.Phrases, percent(c.RightShare), percent(c.RightSureShare),
			c.Wrong, c.WrongSure, c.Ignored, ratio(m.Talk.Wrong, m.Talk.Phrases), m.P50, m.P95)
	}
	b.WriteString("\n")
	for _, m := range methods {
		fmt.Fprintf(b, "- %s: %s\n", cell(m.Name), cell(m.Note))
	}
	b.WriteString("\n")
	better := Better(methods)
	for _, s := range better {
		fmt.Fprintf(b, "- %s\n", cell(s))
	}
	if len(better) == 0 {
		fmt.Fprintf(b, "Nothing is better than %s in any column.\n", cell(methods[0].Name))
	}
}

// writeWrong shows what still goes wrong: everything that was wrong and sure, and
// examples of the rest, from as many runs as there are.
func writeWrong(b *bytes.Buffer, own []Kept, whole Summary) {
	const confusionsShown, examples = 40, 25
	if len(whole.Confusions) > 0 {
		fmt.Fprintf(b, "\n## Words taken for others\n\nIn phrases that were heard wrongly, over all sets and conditions.\n\n| said | heard | times |\n|---|---|---|\n")
		for _, c := range whole.Confusions[:min(confusionsShown, len(whole.Confusions))] {
			fmt.Fprintf(b, "| %s | %s | %d |\n", cell(something(c.Said)), cell(something(c.Heard)), c.Count)
		}
	}
	for _, part := range []struct {
		title string
		in    func(Result) bool
		most  int
	}{
		{"Wrong, and sure", func(r Result) bool { return r.End == Wrong && r.Sure }, 200},
		{"Wrong, but asked about", func(r Result) bool { return r.End == Wrong && !r.Sure }, examples},
		{"Ignored", func(r Result) bool { return r.End == Ignored }, examples},
	} {
		var queues [][]string
		total := 0
		for _, k := range own {
			var q []string
			for _, r := range k.Results {
				if part.in(r) {
					q = append(q, fmt.Sprintf("| %s | %s | %s, %s | %s |\n", cell(r.Text), cell(r.Heard), cell(k.Run.Set), cell(k.Run.Title()), cell(r.File)))
				}
			}
			total += len(q)
			queues = append(queues, q)
		}
		if total == 0 {
			continue
		}
		shown := min(total, part.most)
		fmt.Fprintf(b, "\n## %s\n\n%d in all", part.title, total)
		if shown < total {
			fmt.Fprintf(b, ", %d of them here", shown)
		}
		fmt.Fprintf(b, ".\n\n| said | heard | where | file |\n|---|---|---|---|\n")
		for round := 0; shown > 0; round++ { // one from each run in turn
			for _, q := range queues {
				if round < len(q) && shown > 0 {
					b.WriteString(q[round])
					shown--
				}
			}
		}
	}
}

// Markers between which RefreshReadme writes.
const (
	beginMark = "<!-- bench:begin -->"
	endMark   = "<!-- bench:end -->"
)

// RefreshReadme replaces what stands between the marks <!-- bench:begin --> and
// <!-- bench:end --> in a Markdown file by the main figures of kept runs, with
// link as the address of the whole report.
func RefreshReadme(path, link string, kept []Kept) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("README: %w; check its name", err)
	}
	before, rest, ok := strings.Cut(string(text), beginMark)
	_, after, ok2 := strings.Cut(rest, endMark)
	if !ok || !ok2 {
		return fmt.Errorf("README %s: no place for the figures; put the lines %s and %s where they belong", path, beginMark, endMark)
	}
	var chosen []Kept
	last, machine := "", ""
	for _, k := range kept {
		if _, site := k.siteAt(); k.single() && (k.plain() || site || k.only(noise.Condition{Band: true})) {
			chosen = append(chosen, k)
			last, machine = max(last, k.Run.Date), k.Run.Machine
		}
	}
	if len(chosen) == 0 {
		return errors.New("README: no run that is shown there; run the bench on a clean set first")
	}
	table := fmt.Sprintf("\n%s\nMeasured %s on %s. All sets and conditions, what was confused, and what the columns mean: [%s](%s).\n",
		conditionTable(chosen), day(last), machine, link, link)
	return replace(path, []byte(before+beginMark+"\n"+table+"\n"+endMark+after))
}

// replace writes a file whole or not at all.
func replace(path string, content []byte) error {
	if err := plainfile.Write(path, 0o644, false, func(w io.Writer) error { _, err := w.Write(content); return err }); err != nil {
		return fmt.Errorf("report: %w; check that there is room and that the folder can be written to", err)
	}
	return nil
}
