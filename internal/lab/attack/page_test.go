package attack

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// The page has a row for each attack, what failed, and what was not tried and why, and no
// text of a trial breaks its table.
func TestPage(t *testing.T) {
	page := Page([]Result{
		{Form: Plan{Scale: 0.5}.form(), At: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC), Load: 1.5, Name: "a", Group: "one", Title: "first", Bar: "borne", Trials: 3, Failed: 1, Saw: map[string]int{"killed": 2}, Failures: []Failure{{Trial: 2, What: []string{"lost | 1\nevent"}}}},
		{At: time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC), Load: 7, Name: "b", Group: "two", Title: "second", Bar: "borne", Skipped: "no root"},
	})
	for _, want := range []string{"| first (`a`) | 3 | 1 | killed 2 |", "not tried: no root", "## One", "## Two", "`a`, trial 2: lost / 1 event", "3 trials, 1 failed", "The long form with 0.5 times its trials of some attacks, 2 March 2026 to 3 March 2026, load 1.5 to 7.0"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q:\n%s", want, page)
		}
	}
}

// Attacks that are run in parts, and again, make one page; a short run is none of a long one.
func TestMerge(t *testing.T) {
	all := All()
	result := func(i, trials int, short bool) Result {
		return Result{Name: all[i].Name, Trials: trials, Form: Plan{Short: short}.form()}
	}
	got := Merge([]Result{result(2, 10, false), result(1, 10, false), result(3, 1, true)}, []Result{result(1, 11, false), result(0, 12, false)})
	var names []string
	for _, r := range got {
		names = append(names, fmt.Sprintf("%s %d", r.Name, r.Trials))
	}
	want := fmt.Sprintf("%s 12, %s 11, %s 10", all[0].Name, all[1].Name, all[2].Name)
	if has := strings.Join(names, ", "); has != want {
		t.Errorf("%s, want %s", has, want)
	}
	if got := Merge(got, nil); len(got) != 3 {
		t.Errorf("a run of nothing leaves %d", len(got))
	}
}
