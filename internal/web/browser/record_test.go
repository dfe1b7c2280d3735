package browser

import (
	"bytes"
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"waycall/internal/demo"
	"waycall/internal/record"
	"waycall/internal/store"
)

// TestRecordDemo writes testdata/jobs/terrace.jsonl from the job that `waycall demo`
// wrote. It is run by scripts/pictures/record-demo, which names the job's file.
func TestRecordDemo(t *testing.T) {
	path := os.Getenv("WAYCALL_DEMO")
	if path == "" {
		t.Skip("WAYCALL_DEMO names no job of the demonstration; scripts/pictures/record-demo makes one")
	}
	events, err := store.NewTail(path).Next(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	lines, err := demo.Script()
	if err != nil {
		t.Fatal(err)
	}
	lines = slices.DeleteFunc(lines, func(l demo.Line) bool { return l.Text == "" })
	// Which line was heard: the next one, or that after it where it says just what was
	// heard, as talk is not kept.
	clip := 0
	plain := strings.NewReplacer(",", "")
	clipOf := func(heard string) int {
		if clip+1 < len(lines) && plain.Replace(lines[clip].Text) != heard && plain.Replace(lines[clip+1].Text) == heard {
			clip++
		}
		if clip == len(lines) {
			t.Fatalf("%q is not in the script", heard)
		}
		clip++
		return clip
	}
	var out bytes.Buffer
	at := time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC)
	last := record.Said
	spoken := time.Duration(0) // what waycall says takes, about
	for _, e := range events {
		line := entry{Event: e}
		switch e.Kind {
		case record.Opened:
			if e.ID > 1 {
				at = at.Add(2*time.Minute + 20*time.Second) // another headset was fetched
			}
		case record.Heard:
			line.Clip = clipOf(e.Phrase.Text)
			// The probes are put on the next conductors, which takes some seconds, more for
			// a reading than for a word.
			work := time.Duration(1500+line.Clip*379%2500) * time.Millisecond
			if e.Phrase.Outcome == "reading" {
				work += time.Duration(4000+line.Clip*1237%6000) * time.Millisecond
			}
			at = at.Add(spoken + work)
		case record.Said:
			if last != record.Said {
				at = at.Add(200 * time.Millisecond)
			}
			spoken = time.Duration(len(strings.Fields(e.Text))) * 330 * time.Millisecond
		}
		last, line.At = e.Kind, at
		b, err := json.Marshal(line)
		if err != nil {
			t.Fatal(err)
		}
		out.Write(append(b, '\n'))
	}
	if clip != len(lines) {
		t.Fatalf("of %d lines the last that was heard is %d", len(lines), clip)
	}
	if err := os.WriteFile(recordedDemo, out.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}
