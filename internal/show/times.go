package show

// How long each board took, and who spoke meanwhile, so that a slow habit is seen.

import (
	"fmt"
	"strings"
	"time"

	"waycall/internal/record"
	"waycall/internal/say"
)

// Times is how the time on one board went, over all sessions of its job. Pauses, and the
// time until a session that was cut off went on, are left out.
type Times struct {
	Board   int     `json:"board"`
	Name    string  `json:"name"`
	Seconds float64 `json:"seconds"`   // all of it, the sum of the three below
	Phrases int     `json:"phrases"`   // that the tester said and waycall took
	Tester  float64 `json:"tester_s"`  // for how many seconds the tester spoke them
	Prompts int     `json:"prompts"`   // that waycall spoke
	Waycall float64 `json:"waycall_s"` // estimated from its words
	Between float64 `json:"between_s"` // in which nobody spoke: the probes were moved, or one waited
}

// The speeds by which speech is estimated, words a minute: that at which waycall speaks
// unless it is set otherwise, and a person's, where the sound of a phrase is not known
// (as the project's issues count it; no published source).
const spokenByWaycall, spokenByTester = 180, 150

// TimesOf returns the times of the boards on which anything was done, in the order of the
// job. lengths are those of the sounds of phrases, by their events.
func TimesOf(log []record.Event, lengths map[int64]time.Duration) []Times {
	all := map[int]*Times{}
	var s record.State
	var owed time.Duration // speech that began with the last event and is in the time to the next
	for _, e := range log {
		if e.By == "" && s.Sessions > 0 && !s.Finished {
			t := all[s.Board]
			if t == nil {
				t = &Times{Board: s.Board, Name: nameOf(s, s.Board)}
				all[s.Board] = t
			}
			owed = t.add(e, s, lengths, owed)
		}
		next, err := s.Follow(e)
		if err != nil {
			break // a log that does not fold is told of elsewhere
		}
		s = next
	}
	var list []Times
	for _, b := range s.Job.Boards {
		if t := all[b.Number]; t != nil && t.Phrases+t.Prompts > 0 {
			t.Seconds = t.Tester + t.Waycall + t.Between
			list = append(list, *t)
		}
	}
	return list
}

// add counts an event that follows s, and returns the speech that began with it.
func (t *Times) add(e record.Event, s record.State, lengths map[int64]time.Duration, owed time.Duration) time.Duration {
	passed := max(0, e.At.Sub(s.LastAt))
	spoke := time.Duration(0)
	if e.Kind == record.Heard {
		t.Phrases++
		known, ok := lengths[e.ID]
		if !ok && e.Phrase != nil {
			known = lasting(e.Phrase.Text, spokenByTester)
		}
		spoke = known
		t.Tester += spoke.Seconds()
	}
	if passed > 0 {
		if away := e.Kind == record.Opened || s.Paused; !away {
			t.Between += max(0, passed-owed-spoke).Seconds()
		}
		owed = 0
	}
	if e.Kind == record.Said {
		pace := s.Manner.Pace
		if s.Manner.Words == record.Brief {
			pace = min(pace+1, record.Fastest)
		}
		took := lasting(e.Text, spokenByWaycall*say.Factor(pace))
		t.Prompts++
		t.Waycall += took.Seconds()
		owed += took
	}
	return owed
}

// lasting is how long a text is spoken at so many words a minute.
func lasting(text string, perMinute float64) time.Duration {
	return time.Duration(float64(len(strings.Fields(text))) / perMinute * float64(time.Minute))
}

// String says it in a line, without the board.
func (t Times) String() string {
	return fmt.Sprintf("%s: the tester spoke %s in %d phrases, waycall about %s in %d, nobody for %s",
		Clock(t.Seconds), Clock(t.Tester), t.Phrases, Clock(t.Waycall), t.Prompts, Clock(t.Between))
}

// Clock is a time as it is read at a glance: 45 s, 12 min 05 s, 1 h 02 min.
func Clock(seconds float64) string {
	d := time.Duration(seconds * float64(time.Second)).Round(time.Second)
	h, m, s := int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60
	switch {
	case h > 0:
		return fmt.Sprintf("%d h %02d min", h, m)
	case m > 0:
		return fmt.Sprintf("%d min %02d s", m, s)
	}
	return fmt.Sprintf("%d s", s)
}
