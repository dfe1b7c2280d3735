package web

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"waycall/internal/report"
)

// Each status that a test may have on the schedule has a mark of its own words; what
// has none would be shown as it is kept.
func TestStatusesHaveMarks(t *testing.T) {
	for _, s := range []report.Status{report.ToDo, report.Skipped, report.NotApplicable, report.Limitation, report.Waived, report.Accepted,
		report.NotAsked, report.Waiting, report.Replaced, report.Withdrawn, report.BeforeWork} {
		if m := markOf(string(s)); m.Word == string(s) {
			t.Errorf("%q has no mark", s)
		}
	}
}

var variable = regexp.MustCompile(`--([a-z-]+):\s*#([0-9a-fA-F]{3,6})\b`)

// colours are the variables of a block of the style sheet.
func colours(t *testing.T, block string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, m := range variable.FindAllStringSubmatch(block, -1) {
		hex := m[2]
		if len(hex) == 3 {
			hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
		}
		all[m[1]] = hex
	}
	return all
}

// luminance is the relative luminance of WCAG 2.2 of a colour.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(hex, 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	part := func(shift uint) float64 {
		c := float64(n>>shift&255) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(16) + 0.7152*part(8) + 0.0722*part(0)
}

// Every pair of colours that is used together has the contrast of WCAG 2.2 AA: 4.5 for
// text (1.4.3), 3 for what must be told apart without being text (1.4.11). Light, dark,
// and on paper.
func TestContrast(t *testing.T) {
	css := string(assets["app.css"].data)
	light, rest, ok := strings.Cut(css, "@media (prefers-color-scheme: dark)")
	_, paper, ok2 := strings.Cut(rest, "@media print")
	if !ok || !ok2 {
		t.Fatal("the style sheet has no dark scheme, or none for paper")
	}
	dark, _, _ := strings.Cut(rest, "box-sizing")
	over := func(base, more map[string]string) map[string]string {
		all := map[string]string{}
		for _, m := range []map[string]string{base, more} {
			for k, v := range m {
				all[k] = v
			}
		}
		return all
	}
	first := colours(t, light)
	schemes := map[string]map[string]string{"light": first, "dark": over(first, colours(t, dark)), "paper": over(first, colours(t, paper))}
	type pair struct {
		front, back string
		least       float64
	}
	var pairs []pair
	for _, back := range []string{"ground", "card", "sunk", "accent-soft", "fail-soft", "look-soft", "doubt-soft", "pass-soft", "due-soft"} {
		pairs = append(pairs, pair{"ink", back, 4.5})
	}
	for _, back := range []string{"ground", "card", "sunk"} {
		pairs = append(pairs, pair{"quiet", back, 4.5}, pair{"edge", back, 3})
	}
	for _, back := range []string{"ground", "card", "accent-soft"} {
		pairs = append(pairs, pair{"accent", back, 4.5}, pair{"focus", back, 3})
	}
	for _, state := range []string{"pass", "fail", "look", "doubt", "due"} {
		for _, back := range []string{state + "-soft", "card", "ground"} {
			pairs = append(pairs, pair{state, back, 4.5}) // its words, and its shape
		}
		pairs = append(pairs, pair{"card", state, 3}) // the sign within the shape
	}
	for _, strip := range []string{"fail", "look", "doubt", "edge"} {
		pairs = append(pairs, pair{strip, "accent-soft", 3}) // a mark in the frame of the strip
	}
	pairs = append(pairs, pair{"accent-ink", "accent", 4.5}, pair{"ground", "ink", 4.5}, pair{"bus", "ground", 3}, pair{"card", "quiet", 3}, pair{"quiet", "accent-soft", 4.5})
	for scheme, colour := range schemes {
		for _, p := range pairs {
			front, back := colour[p.front], colour[p.back]
			if front == "" || back == "" {
				t.Fatalf("%s: the style sheet has no --%s or no --%s", scheme, p.front, p.back)
			}
			a, b := luminance(t, front), luminance(t, back)
			if ratio := (max(a, b) + 0.05) / (min(a, b) + 0.05); ratio < p.least {
				t.Errorf("%s: %s on %s has a contrast of %.2f, not %.1f", scheme, p.front, p.back, ratio, p.least)
			}
		}
	}
}

// All colours of the style sheet are variables, so that the test above sees them.
func TestColoursAreVariables(t *testing.T) {
	css := regexp.MustCompile(`(?s)/\*.*?\*/`).ReplaceAllString(string(assets["app.css"].data), "")
	for i, line := range strings.Split(css, "\n") {
		bare := variable.ReplaceAllString(line, "")
		if m := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|\brgba?\(|\bhsla?\(`).FindString(bare); m != "" {
			t.Errorf("line %d has the colour %s outside a variable: %s", i+1, m, line)
		}
	}
}

// Every page has its landmarks, one heading of the first level, a title, a way past the
// header, and a name for each field and each button.
func TestPagesAreReadable(t *testing.T) {
	c, job, _ := office(t)
	for _, path := range append(pagesOf(job), "/nothing") {
		a := c.do(c.request("GET", path, nil))
		page := a.Body.String()
		for _, want := range []string{`<html lang="en-GB"`, "<title>", `<main id="main"`, `href="#main"`, `name="viewport"`} {
			if !strings.Contains(page, want) {
				t.Errorf("%s lacks %s", path, want)
			}
		}
		if n := strings.Count(page, "<h1"); n != 1 && !strings.HasPrefix(path, "/live") {
			t.Errorf("%s has %d headings of the first level", path, n)
		}
		ids := map[string]int{}
		for _, m := range regexp.MustCompile(`\sid="([^"]+)"`).FindAllStringSubmatch(page, -1) {
			if ids[m[1]]++; ids[m[1]] > 1 {
				t.Errorf("%s has the id %s twice", path, m[1])
			}
		}
		for _, m := range regexp.MustCompile(`<(?:input|select)\b[^>]*>`).FindAllString(page, -1) {
			if strings.Contains(m, `type="hidden"`) || strings.Contains(m, `name="page"`) { // which is within its label
				continue
			}
			id := regexp.MustCompile(`\sid="([^"]+)"`).FindStringSubmatch(m)
			if id == nil || !strings.Contains(page, fmt.Sprintf(`<label for="%s"`, id[1])) {
				t.Errorf("%s has a field without a label: %s", path, m)
			}
		}
		for _, m := range regexp.MustCompile(`<svg\b[^>]*>`).FindAllString(page, -1) {
			if !strings.Contains(m, `aria-hidden="true"`) && !strings.Contains(m, `role="img"`) {
				t.Errorf("%s has a picture that is neither named nor hidden: %s", path, m)
			}
		}
	}
}
