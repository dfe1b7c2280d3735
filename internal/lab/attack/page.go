package attack

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"time"

	"waycall/internal/english"
)

// Page is the table of what was tried, as Markdown.
func Page(results []Result, p Plan) string {
	var b strings.Builder
	b.WriteString("# Attacks on waycall\n\nMade by `scripts/lab/attack`; do not edit. Each attack is a real\n" +
		"process against the real program. A record is read with SQLite alone and held against what\nwas announced to be stored, and `waycall verify` must agree. " +
		"One trial again: `lab attack --only NAME --trial N`.\n\n")
	total, failed := 0, 0
	for _, r := range results {
		total += r.Trials
		failed += r.Failed
	}
	form := "The long form"
	if p.Short {
		form = "The short form"
	}
	if p.Scale > 0 && p.Scale != 1 {
		form += fmt.Sprintf(" with %g times its trials", p.Scale)
	}
	if len(p.Only) > 0 {
		form += " of some attacks"
	}
	fmt.Fprintf(&b, "%s, on %s, %s: %d trials, %d failed.\n", form, time.Now().UTC().Format("2 January 2006"), machine(), total, failed)
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
	load := strings.Fields(readText("/proc/loadavg"))
	if len(load) == 0 {
		load = []string{"?"}
	}
	return fmt.Sprintf("%d cores (%s), load %s at the end, as %s", runtime.NumCPU(), model, load[0], map[bool]string{true: "root", false: "a user"}[os.Geteuid() == 0])
}
