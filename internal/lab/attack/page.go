package attack

import (
	"fmt"
	"os"
	"runtime"
	"strings"

	"waycall/internal/english"
)

// Page is the table of what was tried, of one form, as Markdown.
func Page(results []Result) string {
	var b strings.Builder
	b.WriteString("# Attacks on waycall\n\nMade by `scripts/lab/attack`; do not edit. Each attack is a real\n" +
		"process against the real program. A record is read with SQLite alone and held against what\nwas announced to be stored, and `waycall verify` must agree. " +
		"One trial again: `lab attack --only NAME --trial N`.\n\n")
	total, failed := 0, 0
	for _, r := range results {
		total += r.Trials
		failed += r.Failed
	}
	fmt.Fprintf(&b, "The %s, %s, %s: %d trials, %d failed.\n", formOf(results), when(results), machine(), total, failed)
	group := ""
	for _, r := range results {
		if r.Group != group {
			group = r.Group
			fmt.Fprintf(&b, "\n## %s\n\n| attack | trials | failed | what came of them | s |\n|---|---|---|---|---|\n", english.Capital(group))
		}
		if r.Skipped != "" {
			fmt.Fprintf(&b, "| %s (`%s`) | - | - | not tried: %s | |\n", r.Title, r.Name, cell(r.Skipped))
			continue
		}
		fmt.Fprintf(&b, "| %s (`%s`) | %d | %d | %s | %.0f |\n", r.Title, r.Name, r.Trials, r.Failed, cell(r.seen()), r.Took)
	}
	b.WriteString("\n## What must come out\n\n| attack | bar |\n|---|---|\n")
	for _, r := range results {
		fmt.Fprintf(&b, "| `%s` | %s |\n", r.Name, r.Bar)
	}
	if failed > 0 {
		b.WriteString("\n## What failed\n\n")
		for _, r := range results {
			for i, f := range r.Failures {
				if i == 5 {
					fmt.Fprintf(&b, "- `%s`: and %d more\n", r.Name, r.Failed-5)
					break
				}
				fmt.Fprintf(&b, "- `%s`, trial %d: %s\n", r.Name, f.Trial, cell(brief(strings.Join(f.What, "; "))))
			}
		}
	}
	return b.String()
}

// formOf names the form of results, and says where some attacks are not among them.
func formOf(results []Result) string {
	if len(results) == 0 {
		return "attacks"
	}
	form, there := results[0].Form, map[string]bool{}
	for _, r := range results {
		there[r.Name] = true
	}
	for _, a := range All() {
		if !there[a.Name] && (a.Short > 0 || !strings.HasPrefix(form, "short")) {
			return form + " of some attacks"
		}
	}
	return form
}

// when says on which days attacks were tried, and with how much load of the machine.
func when(results []Result) string {
	if len(results) == 0 {
		return ""
	}
	first, last, least, most := results[0].At, results[0].At, results[0].Load, results[0].Load
	for _, r := range results {
		if r.At.Before(first) {
			first = r.At
		}
		if r.At.After(last) {
			last = r.At
		}
		least, most = min(least, r.Load), max(most, r.Load)
	}
	const day = "2 January 2006"
	days := first.Format(day)
	if to := last.Format(day); to != days {
		days += " to " + to
	}
	return fmt.Sprintf("%s, load %.1f to %.1f at the ends of the attacks", days, least, most)
}

// cell is text as a cell of a table takes it.
func cell(s string) string { return strings.NewReplacer("|", "/", "\n", " ").Replace(s) }

// machine says what it was tried on.
func machine() string {
	model := runtime.GOARCH
	for _, l := range strings.Split(readText("/proc/cpuinfo"), "\n") {
		if name, value, ok := strings.Cut(l, ":"); ok && strings.TrimSpace(name) == "model name" {
			model = strings.TrimSpace(value)
			break
		}
	}
	return fmt.Sprintf("%d cores (%s), as %s", runtime.NumCPU(), model, map[bool]string{true: "root", false: "a user"}[os.Geteuid() == 0])
}

// load is that of the machine over the last minute, 0 where it is not known.
func load() (n float64) {
	_, _ = fmt.Sscan(readText("/proc/loadavg"), &n)
	return n
}
