package board

import (
	"os"
	"strings"
	"testing"
)

func readBoard(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile("../../testdata/boards/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// What the kind of work cannot be says so with its line and column.
func TestWorkRefuses(t *testing.T) {
	shop, extension := readBoard(t, "shop.yaml"), readBoard(t, "extension.yaml")
	for name, c := range map[string]struct{ file, old, new, want string }{
		"unknown kind":          {extension, "work: addition", "work: extension", `line 11, column 7: work is "extension"; write new, addition, alteration or periodic`},
		"unknown touch":         {extension, "work: altered", "work: moved", `column 13: work is "moved"; write new or altered`},
		"touch of new work":     {extension, "work: addition", "work: new", "way 2 says what is done to it, but the work is no addition or alteration; write work: addition"},
		"agreed for new work":   {shop, "work: periodic", "work: new", "line 13, column 3: periodic is given, but the work is no periodic inspection"},
		"unknown extent":        {shop, "tested: no", "tested: perhaps", `column 15: tested is "perhaps"; write dead and live, live or no`},
		"unknown dead tests":    {shop, "dead_tests: none", "dead_tests: some", `line 17, column 15: dead_tests is "some"; write all or none`},
		"nobody agreed":         {shop, "  agreed_with: the managing agent\n", "", "nobody is named who agreed; add agreed_with"},
		"two lines":             {shop, "agreed_with: the managing agent", `agreed_with: "the\nagent"`, "periodic.agreed_with has a line break"},
		"unknown key":           {shop, "stays_on: true", "stay_on: true", `unknown key "stay_on" in periodic; use "stays_on"`},
		"extent of other work":  {extension, "work: altered", "tested: live", "nothing of a periodic inspection is given"},
		"a spare way is tested": {shop, "spare: true", "spare: true\n      tested: live", "way 5 is spare but has tested"},
	} {
		if !strings.Contains(c.file, c.old) {
			t.Fatalf("%s: %q is not there", name, c.old)
		}
		_, err := Read(strings.NewReader(strings.Replace(c.file, c.old, c.new, 1)), "x")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A job of before additions named their ways asks for all of them, and a periodic one of
// before anything was agreed is tested as it was.
func TestWorkOfBefore(t *testing.T) {
	for kind, changes := range map[string]bool{"alteration": false, "periodic": false, "new": false} {
		job, err := Read(strings.NewReader(readBoard(t, "annexe.yaml")+"work: "+kind+"\n"), "x")
		if err != nil {
			t.Fatal(kind, err)
		}
		if job.Changes() != changes || job.LiveFirst() || !job.DeadAgreed(&job.Boards[0].Ways[0]) {
			t.Errorf("%s: changes %v, live first %v", kind, job.Changes(), job.LiveFirst())
		}
	}
}

// What was agreed is printed, and what was not is said to be so.
func TestTerms(t *testing.T) {
	text := func(job Job) (all string) {
		for _, term := range job.Terms() {
			all += term[0] + ": " + term[1] + "\n"
		}
		return all
	}
	job, err := Read(strings.NewReader(readBoard(t, "shop.yaml")), "x")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Work: Periodic inspection and testing\n", "Sampling: One point in two", "Limitations: No floor", "Agreed with: the managing agent\n"} {
		if !strings.Contains(text(job), want) {
			t.Errorf("it does not say %q:\n%s", want, text(job))
		}
	}
	if got := text(Job{Work: PeriodicInspection}); strings.Count(got, "not stated") != 4 {
		t.Error(got)
	}
	if got := text(Job{Work: Addition}); got != "Work: Addition to an installation\n" {
		t.Error(got)
	}
	if got := text(Job{}); got != "" {
		t.Error(got)
	}
}
