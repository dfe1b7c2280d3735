package record_test

import (
	"bufio"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"waycall/internal/record"
)

// What waycall wrote is taken; whatever of it is exchanged for what waycall would not
// have written is named, with its event.
func TestPlausible(t *testing.T) {
	text, err := os.ReadFile("../../testdata/jobs/terrace.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	first := func(old, changed string) (id int64, err error) {
		log := string(text)
		if !strings.Contains(log, old) {
			t.Fatalf("the log has no %s", old)
		}
		for lines := bufio.NewScanner(strings.NewReader(strings.ReplaceAll(log, old, changed))); lines.Scan(); {
			var e record.Event
			if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
				t.Fatal(err)
			}
			if err := record.Plausible(e); err != nil {
				return e.ID, err
			}
		}
		return 0, nil
	}
	if _, err := first("TER-0107", "TER-0107"); err != nil {
		t.Errorf("of waycall's own: %v", err)
	}
	if _, err := first(`"reference":"TER-0107"`, `"reference":"old.waycall"`); err != nil {
		t.Errorf("of an earlier waycall: %v", err)
	}
	const opened, noted = 1, 136
	for _, c := range []struct {
		old, changed string
		event        int64
		says         string
	}{
		{`"voltage":230`, `"voltage":-1`, opened, "voltage is -1, outside 50 to 600"},
		{`"over_range":999`, `"over_range":0`, opened, "over_range is missing"},
		{`"earthing":"TN-C-S"`, `"earthing":"ZZ"`, opened, `earthing is "ZZ"`},
		{`"rating":6`, `"rating":-5`, opened, "rating is -5"},
		{`"date":"2026-03-14"`, `"date":"x"`, opened, `date is "x", which is not a date`},
		{`"reference":"TER-0107"`, `"reference":"../../evil"`, opened, `reference "../../evil" cannot name a file`},
		{`Example Row`, `Example\nRow`, opened, "address has a line break"},
		{`Example Row`, `Example\u202eRow`, opened, "address has a line break"},
		{`"tester":"JW"`, `"tester":"\u001b[2J"`, opened, "tester has a line break"},
		{`Upstairs lighting`, `Up\u0007stairs`, opened, "feeds has a line break"},
		{`"kind":"opened"`, `"kind":"opened","tester":"J.W. 1"`, opened, "are no initials"},
		{`trapped under`, `trapped\nunder`, noted, "its Text has a line break"},
		{`trapped under`, strings.Repeat("trapped ", 1200), noted, "more than 8000 characters"},
		{`trapped under`, `trapped\u202eunder`, 0, "does not print"},
		{`equipment connected`, `equipment\u0000connected`, 0, "does not print"},
		{`isolated and locked off"`, `isolated\u009band locked off"`, 0, "does not print"},
		{`"sphinx":`, `"sph\u001binx":`, 3, "does not print"},
	} {
		id, err := first(c.old, c.changed)
		if err == nil || c.event != 0 && id != c.event || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s for %s: event %d, %v", c.changed[:min(len(c.changed), 60)], c.old, id, err)
			continue
		}
		if strings.ContainsAny(err.Error(), "\n\x1b\x07\x00\u202e\u009b") {
			t.Errorf("%s: %q", c.changed, err)
		}
	}
}
