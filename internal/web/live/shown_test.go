package live

import (
	"bytes"
	"strings"
	"testing"

	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
)

// page draws the job that events fold into.
func page(t *testing.T, events ...record.Event) string {
	t.Helper()
	events = append([]record.Event{opened(t)}, events...)
	for i := range events {
		events[i].ID, events[i].At = int64(i+1), noon
	}
	s, err := record.Fold(events)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := views.ExecuteTemplate(&b, "view", viewOf(s, true, "", nil)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// A verdict stands beside the way whose it is and never under that of another; a
// question stands alone; and the end is a tally.
func TestWhoseVerdictIsShown(t *testing.T) {
	slot := record.Slot{Board: 1, Way: 4, Test: reading.LNE}
	q := reading.Quantity{Value: 0.02, Places: 2, Bound: reading.Exactly, Unit: reading.Megohm}
	events := []record.Event{
		{Kind: record.Proposed, Slot: &slot, Quantity: &q, Verdict: &check.Verdict{Result: check.Fail}},
		{Kind: record.Confirmed},
		{Kind: record.Moved, Slot: &record.Slot{Board: 1, Way: 7, Test: reading.LNE}},
	}
	if html := page(t, events[:1]...); !strings.Contains(html, "<b>4</b>") || !strings.Contains(html, "lv-last fail waits") || strings.Contains(html, "lv-of") {
		t.Errorf("read back it shows %s", html)
	}
	if html := page(t, events...); !strings.Contains(html, "lv-last fail stored") || !strings.Contains(html, `<p class="lv-of"><span>way 4</span></p>`) {
		t.Errorf("stored it shows %s", html)
	}
	ask := record.Event{Kind: record.Said, Text: "This, or that?", Offers: [][]record.Offer{{{Slot: slot, Quantity: q}}, {{Slot: slot, Quantity: reading.Quantity{Value: 0.2, Places: 1, Bound: reading.Exactly, Unit: reading.Megohm}}}}}
	if html := page(t, append(events, ask)...); !strings.Contains(html, "Which was it?") || !strings.Contains(html, "0.2 MΩ") || strings.Contains(html, "FAIL") || strings.Contains(html, "lv-due") || strings.Contains(html, "lv-last") {
		t.Errorf("asking it shows %s", html)
	}
	if html := page(t, append(events, record.Event{Kind: record.Finished})...); !strings.Contains(html, "What stands on the schedule") || strings.Contains(html, "lv-last") {
		t.Errorf("at the end it shows %s", html)
	}
}
