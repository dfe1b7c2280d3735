package browser

import (
	"bufio"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/audio"
	"waycall/internal/demo"
	"waycall/internal/record"
	"waycall/internal/store"
)

// entry is a line of recordedDemo: what `waycall demo` recorded, with
// the number of the demonstration's clip where something was heard, and times as if
// the work had been done at the pace of work.
type entry struct {
	record.Event
	Clip int `json:"clip,omitempty"`
}

// recordedDemo is where scripts/pictures/record-demo keeps the record of the demonstration.
const recordedDemo = "../../../testdata/jobs/terrace.jsonl"

func entries(t testing.TB) []entry {
	t.Helper()
	f, err := os.Open(recordedDemo)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []entry
	for s := bufio.NewScanner(f); s.Scan(); {
		var e entry
		if err := json.Unmarshal(s.Bytes(), &e); err != nil {
			t.Fatal(err)
		}
		all = append(all, e)
	}
	return all
}

// until is the number of the event by which waycall said, first, what begins so.
func until(t testing.TB, begins string) int64 {
	t.Helper()
	for _, e := range entries(t) {
		if e.Kind == record.Said && strings.HasPrefix(e.Text, begins) {
			return e.ID
		}
	}
	t.Fatalf("in the demonstration waycall never says %q; see %s", begins, recordedDemo)
	return 0
}

// What waycall says at some places of the demonstration.
const (
	wayThreeDue   = "Way three, Ring final, sockets."                                       // two ways are done
	wayThreeRead  = "Way three, live and neutral to earth, three, one, five megohms."       // read back, after a doubt
	wayEightDue   = "Neutral bar A. Way eight, Smoke and heat alarms."                      // way six was stored
	wayEightRead  = "Changed to: Way eight, live and neutral to earth, four, eight, six"    // read back, corrected
	wayFiveFails  = "Way five, live and neutral to earth, nought point three megohms. Fail" // read back, before the session is cut off
	wayFiveStored = "Stored. Nobody on a circuit at 500 volts."                             // the failure was confirmed in the second session
)

// clips are what was said, as WAV files, from 1.
func clips(t testing.TB) map[int][]byte {
	t.Helper()
	lines, err := demo.Script()
	if err != nil {
		t.Fatal(err)
	}
	all, n := map[int][]byte{}, 0
	for _, l := range lines {
		if l.Text != "" {
			n++
			all[n] = audio.EncodeWAV(l.Sound)
		}
	}
	return all
}

// terrace is the file of the demonstration's job in a folder of jobs.
const terrace = "TER-0107.waycall"

// record writes the demonstration's job into dir, up to and with the event last, and
// returns it open, as a session would have it. 0 is all of it.
func recorded(t testing.TB, dir string, last int64) *store.Store {
	t.Helper()
	s, err := store.Create(filepath.Join(dir, terrace))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	sounds := clips(t)
	for _, e := range entries(t) {
		if last != 0 && e.ID > last {
			break
		}
		if _, err := s.Append(t.Context(), []record.Event{e.Event}, sounds[e.Clip]); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// remarked adds a short session to the demonstration's record, in which something was
// observed and noted.
func remarked(t testing.TB, log *store.Store) {
	t.Helper()
	all := entries(t)
	job, last := all[0].Job, all[len(all)-1]
	id, at := last.ID, last.At
	add := func(sound []byte, events ...record.Event) {
		t.Helper()
		for i := range events {
			id, at = id+1, at.Add(time.Second)
			events[i].ID, events[i].At = id, at
		}
		if _, err := log.Append(t.Context(), events, sound); err != nil {
			t.Fatal(err)
		}
	}
	sound := clips(t)[1]
	add(nil, record.Event{Kind: record.Opened, Job: job, Habit: record.Agreed, Tester: "EF"})
	for _, e := range []record.Event{
		{Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 3}, Code: "C1", Text: "a live part can be touched behind the loose socket"},
		{Kind: record.Observed, Slot: &record.Slot{Board: 1}, Code: "C2", Text: "no blank over the spare way"},
		{Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 3}, Code: "C3", Text: "the label is hard to read"},
		{Kind: record.Observed, Slot: &record.Slot{Board: 1, Way: 3}, Code: "FI", Text: "where the second cable goes"},
		{Kind: record.Noted, Slot: &record.Slot{Board: 1, Way: 3}, Text: "the socket behind the dresser was not reached"},
	} {
		e.HeardID = id + 1
		add(sound, record.Event{Kind: record.Heard, Phrase: &record.Phrase{Outcome: "note", Text: e.Text, Words: map[string]string{"whisper": e.Text}}}, e)
	}
	add(nil, record.Event{Kind: record.Finished})
}

// finished is a folder with the whole of the demonstration's job, and remarks.
func finished(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	log := recorded(t, dir, 0)
	remarked(t, log)
	if err := log.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}
