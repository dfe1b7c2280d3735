package show

import (
	"math"
	"testing"
	"time"

	"waycall/internal/demo"
	"waycall/internal/record"
)

// The time of a board is what was spoken and what lay between, and neither a pause nor the
// night between two sessions nor a review is in it.
func TestTimes(t *testing.T) {
	job, err := demo.Board()
	if err != nil {
		t.Fatal(err)
	}
	second := job.Boards[0]
	second.Number, second.Name = 2, "Annexe"
	job.Boards = append(job.Boards[:1:1], second)
	at := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	var log []record.Event
	lengths := map[int64]time.Duration{}
	add := func(after time.Duration, e record.Event) {
		at = at.Add(after)
		e.ID, e.At = int64(len(log)+1), at
		log = append(log, e)
	}
	heard := func(after, lasts time.Duration, command string) {
		add(after, record.Event{Kind: record.Heard, Phrase: &record.Phrase{Outcome: "command", Agreed: true, Text: "one two three four five", Meaning: record.Meaning{Command: command}}})
		if lasts > 0 {
			lengths[int64(len(log))] = lasts
		}
	}
	said := func(text string) { add(0, record.Event{Kind: record.Said, Text: text}) }
	const six = "one two three four five six" // 2 s at 180 words a minute

	add(0, record.Event{Kind: record.Opened, Job: &job})
	said(six)
	heard(10*time.Second, 3*time.Second, "confirm") // 2 s waycall, 3 s the tester, 5 s between
	said(six)
	heard(20*time.Second, 0, "pause") // 5 words of an unknown length: 2 s
	add(0, record.Event{Kind: record.Paused})
	add(time.Hour, record.Event{Kind: record.CarriedOn})
	said(six)
	heard(time.Second, 4*time.Second, "go to board") // spoken into: nothing lies between
	add(0, record.Event{Kind: record.Moved, Slot: &record.Slot{Board: 2}})
	said(six)
	add(16*time.Hour, record.Event{Kind: record.Opened, Job: &job}) // it was cut off
	said(six)
	heard(7*time.Second, 2*time.Second, record.Slower)
	said(six)
	heard(10*time.Second, 2*time.Second, "finish")
	add(0, record.Event{Kind: record.Finished})
	add(time.Hour, record.Event{Kind: record.Signed, By: "XY", Text: "X Y", Sum: "00"})

	slow := 2 * math.Pow(1.18, 1)
	want := []Times{
		{Board: 1, Name: job.Boards[0].Name, Phrases: 3, Tester: 9, Prompts: 3, Waycall: 6, Between: 5 + 16},
		{Board: 2, Name: "Annexe", Phrases: 2, Tester: 4, Prompts: 3, Waycall: 4 + slow, Between: 3 + 10 - 2 - slow},
	}
	got := TimesOf(log, lengths)
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, w := range want {
		g := got[i]
		w.Seconds = w.Tester + w.Waycall + w.Between
		for _, x := range [][2]float64{{g.Seconds, w.Seconds}, {g.Tester, w.Tester}, {g.Waycall, w.Waycall}, {g.Between, w.Between}} {
			if math.Abs(x[0]-x[1]) > 1e-6 {
				t.Errorf("%+v, want %+v", g, w)
				break
			}
		}
		if g.Board != w.Board || g.Name != w.Name || g.Phrases != w.Phrases || g.Prompts != w.Prompts {
			t.Errorf("%+v, want %+v", g, w)
		}
	}
	if got := TimesOf(nil, nil); len(got) != 0 {
		t.Errorf("no log gives %+v", got)
	}
	// A log that does not fold is counted as far as it does.
	if got := TimesOf(append(log[:4:4], log[9:]...), lengths); len(got) != 1 {
		t.Errorf("a torn log gives %+v", got)
	}
}
