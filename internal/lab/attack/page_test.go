package attack

import (
	"strings"
	"testing"
)

// The page has a row for each attack, what failed, and what was not tried and why, and no
// text of a trial breaks its table.
func TestPage(t *testing.T) {
	page := Page([]Result{
		{Name: "a", Group: "one", Title: "first", Bar: "borne", Trials: 3, Failed: 1, Saw: map[string]int{"killed": 2}, Failures: []Failure{{Trial: 2, What: []string{"lost | 1\nevent"}}}},
		{Name: "b", Group: "two", Title: "second", Bar: "borne", Skipped: "no root"},
	}, Plan{Scale: 0.5})
	for _, want := range []string{"| first (`a`) | 3 | 1 | killed 2 |", "not tried: no root", "## One", "## Two", "`a`, trial 2: lost / 1 event", "3 trials, 1 failed", "with 0.5 times its trials"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q:\n%s", want, page)
		}
	}
}
